"""The demo district: the properties about the site."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd
from shapely.geometry import Polygon

from making.drawn import BOUNDARY, CRS
from making.layers import placed, roof_table
from making.used_ground import turned

#: Corners of the neighbours' land, in metres east and north of the corner; they share its edges.
PARCELS = {
    "Harrier Rise": [(118, 484), (331, 507), (340, 588), (100, 588)],
    "Stony Brow": [(331, 507), (468, 499), (503, 397), (628, 410), (628, 588), (340, 588)],
    "Pan View": [(503, 397), (512, 246), (628, 230), (628, 410)],
    "Lower Reach": [(512, 246), (441, 137), (450, 12), (628, 12), (628, 230)],
    "Salt Meadow": [(441, 137), (236, 131), (225, 12), (450, 12)],
    "West Fold": [(236, 131), (96, 158), (88, 330), (12, 335), (12, 12), (225, 12)],
    "Old Quarry": [(88, 330), (118, 484), (100, 588), (12, 588), (12, 335)],
}
#: Parcels that ask for a page of their own.
PAGES = ("Quailstone", "Salt Meadow")
#: Footprints of the neighbours' buildings: middle, length, breadth [m], how they are turned [deg].
BUILDINGS = [("Harrier Rise house", 272.0, 551.0, 16.0, 9.0, 15.0),
             ("Harrier Rise barn", 296.0, 559.0, 22.0, 10.0, 15.0),
             ("Pan View cottage", 574.0, 318.0, 12.0, 8.0, 70.0),
             ("Salt Meadow house", 318.0, 62.0, 18.0, 9.0, 5.0),
             ("Salt Meadow stable", 342.0, 55.0, 14.0, 7.0, 95.0),
             ("West Fold barn", 112.0, 92.0, 24.0, 11.0, 40.0)]


def parcel_table() -> gpd.GeoDataFrame:
    """Quailstone and its neighbours, in longitude and latitude."""
    shapes = {"Quailstone": BOUNDARY, **PARCELS}
    table = gpd.GeoDataFrame(
        {"name": list(shapes), "page": ["yes" if name in PAGES else "no" for name in shapes]},
        geometry=[placed(Polygon(corners)) for corners in shapes.values()], crs=CRS)
    return table.to_crs("EPSG:4326")


def building_table() -> gpd.GeoDataFrame:
    """Every roof of the district, in plan."""
    own = roof_table()[["name", "geometry"]]
    more = gpd.GeoDataFrame({"name": [building[0] for building in BUILDINGS]},
                            geometry=[placed(turned(*building[1:])) for building in BUILDINGS],
                            crs=CRS).to_crs("EPSG:4326")
    return gpd.GeoDataFrame(pd.concat([own, more], ignore_index=True), crs="EPSG:4326")


DISTRICT = """\
# Quailstone and the land about it: a district that does not exist.  Every number here is invented.
name: Quailstone valley
units: metric          # what a number without a unit means
points: raster

# The ground: one raster here; a list of tiles or a pattern such as tiles/*.tif stands for many.
elevation:
  file: ground.tif

# Outlines of the properties.  Whose `page` says yes gets a page of its own.
parcels:
  file: parcels.geojson
  name field: name
  page field: page

# What the parcels are ranked by: kept, catchable, run-on, road or roof.
rank by: kept

# The rest is said as in a site file, once for all parcels.
cover:
  file: site.gpkg
  layer: cover
  field: cover
  otherwise: herbaceous range, fair

soils:
  file: site.gpkg
  layer: soils
  field: group
  otherwise: C

roads:
  file: site.gpkg
  layer: roads
  name field: name
  width field: width
  cover field: cover

# Footprints of all buildings.
roofs:
  file: buildings.geojson
  name field: name
  efficiency: 0.9

keep clear:
  - what: septic field
    file: site.gpkg
    layer: septic
  - what: buried water line
    file: site.gpkg
    layer: buried

rain:
  storms:
    - name: summer storm
      depth: 28 mm
      duration: 3 h
      pattern: II
    - name: 10-year day
      duration: 24 h
      pattern: II
      return period: 10
    - name: 100-year day
      duration: 24 h
      pattern: II
      return period: 100
  design storm: 10-year day
  frequency: rain_depths.csv
  start month: 7
  daily:
    file: rain_daily.csv
    unit: mm

# What a well-watered grass would use each month, January to December.
evapotranspiration: [225 mm, 184 mm, 165 mm, 116 mm, 84 mm, 63 mm,
                     70 mm, 98 mm, 132 mm, 172 mm, 196 mm, 221 mm]

money:
  currency: crown
  machine hour: [420, 560]
  machine output: 6                # bank m3 in an hour
  haulage: [300, 500]
  pipe: [9, 16]
  stone: [60, 95]
  seed: [0.6, 1.4]

# What hole tests on such slopes took in.
suggest:
  infiltration: 12 mm/h
"""


def write_district(folder: Path) -> None:
    """Write the district file and its layers of parcels and buildings."""
    for name, table in (("parcels", parcel_table()), ("buildings", building_table())):
        path = folder / f"{name}.geojson"
        path.unlink(missing_ok=True)
        table.to_file(path, driver="GeoJSON", COORDINATE_PRECISION=8)
    (folder / "district.yaml").write_text(DISTRICT, encoding="utf-8")
