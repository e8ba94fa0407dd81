"""The ground of one parcel of a district, with all the water that comes onto it from afar.

A window about the parcel is read and its water led as on the whole ground.  What drains in from
beyond the window is no grid: at each cell where such water comes onto the parcel stands the ground
that it comes from, by curve number.  So whatever is summed over the window is a sum over all the
ground, for any storm.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from terrain.district.kept_layers import lands
from terrain.district.kinds import HANDED, NOTHING, Kinds, step_of
from terrain.district.opened import Opened
from terrain.district.screened import Parcel
from terrain.district.waters import ParcelWater
from terrain.errors import InputError
from terrain.inputs.keep_clear import Thing
from terrain.inputs.site import Site
from terrain.plan.siting.reading import Inputs
from terrain.runoff.catchment import Catchment, Numbered
from terrain.runoff.curve_number import RunoffRule
from terrain.runoff.ground import Ground, read_ground
from terrain.surface.accumulation import accumulate
from terrain.surface.catchments import label_catchments
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, ROW_STEP
from terrain.surface.routed import RoutedTerrain, within_window
from terrain.surface.terrain import Cells
from terrain.surface.tiled.grid import Window
from terrain.surface.tiled.route import Tiled

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Of a parcel more cells than this, its surroundings included, are not looked at at once: so many
#: fit what a worker may take, by the line through 0.87 GB at 1.85 million and 1.56 GB at 5.6.
MOST_CELLS = 9_000_000
#: So many cells beyond the longest setback are read, and as much ground at least, so that water
#: that leaves a parcel and soon comes back is followed cell by cell. [m]
SPARE, LEAST_MARGIN = 3, 80.0


@dataclass(frozen=True)
class Entering:
    """Ground beyond a window that drains onto a parcel in it.

    Attributes
    ----------
    cells : int64, shape (n,)
        Flat indices of the cells where its water comes onto the parcel.
    numbers : float64, shape (k,)
        Curve numbers, rising. [-]
    areas : float64, shape (n, k)
        [m2]
    road : float64, shape (n,)
        The part of it that is road. [m2]
    """

    cells: IntArray
    numbers: FloatArray
    areas: FloatArray
    road: FloatArray

    def at_cells(self, amounts: FloatArray, shape: tuple[int, int]) -> FloatArray:
        """An amount for each of its cells, shape (n,), as a grid; 0 elsewhere."""
        grid = np.zeros(shape)
        grid.reshape(-1)[self.cells] = amounts
        return grid


@dataclass(frozen=True)
class NumberedWithEntering(Numbered):
    """Curve numbers of a window, and of the ground beyond it that drains in.

    Attributes
    ----------
    areas : float64, shape (n, k)
        Ground beyond the window that drains in at each of `cells`, by `different`. [m2]
    cells : int64, shape (n,)
        Flat indices.
    """

    areas: FloatArray
    cells: IntArray

    @classmethod
    def joined(cls, curve_number: FloatArray, entering: Entering) -> NumberedWithEntering:
        """Those of a window, shape (rows, columns), and of what drains in."""
        own = Numbered.of(curve_number)
        different = np.union1d(own.different, entering.numbers)
        place = np.append(np.searchsorted(different, own.different), different.size)
        areas = np.zeros((entering.cells.size, different.size))
        areas[:, np.searchsorted(different, entering.numbers)] = entering.areas
        return cls(different, place[own.which], areas, entering.cells)

    def gather(self, cells: Cells, cell_area: float, inside: NDArray[np.bool_] | None,
               rule: RunoffRule) -> Catchment:
        """As `Numbered.gather`, with what drains in at the cells as run-on."""
        found = super().gather(cells, cell_area, inside, rule)
        here = (cells.reshape(-1)[self.cells] if cells.dtype == bool
                else np.isin(self.cells, cells))
        beyond = self.areas[here].sum(axis=0)
        areas, run_on = beyond.copy(), beyond
        place = np.searchsorted(self.different, found.curve_numbers)
        areas[place] += found.areas
        run_on[place] += found.run_on_areas
        there = areas > 0
        return replace(found, curve_numbers=self.different[there], areas=areas[there],
                       run_on_areas=run_on[there])


@dataclass(frozen=True, kw_only=True)
class ParcelGround(Ground):
    """What covers a window about a parcel; roofs of the parcel shed nothing onto the ground.

    Attributes
    ----------
    entering : Entering
    on_road : bool, shape (rows, columns)
        Cells that count as road; none under a roof.
    """

    entering: Entering
    on_road: NDArray[np.bool_]

    @cached_property
    def numbered(self) -> NumberedWithEntering:
        """Its curve numbers, and those of the ground that drains in from beyond the window."""
        return NumberedWithEntering.joined(self.curve_number, self.entering)


@dataclass(frozen=True)
class ParcelInputs(Inputs):
    """What is known of a parcel, as `Inputs`; its ground is a `ParcelGround`."""

    def runoff(self, rain: float) -> FloatArray:
        """What runs off each cell in a storm of `rain` mm, with what comes onto the parcel there
        from beyond the window; NaN where its ground is not known. [m3]"""
        found = super().runoff(rain)
        beyond = entering_of(self)
        at = np.unravel_index(beyond.cells, found.shape)
        depths = np.asarray(self.hydrology.rule.runoff(rain, beyond.numbers))
        found[at] = np.nan_to_num(found[at]) + beyond.areas @ depths / 1000
        return found


def entering_of(inputs: Inputs) -> Entering:
    """What drains onto a parcel from beyond its window."""
    assert isinstance(inputs.ground, ParcelGround)
    return inputs.ground.entering


def ground_about(opened: Opened, kinds: Kinds, site: Site, parcel: Parcel, water: ParcelWater,
                 margin: float, things: tuple[Thing, ...] = ()
                 ) -> tuple[RoutedTerrain, ParcelGround]:
    """The ground of a parcel.

    Parameters
    ----------
    site : Site
        The parcel as a site.
    margin : float
        How far about the parcel the ground matters. [m]
    things : tuple of Thing
        What works are to keep clear of.

    Raises
    ------
    InputError
        If a layer cannot be read, or the parcel is too large.
    """
    window = _window_about(opened, parcel, margin)
    dem, tiled = opened.values.dem(window), Tiled(opened.work)
    direction = within_window(tiled.direction(window))
    ground = read_ground(site, dem, parcel.outline)
    inside = lands(opened.kept.parcels, dem) == parcel.number
    number, road, roof = _kinds_in(opened, window)
    beyond = _beyond(kinds, _kind_of_cells(kinds, number, road, roof), water, window, direction,
                     inside, dem.cell_area)
    numbers, which = np.unique(kinds.number, return_inverse=True)
    by_number = np.zeros((len(beyond), numbers.size))
    np.add.at(by_number.T, which, beyond.T)
    at = water.entries - np.array([window.top, window.left])
    cells = at[:, 0] * dem.shape[1] + at[:, 1]
    some, used = beyond.any(axis=1), by_number.any(axis=0)
    entering = Entering(cells[some], numbers[used], by_number[some][:, used],
                        beyond[some][:, kinds.road].sum(axis=1))
    same = {field.name: getattr(ground, field.name) for field in fields(Ground)}
    made = ParcelGround(**{**same, "curve_number": np.where(inside & roof, np.nan, number),
                           "inside": inside, "keep_clear": things}, entering=entering,
                        on_road=road)
    weights = np.ones(dem.shape) + entering.at_cells(
        entering.areas.sum(axis=1) / dem.cell_area, dem.shape)
    area = accumulate(direction, weights)
    area *= dem.cell_area
    return RoutedTerrain(dem, opened.work.heights(window), tiled.filled(window), direction,
                         area), made


def _window_about(opened: Opened, parcel: Parcel, margin: float) -> Window:
    """The cells of a parcel and of so much about it. [m]"""
    files = opened.files
    west, south, east, north = parcel.outline.bounds
    left, _, _, top = files.bounds
    own = Window(int((top - north) // files.cell), int((top - south) // files.cell) + 1,
                 int((west - left) // files.cell), int((east - left) // files.cell) + 1)
    spare = int(np.ceil(max(margin / files.cell + SPARE, LEAST_MARGIN / files.cell)))
    window = own.wider(spare, files.shape)
    count = window.shape[0] * window.shape[1]
    if count > MOST_CELLS:
        raise InputError(files.source, f"the parcel with its surroundings has {count:,} cells, "
                         f"more than the {MOST_CELLS:,} that are looked at at once",
                         "Divide the parcel, or use larger cells")
    return window


def _kinds_in(opened: Opened, window: Window
              ) -> tuple[FloatArray, NDArray[np.bool_], NDArray[np.bool_]]:
    """Curve number of each cell of a window, NaN where not known; whether it is road, or roof."""
    work, step = opened.work, step_of(opened.kept)
    found = (np.full(window.shape, np.nan), np.zeros(window.shape, bool),
             np.zeros(window.shape, bool))
    for tile_number in work.grid.tiles_of(window):
        tile = work.grid.window(tile_number)
        part = Window(max(tile.top, window.top), min(tile.bottom, window.bottom),
                      max(tile.left, window.left), min(tile.right, window.right))
        kind = work.tiles.mapped(step, tile_number, "kind")[part.within(tile)]
        number, road, roof, lacks = work.tiles.get(step, tile_number, *HANDED)
        of_kinds = (np.append(np.where(lacks == NOTHING, number, np.nan), np.nan),
                    np.append(road, False), np.append(roof, False))
        for laid, held in zip(found, of_kinds, strict=True):
            laid[part.within(window)] = held[kind]
    return found


def _kind_of_cells(kinds: Kinds, number: FloatArray, road: NDArray[np.bool_],
                   roof: NDArray[np.bool_]) -> IntArray:
    """Which kind each cell is; as many as there are where its number is not known."""
    known = np.flatnonzero(np.isfinite(kinds.number))
    code = _code(kinds.number[known], kinds.road[known], kinds.roof[known])
    order = np.argsort(code)
    found = np.full(number.shape, kinds.number.size, np.int64)
    there = np.isfinite(number)
    wanted = _code(number[there], road[there], roof[there])
    found[there] = known[order[np.searchsorted(code[order], wanted)]]
    return found


def _code(number: FloatArray, road: NDArray[np.bool_], roof: NDArray[np.bool_]) -> FloatArray:
    """One number for each kind: curve numbers are 100 at most."""
    found: FloatArray = number + 128.0 * road + 256.0 * roof
    return found


def _beyond(kinds: Kinds, kind: IntArray, water: ParcelWater, window: Window,
            direction: NDArray[np.uint8], inside: NDArray[np.bool_], cell_area: float
            ) -> FloatArray:
    """Of what drains in at each entry, the ground that is no cell of the window, by kind. [m2]

    What drains in there, less the cells of the window beyond the parcel whose water comes onto it
    there, less what passes each place at which water leaves the parcel and comes back there.
    """
    size, count = kinds.number.size, len(water.entries)
    through = np.rint(water.through / cell_area).astype(np.int64)
    at = water.entries - np.array([window.top, window.left])
    marks = np.where(inside, count + 1, 0).astype(np.int32)
    marks[at[:, 0], at[:, 1]] = np.arange(1, count + 1)
    enters = label_catchments(direction, marks)
    enters[enters > count] = 0

    def counted(labels: NDArray[np.int32], cells: NDArray[np.bool_], many: int) -> IntArray:
        cells = cells & (kind < size)
        both = labels[cells].astype(np.int64) * size + kind[cells]
        return np.bincount(both, minlength=(many + 1) * size).reshape(many + 1, size)[1:]

    left = through - counted(enters, ~inside, count)
    row, column = np.nonzero(inside & (direction < LEAVES))
    way = direction[row, column]
    to = row + ROW_STEP[way], column + COLUMN_STEP[way]
    back = np.where(inside[to], 0, enters[to])
    row, column, back = row[back > 0], column[back > 0], back[back > 0]
    if back.size:
        exits = np.zeros(direction.shape, np.int32)
        exits[row, column] = np.arange(1, back.size + 1)
        goes = label_catchments(np.where(inside, direction, LEAVES).astype(np.uint8), exits)
        passes = counted(goes, inside, back.size)
        met = goes[at[:, 0], at[:, 1]]
        np.add.at(passes, met[met > 0] - 1, through[met > 0])
        np.subtract.at(left, back - 1, passes)
    found: FloatArray = np.maximum(left, 0) * cell_area
    return found
