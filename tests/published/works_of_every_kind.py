"""A plane with a valley in it, and every kind of work that is dug there."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import rasterio
from rasterio.transform import from_origin

WEST, NORTH = 500_000.0, 6_000_000.0
#: The ground falls 4 cm a metre to the south; a valley runs down its middle.
FALL, BEND, MIDDLE = 0.04, 0.0006, 110.0

SITE = """\
name: Every kind
elevation:
  file: ground.tif
boundary:
  file: boundary.geojson
cover:
  file: cover.geojson
  otherwise: pasture, poor
soils:
  file: soils.geojson
  otherwise: C
roads:
  file: roads.geojson
rain:
  storms:
    - name: shower
      depth: 20 mm
      duration: 2 h
    - name: big day
      depth: 70 mm
      return period: 10
money:
  currency: crown
  machine hour: [420, 560]
works:
  - {kind: swale, name: top swale, through: [500060, 5999960], length: 50 m, depth: 0.3 m}
  - {kind: swale, name: dish swale, shape: parabola, through: [500170, 5999960], length: 40 m}
  - {kind: swale, name: vee swale, shape: vee, through: [500050, 5999900], length: 40 m,
     side slope: 3}
  - {kind: swale, name: tied swale, through: [500170, 5999905], length: 50 m, depth: 0.4 m,
     checks: 12 m}
  - {kind: tree basin, name: row, along: top swale, spacing: 8 m, crown: 3 m}
  - {kind: tree basin, name: moons, form: crescent, along: [[500160, 5999880], [500200, 5999880]],
     count: 4, crown: 3 m, radius: 2.5 m}
  - {kind: tree basin, name: one trench, form: trench, at: [500040, 5999880], crown: 4 m,
     gravel porosity: 0.35}
  - {kind: tree basin, name: open trench, form: trench, at: [500050, 5999880], crown: 4 m}
  - {kind: drain, name: grass drain, from: [500030, 5999868], to: pit pond, lining: grass}
  - {kind: drain, name: stone drain, from: [500150, 5999835], to: pit pond, lining: stone}
  - {kind: basin, name: dug basin, dug: [[500040, 5999850], [500056, 5999850], [500056, 5999840],
     [500040, 5999840]], depth: 0.8 m, batter: 3}
  - {kind: basin, name: pit pond, wall: [[500068, 5999800], [500152, 5999800]], crest: 193.0 m,
     dug: [[500100, 5999819], [500120, 5999819], [500120, 5999809], [500100, 5999809]],
     depth: 1 m, batter: 2}
  - {kind: basin, name: low pond, wall: [[500070, 5999760], [500150, 5999760]], crest: 191.2 m}
"""


def ground() -> np.ndarray:
    """Its heights. [m]"""
    row, column = np.mgrid[0:260, 0:220]
    return (200 - FALL * (row + 0.5) + BEND * (column + 0.5 - MIDDLE) ** 2).astype(np.float32)


def write_site(folder: Path) -> Path:
    """Write it; the path of its site file."""
    import geopandas
    from shapely import LineString, box

    with rasterio.open(folder / "ground.tif", "w", driver="GTiff", width=220, height=260, count=1,
                       dtype="float32", crs="EPSG:32734",
                       transform=from_origin(WEST, NORTH, 1.0, 1.0)) as made:
        made.write(ground(), 1)
        made.units = ("metre",)
    small = [box(WEST + 20, NORTH - 24, WEST + 40, NORTH - 8)]
    for name, column, value in (("cover", "cover", "bare soil"), ("soils", "group", "B")):
        geopandas.GeoDataFrame({column: [value]}, geometry=small, crs=32734).to_file(
            folder / f"{name}.geojson")
    geopandas.GeoDataFrame({"name": ["track"], "width": ["4"]}, geometry=[LineString(
        [(WEST + 10, NORTH - 20), (WEST + 210, NORTH - 22)])], crs=32734).to_file(
            folder / "roads.geojson")
    geopandas.GeoDataFrame(geometry=[box(WEST + 4, NORTH - 256, WEST + 216, NORTH - 4)],
                           crs=32734).to_file(folder / "boundary.geojson")
    path = folder / "site.yaml"
    path.write_text(SITE)
    return path
