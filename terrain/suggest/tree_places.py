"""Rows of trees on contour, each tree in a bowl or behind a crescent, that water could reach."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import count
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial.distance import pdist

from terrain.inputs.dem import Dem
from terrain.inputs.site_keep_clear import DEEP
from terrain.inputs.site_works import TreeBasin
from terrain.plan.siting.tree_climate import TreeClimate, tree_climate
from terrain.plan.siting.tree_design import plant_factor
from terrain.suggest.candidate import Candidate
from terrain.suggest.look import Look
from terrain.surface.accumulation import accumulate
from terrain.surface.contours import contours
from terrain.surface.neighbours import COLUMN_STEP, ROW_STEP
from terrain.surface.sun import sun_ratio
from terrain.units import in_both
from terrain.works.crescent import chord_offset, crescent_volume
from terrain.works.root_zone import root_zone_room
from terrain.works.rules import Rulebook
from terrain.works.tree_basin import bowl, depth_for, tree_need

FloatArray = NDArray[np.float64]

#: A row has so many trees; common practice, no source.
COUNTS = (4, 8, 12)
#: Bowls are dug on ground up to so steep; common practice, no source. [m/m]
BOWL_STEEPEST = 0.10
#: Ground that waters a tree, over its crown's, is counted up to this: FAO AGL/MISC/17/91, 1991,
#: from memory, gives catchments of 1 to 10 times the planted ground.
MOST_RATIO = 10.0
#: Contours lie so many crowns apart on open ground of the usual slope; common practice, no source.
ROWS_APART = 2.0
#: Places along a contour are tried so far apart, and lines keep so close to their level. [m]
STEP, ON_LEVEL = 0.25, 0.05
#: Beside a place where no tree can stand a row goes on, if its next tree is no further off than
#: so many of its usual gaps; common practice, no source.
LEFT_OUT = 3.0
#: Crescents of a row that hold less than this share of what they would on an even slope, all
#: together and each, are left out: their ground is uneven. Common practice, no source.
EVEN, EACH_EVEN = 0.6, 0.25
#: Places in a bowl or crescent on which the ground is sampled, to each side. [-]
ACROSS = 32
#: Corners of a drawn bowl, and points along a bund.
CORNERS, RIDGE = 24, 61
#: The way down about a tree may be so far from square to its contour. [degrees]
ASKEW = 30.0
#: What is left between two of them for places rounded to 1 cm. [m]
ROUNDING = 0.03
#: As those are, the ground about them may slope by this share more or less.
SLOPE_ROUNDING = 0.005


@dataclass(frozen=True)
class _Form:
    """A bowl or crescent as the search tries it; `radius` is that of its rim or arc. [m]"""

    form: str
    radius: float
    flattest: float
    steepest: float


@dataclass(frozen=True)
class _Spots:
    """Trunks of one form, many at a time; the last axis of places is x, y. [m]

    `slope`, `down` are of the plane that fits the ground; `reach` is how far its earth goes from
    the trunk, and `broad` how far along the contour; `shed` in a year, `storm` [m3] and `area`
    [m2] are what comes; `need` beyond rain in a year [m3]; `sun` beside level ground [-].
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

    def some(self, chosen: Any) -> _Spots:
        return _Spots(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class _Row:
    """A row before it is laid out: its form, spots, and the share of their need that comes."""

    form: _Form
    spots: _Spots
    share: float


def tree_places(look: Look, most: int) -> list[Candidate]:
    """Rows of 4, 8 and 12 trees on contour, best first: those whose need is met best.

    Bowls lie where the ground slopes up to 10 %, crescents where it slopes between the rules'
    `crescent flattest` and `crescent steep`, at half the crown and at twice that.  Trees stand as
    far apart as is asked for (their crowns if nothing is), and farther where their earth would
    touch.  What comes to a tree counts from ground up to 10 times its crown's; no tree has a
    catchment beyond the rules' `tree catchment largest`.  Its need is that of its plant factor by
    the sun that its slope gets, less rain.

    Parameters
    ----------
    most : int
        Rows at most.
    """
    basis = _Basis.of(look)
    rows: list[_Row] = []
    lines = _lines(look)
    for form in _forms(look):
        rows += _rows(look, basis, form, lines)
    order = sorted(range(len(rows)), key=lambda i: (-round(rows[i].share, 6),
                                                    -len(rows[i].spots.at), i))
    found: list[Candidate] = []
    names = free_names(look, "tree row")
    name = next(names)
    for i in order:
        if len(found) == most:
            break
        made = _laid(look, basis, rows[i], name)
        if made is not None:
            found.append(made)
            name = next(names)
    return found


@dataclass(frozen=True)
class _Basis:
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
    def of(cls, look: Look) -> _Basis:
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
        example = _work(look, "tree row", _Form("bowl", trees.crown / 2, 0, 1), [(0.0, 0.0)], 0.2)
        factor, _ = plant_factor(example, "suggest, trees", inputs.rules)
        return cls(climate, factor, None if middle is None else float(middle[1]), shed,
                   accumulate(terrain.direction, look.design_runoff), terrain.contributing_area,
                   onward_of(terrain.direction), away)


def _forms(look: Look) -> list[_Form]:
    rules, crown = look.inputs.rules, look.asked.trees.crown
    flat, steep = rules["crescent flattest"], rules["crescent steep"]
    least = max(crown / 2, rules["crescent narrowest"])
    found = [_Form("bowl", crown / 2, 0.0, BOWL_STEEPEST)]
    found += [_Form("crescent", radius, flat, min(steep, rules["swale steepest"]))
              for radius in sorted({least, max(min(2 * least, rules["crescent widest"]), least)})]
    return found


def _lines(look: Look) -> list[FloatArray]:
    """Contours of the ground on which earth may be moved."""
    soft, crown = look.soft, look.asked.trees.crown
    slope = _even_slope(look.inputs.dem, crown / 2)
    open_ground = (look.room > crown / 2) & (slope <= BOWL_STEEPEST)
    if not open_ground.any():
        return []
    usual = float(np.median(slope[open_ground]))
    apart = max(ROWS_APART * crown * usual, 2 * ON_LEVEL)
    near = ndimage.binary_dilation(open_ground, np.ones((3, 3)), 2)
    part = replace(soft, heights=np.where(near, soft.heights, np.nan).astype(np.float32))
    heights = soft.heights[open_ground]
    levels = np.arange(math.floor(np.nanmin(heights) / apart) + 0.5,
                       math.ceil(np.nanmax(heights) / apart)) * apart
    traced = contours(part, levels.tolist(), ON_LEVEL)
    return [line for lines in traced for line in lines]


def _rows(look: Look, basis: _Basis, form: _Form, lines: list[FloatArray]) -> list[_Row]:
    """Rows of one form along the contours."""
    even_slope = _even_slope(look.inputs.dem, form.radius)
    runs = [np.concatenate(parts) for line in lines
            if (parts := list(_open_runs(look, basis, form, line, even_slope)))]
    if not runs:
        return []
    spots = _spots(look, basis, form, np.concatenate(runs))
    largest = look.inputs.rules["tree catchment largest"]
    fit = ((spots.slope >= form.flattest * (1 + SLOPE_ROUNDING))
           & (spots.slope <= form.steepest * (1 - SLOPE_ROUNDING))
           & (spots.area <= largest) & _roomy(look, basis, spots))
    trees = look.asked.trees
    first = 0
    found = []
    for run in runs:
        stands = first + np.flatnonzero(fit[first:first + len(run)])
        first += len(run)
        gaps = np.hypot(*np.diff(spots.at[stands], axis=0).T)
        usual = np.maximum(2 * _broad(look, form, spots.slope[stands[:-1]]),
                           trees.spacing or trees.crown)
        for stretch in np.split(stands, np.flatnonzero(gaps > LEFT_OUT * usual) + 1):
            for many in COUNTS:
                for k in range(0, len(stretch) - many + 1, many):
                    chosen = spots.some(stretch[k:k + many])
                    found.append(_Row(form, chosen, _share(look, chosen)))
    return found


def _even_slope(dem: Dem, radius: float) -> FloatArray:
    """Slope of the ground about each cell, as the planes that fit it have; NaN where unknown."""
    size = 2 * round(max(radius, 1.5 * dem.cell) / dem.cell) + 1
    known = np.isfinite(dem.heights)
    heights = np.where(known, dem.heights, np.nanmean(dem.heights)).astype(np.float64)
    down, right = (ndimage.uniform_filter(part, size) for part in np.gradient(heights, dem.cell))
    return np.where(known, np.hypot(down, right), np.nan)


def _open_runs(look: Look, basis: _Basis, form: _Form, line: FloatArray, even_slope: FloatArray
               ) -> Iterator[FloatArray]:
    """Trunks along the open stretches of a contour, each as far from the last as they need."""
    dem = look.inputs.dem
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.arange(STEP, length[-1], STEP)
    if not at.size:
        return
    points = np.stack([np.interp(at, length, line[:, k]) for k in (0, 1)], 1)
    row, column = dem.row_column(*points.T)
    slope = even_slope[row, column]
    # A first look: wide enough that what the fitted plane allows is not lost.
    fits = ((look.room[row, column] > form.radius) & (basis.channel_away[row, column] > form.radius)
            & (slope <= 1.2 * form.steepest) & (slope >= form.flattest / 2))
    trees = look.asked.trees
    for start, end in _stretches(fits):
        here = points[start:end]
        broad = _broad(look, form, np.minimum(slope[start:end], form.steepest))
        picked, last = [0], 0
        while True:
            ahead = here[last + 1:]
            gap = np.maximum(broad[last] + broad[last + 1:], trees.spacing or trees.crown)
            far = np.hypot(*(ahead - here[last]).T) >= gap + ROUNDING
            if not far.any():
                break
            last += 1 + int(np.argmax(far))
            picked.append(last)
        yield here[picked]


def _stretches(fits: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and one after the last of each run of true values."""
    change = np.flatnonzero(np.diff(np.concatenate([[False], fits, [False]]).astype(np.int8)))
    return list(zip(change[::2].tolist(), change[1::2].tolist(), strict=True))


def _bowl_reach(slope: FloatArray, radius: float, rules: Rulebook) -> FloatArray:
    """How far the earth of a bowl goes from its trunk, by the angle from uphill. [m]

    Its sides are drawn from the lowest ground on its rim, so uphill they come out further off.
    """
    side = rules["tree bowl side slope"]
    uphill = np.cos(np.linspace(0.0, 2 * np.pi, CORNERS, endpoint=False))
    rise = slope[..., None] * radius * (1 + uphill)
    return np.asarray(radius + side * rise / (1 - side * slope[..., None] * np.maximum(uphill, 0)))


def _bund_reach(slope: FloatArray, radius: float, rules: Rulebook) -> FloatArray:
    """How far the toe of a crescent's bund lies from its trunk. [m]"""
    deep = np.minimum(rules["crescent deepest"], radius * slope)
    side, top = rules["crescent side slope"], rules["crescent top width"]
    ridge = radius + side * (rules["berm freeboard"] + deep) + top / 2
    high = ((rules["berm freeboard"] + deep + slope * (ridge - radius))
            * (1 + rules["berm settlement"]))
    return np.asarray(np.maximum(ridge + top / 2 + side * high / (1 - side * slope),
                                 radius + top + 2 * side * high))


def _broad(look: Look, form: _Form, slope: FloatArray) -> FloatArray:
    """Half of what a bowl or crescent takes along its contour. [m]"""
    rules = look.inputs.rules
    if form.form == "crescent":
        return _bund_reach(slope, form.radius, rules)
    angles = np.linspace(0.0, 2 * np.pi, CORNERS, endpoint=False)
    toward = np.radians(np.linspace(90 - ASKEW, 90 + ASKEW, 5))
    along = np.cos(angles[:, None] - toward).max(axis=1)
    return np.asarray((_bowl_reach(slope, form.radius, rules) * along).max(axis=-1))


def _spots(look: Look, basis: _Basis, form: _Form, at: FloatArray) -> _Spots:
    dem, rules = look.inputs.dem, look.inputs.rules
    slope, down = _lies(dem, at, form.radius)
    reach = (_bund_reach(slope, form.radius, rules) if form.form == "crescent" else
             _bowl_reach(slope, form.radius, rules).max(axis=-1))
    gathered = [basis.storm, basis.area] + ([] if basis.shed is None else [basis.shed])
    storm, area, *shed = _comes(dem, basis.onward, gathered, at, form, down)
    crown, climate = look.asked.trees.crown, basis.climate
    aspect = np.degrees(np.arctan2(down[:, 0], down[:, 1])) % 360
    sun = (np.ones(len(at)) if basis.latitude is None else
           sun_ratio(slope, aspect, basis.latitude))
    evaporation = look.inputs.evaporation
    need = np.full(len(at), np.inf)
    if evaporation is not None:
        rain = 0.0 if climate is None else climate.rain
        need = np.array([tree_need(evaporation.year * bright, basis.factor, crown, rain)
                         for bright in sun.tolist()])
    return _Spots(at, slope, down, reach, shed[0] if shed else storm, storm, area, need, sun)


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
           form: _Form, down: FloatArray) -> list[FloatArray]:
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


def _roomy(look: Look, basis: _Basis, spots: _Spots) -> NDArray[np.bool_]:
    """Whether all their earth lies where it may."""
    row, column = look.inputs.dem.row_column(*spots.at.T)
    reach = spots.reach + look.inputs.dem.cell / 2  # a trunk stands anywhere in its cell
    return np.asarray((look.room[row, column] > reach)
                      & (basis.channel_away[row, column] > reach))


def _counted(look: Look, spots: _Spots, comes: FloatArray) -> FloatArray:
    """Of what comes, that from as much ground as counts."""
    ground = MOST_RATIO * np.pi * look.asked.trees.crown**2 / 4
    return np.asarray(comes * np.minimum(ground / np.maximum(spots.area, 1e-9), 1.0))


def _share(look: Look, spots: _Spots) -> float:
    """The share of what the trees of a row need that comes to them, none of it twice. [-]"""
    crown = math.pi * look.asked.trees.crown**2 / 4
    roots = root_zone_room(crown, look.inputs.rules, None)
    want = np.where(np.isfinite(spots.need), spots.need, roots)
    used = look.inputs.rules["harvest efficiency"] * _counted(look, spots, spots.shed)
    return float(np.minimum(used, want).sum() / max(want.sum(), 1e-9)) if want.sum() > 0 else 1.0


def _work(look: Look, name: str, form: _Form, at: list[tuple[float, float]], depth: float | None
          ) -> TreeBasin:
    """The entry of the site file."""
    trees = look.asked.trees
    entry: dict[str, Any] = {
        "name": name, "kind": "tree basin", "form": form.form, "at": [list(p) for p in at],
        "crown": trees.crown}
    optional = {"radius": form.radius if form.form == "crescent" else None, "depth": depth,
                "tree": trees.tree, "plant factor": trees.plant_factor,
                "infiltration": look.asked.infiltration}
    entry |= {field: value for field, value in optional.items() if value is not None}
    return TreeBasin.model_validate(entry)


def _laid(look: Look, basis: _Basis, row: _Row, name: str) -> Candidate | None:
    """A row laid out; None where it cannot lie there."""
    inputs, form = look.inputs, row.form
    dem, rules, spots = inputs.dem, inputs.rules, row.spots
    if pdist(spots.at).min() < look.asked.trees.crown:  # the contour turns back on itself
        return None
    cells = np.stack(dem.row_column(*spots.at.T), 1)
    slowest = min(look.soaks(cells[i:i + 1]).rate for i in range(len(cells)))
    deepest = rules["standing water"] * slowest / 1000
    if form.form == "crescent":
        deepest = min(deepest, look.asked.water_at_bank or rules["embankment water"])
    bodies = _Bodies.of_bowls if form.form == "bowl" else _Bodies.of_crescents
    depth = _depth(look, row, deepest)
    if depth is None:
        return None
    stated = None if form.form == "crescent" and depth >= float(
        (form.radius * spots.slope).max()) - 1e-9 else depth
    made = bodies(dem, row, depth, rules)
    if made is None or made.deepest > deepest:
        return None
    tight = shapely.STRtree(made.footprints)
    one, other = tight.query(made.footprints, predicate="intersects")
    if (one != other).any():
        return None
    body = shapely.union_all(made.footprints)
    under = touched(dem, made.footprints)
    deep = 0.0 if form.form == "crescent" else depth + float(2 * form.radius * spots.slope.max())
    if (look.room[tuple(under.T)] <= 0).any() or over_rock(look, body, deep):
        return None
    own = touched(dem, made.outlines)
    cost = look.cost(float(made.dig.sum()), float(made.bank.sum()), look.soil_of(own),
                     trees=len(spots.at), seeded=float(made.seeded))
    lowest = int(np.argmin(made.levels))
    work = _work(look, name, form, [look.stated(*p) for p in spots.at.tolist()], stated)
    return Candidate(
        name, "tree row", (work,), own, spill_of(dem, basis.onward, own, *made.spills[lowest]),
        body, float(made.storage.sum()), float(made.water.sum()),
        look.soaks(own).rate, cost, made.deepest if form.form == "crescent" else 0.0, len(spots.at),
        look.asked.trees.crown, _said(look, row))


def _depth(look: Look, row: _Row, deepest: float) -> float | None:
    """Depth of a row's bowls or crescents, none deeper than drains in time; None for no depth.

    A crescent's is as much as the ground falls; all get the same where that would not drain.
    """
    rules, spots, form = look.inputs.rules, row.spots, row.form
    if form.form == "crescent":
        usual = min(float((form.radius * spots.slope).max()), rules["crescent deepest"])
        if usual <= deepest:
            return usual
        least = min(deepest, float((form.radius * spots.slope).min()) - 0.005)
        depth = math.floor(100 * least + 1e-9) / 100
        return depth if depth > 0 else None
    roots = root_zone_room(math.pi * look.asked.trees.crown**2 / 4, rules, None)
    wanted = np.minimum(np.minimum(_counted(look, spots, spots.storm), spots.need), roots)
    depth = min(depth_for(2 * form.radius, float(np.median(wanted)), rules),
                math.floor(100 * deepest + 1e-9) / 100)
    shallowest = min(rules["tree bowl shallowest"],
                     0.9 * form.radius / rules["tree bowl side slope"])
    return depth if depth >= shallowest - 1e-9 else None


@dataclass(frozen=True)
class _Bodies:
    """Earth and water of each tree of a row."""

    outlines: NDArray[Any]
    footprints: NDArray[Any]
    levels: FloatArray
    storage: FloatArray
    water: FloatArray
    dig: FloatArray
    bank: FloatArray
    seeded: float
    spills: FloatArray
    deepest: float

    @classmethod
    def of_bowls(cls, dem: Dem, row: _Row, depth: float, rules: Rulebook) -> _Bodies | None:
        """Bowls: what they hold in closed form, and their cut from the ground."""
        spots, radius, side = row.spots, row.form.radius, rules["tree bowl side slope"]
        outlines = shapely.buffer(shapely.points(spots.at), radius)
        ring = shapely.get_coordinates(outlines).reshape(len(spots.at), -1, 2)
        heights = dem.height_at(ring[..., 0], ring[..., 1])
        lowest = heights.argmin(axis=1)
        levels = heights.min(axis=1)
        curve = bowl(2 * radius, depth, 0.0, rules)
        reach = float(spots.reach.max())
        step = 2 * reach / ACROSS
        middles = (np.arange(ACROSS) + 0.5) * step - reach
        east, north = (part.ravel() for part in np.meshgrid(middles, middles))
        apart = np.hypot(east, north) - radius
        over = dem.height_at(spots.at[:, :1] + east, spots.at[:, 1:] + north) - levels[:, None]
        above = np.maximum(np.maximum(over, 0) - np.maximum(apart, 0) / side, 0)
        lies_open = np.where(apart < 0, np.minimum(np.maximum(-over, 0),
                                                   np.minimum(-apart / side, depth)), 0)
        dig = curve.capacity + (above - lies_open).sum(axis=1) * step**2
        if not np.isfinite(dig).all():
            return None
        many = len(spots.at)
        loose = float(dig.sum()) * rules["loose per bank loam"]
        return cls(outlines, _drawn_bowls(row, rules), levels, np.full(many, curve.capacity),
                   np.full(many, float(curve.areas[-1])), dig, np.zeros(many),
                   loose / rules["spoil thickness"], ring[np.arange(many), lowest], depth)

    @classmethod
    def of_crescents(cls, dem: Dem, row: _Row, depth: float, rules: Rulebook) -> _Bodies | None:
        """Crescents as `terrain.works.crescent.crescent_at` lays them out, all at once."""
        spots, radius = row.spots, row.form.radius
        side, top = rules["crescent side slope"], rules["crescent top width"]
        deep = np.minimum(depth, radius * spots.slope)
        chord = np.array([chord_offset(radius, float(d), float(s))
                          for d, s in zip(deep, spots.slope, strict=True)])
        angle = np.arccos(np.minimum(chord / radius, 1.0))
        turn = np.linspace(-1.0, 1.0, RIDGE)
        arc = _around(spots, np.full(len(deep), radius), angle[:, None] * turn)
        tips = dem.height_at(arc[:, [0, -1], 0], arc[:, [0, -1], 1])
        levels, lower = tips.min(axis=1), tips.argmin(axis=1)
        step = 2 * radius / ACROSS
        middles = (np.arange(ACROSS) + 0.5) * step - radius
        along, across = (part.ravel() for part in np.meshgrid(middles, middles))
        within = ((np.hypot(along, across) <= radius)
                  & (along >= chord[:, None]))
        x, y = _moved(spots, along[None, :], across[None, :])
        under = np.where(within, np.maximum(levels[:, None] - dem.height_at(x, y), 0), 0)
        storage = under.sum(axis=1) * step**2
        even = np.array([crescent_volume(radius, float(d), float(s))
                         for d, s in zip(deep, spots.slope, strict=True)])
        if not (storage.sum() >= EVEN * even.sum() and (storage >= EACH_EVEN * even).all()):
            return None
        crest = levels + rules["berm freeboard"]
        far = radius + side * (crest - (levels - deep)) + top / 2
        angle = np.arccos(np.minimum(chord / far, 1.0))
        around = angle[:, None] * turn
        ridge = _around(spots, far, around)
        ground = dem.height_at(ridge[..., 0], ridge[..., 1])
        built = np.maximum(crest[:, None] - ground, 0) * (1 + rules["berm settlement"])
        inward = far[:, None] * (angle[:, None] - abs(around))
        stands = np.clip(levels[:, None] - ground + inward / side, 0, built)
        ends = (top + 2 * side * (built - stands) + side * stands) * stands
        bank = np.trapezoid(ends, around, axis=1) * far
        wide = top + 2 * side * built.max(axis=1)[:, None] * (1 - turn**2)
        outer = _around(spots, radius + wide, np.arccos(np.minimum(chord / radius, 1.0))[:, None]
                        * turn)
        if not np.isfinite(bank).all():
            return None
        whole = shapely.polygons(np.concatenate([arc, outer[:, ::-1]], axis=1))
        pools = shapely.polygons(np.concatenate([arc, arc[:, :1]], axis=1))
        chosen = np.where(lower == 0, 0, RIDGE - 1)
        return cls(pools, shapely.union(whole, pools), levels, storage,
                   (under > 0).sum(axis=1) * step**2, bank / rules["compacted per bank"], bank,
                   float(shapely.area(whole).sum()), arc[np.arange(len(deep)), chosen],
                   float(under.max()))


def _moved(spots: _Spots, along: FloatArray, across: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Places so far down the slope and so far across it from the trunks. [m]"""
    down_x, down_y = spots.down[:, :1], spots.down[:, 1:]
    return (spots.at[:, :1] + along * down_x - across * down_y,
            spots.at[:, 1:] + along * down_y + across * down_x)


def _around(spots: _Spots, radius: FloatArray, turn: FloatArray) -> FloatArray:
    """Points about the trunks, by the angle from the way down the slope."""
    far = radius[:, None] if radius.ndim == 1 else radius
    return np.stack(_moved(spots, far * np.cos(turn), far * np.sin(turn)), axis=-1)


def _drawn_bowls(row: _Row, rules: Rulebook) -> NDArray[Any]:
    """The ground that bowls open, on the planes that fit it."""
    spots = row.spots
    reach = _bowl_reach(spots.slope, row.form.radius, rules)
    angles = np.linspace(0.0, 2 * np.pi, CORNERS, endpoint=False) + np.pi  # the first is uphill
    out = np.stack(_moved(spots, reach * np.cos(angles), reach * np.sin(angles)), axis=-1)
    return np.asarray(shapely.polygons(out))


def touched(dem: Dem, shapes: Any) -> NDArray[np.int64]:
    """Cells of known height that a shape or several touch, as `terrain.works.basin.cells_of` finds
    them, on no more of the raster than they need."""
    from rasterio.features import rasterize
    from rasterio.transform import from_origin

    west, south, east, north = shapely.total_bounds(shapes)
    (top, low), (left, right) = dem.row_column([west, east], [north, south])
    top, left = max(int(top) - 1, 0), max(int(left) - 1, 0)
    low, right = min(int(low) + 2, dem.shape[0]), min(int(right) + 2, dem.shape[1])
    corner = from_origin(dem.left + left * dem.cell, dem.top - top * dem.cell, dem.cell, dem.cell)
    burned = rasterize([(shape, 1) for shape in np.atleast_1d(shapes)],
                       out_shape=(low - top, right - left), transform=corner, fill=0,
                       dtype="uint8", all_touched=True)
    known = burned.astype(bool) & np.isfinite(dem.heights[top:low, left:right])
    return np.argwhere(known) + np.array([top, left])


def onward_of(direction: NDArray[np.uint8]) -> NDArray[np.int64]:
    """The cell that each cell of a raster hands its water to, -1 where water leaves; shape (cells,)
    """
    rows, columns = direction.shape
    step = ROW_STEP[direction % 8] * columns + COLUMN_STEP[direction % 8]
    own = np.arange(rows * columns).reshape(rows, columns)
    return np.asarray(np.where(direction < 8, own + step, -1).ravel())


def spill_of(dem: Dem, onward: NDArray[np.int64], own: NDArray[np.int64], x: float, y: float
             ) -> tuple[int, int]:
    """The first cell on the way down from a sill at (x, y) that is none of some cells."""
    columns = dem.shape[1]
    taken = set((own[:, 0] * columns + own[:, 1]).tolist())
    row, column = dem.row_column(x, y)
    cell = int(row) * columns + int(column)
    while cell in taken and onward[cell] >= 0:
        cell = int(onward[cell])
    return cell // columns, cell % columns


def free_names(look: Look, words: str) -> Iterator[str]:
    """Names by number, those left out that a work of the site file has."""
    taken = {work.name for work in look.inputs.site.works}
    return (name for number in count(1) if (name := f"{words} {number}") not in taken)


def over_rock(look: Look, body: Any, deep: float) -> bool:
    """Whether rock or wet ground lies too close below a floor so deep under the ground."""
    keep = look.inputs.rules["rock or wet ground below"]
    return any(thing.kind in DEEP and thing.measure is not None and thing.measure < deep + keep
               and thing.shape.intersects(body) for thing in look.inputs.ground.keep_clear)


def _said(look: Look, row: _Row) -> tuple[str, ...]:
    spots = row.spots
    ground = in_both(float(np.mean(spots.area)), "area")
    said = [f"The trees stand on one contour where the ground slopes {np.mean(spots.slope):.1%}, "
            f"and water of {ground} of ground comes to each."]
    if look.inputs.evaporation is not None and np.isfinite(spots.need).all():
        need = in_both(float(np.mean(spots.need)), "volume")
        said.append(f"A tree needs {need} a year beyond rain, as its slope gets "
                    f"{np.mean(spots.sun):.0%} of the direct sun of level ground; what comes and "
                    f"is used meets {row.share:.0%} of that.")
    return tuple(said)
