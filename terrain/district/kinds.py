"""Kinds of ground, tile by tile: curve number, whether it is road, whether it is roof."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.district.copies import near
from terrain.district.kept_layers import Kept
from terrain.inputs.dem import Dem
from terrain.inputs.layers import rasterized
from terrain.runoff.cover import curve_numbers_of
from terrain.runoff.ground import ROOF_CLASS, read_ground
from terrain.surface.tiled.grid import Window
from terrain.surface.tiled.ground import ElevationValues
from terrain.surface.tiled.work import Handed, Work
from terrain.units import told_first

HANDED = ("number", "road", "roof", "lacks")
#: Why the number of known ground is not known: it is; no cover class; no soil group; the class has
#: none on that soil.
NOTHING, COVER, SOIL, PAIR = range(4)
#: Side of the part of a tile whose layers are read at once. [cells]
BLOCK = 1024


@dataclass(frozen=True)
class Kinds:
    """The different kinds of ground of a district.

    Attributes
    ----------
    number : float64, shape (k,)
        Curve number for average wetness and 0.2 S, rising; the last may be NaN: ground whose
        number is not known. [-]
    road, roof : bool, shape (k,)
        Whether it is road, or roof; a road under a roof is roof.
    """

    number: NDArray[np.float64]
    road: NDArray[np.bool_]
    roof: NDArray[np.bool_]


def step_of(kept: Kept) -> str:
    """The step in which kinds are kept."""
    return f"kinds-{kept.ground}"


def kind_tile(work: Work, number: int, values: ElevationValues, kept: Kept) -> Handed:
    """The kind of each cell of a tile, kept on disk.

    On disk `kind` says of each cell which of the tile's kinds it is; as many as there are
    where no height is known.

    Returns
    -------
    handed : dict of arrays
        Of each of the tile's kinds `number`, `road`, `roof`, and `lacks`: why its number is not
        known.

    Raises
    ------
    InputError
        If a layer holds what cannot be understood.
    """
    step = step_of(kept)
    if work.tiles.holds(step, number):
        return work.handed(step, number, HANDED)
    tile = work.grid.window(number)
    table: dict[tuple[float, bool, bool, int], int] = {}
    kind = np.full(tile.shape, -1, np.int32)
    with told_first(kept.land.units, values.files.frame.foot):
        for top in range(tile.top, tile.bottom, BLOCK):
            for left in range(tile.left, tile.right, BLOCK):
                part = Window(top, min(top + BLOCK, tile.bottom), left,
                              min(left + BLOCK, tile.right))
                kind[part.within(tile)] = _numbered(*_cells(values.dem(part), kept), table)
    kind[kind < 0] = len(table)
    columns = list(zip(*table, strict=True)) or [(), (), (), ()]
    handed: Handed = {name: np.array(column, dtype) for name, column, dtype in zip(
        HANDED, columns, (np.float64, np.bool_, np.bool_, np.uint8), strict=True)}
    work.tiles.put(step, number, {**handed, "kind": kind.astype(np.min_scalar_type(len(table)))})
    return handed


def join(handed: Sequence[Handed]) -> tuple[Kinds, list[NDArray[np.int64]]]:
    """The kinds of all tiles, and of each tile which of these its own are."""
    parts = [np.stack([np.where(part["lacks"] == NOTHING, part["number"], np.inf),
                       part["road"], part["roof"]], 1).astype(np.float64) for part in handed]
    for part in parts:
        part[np.isinf(part[:, 0]), 1:] = 0
    sizes = np.cumsum([len(part) for part in parts])
    whole, place = np.unique(np.concatenate(parts), axis=0, return_inverse=True)
    number = np.where(np.isinf(whole[:, 0]), np.nan, whole[:, 0])
    return (Kinds(number, whole[:, 1] > 0, whole[:, 2] > 0),
            np.split(place.reshape(-1).astype(np.int64), sizes[:-1]))


def _cells(dem: Dem, kept: Kept) -> tuple[NDArray[np.float64], NDArray[np.bool_],
                                          NDArray[np.bool_], NDArray[np.uint8], NDArray[np.bool_]]:
    """Curve number, road, roof, what it lacks, and whether a height is known, of each cell.

    Roads and roofs are laid on as `read_ground` does it, all at once; it would hold a grid for
    each of them, and treats a road that is narrower than cells by what part of it is read.
    """
    import shapely

    ground = read_ground(kept.land.model_copy(update={"roads": None, "roofs": None}), dem,
                         shapely.box(*dem.bounds))
    classes, cover = list(ground.classes), ground.cover
    road = np.zeros(dem.shape, bool)
    roof = np.zeros(dem.shape, bool)
    if kept.roads is not None:
        found = near(kept.roads, dem.bounds)
        names = list(dict.fromkeys(found["cover"]))
        laid = rasterized([(shape, names.index(name)) for shape, name in
                           zip(found.geometry, found["cover"], strict=True)], dem, -1, np.int16)
        road = laid >= 0
        _cover_with(cover, classes, laid, names)
    if kept.roofs is not None:
        roof = rasterized([(shape, 1) for shape in near(kept.roofs, dem.bounds).geometry], dem, 0,
                          np.uint8).astype(bool)
        road &= ~roof
        _cover_with(cover, classes, np.where(roof, 0, -1), [ROOF_CLASS])
    number = curve_numbers_of(cover, [ground.known[name] for name in classes], ground.soil)
    lacks = np.where(np.isfinite(number), NOTHING, np.where(
        cover < 0, COVER, np.where(ground.soil < 0, SOIL, PAIR))).astype(np.uint8)
    return number, road, roof, lacks, np.isfinite(dem.heights)


def _cover_with(cover: NDArray[np.int16], classes: list[str], laid: NDArray[np.integer],
                names: Sequence[str]) -> None:
    """Lay classes over others, in place."""
    for position, name in enumerate(names):
        if name not in classes:
            classes.append(name)
        cover[laid == position] = classes.index(name)


def _numbered(number: NDArray[np.float64], road: NDArray[np.bool_], roof: NDArray[np.bool_],
              lacks: NDArray[np.uint8], known: NDArray[np.bool_],
              table: dict[tuple[float, bool, bool, int], int]) -> NDArray[np.int32]:
    """Places in a table of kinds, to which new ones are added; -1 where no height is known."""
    numbers, which = np.unique(np.where(lacks == NOTHING, number, 0.0), return_inverse=True)
    code = ((which.reshape(number.shape) * 4 + lacks) * 2 + road) * 2 + roof
    found, place = np.unique(code[known], return_inverse=True)
    places = np.array([table.setdefault(
        (float(numbers[one >> 4]), bool(one >> 1 & 1), bool(one & 1), int(one >> 2 & 3)),
        len(table)) for one in found.tolist()], np.int32)
    laid = np.full(number.shape, -1, np.int32)
    laid[known] = places[place.reshape(-1)] if found.size else -1
    return laid
