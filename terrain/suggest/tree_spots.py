"""Trunks, many at a time: how the ground lies about each, what comes to it and what it needs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from terrain.inputs.dem import Dem
from terrain.inputs.site_works import Trees
from terrain.plan.siting.tree_climate import TreeClimate, tree_climate
from terrain.plan.siting.tree_design import plant_factor
from terrain.suggest.cells import onward_of
from terrain.suggest.look import Look
from terrain.suggest.tree_forms import Form, bowl_reach, bund_reach
from terrain.surface.accumulation import accumulate
from terrain.surface.sun import sun_ratio
from terrain.works.root_zone import root_zone_room
from terrain.works.tree_basin import tree_need

FloatArray = NDArray[np.float64]

#: Ground that waters a tree, over its crown's, is counted up to this: FAO AGL/MISC/17/91, 1991,
#: from memory, gives catchments of 1 to 10 times the planted ground.
MOST_RATIO = 10.0
#: As places are rounded to 1 cm, the ground about them may slope by this share more or less.
SLOPE_ROUNDING = 0.005


@dataclass(frozen=True)
class Spots:
    """Trunks of one form, many at a time; the last axis of places is x, y. [m]

    `slope`, `down` are of the plane that fits the ground; `reach` is how far its earth goes from
    the trunk; `shed` in a year, `storm` [m3] and `area` [m2] are what comes; `need` beyond rain in
    a year [m3]; `sun` beside level ground [-].
    """

    at: FloatArray
    slope: FloatArray
    down: FloatArray
    reach: FloatArray
    shed: FloatArray
    storm: FloatArray
    area: FloatArray
    need: FloatArray
    sun: FloatArray

    def some(self, chosen: Any) -> Spots:
        return Spots(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class Basis:
    """What all rows share: water that gathers at each cell, the way on, and what trees use."""

    climate: TreeClimate | None
    factor: float
    latitude: float | None
    shed: FloatArray | None
    storm: FloatArray
    area: FloatArray
    onward: NDArray[np.int64]
    channel_away: FloatArray

    @classmethod
    def of(cls, look: Look) -> Basis:
        inputs, terrain = look.inputs, look.inputs.terrain
        dem = inputs.dem
        climate = tree_climate(inputs.site, inputs.record, inputs.evaporation,
                               inputs.ground.curve_number, inputs.hydrology.rule, inputs.rules)
        shed = (None if climate is None else
                accumulate(terrain.direction, np.nan_to_num(climate.shed) * dem.cell_area / 1000))
        middle = dem.frame.to_lonlat(*inputs.ground.boundary.representative_point().coords[0])
        away = (ndimage.distance_transform_edt(~look.channel) * dem.cell - dem.cell
                if look.channel.any() else np.full(dem.shape, np.inf))
        trees = look.asked.trees
        planted = Trees.model_validate({"crown": trees.crown, "count": 1, "tree": trees.tree,
                                        "plant factor": trees.plant_factor})
        factor, _ = plant_factor(planted, "suggest, trees", inputs.rules)
        return cls(climate, factor, None if middle is None else float(middle[1]), shed,
                   accumulate(terrain.direction, look.design_runoff), terrain.contributing_area,
                   onward_of(terrain.direction), away)


def fitting_spots(look: Look, basis: Basis, form: Form, at: FloatArray
                  ) -> tuple[NDArray[np.int64], Spots]:
    """Which of many trunks may stand where they are: by slope, catchment, and room for all their
    earth; and these."""
    dem, rules = look.inputs.dem, look.inputs.rules
    slope, down = _lies(dem, at, form.radius)
    fit = np.flatnonzero((slope >= form.flattest * (1 + SLOPE_ROUNDING))
                         & (slope <= form.steepest * (1 - SLOPE_ROUNDING)))
    reach = (bund_reach(slope[fit], form.radius, rules) if form.form == "crescent" else
             bowl_reach(slope[fit], form.radius, rules).max(axis=-1))
    row, column = dem.row_column(*at[fit].T)
    far = reach + dem.cell / 2  # a trunk stands anywhere in its cell
    roomy = (look.room[row, column] > far) & (basis.channel_away[row, column] > far)
    fit, reach = fit[roomy], reach[roomy]
    gathered = [basis.storm, basis.area] + ([] if basis.shed is None else [basis.shed])
    storm, area, *shed = _comes(dem, basis.onward, gathered, at[fit], form, down[fit])
    few = area <= rules["tree catchment largest"]
    fit = fit[few]
    sun, need = _needs(look, basis, slope[fit], down[fit])
    return fit, Spots(at[fit], slope[fit], down[fit], reach[few], (shed[0] if shed else storm)[few],
                      storm[few], area[few], need, sun)


def _needs(look: Look, basis: Basis, slope: FloatArray, down: FloatArray
           ) -> tuple[FloatArray, FloatArray]:
    """Sun beside level ground [-], and what trees need beyond rain in a year [m3]."""
    aspect = np.degrees(np.arctan2(down[:, 0], down[:, 1])) % 360
    sun = (np.ones(len(slope)) if basis.latitude is None else
           sun_ratio(slope, aspect, basis.latitude))
    evaporation = look.inputs.evaporation
    if evaporation is None:
        return sun, np.full(len(slope), np.inf)
    rain = 0.0 if basis.climate is None else basis.climate.rain
    return sun, np.array([tree_need(evaporation.year * bright, basis.factor, look.asked.trees.crown,
                                    rain) for bright in sun.tolist()])


def _lies(dem: Dem, at: FloatArray, radius: float) -> tuple[FloatArray, FloatArray]:
    """Slope and way down of the planes that fit the ground, as `terrain.works.lie.lie_of`.

    Returns
    -------
    slope : float64, shape (n,)
        NaN where some ground is not known. [m/m]
    down : float64, shape (n, 2)
        Unit vectors.
    """
    radius = max(radius, 1.5 * dem.cell)
    steps = np.linspace(-radius, radius, 13)
    east, north = (part.ravel() for part in np.meshgrid(steps, steps))
    within = np.hypot(east, north) <= radius * (1 + 1e-9)
    east, north = east[within], north[within]
    heights = dem.height_at(at[:, :1] + east, at[:, 1:] + north)
    fit = np.linalg.pinv(np.stack([east, north, np.ones(east.size)], 1))[:2]
    rise = heights @ fit.T
    slope = np.hypot(*rise.T)
    level = (slope < 1e-9)[:, None]
    down = np.where(level, np.array([0.0, -1.0]), -rise / np.maximum(slope, 1e-9)[:, None])
    return slope, down


def _comes(dem: Dem, onward: NDArray[np.int64], gathered: list[FloatArray], at: FloatArray,
           form: Form, down: FloatArray) -> list[FloatArray]:
    """What gathers at the cells of each bowl or crescent, each drop once.

    Of all its cells, less what one hands on to another of them.
    """
    span = int(form.radius / dem.cell) + 1
    steps = np.arange(-span, span + 1)
    rows, columns = dem.shape
    row, column = dem.row_column(*at.T)
    r = np.clip(row[:, None, None] + steps[:, None], 0, rows - 1)
    c = np.clip(column[:, None, None] + steps, 0, columns - 1)
    r, c = np.broadcast_arrays(r, c)
    x, y = dem.xy(r, c)
    east, north = x - at[:, 0, None, None], y - at[:, 1, None, None]
    half = dem.cell / 2
    near = np.hypot(np.maximum(abs(east) - half, 0), np.maximum(abs(north) - half, 0))
    own = near <= form.radius
    if form.form == "crescent":
        own &= east * down[:, 0, None, None] + north * down[:, 1, None, None] >= -half
    cells = r * columns + c
    to = onward[cells]
    to_row, to_column = to // columns - row[:, None, None] + span, (
        to % columns - column[:, None, None] + span)
    there = ((to >= 0) & (to_row >= 0) & (to_row <= 2 * span) & (to_column >= 0)
             & (to_column <= 2 * span))
    which = np.broadcast_to(np.arange(len(at))[:, None, None], own.shape)
    handed = np.zeros(own.shape, bool)
    handed[there] = own[which[there], to_row[there], to_column[there]]
    last = own & ~handed
    return [np.where(last, np.nan_to_num(values.ravel())[cells], 0.0).sum(axis=(1, 2))
            for values in gathered]


def counted(look: Look, spots: Spots, comes: FloatArray) -> FloatArray:
    """Of what comes, that from as much ground as counts."""
    ground = MOST_RATIO * np.pi * look.asked.trees.crown**2 / 4
    return np.asarray(comes * np.minimum(ground / np.maximum(spots.area, 1e-9), 1.0))


def share_met(look: Look, spots: Spots) -> float:
    """The share of what the trees of a row need that comes to them, none of it twice. [-]"""
    crown = math.pi * look.asked.trees.crown**2 / 4
    roots = root_zone_room(crown, look.inputs.rules, None)
    want = np.where(np.isfinite(spots.need), spots.need, roots)
    used = look.inputs.rules["harvest efficiency"] * counted(look, spots, spots.shed)
    return float(np.minimum(used, want).sum() / max(want.sum(), 1e-9)) if want.sum() > 0 else 1.0
