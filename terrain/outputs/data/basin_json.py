"""What programs read of a basin alone: wall, pit, spillway, catch, months."""

from __future__ import annotations

from typing import Any

import numpy as np

from terrain.inputs.dem import Dem
from terrain.plan.water.basin_facts import BasinFacts
from terrain.plan.water.catches import CatchCurve
from terrain.works.basin import Basin
from terrain.works.rules import Rulebook

#: A wall's profile is written at stations about so far apart. [m]
APART = 2.5


def basin_parts(basin: Basin, dem: Dem, rules: Rulebook) -> dict[str, Any]:
    """Wall and pit of a basin, and the place where water would get round its wall."""
    found: dict[str, Any] = {"form": basin.form, "deepest_water_m": basin.deepest_water}
    if basin.profile is not None:
        wall = basin.profile
        length = float(wall.stations[-1])
        at = np.linspace(0.0, length, max(int(np.ceil(length / APART)), 1) + 1)
        ground, built = (np.interp(at, wall.stations, of) for of in (wall.ground, wall.built))
        found |= {
            "wall_top_m": wall.top, "wall_wet_slope": wall.wet_slope,
            "wall_dry_slope": wall.dry_slope, "wall_settlement": wall.settlement,
            "wall_m3": wall.earth, "wall_built_m3": wall.earth_built, "cutoff_m3": wall.cutoff,
            "cutoff_depth_m": wall.cutoff_depth, "cutoff_width_m": wall.cutoff_width,
            "topsoil_m3": basin.topsoil, "fill_m3": basin.fill, "usable_cut_m3": basin.usable,
            "spare_m3": basin.spare(rules),
            "wall_profile": [{"station_m": s, "ground_m": g, "crest_m": wall.crest,
                              "crest_built_m": b}
                             for s, g, b in zip(at, ground, built, strict=True)]}
        low = basin.outflank
        found["outflank"] = None if low is None else {
            "level_m": low.level, "at": [float(v) for v in dem.frame.to_source(low.x, low.y)]}
    if basin.rim is not None:
        found |= {"pit_m3": basin.pit, "pit_depth_m": basin.pit_depth, "pit_floor_m": basin.floor,
                  "pit_balanced": basin.balanced}
    return found


def curve_points(curve: CatchCurve) -> list[dict[str, float]]:
    """Caught against rain, on ground as it is said to be, on dry and on wet."""
    return [{"rain_mm": rain, "caught_m3": caught, "caught_dry_m3": dry, "caught_wet_m3": wet}
            for rain, caught, dry, wet in zip(curve.rain, curve.caught, curve.dry, curve.wet,
                                              strict=True)]


def basin_facts_of(facts: BasinFacts) -> dict[str, Any]:
    """Spillway, forebay, catch and months."""
    over = facts.spillway
    return {
        "spillway": {"storm": facts.design, "freeboard_m": over.freeboard,
                     "velocity_m_s": over.velocity, "lining": over.lining},
        "forebay_m3": list(facts.forebay), "empties_in_time": facts.empties_in_time,
        "caught_range": {storm.name: {"caught_dry_m3": storm.dry, "caught_m3": storm.caught,
                                      "caught_wet_m3": storm.wet} for storm in facts.catches},
        "caught_curve": curve_points(facts.curve),
        "months": {year.name: [
            {"month": m.month, "comes_m3": m.comes, "evaporated_m3": m.evaporated,
             "seeped_m3": m.seeped, "used_m3": m.used, "spilled_m3": m.spilled,
             "gained_m3": m.gained, "stands_m3": m.stands, "depth_m": m.depth,
             "wanted_m3": m.wanted, "dry_days": m.dry_days}
            for m in year.months] for year in facts.years}}
