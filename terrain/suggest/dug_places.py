"""Where basins could be dug: gentle ground over which much runoff passes, beside watercourses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from shapely import Polygon

from terrain.inputs.site_works import Basin
from terrain.plan.earth.cost import loose_per_bank
from terrain.suggest.candidate import Candidate
from terrain.suggest.cells import arriving, is_open, known, onward_of, spill_below, touched
from terrain.suggest.floors import WELL_WITHIN, near_rock, soaked_depth
from terrain.suggest.look import Look
from terrain.suggest.naming import named
from terrain.suggest.spread import spread
from terrain.surface.accumulation import accumulate
from terrain.units import in_both

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Ground that falls faster is left alone; common practice, no source. [m/m]
STEEPEST = 0.10
#: Basins are tried at places so far apart or further. [m]
APART = 8.0
#: Their rims enclose so much, twice as long along the slope's contour as wide. [m2]
AREAS, LONG = (20.0, 50.0, 100.0, 200.0), 2.0
#: They are so deep at most, no shallower, and half as deep too; depths are stated to this. [m]
DEEPEST, SHALLOWEST, ROUNDED = 1.0, 0.3, 0.05
#: Sides of these, H:V, leave a floor at least so wide; common practice, no source. [-], [m]
BATTER, FLOOR = 3.0, 0.5
#: Ponds are so much deeper than fish want. [m]
DEEPER = 0.1
#: The slope of a place is that over so far each way. [m]
SLOPE_OVER = 4.0
#: The ground in and about a basin is read on cells of this side, no further out than so many times
#: its width. [m], [-]
STEP, FURTHEST = 0.5, 1.5
#: A place is looked at for each so many candidates that are wanted, and so many more, as some have
#: no room.
EACH, SPARE = 4, 10


@dataclass(frozen=True)
class _Site:
    """A place: where, the unit vector downhill, the fall [m/m], and its cell."""

    at: FloatArray
    down: FloatArray
    fall: float
    cell: tuple[int, int]


@dataclass(frozen=True)
class _Dug:
    """A basin that could be dug at a place.

    Attributes
    ----------
    long, wide, depth : float
        Of its rim, along the contour and across it; of its floor below the lowest ground on its
        rim. [m]
    low : float64, shape (2,)
        Where that lies. [m]
    storage, cut, opened : float
        [m3], [m3], [m2]
    extent : (float, float, float, float)
        Of the ground that it opens about its place: least and most along the contour, least and
        most downhill. [m]
    passing : float
        Runoff of the design storm that comes to it. [m3]
    """

    site: _Site
    long: float
    wide: float
    depth: float
    low: FloatArray
    storage: float
    cut: float
    opened: float
    extent: tuple[float, float, float, float]
    passing: float
    pond: bool

    @property
    def worth(self) -> float:
        """Runoff of the design storm that it can hold, for each m3 dug. [-]"""
        return min(self.storage, self.passing) / self.cut

    def oblong(self, extent: tuple[float, float, float, float]) -> FloatArray:
        """Corners of an oblong about its place, shape (4, 2). [m]"""
        along = np.array([self.site.down[1], -self.site.down[0]])
        left, right, top, bottom = extent
        return np.array([self.site.at + u * along + v * self.site.down for u, v in
                         ((left, top), (right, top), (right, bottom), (left, bottom))])

    @property
    def rim(self) -> FloatArray:
        """Its four corners. [m]"""
        a, b = self.long / 2, self.wide / 2
        return self.oblong((-a, a, -b, b))


def dug_places(look: Look, most: int) -> list[Candidate]:
    """Basins dug where much runoff passes, the most of it held for their earth first.

    Parameters
    ----------
    most : int
        So many at most, spread over the site: first the best of each place, then the second best,
        and so on.

    Notes
    -----
    Each is an oblong along the contour.  What it holds is the prismoidal rule's, exact for it; its
    cut is summed over cells as `terrain.works.pit` does.  Water soaks away within the rule
    "standing water"; where the ground takes in too little for that, a pond deeper than "fish
    depth" is dug.
    """
    direction = look.inputs.terrain.direction
    passing, onward = accumulate(direction, look.design_runoff), onward_of(direction)
    found = [dug for site in _sites(look, passing, most // EACH + SPARE)
             for dug in _dug_at(look, site, passing, onward)]
    chosen: list[tuple[_Dug, Candidate]] = []
    for dug in spread(found, lambda dug: dug.worth, lambda dug: dug.site.cell):
        if len(chosen) >= most:
            break
        made = _candidate(look, dug)
        if made is not None:
            chosen.append((dug, made))
    chosen.sort(key=lambda pair: -pair[0].worth)
    return named(look, "dug basin", [made for _, made in chosen])


def _sites(look: Look, passing: FloatArray, most: int) -> list[_Site]:
    """Places on gentle ground, where most passes first, some way apart."""
    dem, terrain = look.inputs.dem, look.inputs.terrain
    least = np.sqrt(AREAS[0] / LONG) / 2
    fit = ((look.room > least) & ~look.channel & (terrain.slope < STEEPEST)
           & (np.nan_to_num(passing) > 0))
    rows, columns = np.nonzero(fit)
    order = np.argsort(-passing[rows, columns], kind="stable")
    taken: dict[tuple[int, int], list[FloatArray]] = {}
    found: list[_Site] = []
    x, y = dem.xy(rows[order], columns[order])
    for i, at in enumerate(np.stack([x, y], 1)):
        here = int(at[0] // APART), int(at[1] // APART)
        near = [other for r in (-1, 0, 1) for c in (-1, 0, 1)
                for other in taken.get((here[0] + r, here[1] + c), ())]
        if any(np.hypot(*(at - other)) < APART for other in near):
            continue
        site = _site(look, at, (int(rows[order[i]]), int(columns[order[i]])))
        if site is None:
            continue
        taken.setdefault(here, []).append(at)
        found.append(site)
        if len(found) == most:
            break
    return found


def _site(look: Look, at: FloatArray, cell: tuple[int, int]) -> _Site | None:
    step = SLOPE_OVER
    x, y = at[0] + np.array([step, -step, 0, 0]), at[1] + np.array([0, 0, step, -step])
    east, west, north, south = look.soft.height_at(x, y)
    rise = np.array([east - west, north - south]) / (2 * step)
    fall = float(np.hypot(*rise))
    if not fall < STEEPEST:
        return None
    down = -rise / fall if fall > 1e-6 else np.array([0.0, -1.0])
    return _Site(at, down, fall, cell)


def _dug_at(look: Look, site: _Site, passing: FloatArray, onward: IntArray) -> list[_Dug]:
    """Basins of each size at a place."""
    soaked = soaked_depth(look, look.soaks(np.array([site.cell])).rate, WELL_WITHIN)
    pond = soaked < SHALLOWEST
    found = []
    for area in AREAS:
        wide = float(np.sqrt(area / LONG))
        fits = (wide - FLOOR) / (2 * BATTER)
        depths = _pond_depths(look, fits) if pond else _depths(min(fits, soaked, DEEPEST))
        if depths:
            found += _read(look, site, passing, onward, wide, depths, pond)
    return found


def _depths(deepest: float) -> list[float]:
    """The deepest that fits, and half of that."""
    whole = np.floor(deepest / ROUNDED + 1e-9) * ROUNDED
    half = np.floor(whole / 2 / ROUNDED + 1e-9) * ROUNDED
    return [round(float(depth), 2) for depth in (whole, half) if depth >= SHALLOWEST - 1e-9]


def _pond_depths(look: Look, fits: float) -> list[float]:
    depth = float(np.ceil((look.inputs.rules["fish depth"] + DEEPER) / ROUNDED - 1e-9) * ROUNDED)
    return [round(depth, 2)] if depth <= fits else []


def _read(look: Look, site: _Site, passing: FloatArray, onward: IntArray, wide: float,
          depths: Sequence[float], pond: bool) -> list[_Dug]:
    """Basins of one size at a place, one for each depth; none where its sides find no ground."""
    dem, long = look.inputs.dem, LONG * wide
    along = np.array([site.down[1], -site.down[0]])
    a, b = long / 2, wide / 2
    rim = _rim(a, b, min(dem.cell, 1.0) / 2)
    spots = site.at + rim[:, :1] * along + rim[:, 1:] * site.down
    edge = dem.height_at(*spots.T)
    if not np.isfinite(edge).all():
        return []
    lowest = int(np.argmin(edge))
    level, rise = float(edge[lowest]), float(edge.max() - edge.min())
    reach = min(2.0 * BATTER * rise + STEP, FURTHEST * wide)
    u, v = (np.arange(-half - reach, half + reach + STEP / 2, STEP) for half in (a, b))
    u, v = np.meshgrid(u + (-u[-1] - u[0]) / 2, v + (-v[-1] - v[0]) / 2)
    ground = dem.height_at(site.at[0] + u * along[0] + v * site.down[0],
                           site.at[1] + u * along[1] + v * site.down[1])
    if not np.isfinite(ground).all():
        return []
    out = np.hypot(np.maximum(np.abs(u) - a, 0.0), np.maximum(np.abs(v) - b, 0.0))
    apart = np.where(out > 0, out, -np.minimum(a - np.abs(u), b - np.abs(v)))
    over = ground - level - np.maximum(apart, 0.0) / BATTER
    label, _ = ndimage.label((over > 0) | (apart < 0))
    opened = label == label[label.shape[0] // 2, label.shape[1] // 2]
    if opened[[0, -1]].any() or opened[:, [0, -1]].any():
        return []
    # Its edge lies between cells, so a cell more is taken.
    extent = (float(u[opened].min()) - STEP, float(u[opened].max()) + STEP,
              float(v[opened].min()) - STEP, float(v[opened].max()) + STEP)
    above = float(np.maximum(over[opened], 0.0).sum()) * STEP**2
    inside = apart < 0
    within = site.at + u[inside, None] * along + v[inside, None] * site.down
    row, column = dem.row_column(*within.T)
    covered = np.divmod(np.unique(row * dem.shape[1] + column), dem.shape[1])
    comes = arriving(passing, onward, np.stack(covered, 1))
    found = []
    for depth in depths:
        bed = level + np.maximum(apart / BATTER, -depth)
        low = inside & (ground < level)
        free = float(np.minimum(level - ground[low], level - bed[low]).sum()) * STEP**2
        storage = prism(long, wide, depth, BATTER)
        cut = storage + above - free
        if not cut > 0:
            continue
        found.append(_Dug(site, long, wide, depth, spots[lowest], storage, cut,
                          float((opened & (ground > bed)).sum()) * STEP**2, extent, comes, pond))
    return found


def prism(long: float, wide: float, depth: float, batter: float) -> float:
    """What an oblong holds whose four sides slope in from its rim to a level floor. [m3]

    Parameters
    ----------
    long, wide, depth : float
        [m]
    batter : float
        Of the sides, H:V. [-]

    Notes
    -----
    The prismoidal rule, exact for plane sides: (A + 4 M + B) d / 6.
    """
    inset = batter * depth
    areas = [(long - 2 * step) * (wide - 2 * step) for step in (0.0, inset / 2, inset)]
    return (areas[0] + 4 * areas[1] + areas[2]) * depth / 6


def _rim(a: float, b: float, step: float) -> FloatArray:
    """Places on the edge of an oblong about 0, 0, no further apart than a step. [m]"""
    u = np.linspace(-a, a, int(np.ceil(2 * a / step)) + 1)
    v = np.linspace(-b, b, int(np.ceil(2 * b / step)) + 1)
    sides = [np.stack(np.broadcast_arrays(*side), 1) for side in
             ((u, -b), (u, b), (-a, v), (a, v))]
    return np.concatenate(sides)


def _candidate(look: Look, dug: _Dug) -> Candidate | None:
    """A dug basin as a candidate; None where its earth would come on shut ground or near rock."""
    dem, rules = look.inputs.dem, look.inputs.rules
    rim = Polygon(dug.rim)
    body = Polygon(dug.oblong(dug.extent)).union(rim)
    if not is_open(dem, look.room, body):
        return None
    cells = known(dem, touched(dem, rim))
    if look.channel[cells[:, 0], cells[:, 1]].any() or (
            near_rock(look, body, float(dem.height_at(*dug.low)) - dug.depth)):
        return None
    soaks = look.soaks(cells)
    if dug.depth > soaked_depth(look, soaks.rate, WELL_WITHIN) and not dug.pond:
        return None
    row, column = (int(i) for i in dem.row_column(*dug.low))
    spill = spill_below(look, (row, column), cells)
    if spill is None:
        return None
    entry = {"name": "dug basin", "kind": "basin", "depth": dug.depth, "batter": BATTER,
             "dug": [look.stated(*corner) for corner in dug.rim]}
    if look.asked.infiltration is not None:
        entry["infiltration"] = look.asked.infiltration
    if dug.pond:
        entry["holds water"] = True
    soil = look.soil_of(cells)
    cost = look.cost(dug.cut, 0.0, soil, min(rules["topsoil depth"] * dug.opened, dug.cut),
                     seeded=dug.cut * loose_per_bank(soil, rules) / rules["spoil thickness"])
    return Candidate("dug basin", "dug basin", (Basin.model_validate(entry),), cells, spill, body,
                     dug.storage, rim.area, soaks.rate, cost, said=_said(look, dug))


def _said(look: Look, dug: _Dug) -> tuple[str, ...]:
    storm = look.inputs.site.rain.design.name
    return (f"In the storm \"{storm}\" {in_both(dug.passing, 'volume')} of runoff pass here, over "
            f"ground that falls {100 * dug.site.fall:.1f} %.",)
