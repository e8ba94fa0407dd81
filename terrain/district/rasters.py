"""The routed ground of a district as rasters for GIS."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.district.opened import open_district
from terrain.plan.siting.reading import Progress
from terrain.surface.neighbours import LEAVES, VOID
from terrain.surface.tiled.cog import write_cog
from terrain.surface.tiled.gathered import gather_all
from terrain.surface.tiled.grid import SIDE, Window
from terrain.surface.tiled.route import route
from terrain.surface.tiled.work import Run, one_by_one

#: What the sums of ground are kept under in the folder of the tiles.
AREA = "contributing-area"
#: The files, and what each holds.
FILES = {
    "flow_direction.tif": "where each cell's water goes: 0 east, 1 south-east and so on round to "
                          f"7 north-east, {LEAVES} off the known ground, {VOID} unknown",
    "contributing_area.tif": "ground that drains to each cell, itself included, in m²",
    "filled_surface.tif": "heights with every hollow full to where it spills, in m"}


def write_rasters(district: Path, tiles: Path, out: Path, run: Run = one_by_one,
                  progress: Progress = lambda what: None, side: int = SIDE
                  ) -> list[tuple[str, str]]:
    """Write flow direction, contributing area and filled surface as Cloud Optimized GeoTIFFs in
    the working frame.

    Parameters
    ----------
    district : Path
        Of the district file, or its folder.
    tiles : Path
        The folder of a screening's tiles: what is finished there is not made again.
    out : Path
        A folder that is there.

    Returns
    -------
    written : list of (name, words)
        Each file, and what it holds.

    Raises
    ------
    InputError
        If the district file or what it names cannot be used, or a file is there already.
    """
    opened = open_district(district, tiles, side)
    files, work = opened.files, opened.work
    progress("Finding the tiles that are finished")
    tiled = route(work, run)
    progress("Adding up the ground that drains to each cell")
    area = gather_all(work, AREA, files.cell**2, run)

    def drained(window: Window) -> NDArray[Any]:
        return area.read(window).astype(np.float32)

    reads: dict[str, tuple[Callable[[Window], NDArray[Any]], float]] = {
        "flow_direction.tif": (tiled.direction, float(VOID)),
        "contributing_area.tif": (drained, float("nan")),
        "filled_surface.tif": (tiled.filled, float("nan"))}
    for name, (read, nodata) in reads.items():
        progress(f"Writing {name}")
        write_cog(out / name, read, work.grid.shape, {
            "crs": files.frame.working, "transform": files.transform, "nodata": nodata})
    return list(FILES.items())
