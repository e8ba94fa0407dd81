"""Every reader of a person's files, what a good file of each kind is, and what must hold of any.

A reader may refuse with an `InputError`; whatever else it raises is a find.  What it accepts it
must read the same way twice, and the file must stay as it was.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import seeds as good
from shapely import LineString, Point, box

from terrain.errors import InputError

HOUSE = Path(__file__).resolve().parents[2]
DEMO = HOUSE / "demo_dem"


@dataclass(frozen=True)
class Reader:
    """A reader under test.

    Attributes
    ----------
    name : str
    file : str
        What the file is called; its ending tells its kind.
    seeds : tuple of bytes
        Good files, small ones.
    read : callable (Path) -> object
        Reads the file and hands back all that it found, to be compared.
    text : bool
        Whether files are text, whose words and lines are changed as well as its bytes.
    beside : dict of str to bytes
        Files that lie beside it.
    """

    name: str
    file: str
    seeds: tuple[bytes, ...]
    read: Callable[[Path], Any]
    text: bool = True
    beside: dict[str, bytes] = field(default_factory=dict)


def outcome(reader: Reader, path: Path) -> str:
    """What becomes of a file: "read", or the sentence by which it is refused.

    Raises
    ------
    AssertionError
        If it is read otherwise a second time, a file of its folder is changed or a new one written,
        or the sentence is none.
    """
    before = _held(path.parent)
    found: list[bytes | str] = []
    for _ in range(2):
        try:
            found.append(pickle.dumps(_plain(reader.read(path))))
        except InputError as error:
            found.append(f"refused: {error}")
    assert _held(path.parent) == before, "a file was changed, or written beside it"
    assert found[0] == found[1], "it is read otherwise a second time"
    if isinstance(found[0], bytes):
        return "read"
    sentence = found[0].removeprefix("refused: ")
    assert len(sentence) < 4000, "the sentence is longer than a page"
    assert "Traceback" not in sentence
    assert sentence.rstrip().endswith((".", "?", ")")), f"this is no sentence: {sentence!r}"
    return str(found[0])


def _held(folder: Path) -> dict[str, bytes]:
    """All files of a folder, what is in them."""
    return {part.name: part.read_bytes() for part in folder.iterdir() if part.is_file()}


def _plain(found: Any) -> Any:
    """Something that compares by bytes."""
    if isinstance(found, np.ndarray):
        return found.dtype.str, found.shape, found.tobytes()
    if isinstance(found, list | tuple):
        return [_plain(one) for one in found]
    if hasattr(found, "to_wkb"):
        return found.to_json(drop_id=True) if not found.empty else ""
    return repr(found)


def _elevation(path: Path) -> Any:
    from terrain.inputs.elevation import open_elevation

    files = open_elevation(path, crs="EPSG:32734" if path.suffix == ".asc" else None,
                           height_unit="m" if path.suffix == ".asc" else None)
    return files.notes, files.transform, files.read().heights


def _points(path: Path) -> Any:
    from terrain.inputs.elevation import open_elevation

    files = open_elevation(path, crs="EPSG:32734", cell=5.0, height_unit="m")
    return files.notes, files.read().heights


def _tiles(path: Path) -> Any:
    from terrain.inputs.elevation import open_elevation

    files = open_elevation(path.parent / "tile*.tif", height_unit="m")
    return files.notes, files.transform, files.read().heights


def _dem() -> Any:
    """Ground that slopes, on which layers are laid."""
    from pyproj import CRS

    from terrain.inputs.dem import Dem
    from terrain.inputs.frame import Frame, in_metres

    crs = CRS.from_user_input("EPSG:32734")
    heights = (200 + 0.1 * np.add.outer(np.arange(40), np.arange(40))).astype(np.float32)
    return Dem(heights, 500_000.0, 6_400_040.0, 1.0, Frame(crs, in_metres(crs)), "ground.tif")


def _layer(path: Path) -> Any:
    from terrain.inputs.layers import read_layer
    from terrain.inputs.site import Layer

    found = read_layer(Layer(file=Path(path.name)), path.parent, _dem(), "site.yaml line 1, cover")
    return [shape.wkb for shape in found.geometry], found.attrs["notes"]


def _dbf(path: Path) -> Any:
    """A shapefile by way of its table."""
    return _layer(path.with_suffix(".shp"))


def _ground(path: Path) -> Any:
    """Cover, soils, roads and roofs of the site beside it."""
    from shapely import box

    from terrain.inputs.site import read_site
    from terrain.runoff.ground import read_ground

    found = read_ground(read_site(path.parent / "site.yaml"), _dem(),
                        box(500_005, 6_400_005, 500_035, 6_400_035))
    return (found.cover, found.soil, found.curve_number, found.classes, found.notes,
            [(road.name, road.surface.wkb) for road in found.roads], repr(found.roofs))


def _culverts(path: Path) -> Any:
    from terrain.inputs.site import Culverts
    from terrain.surface.culverts import read_culverts

    return repr(read_culverts(Culverts(file=Path(path.name)), path.parent, _dem(), "site.yaml"))


def _keep_clear(path: Path) -> Any:
    from terrain.inputs.keep_clear import read_keep_clear
    from terrain.inputs.site import read_site

    return repr(read_keep_clear(read_site(path.parent / "site.yaml"), _dem()))


def _boundary(path: Path) -> Any:
    from terrain.inputs.layers import boundary_polygon, read_layer
    from terrain.inputs.site import Layer

    dem = _dem()
    layer = read_layer(Layer(file=Path(path.name)), path.parent, dem, "site.yaml, boundary")
    return boundary_polygon(layer, dem, "site.yaml, boundary").wkb


def _parcels(path: Path) -> Any:
    from terrain.district.parcel_list import read_parcels
    from terrain.inputs.district import read_district

    found = read_parcels(read_district(path.parent), _dem())
    return repr((found.parcels, found.faults, found.told, found.notes))


def _picture(path: Path) -> Any:
    """An aerial picture, which may turn out to be damaged when it is shown."""
    from PIL import Image

    from terrain.bench.layers.aerial import aerial_of

    found = aerial_of(path, _dem())
    return found.notes, found.picture(lambda: Image.new("RGB", (40, 40))).data


def _cover_table(path: Path) -> Any:
    from terrain.inputs.site import Cover
    from terrain.runoff.cover_table import classes_in_force

    return repr(classes_in_force(Cover(file=Path("x"), table=Path(path.name)), path.parent,
                                 "site.yaml line 1, cover, table"))


def _site(path: Path) -> Any:
    from terrain.inputs.site import read_site

    site = read_site(path)
    return site.model_dump(), site.bare_numbers, site.looked_up


def _district(path: Path) -> Any:
    from terrain.inputs.district import read_district

    return read_district(path).model_dump()


def _daily(path: Path) -> Any:
    from terrain.inputs.rainfall import read_daily_rain

    record = read_daily_rain(path, "mm")
    return record.depths.to_csv(), record.notes


def _frequency(path: Path) -> Any:
    from terrain.inputs.rain_frequency import frequency_table

    return frequency_table(path, "mm").to_csv()


def _public_frequency(path: Path) -> Any:
    from terrain.inputs.rain_frequency import frequency_table

    return frequency_table(path).to_csv()


def _weather(path: Path) -> Any:
    from terrain.inputs.weather import read_weather

    return repr(read_weather(path, "C"))


def _asbuilt(path: Path) -> Any:
    from terrain.inputs.asbuilt_points import read_asbuilt_points

    return repr(read_asbuilt_points(path))


def _hole(path: Path) -> Any:
    from terrain.inputs.hole_readings import read_hole

    return repr(read_hole(path))


def _soil_units(path: Path) -> Any:
    from terrain.inputs.soil_units import read_unit_groups

    return repr(read_unit_groups(path, "mukey", "group", "site.yaml line 1, soils"))


SITE = b"""name: Small
elevation: {file: ground.tif}
boundary: {file: boundary.geojson}
cover: {file: %s, otherwise: "pasture, poor"}
soils: {file: %s, otherwise: C}
rain: {storms: [{name: big day, depth: 60 mm}]}
"""
DISTRICT = b"""name: Valley
elevation: {file: ground.tif}
parcels: {file: parcels.geojson}
cover: {file: cover.geojson, otherwise: "pasture, poor"}
soils: {file: soils.geojson, otherwise: C}
rain:
  storms: [{name: big day, depth: 60 mm, return period: 10}]
  design storm: big day
  daily: {file: rain.csv}
pages: [12-0417]
rank by: run-on
"""
AREA = box(500_004, 6_400_004, 500_020, 6_400_030)
OTHER = box(500_020, 6_400_004, 500_036, 6_400_030)
ROAD = LineString([(500_002, 6_400_020), (500_038, 6_400_024)])


@cache
def readers() -> dict[str, Reader]:
    """All of them, by name."""
    return {reader.name: reader for reader in (*_of_ground(), *_of_layers(), *_of_text())}


def _of_ground() -> list[Reader]:
    whole = np.arange(192, dtype=np.int16).reshape(12, 16)
    coloured = good.raster("GTiff", (whole % 250 + 1).astype(np.uint8))
    codes = good.raster("GTiff", np.where(whole % 3, 10, 40).astype(np.uint8))
    return [
        Reader("raster", "ground.tif", (
            good.raster("GTiff"),
            good.raster("GTiff", compress="deflate", tiled=True, blockxsize=16, blockysize=16),
            good.raster("GTiff", whole, compress="lzw"),
            good.raster("GTiff", whole.astype(np.float64))), _elevation, False),
        Reader("ascii grid", "ground.asc", (
            good.ASCII_GRID, good.ASCII_GRID.replace(b"corner", b"center")), _elevation),
        Reader("vrt", "ground.vrt", (good.VRT,), _elevation,
               beside={"beside.tif": good.raster("GTiff")}),
        Reader("tile", "tile2.tif", (good.raster("GTiff", west=500_016),
                                     good.raster("GTiff", west=500_008)), _tiles, False,
               beside={"tile1.tif": good.raster("GTiff")}),
        Reader("surveyed points", "points.csv", (
            good.POINTS, good.POINTS.replace(b",", b";")), _points),
        Reader("cover raster", "cover.tif", (codes,), _ground, False, beside={
            "site.yaml": SITE.replace(b'otherwise: "', b'codes: worldcover, otherwise: "') % (
                b"cover.tif", b"soils.geojson"),
            "soils.geojson": good.drawn(rows=[({"group": "B"}, AREA)])}),
        Reader("picture", "picture.tif", (
            coloured, good.raster("GTiff", (whole + 1).astype(np.uint16))), _picture, False)]


def _of_layers() -> list[Reader]:
    shapes = good.drawn_files("ESRI Shapefile", [({"cover": "bare soil", "width": 3}, AREA),
                                                 ({"cover": "x", "width": 4}, OTHER)])
    parts = {f"layer{end}": held for end, held in shapes.items()}
    cover = good.drawn(rows=[({"cover": "bare soil"}, AREA), ({"cover": "woods, good"}, OTHER)])
    soils = good.drawn(rows=[({"group": "B"}, AREA), ({"group": "C/D"}, OTHER)])
    site = SITE % (b"cover.geojson", b"soils.geojson")
    roads = good.drawn(rows=[({"name": "track", "width": "3 m", "cover": "dirt road"}, ROAD),
                             ({"name": "yard", "width": "12 ft"}, AREA)])
    roofs = good.drawn(rows=[({"name": "barn", "efficiency": 0.9}, AREA),
                             ({"name": "house", "efficiency": 0.8}, OTHER)])
    wells = good.drawn(rows=[({"name": "old well"}, Point(500_020, 6_400_020))])

    def of_site(name: str, drawn: bytes, more: bytes = b"", read: Any = _ground) -> Reader:
        beside = {"cover.geojson": cover, "soils.geojson": soils, "site.yaml": site + more}
        return Reader(name, f"{name.replace(' ', '_')}.geojson", (drawn,), read, beside={
            file: held for file, held in beside.items()
            if file != f"{name.replace(' ', '_')}.geojson"})
    return [
        Reader("geopackage", "layer.gpkg", (good.drawn("GPKG"),), _layer, False),
        Reader("geojson", "layer.geojson", (good.drawn(),), _layer),
        Reader("kml", "layer.kml", (good.drawn("KML"),), _layer),
        Reader("shapefile", "layer.shp", (shapes[".shp"],), _layer, False,
               {file: held for file, held in parts.items() if file != "layer.shp"}),
        Reader("table of a shapefile", "layer.dbf", (shapes[".dbf"],), _dbf, False,
               {file: held for file, held in parts.items() if file != "layer.dbf"}),
        of_site("cover", cover), of_site("soils", soils),
        of_site("roads", roads, b"roads: {file: roads.geojson}\n"),
        of_site("roofs", roofs, b"roofs: {file: roofs.geojson}\n"),
        of_site("keep clear", wells, b"keep clear: [{what: private well, file: keep_clear.geojson}]"
                b"\n", _keep_clear),
        Reader("culverts", "culverts.geojson", (good.drawn(rows=[
            ({"name": "a", "diameter": "300 mm"}, ROAD)]),), _culverts),
        Reader("boundary", "boundary.geojson", (good.drawn(rows=[({"name": "all"}, AREA)]),
                                                good.drawn(rows=[({"name": "all"}, AREA.exterior)])
                                                ), _boundary),
        Reader("parcels", "parcels.geojson", (good.drawn(rows=[
            ({"name": "12-0417", "page": "yes"}, AREA), ({"name": "Upper", "page": "no"}, OTHER)]),
            ), _parcels, beside={"district.yaml": DISTRICT})]


def _of_text() -> list[Reader]:
    daily = b"".join((DEMO / "rain_daily.csv").read_bytes().splitlines(keepends=True)[:400])
    station = b'"STATION","DATE","PRCP","SNOW"\n' + b"".join(
        b'"ZZC1","2024-01-%02d","0.%d",""\n' % (day, day % 7) for day in range(1, 31))
    return [
        Reader("site file", "site.yaml", ((DEMO / "site.yaml").read_bytes(), (
            HOUSE / "terrain/inputs/starter.yaml").read_bytes()), _site,
            beside={"rain_depths.csv": (DEMO / "rain_depths.csv").read_bytes()}),
        Reader("district file", "district.yaml", (DISTRICT,), _district),
        Reader("daily rain", "rain.csv", (
            daily, daily.replace(b",", b";").replace(b".", b","), station), _daily),
        Reader("rain table", "rain_depths.csv", (
            (DEMO / "rain_depths.csv").read_bytes(),), _frequency),
        Reader("public rain table", "rain_depths.csv", (good.FREQUENCY,), _public_frequency),
        Reader("weather", "weather.csv", (good.WEATHER,), _weather),
        Reader("as-built survey", "as_built.csv", ((DEMO / "as_built.csv").read_bytes(),),
               _asbuilt),
        Reader("hole test", "hole.csv", (b"minutes,depth mm\n0,300\n10,280\n20,262\n30,247\n",),
               _hole),
        Reader("soil units", "units.csv", (b"mukey,group\n1001,A\n1002,B/D\n1003,C\n",),
               _soil_units),
        Reader("cover table", "own.csv", (good.COVER_TABLE,), _cover_table)]
