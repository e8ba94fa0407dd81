"""Every reader of a person's files, what a good file of each kind is, and what must hold of any.

A reader may refuse with an `InputError`; whatever else it raises is a find.  What it accepts it
must read the same way twice, and the file must stay as it was.
"""

from __future__ import annotations

import pickle
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

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
        If it is read otherwise a second time, is changed, or the sentence is none.
    """
    before = path.read_bytes()
    found: list[bytes | str] = []
    for _ in range(2):
        try:
            found.append(pickle.dumps(_plain(reader.read(path))))
        except InputError as error:
            found.append(f"refused: {error}")
    assert path.read_bytes() == before, "the file was changed"
    assert found[0] == found[1], "it is read otherwise a second time"
    if isinstance(found[0], bytes):
        return "read"
    sentence = found[0].removeprefix("refused: ")
    assert len(sentence) < 4000, "the sentence is longer than a page"
    assert "Traceback" not in sentence
    assert sentence.rstrip().endswith((".", "?", ")")), f"this is no sentence: {sentence!r}"
    return str(found[0])


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


def _layer(path: Path) -> Any:
    from pyproj import CRS

    from terrain.inputs.dem import Dem
    from terrain.inputs.frame import Frame, in_metres
    from terrain.inputs.layers import read_layer
    from terrain.inputs.site import Layer

    crs = CRS.from_user_input("EPSG:32734")
    dem = Dem(np.zeros((40, 40), np.float32), 500_000.0, 6_400_040.0, 1.0,
              Frame(crs, in_metres(crs)), "ground.tif")
    found = read_layer(Layer(file=Path(path.name)), path.parent, dem, "site.yaml line 1, cover")
    return [shape.wkb for shape in found.geometry], found.attrs["notes"]


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


def _raster(driver: str, heights: Any = None, **more: Any) -> bytes:
    """A small raster as a driver writes it."""
    from rasterio.io import MemoryFile
    from rasterio.transform import from_origin

    heights = (np.add.outer(np.arange(12), np.arange(16)) * 0.5 + 200).astype(np.float32) \
        if heights is None else heights
    with MemoryFile() as memory:
        with memory.open(driver=driver, height=heights.shape[0], width=heights.shape[1], count=1,
                         dtype=heights.dtype, crs="EPSG:32734", nodata=-9999,
                         transform=from_origin(500_000, 6_400_040, 1, 1), **more) as out:
            out.write(heights, 1)
        return bytes(memory.getbuffer())


def _drawn(driver: str) -> bytes:
    """A small layer as a driver writes it."""
    import tempfile

    import geopandas
    from shapely import LineString, Point, box

    frame = geopandas.GeoDataFrame(
        {"cover": ["bare soil", "woods, good", "x"], "width": ["3 m", None, "12 ft"]},
        geometry=[box(500_001, 6_400_001, 500_020, 6_400_030),
                  LineString([(500_003, 6_400_003), (500_030, 6_400_030)]),
                  Point(500_005, 6_400_007)], crs="EPSG:32734")
    if driver != "GPKG":
        frame = frame.to_crs(4326)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "layer"
        with warnings.catch_warnings():  # of a name without an ending
            warnings.simplefilter("ignore")
            frame.to_file(file, driver=driver, engine="pyogrio")
        return file.read_bytes()


ASCII_GRID = b"""ncols 6
nrows 4
xllcorner 500000
yllcorner 6400000
cellsize 1
NODATA_value -9999
""" + b"201 202 203 204 205 206\n" * 3 + b"201 202 -9999 204 205 206\n"


@cache
def readers() -> dict[str, Reader]:
    """All of them, by name."""
    points = b"point,easting,northing,elevation,code\n" + b"".join(
        b"%d,%d.5,%d.25,%d.1,ground\n" % (n, 500_000 + 7 * (n % 5), 6_400_000 + 9 * (n // 5),
                                          200 + n) for n in range(25))
    rain = (DEMO / "rain_daily.csv").read_bytes().splitlines(keepends=True)
    daily = b"".join(rain[:400])
    return {reader.name: reader for reader in (
        Reader("raster", "ground.tif", (
            _raster("GTiff"), _raster("GTiff", compress="deflate", tiled=True, blockxsize=16,
                                      blockysize=16),
            _raster("GTiff", np.arange(192, dtype=np.int16).reshape(12, 16), compress="lzw"),
            _raster("GTiff", np.arange(192, dtype=np.float64).reshape(12, 16))), _elevation, False),
        Reader("ascii grid", "ground.asc", (ASCII_GRID, ASCII_GRID.replace(b"corner", b"center")),
               _elevation),
        Reader("vrt", "ground.vrt", (
            b'<VRTDataset rasterXSize="16" rasterYSize="12"><SRS>EPSG:32734</SRS>'
            b"<GeoTransform>500000,1,0,6400040,0,-1</GeoTransform>"
            b'<VRTRasterBand dataType="Float32" band="1"><NoDataValue>-9999</NoDataValue>'
            b'<SimpleSource><SourceFilename relativeToVRT="1">beside.tif</SourceFilename>'
            b"<SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>",), _elevation,
            beside={"beside.tif": _raster("GTiff")}),
        Reader("surveyed points", "points.csv", (
            points, points.replace(b",", b";")), _points),
        Reader("geopackage", "layer.gpkg", (_drawn("GPKG"),), _layer, False),
        Reader("geojson", "layer.geojson", (_drawn("GeoJSON"),), _layer),
        Reader("kml", "layer.kml", (_drawn("KML"),), _layer),
        Reader("site file", "site.yaml", ((DEMO / "site.yaml").read_bytes(), (
            HOUSE / "terrain/inputs/starter.yaml").read_bytes()), _site,
            beside={"rain_depths.csv": (DEMO / "rain_depths.csv").read_bytes()}),
        Reader("daily rain", "rain.csv", (daily, daily.replace(b",", b";").replace(b".", b",")),
               _daily),
        Reader("rain table", "rain_depths.csv", ((DEMO / "rain_depths.csv").read_bytes(),),
               _frequency),
        Reader("weather", "weather.csv", (
            b"date,tmax_c,tmin_c,rh_percent,wind_m_s\n" + b"".join(
                b"2021-%02d-%02d,2%d.5,1%d,55,2.1\n" % (m, d, d % 9, m % 9)
                for m in range(1, 13) for d in range(1, 29)),), _weather),
        Reader("as-built survey", "as_built.csv", ((DEMO / "as_built.csv").read_bytes(),),
               _asbuilt),
        Reader("hole test", "hole.csv", (b"minutes,depth mm\n0,300\n10,280\n20,262\n30,247\n",),
               _hole),
        Reader("soil units", "units.csv", (b"mukey,group\n1001,A\n1002,B/D\n1003,C\n",),
               _soil_units),
    )}
