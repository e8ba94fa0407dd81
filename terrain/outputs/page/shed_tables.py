"""Where roads and bare ground shed, as a table and as the live map answers."""

from __future__ import annotations

from terrain.outputs.page.rows import Row
from terrain.plan.planned import Plan
from terrain.units import shown

#: So many places where roads and bare ground shed are listed.
MOST_SHED_ROWS = 20


def shed_rows(plan: Plan) -> list[Row]:
    """Places where roads and bare ground shed, the most water first."""
    system = plan.site.units
    deepest = max(range(len(plan.site.rain.storms)), key=lambda i: plan.site.rain.storms[i].depth)
    drains = plan.terrain.contributing_area
    rows = []
    for rank, (shed, point) in enumerate(plan.ranked_shed_points[:MOST_SHED_ROWS], 1):
        x, y = plan.inputs.dem.xy(point.row, point.column)
        ends = (plan.stores[point.ends_at - 1].store.name if point.ends_at
                else "leaves the site")
        rows.append(Row(str(rank), [
            shed.name, plan.inputs.dem.named(float(x), float(y)),
            shown(point.volumes[deepest], "volume", system),
            shown(point.own_volumes[deepest], "volume", system),
            shown(float(drains[point.exits[:, 0], point.exits[:, 1]].sum()), "ground", system),
            ends]))
    return rows


def whole_words(plan: Plan) -> str:
    """Surface and ground of each whole road or patch of the rows, once; empty without any."""
    listed = dict.fromkeys(id(shed) for shed, _ in plan.ranked_shed_points[:MOST_SHED_ROWS])
    by = {id(shed): shed for shed in plan.sheds}
    said = [f"{by[i].name} {shown(by[i].area, 'ground', plan.site.units)} of surface, and "
            f"{shown(by[i].catchment.area, 'ground', plan.site.units)} drain to it, itself included"
            for i in listed]
    left = len(plan.ranked_shed_points) - MOST_SHED_ROWS
    return (("Each as a whole: " + "; ".join(said) + "." if said else "")
            + (f" {left} more {'place' if left == 1 else 'places'}, of less water, "
               f"{'stands' if left == 1 else 'stand'} in plan.json." if left > 0 else ""))


def point_facts(plan: Plan) -> list[list[tuple[str, str]]]:
    """The same of the places where roads and bare ground shed that are listed."""
    deepest = max(plan.site.rain.storms, key=lambda storm: storm.depth).name
    return [[("at", row.cells[1]), (f"of the water, in “{deepest}”, fell on it", row.cells[3]),
             ("ground that drains here", row.cells[4]), ("meets", row.cells[5])]
            for row in shed_rows(plan)]
