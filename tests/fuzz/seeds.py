"""Good files of every kind, small ones, from which broken ones are made."""

from __future__ import annotations

import tempfile
import warnings
from pathlib import Path
from typing import Any

import numpy as np

ASCII_GRID = b"""ncols 6
nrows 4
xllcorner 500000
yllcorner 6400000
cellsize 1
NODATA_value -9999
""" + b"201 202 203 204 205 206\n" * 3 + b"201 202 -9999 204 205 206\n"
#: The public layout of depths by duration and return period; its figures are invented.
FREQUENCY = b"""Point precipitation frequency estimates (inches)
NOAA Atlas 14 Volume 0 Version 0
Data type: Precipitation depth
Time series type: Partial duration
Location name (ESRI Maps): Invented Ranch, ZZ, USA


PRECIPITATION FREQUENCY ESTIMATES
by duration for ARI (years):, 1,2,10
5-min:, 0.190,0.247,0.405
60-min:, 0.600,0.780,1.278
24-hr:, 1.350,1.755,2.876

Date/time (GMT):  Mon Jan  1 00:00:00 2024
"""
VRT = (b'<VRTDataset rasterXSize="16" rasterYSize="12"><SRS>EPSG:32734</SRS>'
       b"<GeoTransform>500000,1,0,6400040,0,-1</GeoTransform>"
       b'<VRTRasterBand dataType="Float32" band="1"><NoDataValue>-9999</NoDataValue>'
       b'<SimpleSource><SourceFilename relativeToVRT="1">beside.tif</SourceFilename>'
       b"<SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>")
POINTS = b"point,easting,northing,elevation,code\n" + b"".join(
    b"%d,%d.5,%d.25,%d.1,ground\n" % (n, 500_000 + 7 * (n % 5), 6_400_000 + 9 * (n // 5), 200 + n)
    for n in range(25))
WEATHER = b"date,tmax_c,tmin_c,rh_percent,wind_m_s\n" + b"".join(
    b"2021-%02d-%02d,2%d.5,1%d,55,2.1\n" % (m, d, d % 9, m % 9)
    for m in range(1, 13) for d in range(1, 29))
COVER_TABLE = b"""class,A,B,C,D
gravel yard,70,80,86,90
"woods, good",,57,72,78
"""


def raster(driver: str, heights: Any = None, west: float = 500_000, **more: Any) -> bytes:
    """A small raster as a driver writes it."""
    from rasterio.io import MemoryFile
    from rasterio.transform import from_origin

    heights = (np.add.outer(np.arange(12), np.arange(16)) * 0.5 + 200).astype(np.float32) \
        if heights is None else heights
    with MemoryFile() as memory:
        with memory.open(driver=driver, height=heights.shape[0], width=heights.shape[1], count=1,
                         dtype=heights.dtype, crs="EPSG:32734",
                         nodata=0 if heights.dtype.kind == "u" else -9999,
                         transform=from_origin(west, 6_400_040, 1, 1), **more) as out:
            out.write(heights, 1)
        return bytes(memory.getbuffer())


def drawn(driver: str = "GeoJSON", rows: Any = None) -> bytes:
    """A small layer as a driver writes it; rows of attributes and a shape, left out some of each.
    """
    files = drawn_files(driver, rows)
    return files[min(files)]


def drawn_files(driver: str, rows: Any = None) -> dict[str, bytes]:
    """All files of a layer by their endings, as of a shapefile."""
    import geopandas
    from shapely import LineString, Point, box

    rows = rows or [
        ({"cover": "bare soil", "width": "3 m"}, box(500_001, 6_400_001, 500_020, 6_400_030)),
        ({"cover": "woods, good"}, LineString([(500_003, 6_400_003), (500_030, 6_400_030)])),
        ({"cover": "x", "width": "12 ft"}, Point(500_005, 6_400_007))]
    frame = geopandas.GeoDataFrame([fields for fields, _ in rows],
                                   geometry=[shape for _, shape in rows], crs="EPSG:32734")
    if driver in ("GeoJSON", "KML"):
        frame = frame.to_crs(4326)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / ("layer.shp" if driver == "ESRI Shapefile" else "layer")
        with warnings.catch_warnings():  # of a name without an ending
            warnings.simplefilter("ignore")
            frame.to_file(file, driver=driver, engine="pyogrio")
        return {part.suffix: part.read_bytes() for part in Path(folder).iterdir()}
