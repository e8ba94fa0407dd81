"""Rasters far larger than the site: the part of them that holds all the ground that matters."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from shapely import box

from terrain.errors import InputError
from terrain.inputs.dem import Dem
from terrain.inputs.elevation import ElevationFiles
from terrain.surface.conditioning import Conditioning
from terrain.surface.terrain import Terrain

#: A raster of no more cells is read whole.
WHOLE_UP_TO = 4_000_000
#: A window grows no further than this many cells.
MOST_IN_WINDOW = 60_000_000
#: The window first reaches this far beyond the place asked about. [m]
FIRST_MARGIN = 250.0

Answer = TypeVar("Answer")
Bounds = tuple[float, float, float, float]


def hold(files: ElevationFiles, place: Bounds,
         ask: Callable[[Terrain], tuple[Answer, NDArray[np.bool_]]],
         conditioning: Conditioning | None = None
         ) -> tuple[Terrain, Answer]:
    """Answer a question on a window of a raster that holds the whole catchment of the answer.

    The window grows on each side, beyond which the raster goes on, that the catchment touches;
    when it touches none, it is grown once more, and taken if the catchment stays the same.  A
    raster of at most 4 million cells is read whole.

    Parameters
    ----------
    files : ElevationFiles
    place : (west, south, east, north)
        What is asked about, in the working frame. [m]
    ask : callable (Terrain) -> (answer, cells)
        The answer on one window, and the cells of its catchment.
    conditioning : Conditioning, optional

    Returns
    -------
    terrain : Terrain
        Of the window; the notes of its `Dem` say what part was read, whether that cuts the
        catchment off, and what conditioning changed.
    answer

    Raises
    ------
    InputError
        As `ElevationFiles.read` does, or as `ask` does on the largest window it was asked on.
    """
    rows, columns = files.shape
    if rows * columns <= WHOLE_UP_TO:
        terrain = ready(files.read(), conditioning)
        return terrain, ask(terrain)[0]
    window = _wider(place, FIRST_MARGIN, (True, True, True, True))
    held: tuple[Terrain, Answer, float] | None = None
    while True:
        dem = files.read(window)
        terrain = ready(dem, conditioning)
        try:
            answer, cells = ask(terrain)
        except InputError:
            if not any(dem.goes_on) or _cells(_all_round(dem), files) > MOST_IN_WINDOW:
                raise
            window, held = _all_round(dem), None  # it may be for want of ground
            continue
        sides = _open_sides(dem, cells)
        area = float(cells.sum())
        if held is not None and not any(sides) and area == held[2]:
            return _said(held[0], files), held[1]
        if not any(dem.goes_on):
            return _said(terrain, files), answer
        held = None if any(sides) else (terrain, answer, area)
        wider = _grown(dem, sides) if any(sides) else _all_round(dem)
        if _cells(wider, files) > MOST_IN_WINDOW:
            return _said(terrain, files, cut_off=any(sides)), answer
        window = wider


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
        conditioning = replace(conditioning, culverts=tuple(
            culvert for culvert in conditioning.culverts
            if box(*dem.bounds).contains(culvert.line)))
    terrain = Terrain(dem, conditioning)
    try:
        notes = terrain.conditioned.notes(terrain.conditioning)
    except ValueError as error:
        raise InputError(dem.source, str(error), "Draw it from ground to ground on both sides of "
                         "the bank") from None
    terrain.dem = replace(dem, notes=(*dem.notes, *notes))
    return terrain


def _all_round(dem: Dem) -> Bounds:
    return _grown(dem, dem.goes_on)


def _grown(dem: Dem, sides: tuple[bool, bool, bool, bool]) -> Bounds:
    return _wider(dem.bounds, 0.5 * max(dem.shape) * dem.cell, sides)


def _wider(bounds: Bounds, by: float, sides: tuple[bool, bool, bool, bool]
           ) -> Bounds:
    west, south, east, north = bounds
    return (west - by * sides[0], south - by * sides[1], east + by * sides[2],
            north + by * sides[3])


def _open_sides(dem: Dem, cells: NDArray[np.bool_]) -> tuple[bool, bool, bool, bool]:
    """The sides, west, south, east and north, that cells touch and the raster goes on beyond."""
    touched = (cells[:, 0].any(), cells[-1].any(), cells[:, -1].any(), cells[0].any())
    west, south, east, north = (bool(on and at) for on, at in zip(dem.goes_on, touched,
                                                                  strict=True))
    return west, south, east, north


def _cells(bounds: Bounds, files: ElevationFiles) -> float:
    west, south, east, north = files.bounds
    width = min(bounds[2], east) - max(bounds[0], west)
    return width * (min(bounds[3], north) - max(bounds[1], south)) / files.cell**2


def _said(terrain: Terrain, files: ElevationFiles, cut_off: bool = False) -> Terrain:
    """The terrain with what was read of the whole in the notes of its `Dem`."""
    rows, columns = terrain.dem.shape
    if (rows, columns) != files.shape:
        notes = [f"Of {files.shape[1]:,} by {files.shape[0]:,} cells the {columns:,} by {rows:,} "
                 "about the place asked for were read."]
        if cut_off:
            notes.append("The ground that drains there reaches beyond the part that was read: "
                         "catchments are at least what is said.")
        terrain.dem = replace(terrain.dem, notes=(*terrain.dem.notes, *notes))
    return terrain
