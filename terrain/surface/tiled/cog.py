"""Results of a tiled run as Cloud Optimized GeoTIFFs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.files import whole_file
from terrain.surface.tiled.grid import Window

#: Side of a block of the files. [cells]
BLOCK = 512


def write_cog(path: Path, read: Callable[[Window], NDArray[Any]], shape: tuple[int, int],
              profile: dict[str, Any]) -> None:
    """Write a raster block by block.

    Parameters
    ----------
    read : callable (Window) -> array
    profile : dict
        `crs` and `transform` of the raster, and `nodata` if some value stands for unknown.

    Raises
    ------
    InputError
        If there is a file of that name, or it cannot be written.
    """
    import rasterio
    from rasterio.shutil import copy
    from rasterio.windows import Window as Part

    rows, columns = shape
    kind = read(Window(0, 1, 0, 1)).dtype
    with whole_file(path) as draft:
        plain = draft.with_name("plain.tif")
        with rasterio.open(plain, "w", driver="GTiff", height=rows, width=columns, count=1,
                           dtype=kind, tiled=True, blockxsize=BLOCK, blockysize=BLOCK,
                           BIGTIFF="IF_SAFER", **profile) as out:
            for top in range(0, rows, BLOCK):
                for left in range(0, columns, BLOCK * 8):
                    part = Window(top, min(top + BLOCK, rows), left, min(left + BLOCK * 8, columns))
                    out.write(np.ascontiguousarray(read(part)), 1, window=Part(
                        part.left, part.top, part.shape[1], part.shape[0]))
        copy(plain, draft, driver="COG", COMPRESS="DEFLATE", BIGTIFF="IF_SAFER",
             PREDICTOR="YES", OVERVIEW_RESAMPLING="NEAREST", BLOCKSIZE=str(BLOCK))
        plain.unlink()
