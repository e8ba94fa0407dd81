"""Plan a property's rain water and earthworks on its elevation raster.

The rooms, in the order data runs through them: `inputs`, `surface`, `runoff`,
`works`, `plan`, `outputs`.  A room imports only from rooms before it.
"""

import logging
import os

__version__ = "0.1.0"

# Nothing needs the network, and no file that is read may ask for it: GDAL opens no address, whether
# a raster's own list of pictures, a service or a layer names it.  It reads this when it starts.
os.environ["CPL_VSIL_CURL_ALLOWED_EXTENSIONS"] = "none"
os.environ["GDAL_SKIP"] = " ".join(dict.fromkeys([
    *os.environ.get("GDAL_SKIP", "").split(), "HTTP", "WMS", "WMTS", "WCS", "WFS", "OAPIF",
    "OGCAPI", "CSW", "STACIT", "STACTA", "AmigoCloud", "Carto", "Elasticsearch", "EEDA", "EEDAI",
    "PLScenes", "PLMosaic", "NGW", "DAAS", "ADBC",
    # Nor may it run a program or a query, or be a list of other files that is not looked through.
    "GPSBabel", "GDALG", "OGR_VRT", "GTI"]))
os.environ["GML_DOWNLOAD_SCHEMA"] = os.environ["GML_DOWNLOAD_WFS_SCHEMA"] = "NO"
# Of the two copies of GDAL in use each lacks some of these, and one tells its log so.
logging.getLogger("rasterio").addHandler(logging.NullHandler())
