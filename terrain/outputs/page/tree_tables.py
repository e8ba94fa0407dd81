"""The report's tables of trees: what each gets, month by month, and how many water would carry."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from terrain.plan.planned import Plan
from terrain.plan.water.tree_life import TreeLife, TreeMonths, together
from terrain.plan.water.trees_carried import MOST_TREES, RAIN_ALONE, Carried, Count
from terrain.runoff.rain_years import months_from
from terrain.units import shown, soil_water
from terrain.works.tree_basin import TreeShape
from terrain.works.tree_stand import TreeStand


@dataclass(frozen=True)
class MonthTable:
    """The months of one entry's trees in one year."""

    name: str
    rows: list[tuple[str, list[str]]]
    open: bool


def tree_rows(plan: Plan) -> list[tuple[str, list[str]]]:
    """One row a tree, or all trees of a swale or basin: want and what they get of it."""
    if plan.year is None:
        return []
    system = plan.site.units
    volume = partial(shown, dimension="volume", system=system, decimals=2)
    given = {entry.name: entry.infiltrated for entry in plan.year.entries}
    rows = []
    for planned, node in zip(plan.stores, plan.cascade.nodes, strict=True):
        shape, stand = planned.placed.tree, planned.placed.stand
        if (shape is None and stand is None) or planned.trees_need is None:
            continue
        life = planned.life
        gap = "none" if life is None or not life.gap_days else (
            f"{life.gap_days} days from {life.gap_starts}".replace("-", "\u2011"))  # a day whole
        rows.append((planned.store.name, [
            *_form(shape, stand), volume(planned.trees_need),
            volume(given[planned.store.name])
            + ("" if stand is None else f", {stand.reach:.0%} of it to the roots"),
            "unknown" if life is None else f"{life.months[0].share:.0%}", gap,
            "unknown" if life is None else f"{life.short_days:.0f}",
            shown(node.catchment.area, "ground", system),
            "its ground never sheds" if planned.trees_catchment is None else
            shown(planned.trees_catchment, "ground", system)]))
    return rows


def _form(shape: TreeShape | None, stand: TreeStand | None) -> tuple[str, str]:
    if shape is not None:
        return shape.form, shape.decided
    assert stand is not None
    return f"{stand.count} beside it", "–"


def month_tables(plan: Plan) -> list[MonthTable]:
    """What the trees of each entry want and get by months, in an average, a dry and a wet year."""
    lives: dict[str, list[TreeLife]] = {}
    for planned in plan.stores:
        if planned.life is not None:
            lives.setdefault(planned.placed.work.name, []).append(planned.life)
    found: list[MonthTable] = []
    stands = {p.placed.work.name: p.placed.stand for p in plan.stores if p.placed.stand is not None}
    for name, trees in lives.items():
        number = stands[name].count if name in stands else len(trees)
        count = f", {number} trees together" if number > 1 else ""
        for months in together(trees):
            share = f", {months.share:.0%} of the want met"
            found.append(MonthTable(f"{name}{count}: {months.name}{share}",
                                    _months(plan, months, name in stands), not found))
    return found


def _months(plan: Plan, months: TreeMonths, beside: bool) -> list[tuple[str, list[str]]]:
    volume = partial(shown, dimension="volume", system=plan.site.units, with_unit=False,
                     decimals=0 if plan.site.units == "us" else 2)
    rows = [("wants", months.want),
            ("rain under the crowns" if beside else "rain under the crown, beside the basin",
             months.rain),
            ("soaks in" if beside else "soaks in from the basin", months.soaked),
            *([("of that soaks in out of the roots' reach", months.missed)] if beside else []),
            ("gets from its root zone", months.gets),
            ("drains out below its root zone", months.drained),
            ("root zone grows wetter by", months.gain)]
    order = months_from(plan.site.rain.start_month)
    return [(name, [*(volume(float(values[month - 1])) for month in order),
                    volume(float(values.sum()))])
            for name, values in rows]


def carried_rows(plan: Plan) -> list[tuple[str, list[str]]]:
    """How many trees each source of water would carry."""
    volume = partial(shown, dimension="volume", system=plan.site.units)
    rows = []
    before = None
    for found in plan.carried:
        source = _source(plan, found)
        rows.append(("" if source == before else source, [
            f"{found.trees.name}: crown {shown(found.trees.crown, 'length', plan.site.units)}, "
            f"factor {found.trees.factor:.2f}",
            volume(found.water_median),
            "record too short" if found.water_dry is None else volume(found.water_dry),
            *_trees(found.full), *_trees(found.some)]))
        before = source
    return rows


def _source(plan: Plan, found: Carried) -> str:
    if found.row is None or found.column is None:
        return found.source
    rank = next(i for i, (_, point) in enumerate(plan.ranked_shed_points, 1)
                if (point.row, point.column) == (found.row, found.column))
    ends = plan.stores[found.ends_at - 1].store.name if found.ends_at else ""
    return f"{found.source}, place {rank}" + (f" (on to {ends})" if ends else "")


def _trees(count: Count) -> list[str]:
    return ["-" if number is None else "rain alone is enough" if number == RAIN_ALONE else
            "a million or more" if number >= MOST_TREES else str(number)
            for number in (count.median, count.dry)]


def root_zone(plan: Plan) -> dict[str, str]:
    """The rules that the tree tables name."""
    rules = plan.inputs.rules
    return {"depth": shown(rules["tree root depth"], "length", plan.site.units),
            "water": " a ".join(soil_water(rules["available water"], plan.site.units)),
            "least": shown(1.0, "rain", plan.site.units, 2 if plan.site.units == "us" else 0),
            "by": f"{rules['tree gets by']:.0%}"}
