"""Make the demo site "Quailstone": invented ground, covers, soils, roads, roofs, rain and works,
and the demo district: the properties about it.

Everything here is invented.  The ground starts as a drawn ridge and valley with
fractal noise, is worn by running water (stream power, implicit) and by creep,
and then gets what people do to ground: a road, a yard, a levelled pad.  The
works are placed by reading that ground.  Seeded: the same script gives the same site.

Run: ``python make_demo.py [FOLDER]``; it overwrites its own outputs and nothing else.
"""

from __future__ import annotations

import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
import rasterio.features
import shapely
from making.drawn import (
    BOUNDARY,
    COLUMNS,
    CRS,
    DRIVE_WIDTH,
    EAST,
    NORTH,
    RAIN_SEED,
    ROAD_WIDTH,
    ROWS,
    SEED,
    VOID,
)
from making.layers import cover_codes, keep_clear_layers, patches, placed, roof_table, soil_codes
from making.properties import write_district
from making.rain import daily_rain, depth_table
from making.site_file import write_site
from making.survey import survey_rows
from making.used_ground import X, Y, make_ground
from making.works import place_works
from rasterio.transform import from_origin
from shapely.geometry import LineString, Polygon, box


def main(folder: Path | None = None) -> None:
    """Write every file of the demo site."""
    folder = Path(__file__).parent if folder is None else folder
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(SEED)
    z, known = make_ground(rng)
    z = np.round(z, 2)
    works = place_works(z, known)

    kept = np.round(z * 100).astype(np.float32) / np.float32(100)
    void = np.hypot((X - 618) / 13, (Y - 22) / 9) + 0.12 * np.sin(X / 3) < 1
    kept[void] = VOID
    with rasterio.open(folder / "ground.tif", "w", driver="GTiff", width=COLUMNS, height=ROWS,
                       count=1, dtype="float32", crs=CRS, nodata=VOID, compress="deflate",
                       predictor=3, zlevel=9, tiled=True, blockxsize=256, blockysize=256,
                       transform=from_origin(EAST, NORTH + ROWS, 1, 1)) as out:
        out.write(kept, 1)
        out.units = ("metre",)

    soil = soil_codes(z, rng)
    orchard = shapely.MultiPoint(works["row"]).convex_hull.buffer(4.5)
    cover = cover_codes(soil, known, orchard, rng)
    layers = {
        "boundary": gpd.GeoDataFrame({"name": ["Quailstone"]},
                                     geometry=[placed(Polygon(BOUNDARY))], crs=CRS),
        "cover": patches(cover, {1: "desert shrub, fair", 2: "desert shrub, poor",
                                 3: "herbaceous range, fair", 4: "bare soil", 5: "farmstead",
                                 6: "orchard, fair"}, "cover"),
        "soils": patches(soil, {1: "B", 2: "C", 3: "D"}, "group"),
        "roads": gpd.GeoDataFrame(
            {"name": ["access road", "yard drive"], "width": [ROAD_WIDTH, DRIVE_WIDTH],
             "cover": ["dirt road", "gravel road"]},
            geometry=[placed(LineString(known[k].points[::6]).simplify(0.05)
                             .intersection(box(0, 0, COLUMNS, ROWS)))
                      for k in ("road", "drive")], crs=CRS),
    }
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2024-01-01T00:00:00.000Z"})
    package = folder / "site.gpkg"
    package.unlink(missing_ok=True)
    for name, table in (layers | keep_clear_layers()).items():
        table.to_file(package, layer=name, driver="GPKG")
    roofs = folder / "roofs.geojson"
    roofs.unlink(missing_ok=True)
    roof_table().to_file(roofs, driver="GeoJSON", COORDINATE_PRECISION=8)
    daily_rain(np.random.default_rng(RAIN_SEED)).to_csv(folder / "rain_daily.csv", index=False)
    (folder / "rain_depths.csv").write_text(depth_table(), encoding="utf-8")
    write_site(folder, z, known, works)
    write_district(folder)
    (folder / "as_built.csv").write_text(survey_rows(folder), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)
