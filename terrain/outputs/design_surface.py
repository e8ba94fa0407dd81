"""The designed ground for other programs and for the reader: raster, breaklines, earth by two ways.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from terrain.plan.earth.designed import Earth, designed_raster
from terrain.plan.planned import Plan
from terrain.units import in_both, shown

#: Levels in the raster are rounded to this. [m]
FINEST_LEVEL = 0.001
#: Side of the raster's tiles, in cells.
TILE = 256


def write_design_surface(plan: Plan, path: Path) -> bool:
    """Write the designed ground as a tiled, compressed GeoTIFF in the working frame.

    Band 1 is the designed level, band 2 fill above 0 and cut below; without data away from works.

    Returns
    -------
    written : bool
        False where no work changes the ground.
    """
    import rasterio

    designed = plan.designed
    if designed is None or not designed.shapes:
        return False
    dem = plan.inputs.dem
    grid, level, change, _ = designed_raster(dem, designed.shapes)
    transform = rasterio.Affine(grid.cell, 0.0, grid.left, 0.0, -grid.cell, grid.top)
    with rasterio.open(path, "w", driver="GTiff", width=grid.columns, height=grid.rows, count=2,
                       dtype="float32", crs=dem.frame.working, transform=transform,
                       nodata=float("nan"), tiled=True, blockxsize=TILE, blockysize=TILE,
                       compress="deflate", predictor=3, zlevel=6, num_threads=1) as out:
        for band, (values, said) in enumerate((
                (level, "designed level, m"), (change, "fill above 0, cut below, m")), 1):
            out.write((np.round(values / FINEST_LEVEL) * FINEST_LEVEL).astype(np.float32), band)
            out.set_band_description(band, said)
            out.set_band_unit(band, "m")
    return True


def breakline_rows(plan: Plan) -> list[dict[str, Any]]:
    """Lines at which the designed ground bends, with their levels, for the layer of them."""
    from shapely.geometry import LineString

    if plan.designed is None:
        return []
    return [{"work": shape.name, "line": line.name, "geometry": LineString(line.points)}
            for shape in plan.designed.shapes for line in shape.breaklines
            if len(line.points) > 1 and np.isfinite(line.points).all()]


def earth_of(plan: Plan, name: str) -> dict[str, Any]:
    """A store's earth by two ways, for programs; nothing where it changes no ground."""
    found = None if plan.designed is None else plan.designed.earth.get(name)
    if found is None:
        return {}
    return {"earth": {"cut_sections_m3": found.cut_sections,
                      "fill_sections_m3": found.fill_sections,
                      "cut_surface_m3": found.cut_surface, "fill_surface_m3": found.fill_surface,
                      "spillway_cut_m3": found.spillway}}


def two_ways_rows(plan: Plan) -> list[tuple[str, list[str]]]:
    """Cut and fill of each work by its sections and by the difference of surfaces."""
    if plan.designed is None:
        return []
    earth = partial(shown, dimension="earth", system=plan.site.units)

    def pair(by_sections: float, by_surface: float | None) -> list[str]:
        if by_surface is None:
            return [earth(by_sections), "not drawn", "–"]
        if max(by_sections, by_surface) < 1e-6:
            return ["–", "–", "–"]
        return [earth(by_sections), earth(by_surface), f"{by_surface / by_sections - 1:+.1%}"
                if by_sections > 1e-6 else "–"]

    return [(name, [*pair(found.cut_sections, found.cut_surface),
                    *pair(found.fill_sections, found.fill_surface)])
            for name, found in plan.designed.earth.items()]


def two_ways_notes(plan: Plan) -> list[str]:
    """Where the two ways differ by much, what the sections leave out, and works that meet."""
    designed, rules = plan.designed, plan.inputs.rules
    if designed is None or not designed.shapes:
        return []
    said = []
    for name, found in designed.earth.items():
        off = found.off(rules)
        if off is not None:
            said.append(f"{name}: the difference of surfaces comes to {abs(off):.0%} "
                        f"{'more' if off > 0 else 'less'} than the sections, and more than "
                        f"{rules['earth by two ways']:.0%} is told "
                        f"({rules.cited('earth by two ways')}): {_why(found, off)}")
        if found.spillway > 0.05:
            said.append(f"{name}: its spillway in natural ground beside the wall takes "
                        f"{in_both(found.spillway, 'earth')} more to dig, counted by the "
                        "difference of surfaces alone; the earth above and the money hold it.")
    said += [shared.said for shared in designed.shared]
    if designed_raster_is_coarse(plan):
        said.append("design_ground.tif has larger cells than the narrowest works ask for, to stay "
                    "within 16 million; the volumes above come from finer ones.")
    return said


def _why(found: Earth, off: float) -> str:
    return ("reckon with the larger of the two, and look at the ground there before ordering "
            "earth or a machine." if off > 0 else
            "look at the ground there before ordering earth or a machine.")


def designed_raster_is_coarse(plan: Plan) -> bool:
    """Whether the raster of the designed ground has larger cells than its works ask for."""
    from terrain.plan.earth.designed import raster_grid

    return plan.designed is not None and raster_grid(plan.inputs.dem, plan.designed.shapes)[1]
