"""Files that mean harm: refused in one sentence, in bounded time and memory, nothing written.

All are given to a process of its own whose memory is limited; what became of each is told here.
"""

from __future__ import annotations

import contextlib
import json
import socket
import sqlite3
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest

#: No hostile file may take more: what the libraries take themselves is about 1 GB of addresses.
MOST_ADDRESSES, MOST_SECONDS = 4 << 30, 20
#: Bytes that a piece of 34 GB unpacks from.
PIECE = 1 << 24

TRY = """
import json, resource, sys, time
from pathlib import Path
import numpy as np
import terrain.bench.layers.aerial, terrain.inputs.ground_cover
from pyproj import CRS
from terrain.errors import InputError
from terrain.bench.keeping import SiteFile
from terrain.inputs.asbuilt_points import read_asbuilt_points
from terrain.inputs.csv_table import read_csv_table
from terrain.inputs.dem import Dem
from terrain.inputs.elevation import open_elevation
from terrain.inputs.frame import Frame, in_metres
from terrain.inputs.ground_cover import cover_cells
from terrain.inputs.hole_readings import read_hole
from terrain.inputs.layers import read_layer
from terrain.inputs.rain_frequency import frequency_table, is_frequency_table
from terrain.inputs.rainfall import read_daily_rain
from terrain.inputs.site import Cover, Layer, read_site
from terrain.inputs.soil_units import read_unit_groups
from terrain.inputs.survey_points import read_points
from terrain.inputs.weather import read_weather
resource.setrlimit(resource.RLIMIT_AS, ({most}, {most}))
crs = CRS.from_user_input("EPSG:32734")
dem = Dem(np.zeros((40, 40), np.float32), 500000.0, 6400040.0, 1.0, Frame(crs, in_metres(crs)),
          "ground.tif")
readers = {{
    "elevation": lambda path: open_elevation(path, height_unit="m").read(),
    "coarse": lambda path: open_elevation(path, height_unit="m").read_coarse(10_000),
    "cover": lambda path: cover_cells(Cover(file=path, codes="worldcover"), Path(), dem,
                                      ["bare soil"], "site.yaml line 1", None),
    "layer": lambda path: read_layer(Layer(file=path), Path(), dem, "site.yaml line 1"),
    "picture": lambda path: terrain.bench.layers.aerial.aerial_of(path, dem),
    "rain": lambda path: read_daily_rain(path, "mm"),
    "table": lambda path: read_csv_table(path, str(path)),
    "storms": frequency_table,
    "which rain": is_frequency_table,
    "weather": read_weather,
    "holes": read_hole,
    "survey": read_asbuilt_points,
    "points": read_points,
    "soils": lambda path: read_unit_groups(path, "a", "b", str(path)),
    "site": read_site,
    "bench": SiteFile}}
for line in sys.stdin:
    kind, name = line.rstrip("\\n").split("\\t")
    began = time.monotonic()
    try:
        readers[kind](Path(name))
        said = "read"
    except InputError as error:
        said = "refused: " + str(error)
    except BaseException as error:
        said = type(error).__name__ + ": " + str(error)[:300]
    print(json.dumps([kind, Path(name).name, said, time.monotonic() - began]), flush=True)
"""


def zeros(pieces: int, raw: bool = False) -> bytes:
    """A deflate stream of `pieces` times 16 MiB of noughts, made without unpacking it once."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    piece = packer.compress(bytes(PIECE)) + packer.flush(zlib.Z_FULL_FLUSH)
    end = packer.flush()
    size = pieces * PIECE
    check = b"" if raw else struct.pack(">I", (size % 65521) << 16 | 1)  # RFC 1950, Adler-32
    return (b"" if raw else b"\x78\xda") + piece * pieces + end + check


def tiff(path: Path, side: int, tile: tuple[int, int], block: bytes) -> None:
    """A tiled GeoTIFF of one block, deflated, of 32-bit heights, 1 m cells (TIFF 6.0)."""
    keys = (1, 1, 0, 3, 1024, 0, 1, 1, 1025, 0, 1, 1, 3072, 0, 1, 32734)
    tags = [(256, "I", [side]), (257, "I", [side]), (258, "H", [32]), (259, "H", [8]),
            (262, "H", [1]), (277, "H", [1]), (322, "I", [tile[1]]), (323, "I", [tile[0]]),
            (324, "I", [0]), (325, "I", [len(block)]), (339, "H", [3]),
            (33550, "d", [1.0, 1.0, 0.0]), (33922, "d", [0, 0, 0, 500_000.0, 6_400_040.0, 0]),
            (34735, "H", keys)]
    beyond = 8 + 2 + 12 * len(tags) + 4
    far = sum(len(values) * struct.calcsize(kind) for _, kind, values in tags
              if len(values) * struct.calcsize(kind) > 4)
    entries, held = b"", b""
    for tag, kind, values in tags:
        packed = struct.pack(f"<{len(values)}{kind}", *([beyond + far] if tag == 324 else values))
        number = {"H": 3, "I": 4, "d": 12}[kind]
        if len(packed) <= 4:
            entries += struct.pack("<HHI", tag, number, len(values)) + packed.ljust(4, b"\0")
        else:
            entries += struct.pack("<HHII", tag, number, len(values), beyond + len(held))
            held += packed
    path.write_bytes(b"II*\0" + struct.pack("<IH", 8, len(tags)) + entries + bytes(4) + held
                     + block)


def packed(path: Path, inner: bytes, head: bytes, pieces: int) -> None:
    """A ZIP of one file: `head` and noughts (PKWARE's application note 6.3, from memory); its
    checksum is left out, as it is looked at only in the end."""
    own = zlib.compressobj(9, zlib.DEFLATED, -15)
    stream = own.compress(head) + own.flush(zlib.Z_FULL_FLUSH) + zeros(pieces, raw=True)
    fields = struct.pack("<HHHHHIIIHH", 20, 0, 8, 0, 33, 0, len(stream),
                         len(head) + pieces * PIECE, len(inner), 0)
    local = b"PK\3\4" + fields + inner + stream
    central = b"PK\1\2" + struct.pack("<H", 20) + fields + bytes(6 + 4) + bytes(4) + inner
    path.write_bytes(local + central + b"PK\5\6" + struct.pack(
        "<HHHHIIH", 0, 0, 1, 1, len(central), len(local), 0))


def sparse(path: Path, corner: tuple[float, float], cell: float, kind: str) -> None:
    """A GeoTIFF that claims 10^12 cells and holds none of them."""
    import rasterio
    from rasterio.transform import from_origin

    with rasterio.open(path, "w", driver="GTiff", height=1_000_000, width=1_000_000, count=1,
                       dtype=kind, crs="EPSG:32734", transform=from_origin(*corner, cell, cell),
                       SPARSE_OK=True, BIGTIFF="YES", tiled=True, blockxsize=16384,
                       blockysize=16384) as out:
        out.units = ("metre",)


BAND = '<VRTRasterBand dataType="{kind}" band="1" {more}>{inner}</VRTRasterBand>'
SOURCE = ('<SimpleSource><SourceFilename relativeToVRT="1">{name}</SourceFilename>'
          "<SourceBand>1</SourceBand></SimpleSource>")
PROGRAM = ("<PixelFunctionType>f</PixelFunctionType><PixelFunctionLanguage>Python"
           "</PixelFunctionLanguage><PixelFunctionCode>import os\nos.mkdir('{ran}')\n"
           "def f(*a, **k): pass\n</PixelFunctionCode>")
BYTES = ('<SourceFilename relativetoVRT="0">{secret}</SourceFilename><ImageOffset>0</ImageOffset>'
         "<PixelOffset>2</PixelOffset><LineOffset>32</LineOffset>")


def virtual(path: Path, inner: str = "", kind: str = "Float32", more: str = "", side: int = 16
            ) -> None:
    band = BAND.format(kind=kind, more=more, inner=inner)
    path.write_text(f'<VRTDataset rasterXSize="{side}" rasterYSize="{side}"><SRS>EPSG:32734</SRS>'
                    "<GeoTransform>500000,1,0,6400040,0,-1</GeoTransform>"
                    f"{band}</VRTDataset>")


def geopackage(path: Path, write_layer, *statements: str) -> None:
    from shapely import Point

    write_layer(path, [{"cover": "bare soil", "geometry": Point(500_005, 6_400_007)}])
    held = sqlite3.connect(path)
    for statement in statements:
        held.execute(statement.format(layer=path.stem, endless=(
            "with recursive c(x) as (select 1 union all select x + 1 from c)")))
    held.commit()
    held.close()


GML = """<?xml version="1.0"?><o:FeatureCollection xmlns:o="http://ogr.maptools.org/"
xmlns:gml="http://www.opengis.net/gml"><gml:featureMember><o:a fid="a.0"><o:geometryProperty>
<gml:Point srsName="EPSG:32734"><gml:coordinates>500005,6400005</gml:coordinates></gml:Point>
</o:geometryProperty><o:n>1</o:n></o:a></gml:featureMember></o:FeatureCollection>"""
KML = ('<?xml version="1.0"?><!DOCTYPE k [{entities}]><kml xmlns="http://www.opengis.net/kml/2.2">'
       "<Document><Placemark><name>&a9;</name><Point><coordinates>21,-32</coordinates></Point>"
       "</Placemark></Document></kml>")
FEATURE = (b'{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},'
           b'"geometry":{"type":"Point","coordinates":[21,-32]}}')
LAYERS = ('<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource relativeToDSN="1">pipe.csv'
          "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>")
#: All that read a file of the user's, by any name.
KINDS = ("elevation", "layer", "picture", "rain", "table", "storms", "which rain",
         "weather", "holes", "survey", "points", "soils", "site", "bench")
#: How each is read, and what is said of it.
CASES = [
    ("elevation", "claims.tif", "it has 1,000,000,000,000 cells"),
    ("coarse", "claims.tif", "it has 1,000,000,000,000 cells"),
    ("elevation", "claims.vrt", "it has 1,000,000,000,000 cells"),
    ("picture", "claims.tif", "it has 1,000,000 by 1,000,000 pixels"),
    ("elevation", "bomb.tif", "its cells cannot be read"),
    ("cover", "bomb.tif", "it cannot be read as a raster"),
    ("picture", "bomb.tif", "it is packed in one piece of 131,072 by 65,536 pixels"),
    ("cover", "fine.tif", "1,000,000,000,000 of its cells lie on ground.tif"),
    ("elevation", "itself.vrt", "without end"),
    ("elevation", "fan0.vrt", "of more than 100,000 files"),
    ("cover", "fan0.vrt", "of more than 100,000 files"),
    ("elevation", "bytes.vrt", "it takes the bytes of a file for heights"),
    ("elevation", "program.vrt", "it holds a program"),
    ("layer", "packed.zip", "unpack to"),
    ("layer", "packed.geojson.zip", "unpack to"),
    ("layer", "packed.gpkg.zip", "unpack to"),
    ("layer", "packed.kmz", "unpack to"),
    ("layer", "view.gpkg", "its layer 'view' is a query"),
    ("layer", "contents.gpkg", "its table 'gpkg_contents' is a query"),
    ("layer", "computed.gpkg", "the column 'big' of 'computed' is computed"),
    ("layer", "laughs.kml", "this is not a vector layer that can be read"),
    ("layer", "secret.kml", "this is not a vector layer that can be read"),
    *((kind, name, "this is a pipe, a socket or a device, not a file")
      for kind in KINDS for name in ("/dev/zero", "pipe.csv", "link.csv", "socket")),
    ("elevation", "pipe.tif", "this is a pipe, a socket or a device, not a file"),
    ("cover", "pipe.tif", "this is a pipe, a socket or a device, not a file"),
    ("elevation", "pipe beside.tif", "pipe beside.TFW beside it is a pipe"),
    ("cover", "pipe beside.tif", "pipe beside.TFW beside it is a pipe"),
    ("picture", "pipe beside.tif", "pipe beside.TFW beside it is a pipe"),
    ("layer", "points.shp", "points.dbf beside it is a pipe"),
    ("layer", "piped", "a.shx in it is a pipe"),
    ("elevation", "piped.vrt", "piped.vrt, which lists pipe.csv: this is a pipe"),
    ("cover", "piped.vrt", "piped.vrt, which lists pipe.csv: this is a pipe"),
    ("layer", "piped layer.vrt", "not a vector layer that can be read"),
    ("elevation", "typed.vrt", "it lists what stands at the keyboard")]


@pytest.fixture(scope="module")
def folder(tmp_path_factory, write_layer):
    """All the hostile files; a few MB together."""
    import os

    path = tmp_path_factory.mktemp("hostile")
    sparse(path / "claims.tif", (500_000, 6_400_040), 1.0, "float32")
    sparse(path / "fine.tif", (500_000, 6_400_040), 4e-5, "uint8")
    tiff(path / "bomb.tif", 100, (65_536, 131_072), zeros(2048))
    virtual(path / "claims.vrt", side=1_000_000)
    virtual(path / "itself.vrt", SOURCE.format(name="itself.vrt"))
    for number in range(8):
        virtual(path / f"fan{number}.vrt", 6 * SOURCE.format(name=f"fan{number + 1}.vrt"))
    virtual(path / "fan8.vrt")
    (path / "secret.txt").write_text("secret" * 200)
    virtual(path / "bytes.vrt", BYTES.format(secret=path / "secret.txt"), "UInt16",
            'subClass="VRTRawRasterBand"')
    virtual(path / "program.vrt", PROGRAM.format(ran=path / "ran"),
            more='subClass="VRTDerivedRasterBand"')
    for name, inner, head in ((".zip", b"a.geojson", FEATURE),
                              (".geojson.zip", b"a.geojson", FEATURE),
                              (".gpkg.zip", b"a.gpkg", b"SQLite format 3\0"),
                              (".kmz", b"doc.kml", b"<kml>")):
        packed(path / f"packed{name}", inner, head, 250)
    geopackage(path / "view.gpkg", write_layer, "alter table {layer} rename to old",
               "create view {layer} as {endless} select x as fid, old.geom, cover from c, old",
               "update gpkg_contents set table_name = 'view'",
               "update gpkg_geometry_columns set table_name = 'view'",
               "delete from gpkg_ogr_contents")
    geopackage(path / "contents.gpkg", write_layer, "alter table gpkg_contents rename to old",
               "create view gpkg_contents as {endless} select old.* from c, old")
    geopackage(path / "computed.gpkg", write_layer, "alter table {layer} add column big text "
               "generated always as (hex(zeroblob(400000000))) virtual")
    (path / "laughs.kml").write_text(KML.replace("{entities}", "".join(
        f'<!ENTITY a{n} "{"ha" if n == 0 else f"&a{n - 1};" * 10}">' for n in range(10))))
    (path / "secret.kml").write_text(KML.replace(
        "{entities}", f'<!ENTITY a9 SYSTEM "{(path / "secret.txt").as_uri()}">'))
    (path / "fields.gml").write_text(GML)
    (path / "piped").mkdir()
    for name in ("pipe.tif", "pipe.csv", "pipe beside.TFW", "points.dbf", "piped/a.shx"):
        os.mkfifo(path / name)
    (path / "link.csv").symlink_to("pipe.csv")
    # A socket's path may be no longer than some 100 letters.
    with contextlib.chdir(path), socket.socket(socket.AF_UNIX) as listening:
        listening.bind("socket")
    tiff(path / "pipe beside.tif", 8, (16, 16), zeros(1))
    (path / "points.shp").write_bytes(bytes(100))
    virtual(path / "piped.vrt", SOURCE.format(name="pipe.csv"))
    virtual(path / "typed.vrt", SOURCE.format(name="/vsistdin/"))
    (path / "piped layer.vrt").write_text(LAYERS)
    return path


@pytest.fixture(scope="module")
def told(folder):
    """What became of each, and how long it took; nothing of it changed or added a file."""
    pytest.importorskip("resource", reason="memory is limited by POSIX's setrlimit")
    before = {file.name: file.stat().st_mtime_ns for file in folder.iterdir()}
    asked = "".join(f"{kind}\t{folder / name}\n" for kind, name, _ in CASES)
    asked += f"layer\t{folder / 'fields.gml'}\n"
    done = subprocess.run([sys.executable, "-c", TRY.format(most=MOST_ADDRESSES)], input=asked,
                          capture_output=True, text=True, timeout=240, check=False)
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(answers) == len(CASES) + 1, done.stderr
    assert {file.name: file.stat().st_mtime_ns for file in folder.iterdir()} == before
    return {(kind, name): (said, seconds) for kind, name, said, seconds in answers}


@pytest.mark.skipif(sys.platform == "win32", reason="devices, pipes and limits of POSIX")
@pytest.mark.parametrize(("kind", "name", "words"), CASES)
def test_it_is_refused_in_a_sentence(told, kind, name, words):
    said, seconds = told[kind, Path(name).name]
    assert said.startswith("refused: "), said
    assert words in said
    assert seconds < MOST_SECONDS


@pytest.mark.skipif(sys.platform == "win32", reason="devices, pipes and limits of POSIX")
def test_a_layer_whose_reader_writes_beside_it_leaves_nothing_there(told):
    """GDAL keeps a list of a GML file's fields beside it; `told` looked for it."""
    assert told["layer", "fields.gml"][0] == "read"


def test_the_bomb_is_one(folder):
    """Its one block is what it says: 34 GB of heights in as many megabytes, well-formed."""
    stream = zeros(3)
    assert zlib.decompress(stream) == bytes(3 * PIECE)
    size = (folder / "bomb.tif").stat().st_size
    assert 2048 * PIECE == 4 * 65_536 * 131_072 > 900 * size
    raw = zlib.decompressobj(-15).decompress(zeros(2, raw=True))
    assert np.frombuffer(raw, np.uint8).size == 2 * PIECE


@pytest.mark.parametrize("command", [("survey",), ("bench", "--no-browser")])
def test_what_looks_through_a_whole_raster_refuses_too_many_cells(folder, levelsill, command):
    """Other questions read the window that they need of it alone, whatever it claims."""
    name, *words = command
    before = sorted(file.name for file in folder.iterdir())
    ran = levelsill(name, folder / "claims.tif", *words)
    assert ran.code == 2
    assert "it has 1,000,000,000,000 cells" in ran.err
    assert len(ran.err.strip().splitlines()) == 1
    assert sorted(file.name for file in folder.iterdir()) == before


def test_too_far_apart_for_one_survey(tmp_path):
    """A point without its northing spanned a grid of 6,400 km."""
    from terrain.errors import InputError
    from terrain.inputs.elevation import open_elevation

    path = tmp_path / "points.csv"
    path.write_text("x,y,z\n500000,6400000,1\n500010,6400000,1\n500000,6400010,1\n500010,0,1\n")
    with pytest.raises(InputError, match="line 5: this point lies 6,400 km from most others"):
        open_elevation(path, crs="EPSG:32734", cell=5.0, height_unit="m")
