"""The codes of a land-cover raster at the cells of the elevation grid."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from terrain.errors import InputError
from terrain.files import check_name
from terrain.inputs.elevation import MOST_CELLS, Dem
from terrain.inputs.layers import in_short, layer_crs, way_between
from terrain.inputs.site import Cover
from terrain.inputs.virtual_raster import refuse_wild
from terrain.inputs.whole_bytes import refuse_no_files


def class_codes(path: Path, spec: Cover, dem: Dem, here: str
           ) -> tuple[NDArray[Any], NDArray[np.bool_], list[str]]:
    """Codes of a raster at the cells of the grid, the nearest cell's; and where there is none."""
    import rasterio
    from rasterio.crs import CRS as RasterCRS
    from rasterio.transform import Affine, array_bounds
    from rasterio.warp import Resampling, reproject

    from terrain.inputs.raster_faults import UNREADABLE

    if not os.path.exists(path):
        raise InputError(here, "there is no such file", check_name(path))
    refuse_no_files(path, here)
    refuse_wild(path)
    try:
        with rasterio.open(path) as source:
            if source.count != 1:
                raise InputError(here, f"it has {source.count} bands, as a picture has",
                                 "Give a raster with one band of class codes")
            stated = CRS.from_user_input(source.crs) if source.crs else None
            own, notes = layer_crs(path, stated, spec.crs, np.array([], object), dem, here)
            grid, working = dem.transform, dem.frame.working
            if own is None or working is None:
                start = end = RasterCRS.from_epsg(3857)  # any plane will do: nothing is moved
                per_metre = 1 / dem.frame.metres_per_unit
                grid = Affine(grid.a * per_metre, 0, grid.c * per_metre, 0, grid.e * per_metre,
                              grid.f * per_metre)  # the grid in the raster's own unit
            else:
                notes += way_between(own, working, dem, here)[1]
                start = RasterCRS.from_wkt(own.to_2d().to_wkt())
                end = RasterCRS.from_wkt(working.to_wkt())
            void = float(np.iinfo(np.int32).min)
            kind = np.dtype(source.dtypes[0]).kind
            if kind == "c":
                raise InputError(here, "its values are complex numbers, which are no class codes",
                                 "Give a raster of whole numbers")
            whole = kind in "iu"
            codes = np.full(dem.shape, void, np.int32 if whole else np.float64)
            window = _window(source, array_bounds(*dem.shape, grid), start, end)
            if window is not None:
                if window.width * window.height > MOST_CELLS:
                    raise InputError(here, f"{window.width * window.height:,.0f} of its cells lie "
                                     f"on {dem.source}, more than the {MOST_CELLS:,} that are "
                                     "read at once", "Give a coarser raster")
                reproject(source.read(1, window=window).astype(codes.dtype), codes,
                          src_transform=source.window_transform(window), src_crs=start,
                          src_nodata=source.nodata, dst_transform=grid, dst_crs=end,
                          dst_nodata=void, resampling=Resampling.nearest)
            unit = own.axis_info[0].unit_name if own else "units"
            size = f"{abs(source.transform.a):.3g} {unit}"
    except UNREADABLE as error:
        raise InputError(here, f"it cannot be read as a raster ({in_short(error)})",
                         "Give a GeoTIFF of class codes, or polygons") from None
    missing = (codes == void) | ~np.isfinite(codes)
    if missing.all():
        raise InputError(here, f"it holds no code anywhere on {dem.source}",
                         "Check its CRS, or use one that reaches the raster")
    odd = codes[~missing] % 1 != 0
    if odd.any():
        raise InputError(here, f"its value {codes[~missing][odd].flat[0]:g} is no class code",
                         "Give a raster of whole numbers")
    notes.append(f"Cover: taken from the raster {path.name}, the nearest of its cells ({size} "
                 "wide) each; roofs, yards and tracks smaller than that show only where drawn.")
    return codes, missing, notes


def _window(source: Any, bounds: tuple[float, float, float, float], start: Any, end: Any) -> Any:
    """The part of a raster that reaches over the grid, with a margin; None where none does."""
    from rasterio.errors import WindowError
    from rasterio.warp import transform_bounds
    from rasterio.windows import Window

    west, south, east, north = transform_bounds(end, start, *bounds)
    back = ~source.transform
    x, y = np.array([west, west, east, east]), np.array([south, north, south, north])
    columns, rows = back.a * x + back.b * y + back.c, back.d * x + back.e * y + back.f
    if not (np.isfinite(columns).all() and np.isfinite(rows).all()):
        return None
    left, top = int(np.floor(columns.min())) - 2, int(np.floor(rows.min())) - 2
    wanted = Window(left, top, int(np.ceil(columns.max())) + 2 - left,
                    int(np.ceil(rows.max())) + 2 - top)
    try:
        return wanted.intersection(Window(0, 0, source.width, source.height))
    except WindowError:
        return None
