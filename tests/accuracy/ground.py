"""Terrain, and where its water goes, beside published grids, geometry and flow libraries."""

from __future__ import annotations

import matplotlib.cbook
import numpy as np
from benchmarks import convergence
from constructed import dem_of, formula_dem
from published import rows

from accuracy.check import Check, by, compared, differing, known
from terrain.surface.accumulation import accumulate
from terrain.surface.contours import contour_lines
from terrain.surface.d_infinity import accumulate_d_infinity, d_infinity
from terrain.surface.depressions import drain, fill_hollows
from terrain.surface.neighbours import COLUMN_STEP, ROW_STEP
from terrain.surface.slope import curvature, filled_by_library, hushed, terrain_attribute
from terrain.surface.terrain import Terrain

#: Slots of richdem's shares by our codes: its neighbours go W, NW, N ... from 1.
SLOT = np.array([5, 6, 7, 8, 1, 2, 3, 4])
#: D8 as pyflwdir and the taught grid code it, 0 where water leaves.
CODES = np.array([1, 2, 4, 8, 16, 32, 64, 128, 0], np.uint8)
SRTM = "matplotlib's sample raster of 344 by 403 cells (SRTM)"


def _sample() -> np.ndarray:
    with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as data:
        return data["elevation"].astype(np.float32)


def _window(row: dict[str, str]) -> np.ndarray:
    return np.array([float(row[name]) for name in "abcdefghi"], np.float32).reshape(3, 3)


def terrain() -> list[Check]:
    """Slope, aspect, curvature, filling, heights and contours."""
    from scipy.ndimage import map_coordinates

    horn, curved = rows("horn_slope_aspect.csv"), rows("zevenbergen_thorne_curvature.csv")
    paper = by("Horn, Proceedings of the IEEE 69, 1981", "horn_slope_aspect.csv")
    table = rows("depression_fill_constructed.csv")
    heights, filled = np.zeros((7, 7), np.float32), np.zeros((7, 7), np.float32)
    for row in table:
        at = int(row["row"]) - 1, int(row["col"]) - 1
        heights[at], filled[at] = float(row["elevation"]), float(row["filled"])
    sample, rng = _sample(), np.random.default_rng(1)
    dem = dem_of(rng.normal(1200, 30, (60, 80)).astype(np.float32))
    x, y = rng.uniform(0.5, 79.5, 2000), rng.uniform(0.5, 59.5, 2000)
    between = map_coordinates(dem.heights, [dem.top - y - 0.5, x - 0.5], order=1,
                              output=np.float64)
    cone = formula_dem(lambda x, y: 50 - 0.1 * np.hypot(x - 15, y - 15), 30, 30, 1.0)
    line = contour_lines(cone, 49.0)[0]
    tilt = Terrain(formula_dem(lambda x, y: 0.1 * x, 60, 160, 2.0))
    reach = 60 - np.arange(30) * 2.0
    wet = tilt.wetness[40, 1:-1]
    return [
        compared(paper, "slope", "°", [float(row["slope_deg"]) for row in horn],
                 [terrain_attribute(_window(row), float(row["cell"]), "slope_degrees")[1, 1]
                  for row in horn], 2e-4),
        compared(paper, "aspect", "°", [float(row["aspect_deg"]) for row in horn],
                 [terrain_attribute(_window(row), float(row["cell"]), "aspect")[1, 1]
                  for row in horn], 2e-4),
        compared(by("Zevenbergen & Thorne, Earth Surface Processes and Landforms 12, 1987",
                    "zevenbergen_thorne_curvature.csv"), "profile and plan curvature", "1/m",
                 [float(row[f"{kind}_curvature"] or 0) for row in curved
                  for kind in ("profile", "plan")],
                 [curvature(_window(row), float(row["cell"]), kind)[1, 1] for row in curved
                  for kind in ("profile", "plan")], 2e-6, note="heights are kept as float32"),
        differing(by("constructed, by the definition of Barnes, Lehman & Mulla, Computers & "
                     "Geosciences 62, 2014", "depression_fill_constructed.csv"),
                  "nested hollows filled", filled, fill_hollows(heights)),
        differing("library richdem", f"hollows filled on {SRTM}", filled_by_library(sample),
                  fill_hollows(sample)),
        compared("library scipy, map_coordinates", "height between cells", "m", between,
                 dem.height_at(x, y), 1e-9),
        compared("geometry: a cone in 1 m cells", "length of a contour", "m", 20 * np.pi,
                 np.hypot(*np.diff(line, axis=0).T).sum(), 0.005, True,
                 "falls faster than the cell"),
        compared("Beven & Kirkby, Hydrological Sciences Bulletin 24, 1979: a plane in closed form",
                 "topographic wetness", "", np.log(reach / 0.1)[1:-1], wet, 2e-3),
    ]


def _by_richdem(props: np.ndarray) -> np.ndarray:
    """richdem's own sum over shares by our codes; a ring of cells that pass nothing on is put
    round, as it does not route its outermost cells."""
    import richdem

    share = np.full((props.shape[0] + 2, props.shape[1] + 2, 9), -1, np.float32)
    share[1:-1, 1:-1][..., SLOT] = np.where(props > 0, props, -1)
    share[1:-1, 1:-1, 0] = np.where((props > 0).any(axis=2), 0, -1)
    with hushed():
        grid = richdem.rd3array(share, no_data=-2)
        grid.geotransform = (0.0, 1.0, 0.0, 0.0, 0.0, -1.0)
        found = richdem.flow_accum_from_props(grid)
    return np.array(found)[1:-1, 1:-1]


def _shares(angle: np.ndarray) -> np.ndarray:
    """What goes to each of the eight neighbours."""
    goes = angle >= 0
    whole = np.where(goes, np.floor(angle), 0).astype(int)
    found = np.zeros((*angle.shape, 8))
    row, column = np.indices(angle.shape)
    found[row, column, whole] = np.where(goes, 1 - (angle - whole), 0)
    found[row, column, (whole + 1) % 8] += np.where(goes, angle - whole, 0)
    return found


def _planes() -> tuple[list[float], list[float]]:
    """Shares to the two neighbours on planes, as published and as found."""
    theirs, ours = [], []
    for plane in rows("dinf_plane_directions.csv"):
        towards = np.radians(float(plane["plane_direction_deg"]))
        slope = float(plane["plane_slope"])
        row, column = np.mgrid[-2:3, -2:3]
        heights = (-slope * (column * np.cos(towards) - row * np.sin(towards))).astype(np.float32)
        drop = np.zeros((5, 5))
        drop[2, 2] = 1.0
        received = accumulate_d_infinity(d_infinity(heights, drain(heights).direction), drop)
        for share, way in (("p1", "a1_deg"), ("p2", "a2_deg")):
            k = round(-float(plane[way]) / 45) % 8
            theirs.append(float(plane[share]))
            ours.append(received[2 + ROW_STEP[k], 2 + COLUMN_STEP[k]])
    return theirs, ours


#: What each method is known to be off in area upslope at cells of 1 m, on the surfaces of
#: `benchmarks/convergence.py` in their order.
ROUTED = {"D8": (0.001, 0.6, 0.6, 2.1, 0.31), "D-infinity": (0.001, 0.12, 0.17, 0.11, 0.07),
          "Quinn": (0.001, 0.035, 0.035, 0.015, 0.008),
          "Freeman": (0.005, 0.04, 0.04, 0.022, 0.006)}


def flow() -> list[Check]:
    """Directions and areas upslope."""
    import pyflwdir

    grid = rows("d8_six_by_six.csv")

    def taught(name: str) -> np.ndarray:
        return np.array([float(row[name]) for row in grid]).reshape(6, 6)

    paper = by("teaching grid of Jenson & Domingue, Photogrammetric Engineering and Remote Sensing "
               "54, 1988", "d8_six_by_six.csv")
    direction = drain(taught("elevation").astype(np.float32)).direction
    sample = _sample()
    drained = drain(sample)
    way, angle = drained.direction, d_infinity(drained.filled(sample), drained.direction)
    single = np.zeros((*way.shape, 8))
    row, column = np.nonzero(way < 8)
    single[row, column, way[row, column]] = 1
    told, found = _planes()
    plane = [(float(row["r_or_x_m"]), float(row["sca_m"]))
             for row in rows("specific_catchment_area_analytic.csv")
             if row["surface"].startswith("plane")]
    even = np.tile(-0.25 * np.arange(120)[:, None], (1, 9)).astype(np.float32)
    spread = accumulate_d_infinity(d_infinity(even, drain(even).direction))[:, 4]
    checks = [
        differing(paper, "steepest descent", taught("d8"), CODES[direction]),
        differing(paper, "cells upstream", taught("upstream_cells"), accumulate(direction) - 1),
        differing("library richdem", f"cells upstream on {SRTM}", _by_richdem(single),
                  accumulate(way)),
        differing("library pyflwdir", f"cells upstream on {SRTM}",
                  pyflwdir.from_array(CODES[way], ftype="d8").upstream_area("cell"),
                  accumulate(way)),
        compared("library richdem", f"cells upstream by D-infinity on {SRTM}", "cells",
                 _by_richdem(_shares(angle)), accumulate_d_infinity(angle), 1e-6, True,
                 "it keeps shares as float32"),
        compared(by("Tarboton, Water Resources Research 33, 1997",
                    "specific_catchment_area_analytic.csv"),
                 "area upslope by D-infinity on a plane that falls along a row", "m²/m",
                 [area for _, area in plane], [spread[round(at) - 1] for at, _ in plane], 1e-9),
        compared(by("Tarboton, Water Resources Research 33, 1997, Table 1",
                    "dinf_plane_directions.csv"), "shares of the two neighbours on a plane", "",
                 told, found, 3e-6, note="it prints 1e-6; heights are kept as float32"),
    ]
    surfaces = {"plane": convergence.plane, "cone": lambda cell: convergence.top(cell, 1),
                "paraboloid": lambda cell: convergence.top(cell, 2), "bowl": convergence.bowl,
                "valley": convergence.valley}
    geometry = ("geometry, surfaces of Costa-Cabral & Burges, Water Resources Research 30, 1994, "
                "and Tarboton, 1997")
    off = {name: surface(1.0) for name, surface in surfaces.items()}
    return checks + [
        known(geometry, f"area upslope by {method} on a {name}, 1 m cells, root mean square",
              off[name][method], within)
        for method, bounds in ROUTED.items()
        for name, within in zip(surfaces, bounds, strict=True)]
