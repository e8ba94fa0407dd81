"""Vector layers moved into the working frame."""

from __future__ import annotations

import json
import os
import re
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import DTypeLike, NDArray
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.transformer import TransformerGroup
from shapely.geometry.base import BaseGeometry

from terrain.errors import InputError
from terrain.files import check_name
from terrain.inputs.dem import Dem, Extent
from terrain.inputs.fields import UNPRINTABLE
from terrain.inputs.packed import refuse_bomb
from terrain.inputs.site import Layer
from terrain.inputs.stored_queries import refuse_queries
from terrain.inputs.whole_bytes import refuse_no_files
from terrain.units import in_both

if TYPE_CHECKING:
    import geopandas
    import pandas

#: An outline may stick out of the raster by this much before it counts as outside. [m]
OVERHANG = 0.05
#: Of a layer that is read part by part, features so far beyond the part are read too: the half
#: width of the widest road. [m]
NEAR = 100.0
#: A change of datum that is less sure than this is told. [m]
WORTH_TELLING = 1.0
_FORMATS = "Give a GeoPackage, GeoJSON, shapefile or KML"
_AREAS = ("Polygon", "MultiPolygon")


def read_layer(spec: Layer, folder: Path, dem: Extent, where: str) -> geopandas.GeoDataFrame:
    """Read a vector layer and move it into the raster's working frame.

    Parameters
    ----------
    spec : Layer
        The file, and where needed the layer in it and its CRS.
    folder : Path
        Where a relative file name starts from.
    dem : Dem or other Extent
        Whose working frame the layer is moved into.
    where : str
        Where the layer is asked for, e.g. ``site.yaml line 9, cover``.

    Returns
    -------
    layer : GeoDataFrame
        In the file's order, flat (no heights); of a copy kept in the working frame those near `dem`
        alone, which may be none. [m]  ``layer.attrs["notes"]`` lists what was
        assumed or repaired.

    Raises
    ------
    InputError
        If there is no such file or layer, it holds no features, one of them has no usable shape,
        or it cannot be placed on the raster.
    """
    path = folder / spec.file
    here = f"{where}, {spec.file}"
    with _nothing_beside(path):
        return _read_layer(path, spec, dem, here)


@contextmanager
def _nothing_beside(path: Path) -> Iterator[None]:
    """Take away what GDAL writes beside a GML file that it reads: a list of its fields (.gfs)."""
    list_of_fields = path.with_suffix(".gfs")
    before = list_of_fields.exists()
    try:
        yield
    finally:
        if not before and path.suffix.lower() in (".gml", ".xml"):
            with suppress(OSError):
                list_of_fields.unlink(missing_ok=True)


def _read_layer(path: Path, spec: Layer, dem: Extent, here: str) -> geopandas.GeoDataFrame:
    import geopandas
    import pyogrio

    name = _layer_name(path, spec.layer, here)
    west, south, east, north = dem.bounds
    near = None if spec.ordered_by is None else (west - NEAR, south - NEAR, east + NEAR,
                                                 north + NEAR)
    try:
        frame = pyogrio.read_dataframe(path, layer=name, bbox=near)
    except Exception as error:
        raise InputError(here, f"it cannot be read ({in_short(error)})", _FORMATS) from None
    if not isinstance(frame, geopandas.GeoDataFrame):
        raise InputError(here, "it holds a table without shapes", _FORMATS)
    twice = frame.columns[frame.columns.duplicated()]
    if len(twice):
        raise InputError(here, f"it has two columns named '{twice[0]}'", "Give one another name")
    if spec.ordered_by is not None:
        frame = frame.sort_values(spec.ordered_by, ignore_index=True)
    elif len(frame) == 0:
        raise InputError(here, "it holds no features", "Draw at least one, or name another layer")
    for number, shape in enumerate(frame.geometry, start=1):
        if shape is None or shape.is_empty:
            raise InputError(f"{here}, feature {number}", "it has no shape",
                             "Draw it, or delete it from the layer")
        if not np.isfinite(shapely.get_coordinates(shape)).all():
            raise InputError(f"{here}, feature {number}", "one of its points has no coordinates",
                             "Draw it again")
    shapes = shapely.force_2d(np.asarray(frame.geometry.array, dtype=object))
    own, notes = layer_crs(path, frame.crs, spec.crs, shapes, dem, here)
    shapes, moved = _moved(shapes, own, dem, here)
    notes += moved
    shapes, repaired = _repaired(shapes, here)
    notes += repaired
    notes += _printable(frame, here)
    frame = frame.set_geometry(geopandas.GeoSeries(shapes, index=frame.index), crs=None)
    frame = frame.set_crs(dem.frame.working, allow_override=True)
    frame.attrs["notes"] = notes
    return frame


def _printable(frame: geopandas.GeoDataFrame, here: str) -> list[str]:
    """Take what a terminal would obey out of a layer's words, and say so."""
    notes = []
    for name in frame.columns:
        words = frame[name]
        if name == frame.geometry.name or words.dtype.kind in "biuf":
            continue
        bad = [isinstance(word, str) and UNPRINTABLE.search(word) is not None for word in words]
        if any(bad):
            frame[name] = [UNPRINTABLE.sub("", word) if isinstance(word, str) else word
                           for word in words]
            notes.append(f"{here}, feature {bad.index(True) + 1}: signs that cannot be printed "
                         f"were left out of its {name}.")
    return notes


def boundary_polygon(gdf: geopandas.GeoDataFrame, dem: Extent, where: str) -> BaseGeometry:
    """The property's outline as one polygon, or several in one. [m]

    Parameters
    ----------
    gdf : GeoDataFrame
        A layer from `read_layer`: polygons, or lines that close.
    dem : Dem or other Extent
        The raster that must reach all of it.
    where : str
        Whose boundary it is, for messages.

    Raises
    ------
    InputError
        If a feature encloses no ground, or the raster does not reach all of it.
    """
    outline = shapely.union_all([area_of(shape, f"{where}, feature {number}")
                                 for number, shape in enumerate(gdf.geometry, start=1)])
    box = shapely.box(*dem.bounds)
    if outline.intersection(box).area <= 0:
        raise InputError(where, f"it lies outside {dem.source}, {_gap(outline, dem)}",
                         "Check the layer's CRS, or use a raster that reaches it")
    west, south, east, north = dem.bounds
    x0, y0, x1, y1 = outline.bounds
    over = {"west": west - x0, "south": south - y0, "east": x1 - east, "north": y1 - north}
    beyond = [f"{by:,.1f} m in the {side}" for side, by in over.items() if by > OVERHANG]
    if beyond:
        share = 100 * (1 - outline.intersection(box).area / outline.area)
        raise InputError(where, f"it sticks out of {dem.source} by {' and '.join(beyond)} "
                         f"({share:.1f} % of its area)",
                         "Use a raster that reaches all of it and the slopes above it")
    return outline


def rasterized(geometries_and_values: Iterable[tuple[BaseGeometry, Any]], dem: Dem, fill: Any,
               dtype: DTypeLike, all_touched: bool = False) -> NDArray[Any]:
    """Values of shapes on the raster's grid; a later shape overrules an earlier one.

    Parameters
    ----------
    geometries_and_values : pairs
        Shapes in the working frame [m] and the value each gives its cells.
    fill : scalar
        What cells hold that no shape covers.
    dtype : numpy dtype
        Of the result; any, since only positions in the list are burned.
    all_touched : bool
        Every cell a shape touches, not only those whose centre it covers.

    Notes
    -----
    Shapes are counted in cells of the whole grid, and a window begins at a whole number of them: so
    a cell gets the same value in every window that holds it, however near its centre an edge runs.
    """
    from rasterio.features import rasterize
    from rasterio.transform import Affine

    pairs = list(geometries_and_values)
    values = np.empty(len(pairs) + 1, dtype=dtype)
    values[0] = fill
    for position, (_, value) in enumerate(pairs, start=1):
        values[position] = value
    if not pairs:
        return np.full(dem.shape, values[0], dtype=dtype)
    left, top, row, column = dem.lattice
    shapes = shapely.transform(
        np.array([shape for shape, _ in pairs], object),
        lambda xy: np.column_stack([(xy[:, 0] - left) / dem.cell, (xy[:, 1] - top) / dem.cell]))
    burned = rasterize([(shape, position) for position, shape in enumerate(shapes, start=1)],
                       out_shape=dem.shape, transform=Affine(1, 0, column, 0, -1, -row), fill=0,
                       all_touched=all_touched, dtype="int32")
    found: NDArray[Any] = values[burned]
    return found


def column(gdf: geopandas.GeoDataFrame, name: str, where: str) -> pandas.Series:
    """A column by its name, in capitals or not.

    Raises
    ------
    InputError
        If there is none, with those there are.
    """
    columns = [str(c) for c in gdf.columns if c != gdf.geometry.name]
    if name in columns:
        return gdf[name]
    close = [c for c in columns if c.strip().lower() == name.strip().lower()]
    if len(close) == 1:
        return gdf[close[0]]
    if close:
        raise InputError(where, f"there is no column '{name}', but both {' and '.join(close)}",
                         "Name one of them as it is written")
    has = "it has " + ", ".join(columns) if columns else "it has none at all"
    raise InputError(where, f"there is no column '{name}'; {has}", "Name one of its columns")


def _layer_name(path: Path, asked: str | None, here: str) -> str:
    import pyogrio

    if not os.path.exists(path):
        raise InputError(here, "there is no such file", check_name(path))
    refuse_no_files(path, here)
    refuse_bomb(path, here)
    refuse_queries(path, here)
    try:
        listed = pyogrio.list_layers(path)
    except Exception as error:
        raise InputError(here, f"this is not a vector layer that can be read ({in_short(error)})",
                         _FORMATS) from None
    names = [str(name) for name, kind in listed if kind is not None]
    if asked is not None:
        if asked not in names:
            raise InputError(here, f"it has no layer '{asked}', but {', '.join(names) or 'none'}",
                             "Name one of its layers")
        return asked
    if not names:
        raise InputError(here, "it holds no layer with shapes", _FORMATS)
    if len(names) > 1:
        raise InputError(here, f"it holds several layers: {', '.join(names)}",
                         "Say which (layer: in the site file, --cover-layer or --soils-layer "
                         "on the command line)")
    return names[0]


def layer_crs(path: Path, stated: CRS | None, given: str | None, shapes: NDArray[Any], dem: Extent,
               here: str) -> tuple[CRS | None, list[str]]:
    """The layer's CRS: the file's own, else the one given, else longitude and latitude."""
    notes: list[str] = []
    if stated is not None and (stated.is_engineering or stated.name.startswith("Undefined")):
        stated = None
    assumed = path.suffix.lower() in (".geojson", ".json") and not _names_crs(path)
    if assumed and (given is not None or dem.frame.working is None):
        stated = None
    try:
        wanted = CRS.from_user_input(given) if given is not None else None
    except Exception:
        raise InputError(here, f"the stated CRS '{given}' is not known",
                         "Give one such as EPSG:32734") from None
    if stated is not None and wanted is not None and not stated.to_2d().equals(
            wanted.to_2d(), ignore_axis_order=True):
        raise InputError(here, f"the file says its CRS is {stated.name}, but {wanted.name} was "
                         "stated", "Leave the CRS out, or correct the file")
    own = stated if stated is not None else wanted
    if dem.frame.working is None:
        if own is not None:
            raise InputError(here, f"it is in {own.name}, but {dem.source} has no coordinate "
                             "system to place it on",
                             "State the raster's CRS, or give the layer in the raster's own "
                             "coordinates")
        return None, notes
    if own is None:
        raise InputError(here, "it has no coordinate system",
                         "State it with 'crs:', e.g. crs: EPSG:32734")
    if own.is_geographic:
        spots = np.abs(shapely.get_coordinates(shapes))
        if (spots[:, 0] > 360).any() or (spots[:, 1] > 90).any():
            raise InputError(here, "its coordinates are no longitudes and latitudes, though its "
                             f"CRS is {own.name}" + (" by the rule of GeoJSON" if assumed else ""),
                             "State its true CRS with 'crs:'" if assumed
                             else "Correct the CRS in the file")
    if assumed and wanted is None:
        notes.append(f"{path.name} names no CRS; it was taken as longitude and latitude, WGS 84.")
    return own, notes


def _names_crs(path: Path) -> bool:
    try:
        return bool(json.loads(path.read_text(encoding="utf-8-sig")).get("crs"))
    except (ValueError, OSError, AttributeError):
        return False


def _moved(shapes: NDArray[Any], own: CRS | None, dem: Extent, here: str
           ) -> tuple[NDArray[Any], list[str]]:
    working = dem.frame.working
    if own is None or working is None:
        return shapely.transform(shapes, lambda xy: xy * dem.frame.metres_per_unit), []
    way, notes = way_between(own, working, dem, here)
    if way is None:
        return shapes, notes
    moved = shapely.transform(
        shapes, lambda xy: np.column_stack(way.transform(xy[:, 0], xy[:, 1])))
    for number, shape in enumerate(moved, start=1):
        if not np.isfinite(shapely.get_coordinates(shape)).all():
            raise InputError(f"{here}, feature {number}", f"it cannot be moved from {own.name} to "
                             f"{working.name}: it lies too far off",
                             "Check the layer's CRS and the feature's coordinates")
    return moved, notes


def way_between(own: CRS, working: CRS, dem: Extent, here: str
                ) -> tuple[Transformer | None, list[str]]:
    """The surest way between two CRS near the raster, and how sure it is.

    Where the grid file of an old datum is not installed, PROJ would leave the datums' difference
    (often 50 to 200 m) out without a word; that is refused.
    """
    start = own.to_2d()
    if start.equals(working, ignore_axis_order=True):
        return None, []
    west, south, east, north = dem.bounds
    near = dem.frame.to_lonlat([west, west, east, east], [south, north, south, north])
    assert near is not None
    area: Any = None
    if np.isfinite(near[0]).all() and np.isfinite(near[1]).all():
        area = AreaOfInterest(float(near[0].min()), float(near[1].min()),
                              float(near[0].max()), float(near[1].max()))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # pyproj's word on missing grids; told below
        group = TransformerGroup(start, working, always_xy=True, area_of_interest=area)
    if not group.transformers:
        raise InputError(here, f"there is no known way from {own.name} to {working.name}",
                         f"Save the layer in {working.name}")
    way = group.transformers[0]
    first, second = start.geodetic_crs, working.geodetic_crs
    if first is None or second is None or _same_datum(first, second):
        return way, []
    grids = sorted({grid.short_name for missing in group.unavailable_operations
                    for grid in missing.grids if not grid.available})
    better = f"; a surer way needs the grid file {grids[0]}, which is not here" if (
        grids and not group.best_available) else ""
    unsure = "ballpark" in way.description.lower() or way.accuracy < 0
    if unsure and not (_modern(first) and _modern(second)):
        raise InputError(here, f"its datum {first.name} cannot be moved onto {second.name} "
                         f"truly{better}; it could land 100 m and more from its place",
                         f"Save the layer in {working.name} with a program that has that grid")
    if unsure:
        return way, [f"Layers in {first.name} were laid on {second.name} as if the two were one; "
                     f"they differ by up to about {in_both(2, 'length')}{better}."]
    if way.accuracy >= WORTH_TELLING:
        return way, [f"Layers in {first.name} were moved to {second.name}, which is sure to about "
                     f"{in_both(way.accuracy, 'length')}{better}."]
    return way, []


def _same_datum(first: CRS, second: CRS) -> bool:
    """Whether two geodetic CRS share a datum; an ensemble and its namesake count as one."""
    names = [(crs.datum.name if crs.datum else crs.name).lower().removesuffix(" ensemble")
             for crs in (first, second)]
    return names[0] == names[1]


def _modern(crs: CRS) -> bool:
    """Whether a datum is centred on the Earth's mass, as those on GRS 1980 and WGS 84 are."""
    ellipsoid = crs.ellipsoid
    return ellipsoid is not None and abs(ellipsoid.semi_major_metre - 6378137.0) < 0.5


def _repaired(shapes: NDArray[Any], here: str) -> tuple[NDArray[Any], list[str]]:
    """Polygons that cross themselves made whole; what encloses no ground is refused."""
    shapes = shapes.copy()
    notes: list[str] = []
    for index in np.flatnonzero(~shapely.is_valid(shapes)):
        number, shape = index + 1, shapes[index]
        why = shapely.is_valid_reason(shape).split("[")[0].strip().lower()
        whole = shapely.make_valid(shape)
        if shape.geom_type in _AREAS:
            parts = [part for part in shapely.get_parts(whole) if part.geom_type in _AREAS]
            whole = shapely.union_all(parts) if parts else whole
        if shapely.get_dimensions(whole) < shapely.get_dimensions(shape):
            what = "its outline encloses no ground" if shape.geom_type in _AREAS else (
                "all its points are one")
            raise InputError(f"{here}, feature {number}", what, "Draw it again")
        shapes[index] = whole
        notes.append(f"{here}, feature {number}: its outline is faulty ({why}); it was repaired"
                     + (f" and now encloses {whole.area:,.0f} m2." if whole.area else "."))
    return shapes, notes


def area_of(shape: BaseGeometry, where: str) -> BaseGeometry:
    """A shape that encloses ground: a polygon, or a line that closes. [m]"""
    if shape.geom_type in _AREAS:
        return shape
    kind = shape.geom_type
    if kind in ("LineString", "MultiLineString"):
        parts = [shapely.Polygon(line.coords) for line in shapely.get_parts(shape)
                 if line.is_closed and len(line.coords) >= 4]
        if parts and len(parts) == len(shapely.get_parts(shape)):
            whole = shapely.union_all([shapely.make_valid(part) for part in parts])
            if whole.geom_type in _AREAS and whole.area > 0:
                return whole
        kind = "line that does not close"
    raise InputError(where, f"it is a {kind.lower()}, not an area", "Draw it as a polygon")


def _gap(outline: BaseGeometry, dem: Extent) -> str:
    west, south, east, north = dem.bounds
    x0, y0, x1, y1 = outline.bounds
    side = "south" if y1 <= south else "north" if y0 >= north else ""
    across = "west" if x1 <= west else "east" if x0 >= east else ""
    away = shapely.distance(outline, shapely.box(*dem.bounds))
    return f"{away:,.0f} m to the {'-'.join(filter(None, (side, across))) or 'side'} of it"


def in_short(error: Exception) -> str:
    """The first sentence of a library's error, for a sentence of ours."""
    return re.split(r"\n|[.;]\s", str(error).strip())[0].rstrip(".")[:200]


def unseen(shapes: list[BaseGeometry], dem: Dem, what: str) -> list[str]:
    """A note on polygons that hold no cell's centre and so do not count."""
    box = shapely.box(*dem.bounds)
    outside = [n for n, shape in enumerate(shapes, start=1) if not shape.intersects(box)]
    small = [n for n, shape in enumerate(shapes, start=1) if n not in outside
             and shape.area < dem.cell_area]
    notes = []
    if outside:
        notes.append(f"{what}: {features_told(outside, f'outside {dem.source}')} not used.")
    if small:
        notes.append(f"{what}: {features_told(small)} found smaller than a cell, and may not "
                     "show.")
    return notes


def features_told(numbers: list[int], which: str = "") -> str:
    """The start of a note on some features, its verb included."""
    listed = ", ".join(str(n) for n in numbers[:8]) + (
        f" and {len(numbers) - 8} more" if len(numbers) > 8 else "")
    noun, verb = ("feature", "was") if len(numbers) == 1 else ("features", "were")
    return " ".join(filter(None, (noun, listed, which, verb)))
