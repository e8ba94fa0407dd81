"""What `plan.json` says of trees."""

from __future__ import annotations

from typing import Any

from terrain.plan.planned import Plan
from terrain.plan.water.tree_life import TreeLife, TreeMonths
from terrain.plan.water.trees_carried import RAIN_ALONE, Carried
from terrain.works.tree_basin import TreeShape
from terrain.works.tree_stand import TreeStand


def tree_facts(shape: TreeShape, life: TreeLife | None) -> dict[str, Any]:
    """A tree basin's own keys."""
    found: dict[str, Any] = {
        "form": shape.form, "crown_m": shape.crown, "plant_factor": shape.factor,
        "plant_factor_source": shape.kind, "sized_by": shape.decided, "depth_m": shape.depth}
    if shape.form == "trench":
        found |= {"length_m": shape.length, "width_m": shape.width, "porosity": shape.porosity}
    if shape.crescent is not None:
        bund = shape.crescent
        found |= {"radius_m": bund.radius, "bund_height_built_m": bund.bund_height,
                  "ground_slope": bund.slope, "storage_on_even_slope_m3": bund.closed_form}
    return found | _life_facts(life)


def stand_facts(stand: TreeStand, life: TreeLife | None) -> dict[str, Any]:
    """Keys of a swale or basin that states trees."""
    return {"trees": {"name": stand.name, "count": stand.count, "crown_m": stand.crown,
                      "plant_factor": stand.factor, "plant_factor_source": stand.kind,
                      "seepage_to_roots_share": stand.reach, **_life_facts(life, missed=True)}}


def _life_facts(life: TreeLife | None, missed: bool = False) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if life is not None:
        found |= {"root_zone_m3": life.room, "longest_gap_days": life.gap_days,
                  "longest_gap_starts": life.gap_starts, "short_days_year": life.short_days,
                  "tree_months": [_months(months, missed) for months in life.months]}
    return found


def _months(months: TreeMonths, missed: bool) -> dict[str, Any]:
    return {"year": months.name, "share": months.share,
            **{f"{name}_m3": [float(v) for v in getattr(months, name)]
               for name in ("want", "rain", "soaked", "missed", "gets", "drained", "gain")
               if missed or name != "missed"}}


def carried_facts(plan: Plan, found: Carried) -> dict[str, Any]:
    """How many trees one source of water would carry."""
    at = None
    if found.row is not None and found.column is not None:
        dem = plan.inputs.dem
        x, y = dem.frame.to_source(*dem.xy(found.row, found.column))
        at = [float(x), float(y)]
    return {"source": found.source, "kind": found.kind, "at": at, "tree": found.trees.name,
            "crown_m": found.trees.crown, "plant_factor": found.trees.factor,
            "water_median_m3_year": found.water_median, "water_dry_m3_year": found.water_dry,
            "trees_full_median": _number(found.full.median),
            "trees_full_dry": _number(found.full.dry),
            "trees_some_median": _number(found.some.median),
            "trees_some_dry": _number(found.some.dry),
            "rain_alone_full_median": found.full.median == RAIN_ALONE,
            "rain_alone_full_dry": found.full.dry == RAIN_ALONE,
            "rain_alone_some_median": found.some.median == RAIN_ALONE,
            "rain_alone_some_dry": found.some.dry == RAIN_ALONE}


def _number(trees: int | None) -> int | None:
    """None where rain alone is enough for any number."""
    return None if trees == RAIN_ALONE else trees
