"""A small invented district: four parcels in a rough valley, a road, buildings, a rain record."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import yaml
from scipy.ndimage import gaussian_filter
from shapely import LineString, Point, box

#: Rows and columns of its raster, of 1 m cells; its north-west corner is that of the small site.
ROWS, COLUMNS = 230, 180
WEST, SOUTH = 500000, 6400000 - ROWS
DISTRICT = """\
name: Upper valley
elevation:
  file: ground.tif
parcels:
  file: parcels.geojson
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
keep clear:
  - what: private well
    file: wells.geojson
rain:
  storms:
    - name: shower
      depth: 20 mm
      duration: 2 h
    - name: big day
      depth: 60 mm
      return period: 10
  design storm: big day
  daily:
    file: rain.csv
evapotranspiration: [220, 180, 160, 110, 80, 60, 70, 100, 130, 170, 190, 220]
suggest:
  infiltration: 15 mm/h
"""
#: Parcels by their names. [m, from the south-west corner]
PARCELS = {"upper west": box(8, 120, 84, 222), "upper east": box(84, 120, 172, 222),
           "lower west": box(8, 8, 96, 120), "lower east": box(96, 8, 172, 120)}
ROAD, ROAD_WIDTH = LineString([(2, 150), (60, 146), (178, 154)]), 4.0
#: The shed stands on two parcels.
ROOFS = {"barn": box(20, 190, 32, 198), "house": box(140, 60, 152, 70),
         "shed": box(92, 20, 100, 24)}
ROOF_SHARES = {"barn": 0.9, "house": 0.8, "shed": 0.9}
WELL = Point(40, 40)


def there(shape):
    """A shape of the valley in the raster's coordinates."""
    from shapely.affinity import translate

    return translate(shape, WEST, SOUTH)


def heights() -> np.ndarray:
    """A valley that falls to the south, its floor meandering about the lower parcels' border."""
    row, column = np.mgrid[0:ROWS, 0:COLUMNS].astype(float)
    floor = 92 + 14 * np.sin(row / 24)
    rough = gaussian_filter(np.random.default_rng(11).normal(size=(ROWS, COLUMNS)), 10)
    return (200 - 0.035 * row + 0.06 * np.abs(column - floor)
            + 0.35 * rough / rough.std()).astype(np.float32)


@pytest.fixture(scope="session")
def make_district(write_raster, write_layer):
    """Writes the district into a folder, some of its file changed; None leaves a field out.

    A plain one has pasture in its west and woods in its east, soil C, and nothing built.
    """
    def made(folder: Path, plain: bool = False, **changed) -> Path:
        folder.mkdir(parents=True, exist_ok=True)
        write_raster(folder / "ground.tif", heights())
        write_layer(folder / "parcels.geojson", [{"name": name, "geometry": there(shape)}
                                                 for name, shape in PARCELS.items()])
        write_layer(folder / "cover.geojson", [
            {"cover": "bare soil", "geometry": there(box(60, 160, 120, 225))},
            {"cover": "woods, fair", "geometry": there(box(110, 20, 178, 90))}])
        if plain:
            changed |= {"roads": None, "roofs": None, "soils": {"file": "soils.geojson"}}
            (folder / "cover.geojson").unlink()
            write_layer(folder / "cover.geojson", [
                {"cover": "pasture, poor", "geometry": there(box(-9, -9, 90, ROWS + 9))},
                {"cover": "woods, fair", "geometry": there(box(90, -9, COLUMNS + 9, ROWS + 9))}])
        write_layer(folder / "soils.geojson", [
            {"group": "C" if plain else "B", "geometry": there(box(0, 0, 70, 230))}])
        write_layer(folder / "roads.geojson", [
            {"name": "track", "width": str(ROAD_WIDTH), "geometry": there(ROAD)}])
        write_layer(folder / "roofs.geojson", [
            {"name": name, "efficiency": ROOF_SHARES[name], "geometry": there(shape)}
            for name, shape in ROOFS.items()])
        write_layer(folder / "wells.geojson", [{"name": "old well", "geometry": there(WELL)}])
        days = np.arange("2006-01-01", "2012-01-01", dtype="datetime64[D]")
        random = np.random.default_rng(5)
        rain = np.round(np.where(random.random(days.size) < 0.12,
                                 random.gamma(0.8, 18, days.size), 0), 1)
        (folder / "rain.csv").write_text("date,rain_mm\n" + "".join(
            f"{day},{depth}\n" for day, depth in zip(days, rain, strict=True)))
        given = yaml.safe_load(DISTRICT)
        for name, value in changed.items():
            field = name.replace("_", " ")
            if value is None:
                del given[field]
            else:
                given[field] = value if not isinstance(value, dict) else {
                    key: one for key, one in {**given.get(field, {}), **value}.items()
                    if one is not None}
        (folder / "district.yaml").write_text(yaml.safe_dump(given, sort_keys=False))
        return folder
    return made


@pytest.fixture(scope="session")
def site_of_parcel(write_layer):
    """Writes the site file of one parcel beside the district: its roofs feed a tank, which holds
    all that comes."""
    def made(folder: Path, name: str, works: tuple = ()) -> Path:
        given = yaml.safe_load((folder / "district.yaml").read_text())
        outline = folder / f"{name.replace(' ', '-')}.geojson"
        outline.unlink(missing_ok=True)
        write_layer(outline, [{"name": name, "geometry": there(PARCELS[name])}])
        del given["parcels"]
        given["boundary"] = {"file": outline.name}
        own = [roof for roof, shape in ROOFS.items() if PARCELS[name].covers(shape)]
        middle = there(PARCELS[name]).centroid
        tank = [{"kind": "tank", "name": "tank", "at": [middle.x, middle.y], "volume": "2000 m3",
                 "roofs": own}] if own else []
        given["works"] = [*tank, *works]
        path = folder / f"{name.replace(' ', '-')}.yaml"
        path.write_text(yaml.safe_dump(given, sort_keys=False))
        return path
    return made


@pytest.fixture(scope="session")
def roof_cells():
    """How many cells of 1 m2 of a roof lie in a parcel; their sides are whole metres."""
    def counted(name: str, roof: str) -> float:
        return PARCELS[name].intersection(ROOFS[roof]).area
    return counted
