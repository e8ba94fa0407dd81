"""A district's layers as copies in the folder of tiles, of which a task reads what lies near.

A copy is in the working frame, its shapes repaired, its features numbered in their order.  It is
made anew when the file, or what the district file says of it, has changed.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import geopandas
import numpy as np
import pyogrio
import shapely
from numpy.typing import NDArray

from terrain import __version__
from terrain.district.footprints import SetApart, set_apart
from terrain.district.parcel_list import ParcelList
from terrain.errors import InputError
from terrain.files import fingerprint, put_whole
from terrain.inputs.csv_table import cell_text
from terrain.inputs.dem import Dem
from terrain.inputs.district import District
from terrain.inputs.ground_cover import is_raster
from terrain.inputs.layers import column, rasterized, read_layer
from terrain.inputs.made_from import parts_of_layer
from terrain.inputs.site import Cover, Layer, Roads, Roofs
from terrain.runoff.ground import Road, read_ground
from terrain.runoff.roof_layer import gutters_by_roof, roof_share
from terrain.surface.tiled.grid import Window
from terrain.surface.tiled.ground import ElevationValues
from terrain.surface.tiled.store import DRAFT
from terrain.units import in_both

#: The folder of the copies, and their column that says in which order features stand.
FOLDER, ORDER = "layers", "levelsill_order"
#: Layers are first tried on so many cells a side.
TRIED_ON = 16
#: Of notes that say the same of many features so many are given.
ALIKE = 3
#: Side of a block in which a shape's cells are looked for. [cells]
BLOCK = 1024
#: What notes say of the part of a raster that was read, and so nothing of the whole.
_OF_A_PART = ("of the raster", " outside ", "smaller than a cell", "lies off the raster")

Frames = dict[str, geopandas.GeoDataFrame]
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
    outlines, _ = _keep(folder, "parcels", [*grid, [p.outline.wkb_hex for p in parcels.parcels]],
                        lambda: ({"parcels": _numbered([p.outline for p in parcels.parcels],
                                                       number=[p.number for p in
                                                               parcels.parcels])}, []))
    words = [district.model_dump(mode="json", include={"cover", "soils", "roads", "roofs",
                                                       "units"}), _stamps(district)]
    prints, notes = _keep(folder, "ground", [*grid, *words],
                          lambda: _ground_layers(district, values))
    land = district.model_copy(update={
        "cover": _kept_cover(district.cover, folder, values),
        "soils": _kept(district.soils, folder / "soils.fgb", values),
        "roads": district.roads and _kept(district.roads, folder / "roads.fgb", values),
        "roofs": district.roofs and _kept(district.roofs, folder / "roofs.fgb", values).model_copy(
            update={"gutters": []})})
    covering = [grid, {name: prints[name] for name in prints if name != "roads"},
                district.model_dump(mode="json", include={"cover", "soils"}), _tables(district)]
    if is_raster(district.cover.file):
        covering.append(_stamp(district.folder / district.cover.file))
    return Kept(land, folder / "parcels.fgb",
                folder / "road-areas.fgb" if district.roads else None,
                folder / "roofs.fgb" if district.roofs else None,
                _print(covering), _print(outlines), notes)


def near(file: Path, bounds: tuple[float, float, float, float]) -> geopandas.GeoDataFrame:
    """The features of a copy whose bounds touch a rectangle, in their order. [m]"""
    found: geopandas.GeoDataFrame = pyogrio.read_dataframe(file, bbox=bounds)
    return found.sort_values(ORDER, ignore_index=True)


def lands(file: Path, lattice: Dem) -> NDArray[np.int32]:
    """Which parcel each cell of a grid lies in, by number; 0 where none.

    Where several lie over a cell it is the first one's.
    """
    found = near(file, lattice.bounds)
    pairs = list(zip(found.geometry, found["number"], strict=True))
    return rasterized(pairs[::-1], lattice, 0, np.int32)


def _keep(folder: Path, name: str, made_of: Any,
          make: Callable[[], tuple[Frames, list[str]]]) -> tuple[dict[str, str], tuple[str, ...]]:
    """The SHA-256 of each copy of a set, and the set's notes; made anew where it was made of
    something else, or one is spoilt."""
    seal = folder / f"{name}.json"
    stamp = _print(made_of)
    try:
        told = json.loads(seal.read_text(encoding="utf-8"))
        if told["stamp"] == stamp and all(fingerprint(folder / f"{copy}.fgb") == sha for copy, sha
                                          in told["copies"].items()):
            return dict(told["copies"]), tuple(told["notes"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        pass
    frames, notes = make()
    prints: dict[str, str] = {}
    try:
        folder.mkdir(exist_ok=True)
        for copy, frame in frames.items():
            draft = folder / f"{DRAFT}{os.getpid()}-{copy}.fgb"
            try:
                with warnings.catch_warnings():  # a copy is in the working frame, and names none
                    warnings.filterwarnings("ignore", "'crs' was not provided")
                    pyogrio.write_dataframe(frame, draft, layer=copy, driver="FlatGeobuf",
                                            geometry_type="Unknown", promote_to_multi=False)
                prints[copy] = fingerprint(draft)
                os.replace(draft, folder / f"{copy}.fgb")
            finally:
                draft.unlink(missing_ok=True)
        said = _condensed(notes)
        put_whole(seal, json.dumps({"stamp": stamp, "copies": prints, "notes": said}).encode(),
                  draft_name=DRAFT)
    except (OSError, pyogrio.errors.DataSourceError) as error:
        raise InputError(str(folder), f"copies of the layers cannot be written ({error})",
                         "Free some space, or name another folder for the tiles") from None
    return prints, tuple(said)


def _print(of: Any) -> str:
    return hashlib.sha256(json.dumps(of, sort_keys=True).encode()).hexdigest()[:16]


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
    return [*map(_stamp, (district.folder / layer.file for layer in layers)), _tables(district)]


def _kept(spec: AnyLayer, file: Path, values: ElevationValues) -> AnyLayer:
    """What a district file says of a layer, said of its copy, which names no CRS."""
    working = values.files.frame.working
    return spec.kept_in(file, ORDER).model_copy(
        update={"crs": working.to_wkt() if working is not None else None})


def _kept_cover(spec: Cover, folder: Path, values: ElevationValues) -> Cover:
    drawn = spec.drawn and _kept(spec.drawn, folder / "drawn.fgb", values)
    if not is_raster(spec.file):
        spec = _kept(spec, folder / "cover.fgb", values)
    return spec.model_copy(update={"drawn": drawn})


def _numbered(shapes: Sequence[Any] | NDArray[Any], **columns: Any) -> geopandas.GeoDataFrame:
    """Shapes in their order."""
    geometry = np.empty(len(shapes), object)
    geometry[:] = list(shapes)
    return geopandas.GeoDataFrame({ORDER: np.arange(len(shapes)), **columns}, geometry=geometry)


def _copied(layer: geopandas.GeoDataFrame, *columns: str | None) -> geopandas.GeoDataFrame:
    """Features in their order, with those of the columns that the layer has."""
    wanted = {name.strip().lower() for name in columns if name is not None}
    held = {}
    for name in layer.columns:
        if name != layer.geometry.name and str(name).strip().lower() in wanted:
            values = layer[name]
            held[str(name)] = (values.to_numpy() if values.dtype.kind in "iufb" else
                               np.array([cell_text(value) or None for value in values], object))
    return _numbered(layer.geometry, **held)


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
    if not is_raster(cover.file):
        frames["cover"] = _copied(read_layer(cover, folder, files, district.where("cover")),
                                  *classes)
    elif cover.codes is not None:
        notes.append(f"Cover: which class stands in for a code of {cover.codes} is common "
                     "practice, no source; drawn polygons or a finer layer would be better.")
    if cover.drawn is not None:
        frames["drawn"] = _copied(read_layer(cover.drawn, folder, files, district.where("cover")),
                                  *classes)
    if cover.otherwise is not None:
        notes.append(f"Cover: ground that no layer speaks for was taken as {cover.otherwise}.")
    frames["soils"] = _copied(read_layer(soils, folder, files, district.where("soils")),
                              soils.field, soils.key)
    if soils.otherwise is not None:
        notes.append("Soils: ground that the layer does not speak for was taken as group "
                     f"{soils.otherwise}.")
    if roads is not None:
        layer = read_layer(roads, folder, files, district.where("roads"))
        frames["roads"] = _copied(layer, roads.name_field, roads.width_field, roads.cover_field)
        frames["road-areas"] = _road_areas(layer, roads, tried.roads, values)
    if roofs is not None:
        layer = read_layer(roofs, folder, files, district.where("roofs"))
        notes += layer.attrs["notes"]
        frames["roofs"], said = _footprints(layer, roofs, district)
        notes += said
    return frames, notes


def _road_areas(layer: geopandas.GeoDataFrame, spec: Roads, roads: Sequence[Road],
                values: ElevationValues) -> geopandas.GeoDataFrame:
    """Roads as areas over the middles of just those cells that `read_ground` makes road of on the
    whole ground, in the order in which it lays them: later ones over earlier."""
    names = _words(layer, spec.name_field)
    rows = []
    first: dict[tuple[str, str], int] = {}
    for road in roads:
        number = int(road.name.rpartition(" ")[2]) - 1
        name = names[number] or road.name
        area = (road.surface if _covers_a_middle(road.surface, values)
                else _touched(layer.geometry.iloc[number], values))
        rows.append((first.setdefault((name, road.cover), number), number, area, road.cover))
    rows = sorted((row for row in rows if row[2] is not None), key=lambda row: row[:2])
    return _numbered([row[2] for row in rows], cover=np.array([row[3] for row in rows], object))


def _words(layer: geopandas.GeoDataFrame, field: str | None) -> list[Any]:
    """A column as text, None where nothing stands; all None where there is no such column."""
    has = [str(name).strip().lower() for name in layer.columns]
    if field is None or field.strip().lower() not in has:
        return [None] * len(layer)
    return [cell_text(value) or None for value in column(layer, field, "layer")]


def _blocks(shape: Any, values: ElevationValues) -> Iterator[Dem]:
    """Parts of the whole grid that a shape touches, a block at a time."""
    west, _, _, north = values.files.bounds
    cell = values.files.cell
    x0, y0, x1, y1 = shape.bounds
    rows, columns = values.shape
    top, bottom = max(int((north - y1) // cell) - 1, 0), min(int((north - y0) // cell) + 2, rows)
    left, right = max(int((x0 - west) // cell) - 1, 0), min(int((x1 - west) // cell) + 2, columns)
    for row in range(top, bottom, BLOCK):
        for column_ in range(left, right, BLOCK):
            part = values.lattice(Window(row, min(row + BLOCK, bottom), column_,
                                         min(column_ + BLOCK, right)))
            if shape.intersects(shapely.box(*part.bounds)):
                yield part


def _covers_a_middle(area: Any, values: ElevationValues) -> bool:
    """Whether some cell of the whole grid has its middle in an area."""
    inside = area.intersection(shapely.box(*values.files.bounds))
    # Any disc of half a cell's diagonal holds the middle of the cell that it is centred in.
    if not inside.buffer(-0.7072 * values.files.cell).is_empty:
        return True
    return any(rasterized([(area, 1)], part, 0, np.uint8).any()
               for part in _blocks(area, values))


def _touched(shape: Any, values: ElevationValues) -> Any:
    """Squares about the middles of the cells that a shape touches; None where there are none."""
    quarter = values.files.cell / 4
    squares: list[Any] = []
    for part in _blocks(shape, values):
        cells = rasterized([(shape, 1)], part, 0, np.uint8, all_touched=True)
        x, y = part.xy(*np.nonzero(cells))
        squares += shapely.box(x - quarter, y - quarter, x + quarter, y + quarter).tolist()
    return shapely.MultiPolygon(squares) if squares else None


def _footprints(layer: geopandas.GeoDataFrame, spec: Roofs, district: District
                ) -> tuple[geopandas.GeoDataFrame, list[str]]:
    """Footprints that share no ground, each with a name of its own."""
    where = district.where("roofs")
    here = f"{where}, {spec.file}"
    given, notes = _words(layer, spec.name_field), []
    if spec.material_field is not None:
        column(layer, spec.material_field, here)
    shares, materials = (_words(layer, field) for field in (spec.efficiency_field,
                                                            spec.material_field))
    names: list[str] = []
    taken = {name for name in given if name is not None}
    again = 0
    met: set[str] = set()
    for number, (name, shape) in enumerate(zip(given, layer.geometry, strict=True), start=1):
        feature = f"{here}, feature {number}"
        if shape.geom_type not in ("Polygon", "MultiPolygon"):
            raise InputError(feature, "a roof is an area, and this is a "
                             f"{shape.geom_type}", "Draw its outline")
        share = roof_share(spec, shares[number - 1], materials[number - 1], feature)[0]
        try:
            fair = 0 < float(share) <= 1
        except ValueError:
            fair = False
        if not fair:
            raise InputError(feature, f"its {spec.efficiency_field} '{share}' is not between 0 "
                             "and 1", "Give the share of rain that reaches the gutter, such as 0.9")
        again += name in met
        own = name or f"roof {number}"
        while own in met or (own != name and own in taken):
            own = f"{own} ({number})"
        met.add(own)
        names.append(own)
    gutters_by_roof(district.site_of("district"), names)
    if again:
        notes.append(f"{again:,} {'roof has' if again == 1 else 'roofs have'} the name of another; "
                     "the number in the layer was put behind it.")
    apart = set_apart(np.asarray(layer.geometry.array, dtype=object))
    notes += _set_apart_notes(apart, spec.file.name)
    copy = _copied(layer, spec.efficiency_field, spec.material_field)
    held = {name: copy[name].to_numpy()[apart.places] for name in copy.columns
            if name not in (ORDER, copy.geometry.name)}
    return _numbered(apart.shapes, **held, **{spec.name_field: np.array(names, object)[
        apart.places]}), notes


def _set_apart_notes(apart: SetApart, file: str) -> list[str]:
    said = []
    if apart.merged:
        said.append(f"{apart.merged:,} of them shared more than half of another and " + (
            "was" if apart.merged == 1 else "were") + " merged with it")
    if apart.trimmed:
        said.append(f"{apart.trimmed:,} lost what lay in an earlier one, "
                    f"{in_both(apart.cut, 'area')} in all")
    if apart.gone:
        said.append(f"{apart.gone:,} lay in earlier ones and fell away")
    return [f"Roofs of {file} lie over each other: {'; '.join(said)}."] if said else []


def _condensed(notes: Sequence[str]) -> list[str]:
    """Notes with those that say the same of many features cut to a few and a count."""
    alike: dict[str, list[str]] = {}
    for note in dict.fromkeys(notes):
        alike.setdefault(re.sub(r"\"[^\"]*\"|\([^)]*\)|[\d,.]+", "#", note), []).append(note)
    said = []
    for group in alike.values():
        said += group[:ALIKE]
        if len(group) > ALIKE:
            said.append(f"The same was noted of {len(group) - ALIKE:,} more: \""
                        f"{group[0][:60].rstrip()}...\".")
    return said
