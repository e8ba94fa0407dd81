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
    rows = []
    for rank, (shed, point) in enumerate(plan.ranked_shed_points[:MOST_SHED_ROWS], 1):
        x, y = plan.inputs.dem.xy(point.row, point.column)
        ends = (plan.stores[point.ends_at - 1].store.name if point.ends_at
                else "leaves the site")
        rows.append(Row(str(rank), [
            shed.name, plan.inputs.dem.named(float(x), float(y)),
            shown(point.volumes[deepest], "volume", system),
            shown(point.own_volumes[deepest], "volume", system),
            shown(shed.area, "ground", system),
            shown(shed.catchment.area, "ground", system), ends]))
    return rows


def point_facts(plan: Plan) -> list[list[tuple[str, str]]]:
    """The same of the places where roads and bare ground shed that are listed."""
    deepest = max(plan.site.rain.storms, key=lambda storm: storm.depth).name
    return [[("at", row.cells[1]), (f"of the water, in “{deepest}”, fell on it", row.cells[3]),
             ("drains to all of it", row.cells[5]), ("meets", row.cells[6])]
            for row in shed_rows(plan)]
