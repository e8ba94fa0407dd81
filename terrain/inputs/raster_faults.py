"""What rasterio raises of a file that it cannot read."""

from __future__ import annotations

from rasterio._err import CPLE_BaseError
from rasterio.errors import RasterioError

#: Its own errors; those of GDAL that it passes on as they are; bytes that GDAL cites of the file.
UNREADABLE: tuple[type[Exception], ...] = (RasterioError, CPLE_BaseError, UnicodeError)
