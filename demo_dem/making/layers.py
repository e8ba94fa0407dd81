"""Covers, soils, roofs and what to keep clear of."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import rasterio
import rasterio.features
import shapely
from numpy.typing import NDArray
from rasterio.transform import from_origin
from scipy import ndimage
from shapely.geometry import LineString, Point, Polygon, shape

from making.drawn import CRS, EAST, HOUSE, NORTH, ROWS, YARD, Grid
from making.flow import contributing, flood, fractal, receivers
from making.used_ground import X, Y, away_from, turned


def patches(codes: NDArray[np.int16], names: dict[int, str], field: str) -> gpd.GeoDataFrame:
    """Turn a grid of codes into polygons with plain edges, in the raster's frame."""
    rows = [(names[int(code)], shape(part)) for part, code in rasterio.features.shapes(
        codes, mask=codes > 0, transform=from_origin(EAST, NORTH + ROWS, 1, 1))]
    plain = shapely.coverage_simplify([part for _, part in rows], 2.0)
    plain = shapely.set_precision(plain, 0.01)
    return gpd.GeoDataFrame({field: [name for name, _ in rows]}, geometry=list(plain), crs=CRS)


def without_crumbs(codes: NDArray[np.int16], least: int) -> NDArray[np.int16]:
    """Give patches smaller than `least` cells to what lies around them."""
    out = codes.copy()
    for code in np.unique(codes):
        label, _ = ndimage.label(codes == code)
        small = (np.bincount(label.ravel()) < least)[label] & (label > 0)
        out[small] = -1
    nearest = ndimage.distance_transform_edt(out == -1, return_distances=False,
                                             return_indices=True)
    return out[tuple(nearest)]


def above_stream(z: Grid) -> Grid:
    """Height of each cell above the stream it drains to [m]."""
    filled = flood(z)
    to = receivers(filled)[0]
    stream = (contributing(filled, to) > 12_000).ravel()
    order = np.argsort(filled.ravel(), kind="stable").tolist()
    base, level, onward = z.ravel().tolist(), z.ravel().tolist(), to.tolist()
    for i in order:
        if not stream[i] and onward[i] != i:
            base[i] = base[onward[i]]
    return np.maximum(np.array(level) - np.array(base), 0).reshape(z.shape)


def soil_codes(z: Grid, rng: np.random.Generator) -> NDArray[np.int16]:
    """1 = B on the valley floor, 2 = C on the slopes, 3 = D on the stony ridge."""
    slope = np.hypot(*np.gradient(ndimage.gaussian_filter(z, 8)))
    ragged = fractal(z.shape, rng, 3.0, 80, 12)
    stony = ndimage.gaussian_filter((slope + 0.0012 * (175 - Y) + 0.012 * ragged > 0.135) * 1.0, 6)
    floor = ndimage.gaussian_filter((above_stream(z) < 1.5 + 0.3 * ragged) * 1.0, 5)
    codes = np.where((floor > 0.55) & (ndimage.gaussian_filter(slope, 5) < 0.115), 1, 2)
    return without_crumbs(np.where(stony > 0.5, 3, codes).astype(np.int16), 900)


def cover_codes(soil: NDArray[np.int16], known: dict, orchard: Polygon,
                rng: np.random.Generator) -> NDArray[np.int16]:
    """1 fair shrub, 2 poor shrub, 3 range, 4 bare, 5 farmstead, 6 orchard; 0 left out."""
    ragged = fractal(soil.shape, rng, 3.0, 70, 10)
    codes = np.select([soil == 3, soil == 1], [2, 3], 1)
    codes[(codes == 1) & (ragged > 1.15) & (Y < 320)] = 2
    codes = without_crumbs(codes.astype(np.int16), 400)
    worn_slope = np.hypot((X - 143) / 21, (Y - 282) / 13) + 0.16 * ragged < 1
    path = np.hypot((X - 338) / 26, (Y - 262) / 9) + 0.20 * ragged < 1
    codes[worn_slope | path] = 4
    codes[away_from(known["yard"].buffer(3)) + 0.7 * ragged < 2] = 4
    codes[away_from(turned(*HOUSE, YARD[4])) + 0.4 * ragged < 7] = 5
    codes[away_from(orchard) == 0] = 6
    codes[(X + 25 * ragged < 235) & (Y - 8 * ragged > 474)] = 0
    return codes


def placed(geometry: shapely.Geometry) -> shapely.Geometry:
    """Move a shape from metres past the corner into the raster's frame."""
    return shapely.transform(geometry, lambda p: np.round(p + np.array([EAST, NORTH]), 2))


def roof_table() -> gpd.GeoDataFrame:
    """The roofs, in plan."""
    turn = YARD[4]
    parts = [
        ("house", "steel sheet", 0.92, turned(*HOUSE, turn)),
        ("shed", "steel sheet", 0.90, turned(153.5, 337.5, 13.75, 8.0, 52)),
        ("goat shed", "old steel sheet", 0.85, turned(138.5, 309.0, 8.0, 5.0, 20)),
        ("tarp by the pen", "tarpaulin", 0.75, turned(131.5, 314.5, 6.0, 3.0, 20)),
        ("milking awning", "tarpaulin", 0.75, turned(134.0, 304.0, 6.0, 3.0, 20)),
    ]
    names, materials, shares, shapes = zip(*parts, strict=True)
    table = gpd.GeoDataFrame({"name": names, "material": materials, "efficiency": shares},
                             geometry=[placed(p) for p in shapes], crs=CRS)
    return table.to_crs("EPSG:4326")


def keep_clear_layers() -> dict[str, gpd.GeoDataFrame]:
    """What lies in the ground and stands on it: a septic field, a water line and two old trees."""
    field = turned(198, 315, 12, 6, 20)
    line = LineString([(187, 327), (193, 336), (192.5, 350), (195, 361)])
    trees = [Point(203.5, 397), Point(267, 378)]
    return {
        "septic": gpd.GeoDataFrame({"name": ["house field"]}, geometry=[placed(field)], crs=CRS),
        "buried": gpd.GeoDataFrame({"name": ["orchard pipe"]}, geometry=[placed(line)], crs=CRS),
        "trees": gpd.GeoDataFrame({"name": ["road pine", "slope pine"],
                                   "crown": ["9 m", "8 m"]},
                                  geometry=[placed(tree) for tree in trees], crs=CRS)}
