"""Rasters far larger than the site: the part of them that holds all the ground that matters."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from shapely import box

from terrain.errors import InputError
from terrain.inputs.dem import Dem
from terrain.inputs.elevation import ElevationFiles
from terrain.surface.catchments import label_catchments
from terrain.surface.conditioning import Conditioning
from terrain.surface.depressions import drain, fill_hollows
from terrain.surface.terrain import Terrain

#: A raster of no more cells is read whole.
WHOLE_UP_TO = 4_000_000
#: A window grows no further than this many cells.
MOST_IN_WINDOW = 60_000_000
#: A raster of more cells is not looked over as a whole.
MOST_LOOKED_OVER = 1_000_000_000
#: The window first reaches this far beyond the place asked about. [m]
FIRST_MARGIN = 250.0
#: Ground beyond the window that the look at the whole finds matters from this part of the catchment
#: on: less is the coarseness of that look.
MATTERS = 0.05

Bounds = tuple[float, float, float, float]


def hold(files: ElevationFiles, place: Bounds,
         outlet: Callable[[Terrain], NDArray[np.bool_]],
         conditioning: Conditioning | None = None) -> Terrain:
    """The terrain of a window of a raster that holds the catchment of a place.

    The window grows on each side, beyond which the raster goes on, that the catchment touches.
    When it touches none, it is grown once more to see whether the catchment stays the same, and a
    coarse look at the whole raster tells whether ground far off, such as a pan that spills this
    way when full, drains in; if it does, the window grows to hold that too.  Where it cannot be
    ruled out that a pan spills in by a channel too narrow for that look, a note says so.  A raster
    of at most 4 million cells is read whole.

    Parameters
    ----------
    files : ElevationFiles
    place : (west, south, east, north)
        What is asked about, in the working frame. [m]
    outlet : callable (Terrain) -> bool, shape (rows, columns)
        Where water is asked for, on the terrain of a window.
    conditioning : Conditioning, optional

    Returns
    -------
    terrain : Terrain
        The notes of its `Dem` say what part was read, whether that cuts the catchment off, and
        what conditioning changed.

    Raises
    ------
    InputError
        As `ElevationFiles.read` does, or as `outlet` does on the largest window it was asked on.
    """
    rows, columns = files.shape
    if rows * columns <= WHOLE_UP_TO:
        return ready(files.read(), conditioning)
    whole = _Whole(files)
    window = _wider(place, FIRST_MARGIN, (True, True, True, True))
    seen: tuple[Terrain, int] | None = None  # a window that seems to hold it; its catchment's cells
    fault = ""
    while True:
        dem = files.read(window)
        terrain = ready(dem, conditioning)
        try:
            cells = terrain.catchment(outlet(terrain))
        except InputError as error:  # it may be for want of ground: not if more changes nothing
            window, seen = _grown(dem, dem.goes_on), None
            if (not any(dem.goes_on) or _count(window, files) > MOST_IN_WINDOW
                    or str(error) == fault):
                raise
            fault = str(error)
            continue
        sides, count = _open_sides(dem, cells), int(cells.sum())
        beyond = None
        if any(sides):
            window, seen = _grown(dem, sides), None
        elif (seen is None or seen[1] != count) and any(dem.goes_on):
            window, seen = _grown(dem, dem.goes_on), (terrain, count)
        else:
            beyond = whole.drains_in(dem, cells)
            if beyond is None:
                held = seen[0] if seen else terrain
                return _said(held, files, doubt=whole.may_spill_in(held, outlet(held), count))
            window, seen = beyond, None
        if _count(window, files) > MOST_IN_WINDOW:
            beyond = None if any(sides) else whole.drains_in(dem, cells)
            cut_off = any(sides) or beyond is not None
            return _said(terrain, files, cut_off, not cut_off and whole.may_spill_in(
                terrain, outlet(terrain), count))


class _Whole:
    """A coarse look at all of a raster, taken once and only if it is asked for."""

    def __init__(self, files: ElevationFiles) -> None:
        self.files = files
        self.factor = int(np.ceil((files.shape[0] * files.shape[1] / WHOLE_UP_TO) ** 0.5))

    @cached_property
    def _read(self) -> tuple[Dem, NDArray[np.float32]]:
        return self.files.read_coarse(self.factor)

    @cached_property
    def terrain(self) -> Terrain:
        """The ground in cells as many times as large, each as low as its lowest."""
        return Terrain(self._read[0])

    @cached_property
    def standing(self) -> NDArray[np.float32]:
        """Water stands no higher than this anywhere, whatever the ground within the cells. [m]"""
        return fill_hollows(self._read[1])

    def may_spill_in(self, terrain: Terrain, outlet: NDArray[np.bool_], count: int) -> bool:
        """Whether water beyond a window, standing as high as it can, might reach its catchment.

        The window's open sides are raised to that height: if the catchment, of `count` cells,
        stays the same, no pan beyond can spill in.
        """
        dem = terrain.dem
        if not any(dem.goes_on) or np.prod(self.files.shape) > MOST_LOOKED_OVER:
            return False
        top, left = self._corner(dem)
        row, column = (np.arange(n) for n in dem.shape)
        raised = terrain.ground.copy()
        sides = ((row, np.zeros_like(row)), (np.full_like(column, row[-1]), column),
                 (row, np.full_like(row, column[-1])), (np.zeros_like(column), column))
        for on, side in zip(dem.goes_on, sides, strict=True):
            if on:
                level = self.standing[(side[0] + top) // self.factor,
                                      (side[1] + left) // self.factor]
                raised[side] = np.where(np.isnan(raised[side]), np.nan,
                                        np.fmax(raised[side], level))
        direction = drain(raised).direction
        return int((label_catchments(direction, outlet.astype(np.int32)) > 0).sum()) != count

    def _corner(self, dem: Dem) -> tuple[int, int]:
        """Row and column of the whole at a window's upper left corner."""
        return (round((self.files.bounds[3] - dem.top) / dem.cell),
                round((dem.left - self.files.bounds[0]) / dem.cell))

    def drains_in(self, dem: Dem, cells: NDArray[np.bool_]) -> Bounds | None:
        """A wider window, if much ground beyond this one drains into the catchment.

        Only the catchment's core counts, a coarse cell in from its edge: a stream that passes by
        it is no inflow.
        """
        if not any(dem.goes_on) or np.prod(self.files.shape) > MOST_LOOKED_OVER:
            return None
        ground = self.terrain.dem
        core = self._core(dem, cells)
        if not core.any():
            return None
        beyond = self.terrain.catchment(core)
        rows, columns = self._span(dem)
        beyond[rows, columns] = False
        if beyond.sum() * ground.cell_area <= MATTERS * cells.sum() * dem.cell_area:
            return None
        where = np.argwhere(beyond)
        (top, left), (bottom, right) = where.min(axis=0), where.max(axis=0) + 1
        west, south, east, north = dem.bounds
        return (min(west, ground.left + left * ground.cell - FIRST_MARGIN),
                min(south, ground.top - bottom * ground.cell - FIRST_MARGIN),
                max(east, ground.left + right * ground.cell + FIRST_MARGIN),
                max(north, ground.top - top * ground.cell + FIRST_MARGIN))

    def _core(self, dem: Dem, cells: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Coarse cells that lie in a window's catchment wholly, their neighbours too."""
        from scipy import ndimage

        where = np.argwhere(cells) + np.array(self._corner(dem))
        size = self.terrain.dem.shape
        count = np.bincount(np.ravel_multi_index(tuple((where // self.factor).T), size),
                            minlength=size[0] * size[1]).reshape(size)
        found: NDArray[np.bool_] = ndimage.binary_erosion(count == self.factor**2, np.ones((3, 3)))
        return found

    def _span(self, dem: Dem) -> tuple[slice, slice]:
        """Rows and columns of the coarse cells that a window touches."""
        ground = self.terrain.dem
        west, south, east, north = dem.bounds
        return (slice(int((ground.top - north) / ground.cell + 1e-6),
                      int(np.ceil((ground.top - south) / ground.cell - 1e-6))),
                slice(int((west - ground.left) / ground.cell + 1e-6),
                      int(np.ceil((east - ground.left) / ground.cell - 1e-6))))


def ready(dem: Dem, conditioning: Conditioning | None) -> Terrain:
    """The terrain of what was read, conditioned at once so that faults show.

    Of a window only the culverts that lie in it are taken; the notes of the terrain's `Dem` say
    what conditioning changed.

    Raises
    ------
    InputError
        If a culvert has an end off the known ground.
    """
    if conditioning is not None and any(dem.goes_on):
        near = box(*dem.bounds)
        conditioning = replace(conditioning, culverts=tuple(
            culvert for culvert in conditioning.culverts if near.contains(culvert.line)))
    terrain = Terrain(dem, conditioning)
    try:
        notes = terrain.conditioned.notes(terrain.conditioning)
    except ValueError as error:
        raise InputError(dem.source, str(error), "Draw it from ground to ground on both sides of "
                         "the bank") from None
    notes += terrain.culvert_faults
    terrain.dem = replace(dem, notes=(*dem.notes, *notes))
    return terrain


def _wider(bounds: Bounds, by: float, sides: tuple[bool, bool, bool, bool]) -> Bounds:
    west, south, east, north = bounds
    return (west - by * sides[0], south - by * sides[1], east + by * sides[2],
            north + by * sides[3])


def _grown(dem: Dem, sides: tuple[bool, bool, bool, bool]) -> Bounds:
    return _wider(dem.bounds, 0.5 * max(dem.shape) * dem.cell, sides)


def _open_sides(dem: Dem, cells: NDArray[np.bool_]) -> tuple[bool, bool, bool, bool]:
    """The sides, west, south, east and north, that cells touch and the raster goes on beyond."""
    touched = (cells[:, 0].any(), cells[-1].any(), cells[:, -1].any(), cells[0].any())
    west, south, east, north = (bool(on and at) for on, at in zip(dem.goes_on, touched,
                                                                  strict=True))
    return west, south, east, north


def _count(bounds: Bounds, files: ElevationFiles) -> float:
    """Cells of the files within a rectangle."""
    west, south, east, north = files.bounds
    width = min(bounds[2], east) - max(bounds[0], west)
    return width * (min(bounds[3], north) - max(bounds[1], south)) / files.cell**2


def _said(terrain: Terrain, files: ElevationFiles, cut_off: bool = False, doubt: bool = False
          ) -> Terrain:
    """The terrain with what was read of the whole in the notes of its `Dem`."""
    rows, columns = terrain.dem.shape
    if (rows, columns) != files.shape:
        notes = [f"Of {files.shape[1]:,} by {files.shape[0]:,} cells the {columns:,} by {rows:,} "
                 "about the place asked for were read."]
        if cut_off:
            notes.append("The ground that drains there reaches beyond the part that was read: "
                         "catchments are at least what is said.")
        elif doubt:
            notes.append("Whether ground beyond that part spills this way when its pans stand full "
                         "could not be ruled out: catchments may be larger than is said.")
        elif np.prod(files.shape) > MOST_LOOKED_OVER:
            notes.append("The whole was too large to look over: pans far off that would spill this "
                         "way when full are not counted.")
        terrain.dem = replace(terrain.dem, notes=(*terrain.dem.notes, *notes))
    return terrain
