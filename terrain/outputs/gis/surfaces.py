"""Surfaces of the plan as Cloud Optimized GeoTIFFs, in the working frame."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.frame import Frame
from terrain.inputs.height_words import height_datum
from terrain.inputs.made_from import inputs_digest
from terrain.outputs.field.setting_out import SettingOut
from terrain.plan.earth.designed import designed_raster
from terrain.plan.planned import Plan
from terrain.surface.slope import hushed

#: Levels in rasters are rounded to this. [m]
FINEST_LEVEL = 0.001
#: Side of the rasters' tiles, in cells.
TILE = 256
#: The designed ground, and the folder of the other surfaces.
DESIGNED, FOLDER = "design_ground.tif", "surfaces"


@dataclass(frozen=True)
class Band:
    """One band of a raster.

    Attributes
    ----------
    description : str
        What it is, its unit last.
    unit : str
    values : float array, shape (rows, columns)
        NaN where there is nothing.
    """

    description: str
    unit: str
    values: NDArray[Any]


def write_surfaces(plan: Plan, folder: Path, field: SettingOut | None = None) -> None:
    """Write the designed ground into a folder, and the other surfaces into a folder within.

    Where no work changes the ground there is no `design_ground.tif`.
    """
    write_design_surface(plan, folder / DESIGNED, field)
    (folder / FOLDER).mkdir()
    dem = plan.inputs.dem
    for name, (bands, average) in surfaces_of(plan).items():
        write_raster(folder / FOLDER / f"{name}.tif", bands, dem.transform, dem.frame,
                     tags_of(plan), average)


def write_design_surface(plan: Plan, path: Path, field: SettingOut | None = None) -> bool:
    """Write the designed ground.

    Band 1 is the designed level, band 2 fill above 0 and cut below; without data away from works.

    Parameters
    ----------
    field : SettingOut, optional
        Of the same plan: it holds the designed ground already.

    Returns
    -------
    written : bool
        False where no work changes the ground.
    """
    from rasterio import Affine

    designed = plan.designed
    if designed is None or not designed.shapes:
        return False
    dem = plan.inputs.dem
    if field is not None and field.grid is not None:
        grid, level, change = field.grid, field.level, field.change
    else:
        grid, level, change, _ = designed_raster(dem, designed.shapes)
    assert level is not None
    assert change is not None
    write_raster(path, [Band("designed level, m", "m", _rounded(level)),
                        Band("fill above 0, cut below, m", "m", _rounded(change))],
                 Affine(grid.cell, 0.0, grid.left, 0.0, -grid.cell, grid.top), dem.frame,
                 tags_of(plan), True)
    return True


def surfaces_of(plan: Plan) -> dict[str, tuple[list[Band], bool]]:
    """The surfaces on the elevation's own cells, by file name, and whether means of their cells
    mean anything."""
    terrain, ground = plan.terrain, plan.inputs.ground
    known = np.isfinite(terrain.ground)
    deep = terrain.filled - terrain.ground
    return {
        "ground_for_water": ([
            Band("level that water is led over, m", "m", terrain.ground),
            Band("that level less the level read, m", "m",
                 terrain.ground - terrain.dem.heights)], True),
        "contributing_area": ([
            Band("ground that drains to the cell by steepest descent, itself included, m2", "m2",
                 np.where(known, terrain.contributing_area, np.nan))], False),
        "slope": ([Band("slope, rise over run (Horn), m/m", "m/m", terrain.slope)], True),
        "curve_number": ([Band("curve number, average wetness, 0.2 S", "1",
                               ground.curve_number)], False),
        "hollow_depth": ([Band("depth of natural hollows when full, m", "m",
                               np.where(known & (deep > 0), deep, np.nan))], True)}


def tags_of(plan: Plan) -> dict[str, str]:
    """What every raster says of itself: what its levels are from, and what it was made from."""
    return {"levels": level_words(plan.inputs.dem.frame),
            "inputs_sha256": inputs_digest(plan.site)}


def level_words(frame: Frame) -> str:
    """From what levels are counted, as far as the elevation says.

    The CRS of the layers and surfaces is of places alone: heights are never moved between datums,
    and are in metres whatever the elevation's own unit.
    """
    named = height_datum(frame.source)
    return ("levels in metres, on the elevation's own datum, " +
            (named if named else "which its files do not name"))


def _rounded(level: NDArray[Any]) -> NDArray[Any]:
    return np.asarray(np.round(level / FINEST_LEVEL) * FINEST_LEVEL)


def write_raster(path: Path, bands: Sequence[Band], transform: Any, frame: Frame,
                 tags: Mapping[str, str], average: bool) -> None:
    """Write float32 bands as a Cloud Optimized GeoTIFF, in one thread: same plan, same bytes."""
    import rasterio

    rows, columns = bands[0].values.shape
    # What the libraries below rasterio print of a full disk is told in one sentence instead.
    with hushed(), rasterio.open(
            path, "w", driver="COG", width=columns, height=rows, count=len(bands),
            dtype="float32", crs=frame.working, transform=transform, nodata=float("nan"),
            blocksize=TILE, compress="deflate", predictor=3, level=6, num_threads=1,
            bigtiff="if_safer", overview_resampling="average" if average else "nearest") as out:
        for number, band in enumerate(bands, 1):
            out.write(band.values.astype(np.float32), number)
            out.set_band_description(number, band.description)
            out.set_band_unit(number, band.unit)
        out.update_tags(**tags)
