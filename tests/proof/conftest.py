"""A little valley with a swale, a pond behind a wall, a road on a bank and a culvert under it,
flooded in a second or two."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from constructed import valley

from terrain.proof.flood_ground import flood_ground
from terrain.proof.proof import How, prove, storm_named

SITE = """\
name: Little valley
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
roofs:
  file: roofs.geojson
culverts:
  file: culverts.geojson
rain:
  storms:
    - name: burst
      depth: 40 mm
      duration: 1 h
works:
  - kind: swale
    name: side swale
    through: [500053, 6399960]
    length: 16 m
  - kind: basin
    name: pond
    wall: [[500020, 6399925], [500051, 6399925]]
    crest: 198.1 m
"""


def make_little_site(folder: Path, write_raster, write_layer) -> Path:
    from shapely.geometry import LineString, box

    heights = valley(100, 70)
    bank = np.s_[22:27, :]
    heights[bank] = np.maximum(heights[bank], 200.1)
    write_raster(folder / "ground.tif", heights)
    write_layer(folder / "boundary.geojson",
                [{"name": "all", "geometry": box(500005, 6399905, 500065, 6399998)}])
    write_layer(folder / "cover.geojson", [
        {"cover": "bare soil", "geometry": box(500010, 6399950, 500030, 6399960)}])
    write_layer(folder / "soils.geojson", [
        {"group": "D", "geometry": box(500005, 6399905, 500065, 6399998)}])
    write_layer(folder / "roads.geojson", [
        {"name": "track", "width": "3",
         "geometry": LineString([(500006, 6399975.5), (500064, 6399975.5)])}])
    write_layer(folder / "roofs.geojson", [
        {"name": "barn", "geometry": box(500040, 6399932, 500046, 6399938)}])
    write_layer(folder / "culverts.geojson", [
        {"name": "under the track", "diameter": "300 mm",
         "geometry": LineString([(500035.5, 6399979.5), (500035.5, 6399971.5)])}])
    path = folder / "site.yaml"
    path.write_text(SITE)
    return path


@pytest.fixture(scope="session")
def plan(tmp_path_factory, write_raster, write_layer):
    from terrain.plan.plan import make_plan

    return make_plan(make_little_site(tmp_path_factory.mktemp("little"), write_raster,
                                      write_layer))


@pytest.fixture(scope="session")
def ground(plan):
    return flood_ground(plan)


@pytest.fixture(scope="session")
def proof(plan, ground):
    return prove(plan, ground, storm_named(plan.site, None), How(1.0))
