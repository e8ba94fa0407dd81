"""How sure the plan is, for `plan.json`; documented in docs/plan-json.md."""

from __future__ import annotations

from typing import Any

from terrain.plan.doubt.doubt_found import Beside, Doubt, DoubtedStore, Headline, Range


def doubt_object(doubt: Doubt | None) -> dict[str, Any] | None:
    """The doubt as plain objects; None where the plan was not doubted."""
    if doubt is None:
        return None
    return {
        "runs": doubt.runs, "runs_of_each_alone": doubt.alone_runs, "grounds": doubt.grounds,
        "seed": doubt.seed, "design_storm": doubt.design_storm,
        "storm": _headlines(doubt.storm), "average_year": _headlines(doubt.year) or None,
        "average_year_beside": _beside(doubt),
        "one_year": _headlines(doubt.one_year) or None,
        "stores": [_store(store) for store in doubt.stores], "notes": list(doubt.notes)}


def _beside(doubt: Doubt) -> dict[str, Any] | None:
    other: Beside | None = doubt.beside
    if other is None or not doubt.year:
        return None
    return {"soil": other.soil, "inside_range": {
        name.replace(" ", "_"): doubt.year[name].together.low <= value
        <= doubt.year[name].together.high for name, value in other.figures.items()},
        **{name.replace(" ", "_") + ("" if name == "share kept" else "_m3"): value
           for name, value in other.figures.items()}}


def _range(found: Range, unit: str = "") -> dict[str, float | None]:
    return {f"plan{unit}": found.plan, f"low{unit}": found.low, f"median{unit}": found.median,
            f"high{unit}": found.high, f"low_error{unit}": found.low_error,
            f"high_error{unit}": found.high_error}


def _headlines(told: dict[str, Headline]) -> dict[str, Any]:
    found = {}
    for name, headline in told.items():
        unit = "" if name == "share kept" else "_m3"
        found[name.replace(" ", "_")] = {
            **_range(headline.together, unit), "matters_most": headline.most,
            "alone": {doubt.replace(" ", "_"): {f"low{unit}": one.low, f"high{unit}": one.high,
                                                "variance_share": headline.shares.get(doubt)}
                      for doubt, one in headline.alone.items()}}
    return found


def _store(store: DoubtedStore) -> dict[str, Any]:
    return {
        "name": store.name, "catchment": _range(store.catchment, "_m2"),
        "inflow": _range(store.arrives, "_m3"), "caught": _range(store.caught, "_m3"),
        "average_year_inflow": (None if store.arrives_year is None
                                else _range(store.arrives_year, "_m3")),
        "average_year_caught": (None if store.caught_year is None
                                else _range(store.caught_year, "_m3")),
        "chance_fills": store.fills, "plan_fills": store.plan_fills,
        "chance_never_fills": store.never_fills, "chance_other_ground": store.other_ground,
        "chance_other_spill": store.other_spill,
        "chance_leaves_elsewhere": store.leaves_elsewhere}
