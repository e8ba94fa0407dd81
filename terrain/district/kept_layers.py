"""A district's layers as copies in the folder of tiles, and what a district file says of them.

A copy is in the working frame, its shapes repaired, its features numbered in their order.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain import __version__
from terrain.district.copies import (
    FOLDER,
    ORDER,
    Frames,
    copied,
    digest_of,
    kept_set,
    near,
    numbered,
)
from terrain.district.parcel_list import ParcelList
from terrain.district.road_areas import road_areas
from terrain.district.roof_areas import roof_areas
from terrain.files import fingerprint
from terrain.inputs.dem import Dem
from terrain.inputs.district import District
from terrain.inputs.ground_cover import is_raster
from terrain.inputs.layers import rasterized, read_layer
from terrain.inputs.made_from import parts_of_layer
from terrain.inputs.site import Cover, Layer
from terrain.runoff.ground import read_ground
from terrain.surface.tiled.ground import ElevationValues

#: Layers are first tried on so many cells a side.
TRIED_ON = 16
#: What notes say of the part of a raster that was read, and so nothing of the whole.
_OF_A_PART = ("of the raster", " outside ", "smaller than a cell", "lies off the raster")

AnyLayer = TypeVar("AnyLayer", bound=Layer)


@dataclass(frozen=True)
class Kept:
    """The copies.

    Attributes
    ----------
    land : District
        Its layers are the copies, and all paths absolute: what tasks read.
    parcels, roads, roofs : Path or None
        Parcels with their numbers; roads as areas that cover the middles of just those cells that
        are road, with their class; footprints.
    ground : str
        Other copies, or other words on them, have another: of all that says what covers the ground.
    outlines : str
        The same of the parcels' outlines.
    notes : tuple of str
        What was assumed or mended, in whole sentences.
    """

    land: District
    parcels: Path
    roads: Path | None
    roofs: Path | None
    ground: str
    outlines: str
    notes: tuple[str, ...]


def keep_layers(district: District, values: ElevationValues, parcels: ParcelList, folder: Path
                ) -> Kept:
    """Copy a district's layers into a folder, where that is not done yet.

    Parameters
    ----------
    folder : Path
        Of the tiles.

    Raises
    ------
    InputError
        If a layer cannot be read, placed or understood, or a copy cannot be written.
    """
    folder = folder.absolute() / FOLDER
    grid = [__version__, values.identity()]
    drawn = [parcel for parcel in parcels.parcels if parcel.area > 0]
    apart, outlines, _ = kept_set(
        folder, "parcels", [*grid, [[p.number, p.outline.wkb_hex] for p in drawn]],
        lambda: ({"parcels": numbered([p.outline for p in drawn],
                                      number=[p.number for p in drawn])}, []))
    words = [district.model_dump(mode="json", include={"cover", "soils", "roads", "roofs",
                                                       "units"}), _stamps(district)]
    folder, prints, notes = kept_set(folder, "ground", [*grid, *words],
                                     lambda: _ground_layers(district, values))
    land = district.model_copy(update={
        "cover": _kept_cover(district.cover, folder, values),
        "soils": (district.soils if district.soils.file is None else
                  _kept(district.soils, folder / "soils.fgb", values)),
        "roads": district.roads and _kept(district.roads, folder / "roads.fgb", values),
        "roofs": district.roofs and _kept(district.roofs, folder / "roofs.fgb", values).model_copy(
            update={"gutters": []})})
    covering = [grid, {name: prints[name] for name in prints if name != "roads"},
                district.model_dump(mode="json", include={"cover", "soils"}), _tables(district)]
    if district.cover.file is not None and is_raster(district.cover.file):
        covering.append(_stamp(district.folder / district.cover.file))
    return Kept(land, apart / "parcels.fgb",
                folder / "road-areas.fgb" if district.roads else None,
                folder / "roofs.fgb" if district.roofs else None,
                digest_of(covering), digest_of(outlines), notes)


def lands(file: Path, lattice: Dem) -> NDArray[np.int32]:
    """Which parcel each cell of a grid lies in, by number; 0 where none.

    Where several lie over a cell it is the first one's.
    """
    found = near(file, lattice.bounds)
    pairs = list(zip(found.geometry, found["number"], strict=True))
    return rasterized(pairs[::-1], lattice, 0, np.int32)


def _stamp(path: Path) -> list[Any]:
    """Names, sizes and times of all that is read when a file is."""
    return [[str(part), part.stat().st_size, part.stat().st_mtime_ns]
            for part in parts_of_layer(path.absolute()) if part.exists()]


def _tables(district: District) -> list[str]:
    """The bytes of the tables that say what classes and map units mean."""
    return [fingerprint(district.folder / table) for table in
            (district.cover.table, district.soils.table)
            if table is not None and (district.folder / table).is_file()]


def _stamps(district: District) -> list[Any]:
    drawn = district.cover.drawn
    layers = [district.cover, district.soils, *(
        one for one in (drawn, district.roads, district.roofs) if one is not None)]
    files = [layer.file for layer in layers if layer.file is not None]
    return [*map(_stamp, (district.folder / file for file in files)), _tables(district)]


def _kept(spec: AnyLayer, file: Path, values: ElevationValues) -> AnyLayer:
    """What a district file says of a layer, said of its copy, which names no CRS."""
    working = values.files.frame.working
    return spec.kept_in(file, ORDER).model_copy(
        update={"crs": working.to_wkt() if working is not None else None})


def _kept_cover(spec: Cover, folder: Path, values: ElevationValues) -> Cover:
    drawn = spec.drawn and _kept(spec.drawn, folder / "drawn.fgb", values)
    if spec.file is not None and not is_raster(spec.file):
        spec = _kept(spec, folder / "cover.fgb", values)
    return spec.model_copy(update={"drawn": drawn})


def _ground_layers(district: District, values: ElevationValues) -> tuple[Frames, list[str]]:
    """All that says what covers the ground, tried as a whole before anything rests on it."""
    files, folder = values.files, district.folder
    cover, soils, roads, roofs = (district.cover, district.soils, district.roads, district.roofs)
    # Without their names, lest roads be joined: there may be thousands of one name.
    unnamed = roads and roads.model_copy(update={"name_field": ORDER})
    west, south, east, north = files.bounds
    cell = max(east - west, north - south) / TRIED_ON
    tried_on = Dem(np.zeros((TRIED_ON, TRIED_ON), np.float32), west, north, cell, files.frame,
                   files.source)
    tried = read_ground(district.model_copy(update={"roads": unnamed, "roofs": None}), tried_on,
                        shapely.box(*files.bounds))
    notes = [note for note in tried.notes if not any(words in note for words in _OF_A_PART)]
    frames: Frames = {}
    classes = (cover.field, cover.impervious_field, cover.unconnected_field)
    if cover.file is not None and not is_raster(cover.file):
        frames["cover"] = copied(read_layer(cover, folder, files, district.where("cover")),
                                  *classes)
    elif cover.codes is not None:
        notes.append(f"Cover: which class stands in for a code of {cover.codes} is common "
                     "practice, no source; drawn polygons or a finer layer would be better.")
    if cover.drawn is not None:
        frames["drawn"] = copied(read_layer(cover.drawn, folder, files, district.where("cover")),
                                  *classes)
    if cover.otherwise is not None:
        notes.append(f"Cover: ground that no layer speaks for was taken as {cover.otherwise}.")
    if soils.file is not None:
        frames["soils"] = copied(read_layer(soils, folder, files, district.where("soils")),
                                  soils.field, soils.key)
    if soils.otherwise is not None:
        notes.append("Soils: ground that the layer does not speak for was taken as group "
                     f"{soils.otherwise}.")
    if roads is not None:
        layer = read_layer(roads, folder, files, district.where("roads"))
        frames["roads"] = copied(layer, roads.name_field, roads.width_field, roads.cover_field)
        frames["road-areas"] = road_areas(layer, roads, tried.roads, values)
    if roofs is not None:
        layer = read_layer(roofs, folder, files, district.where("roofs"))
        notes += layer.attrs["notes"]
        frames["roofs"], said = roof_areas(layer, roofs, district)
        notes += said
    return frames, notes
