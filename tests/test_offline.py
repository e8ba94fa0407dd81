"""No file that is read makes this machine ask another for anything."""

from __future__ import annotations

import http.server
import subprocess
import sys
import threading

import pytest

TRY = """
import sys
from pathlib import Path
import numpy as np
from terrain.errors import InputError
from terrain.inputs.elevation import open_elevation
from terrain.inputs.dem import Dem
from terrain.inputs.frame import METRES, Frame
from terrain.inputs.layers import read_layer
from terrain.inputs.site import Layer
path = Path(sys.argv[1])
try:
    if path.suffix == ".gml" or path.name.startswith("layer"):
        dem = Dem(np.zeros((9, 9), np.float32), 0.0, 9.0, 1.0, Frame(None, METRES), "ground.tif")
        read_layer(Layer(file=path), Path(), dem, "site.yaml line 1")
    else:
        open_elevation(path).read()
except InputError as error:
    print(error)
"""
VRT = """<VRTDataset rasterXSize="16" rasterYSize="12"><SRS>EPSG:32734</SRS>
<GeoTransform>500000,1,0,6400040,0,-1</GeoTransform><VRTRasterBand dataType="Float32" band="1">
<SimpleSource><SourceFilename relativeToVRT="0">{at}</SourceFilename><SourceBand>1</SourceBand>
</SimpleSource></VRTRasterBand></VRTDataset>"""
SERVICE = """<GDAL_WMS><Service name="WMS"><Version>1.1.1</Version>
<ServerUrl>http://{at}/?</ServerUrl><Layers>ground</Layers><SRS>EPSG:32734</SRS></Service>
<DataWindow><UpperLeftX>500000</UpperLeftX><UpperLeftY>6400040</UpperLeftY>
<LowerRightX>500016</LowerRightX><LowerRightY>6400000</LowerRightY><SizeX>16</SizeX>
<SizeY>12</SizeY></DataWindow><DataType>Float32</DataType><BandsCount>1</BandsCount></GDAL_WMS>"""
LAYERS = """<OGRVRTDataSource><OGRVRTLayer name="cover"><SrcDataSource>{at}</SrcDataSource>
</OGRVRTLayer></OGRVRTDataSource>"""


@pytest.fixture
def listening():
    """A server on this machine, and what it was asked for."""
    asked: list[str] = []

    class Listener(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(self.path)
            self.send_error(404)

        do_HEAD = do_GET

        def log_message(self, *words):
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Listener)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"127.0.0.1:{server.server_port}", asked
    server.shutdown()
    server.server_close()


@pytest.mark.parametrize(("name", "content"), [
    ("far.vrt", VRT.replace("{at}", "/vsicurl/http://{at}/x.tif")),
    ("farther.vrt", VRT.replace("{at}", "http://{at}/x.tif")),
    ("cells.tif", SERVICE),
    ("layer.vrt", LAYERS.replace("{at}", "/vsicurl/http://{at}/x.geojson")),
    ("layers.vrt", LAYERS.replace("{at}", "WFS:http://{at}/wfs"))])
def test_a_file_that_names_an_address_is_refused_without_asking_it(listening, tmp_path, name,
                                                                   content):
    at, asked = listening
    path = tmp_path / name
    path.write_text(content.replace("{at}", at))
    done = subprocess.run([sys.executable, "-c", TRY, path], capture_output=True, text=True,
                          timeout=60, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert str(path) in done.stdout  # refused
    assert asked == []
