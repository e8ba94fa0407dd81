"""How near four ways of routing come to geometry on made ground, as cells shrink.

Run:  .venv/bin/python tests/benchmarks/convergence.py [smallest cell in metres]

Prints the root mean square of the relative errors, in per cent, of specific catchment area
(area upslope a metre of contour); for the valley, of the area along its channel.

Surfaces after Costa-Cabral & Burges, Water Resources Research 30 (1994), 1681-1692, and Tarboton,
Water Resources Research 33 (1997), 309-319; the values follow from their geometry:

plane       falls at 26.57 degrees to the rows, 40 m long; the distance upslope
cone        about a top, 20 m to 40 m from it; r/2
paraboloid  as the cone, whose flow lines it has; r/2
bowl        inward cone of radius R = 100 m with a drain of 5 m, 15 m to 80 m; (R^2 - r^2) / 2r
valley      sides of 20 m twice as steep as the channel, 10 m to 45 m below its top

Area over the contour that a cell's water crosses: for D8 and D-infinity the cell's side times the
cosine between the fall and the nearest of the four straight directions; for Quinn et al. the sum
of their contour lengths times the cosines; for Freeman the side over the mean move along the fall.

Expect: on a plane each row hands all it has to the next, so that only Freeman's uneven steps show.
Quinn halves with the cell.  D-infinity and Freeman come to a limit of their own, as their
mean direction is off by up to 4.1 and 0.5 degrees at any cell (D-infinity splits by angle, where
the mean of two steps asks for its tangent).  D8 knows eight directions, and cells on its lines
gather what lies beside them: its error does not fall.
"""

from __future__ import annotations

import math
import sys

import numpy as np
from numpy.typing import NDArray

from terrain.surface.accumulation import accumulate
from terrain.surface.d_infinity import accumulate_d_infinity, d_infinity
from terrain.surface.depressions import drain
from terrain.surface.multiple_flow import accumulate_multiple_flow

METHODS = ("D8", "D-infinity", "Quinn", "Freeman")
Grid = NDArray[np.float64]
BEARING = np.arange(8) * np.pi / 4
CONTOUR = np.where(np.arange(8) % 2 == 0, 0.5, math.sqrt(2) / 4)
FAR = np.where(np.arange(8) % 2 == 0, 1.0, math.sqrt(2))


def count_cells(heights: Grid) -> dict[str, Grid]:
    """Cells that drain to each cell, itself included, by each method."""
    heights32 = heights.astype(np.float32)
    drainage = drain(heights32)
    filled, direction = drainage.filled(heights32), drainage.direction
    return {"D8": accumulate(direction),
            "D-infinity": accumulate_d_infinity(d_infinity(filled, direction)),
            "Quinn": accumulate_multiple_flow(filled, direction),
            "Freeman": accumulate_multiple_flow(filled, direction, exponent=1.1,
                                                contour_lengths=False)}


def contour_lengths(angle: Grid) -> dict[str, Grid]:
    """Contour a cell's water crosses where the ground falls at an angle, in cell sides."""
    cosine = np.maximum(np.cos(angle[..., None] - BEARING), 0)
    single = np.maximum(abs(np.cos(angle)), abs(np.sin(angle)))
    part = cosine**1.1
    return {"D8": single, "D-infinity": single, "Quinn": (CONTOUR * cosine).sum(axis=-1),
            "Freeman": part.sum(axis=-1) / (part * FAR * cosine).sum(axis=-1)}


def errors(heights: Grid, angle: Grid, exact: NDArray[np.floating], where: NDArray[np.bool_],
           cell: float) -> dict[str, float]:
    """Root mean square of the relative errors of specific catchment area by each method."""
    count, length = count_cells(heights), contour_lengths(angle)
    found = {}
    for name in METHODS:
        ratio = count[name][where] * cell / length[name][where] / exact[where]
        found[name] = float(np.sqrt(np.mean((ratio - 1) ** 2)))
    return found


def about(cell: float, half: float) -> tuple[Grid, Grid, Grid]:
    """x, y (southwards) and distance of cell centres from a point between four cells. [m]"""
    side = (np.arange(-round(half / cell), round(half / cell)) + 0.5) * cell
    x, y = np.meshgrid(side, side)
    return x, y, np.hypot(x, y)


def plane(cell: float) -> dict[str, float]:
    east, south = 1, 2
    row, column = np.indices((round(40 / cell), round(240 / cell)))
    angle = np.full(row.shape, math.atan2(south, east))
    upslope = (row + 1) * cell / math.sin(angle[0, 0])
    where = (row < row.shape[0] - 1) & (abs(column * cell - 120) < 40)  # away from other edges
    return errors(-(east * column + south * row) / 64.0, angle, upslope, where, cell)


def top(cell: float, power: int) -> dict[str, float]:
    x, y, away = about(cell, 44.0)
    return errors(100 - away**power / 50 ** (power - 1), np.arctan2(y, x), away / 2,
                  (away > 20) & (away < 40), cell)


def bowl(cell: float) -> dict[str, float]:
    x, y, away = about(cell, 100.0)
    heights = np.where((away <= 100) & (away > 5), away, np.nan)
    return errors(heights, np.arctan2(-y, -x), (100.0**2 - away**2) / (2 * away),
                  (away > 15) & (away < 80), cell)


def valley(cell: float, side: float = 0.1, channel: float = 0.05) -> dict[str, float]:
    half = round(20 / cell)
    x = (np.arange(2 * half + 1) - half) * cell
    y = (np.arange(round(60 / cell)) + 0.5) * cell
    count = count_cells(50 + side * abs(x)[None, :] - channel * y[:, None])
    reach, width, v = y + cell / 2, 20 + cell / 2, channel / side
    exact = np.where(reach < v * width, reach**2 / v, 2 * (width * reach - v * width**2 / 2))
    where = (reach > 10) & (reach < 45)
    found = {}
    for name in METHODS:
        ratio = count[name][where, half] * cell**2 / exact[where]
        found[name] = float(np.sqrt(np.mean((ratio - 1) ** 2)))
    return found


def main() -> None:
    smallest = float(sys.argv[1]) if len(sys.argv) > 1 else 0.5
    if not 0.05 <= smallest <= 4:
        sys.exit(f"A smallest cell of {smallest:g} m is outside 0.05 m to 4 m.")
    cells = [4.0 / 2**n for n in range(1 + math.floor(math.log2(4 / smallest)))]
    print("surface     cell [m] " + "".join(f"{name:>12}" for name in METHODS) + "   error [%]")
    for name, work in (("plane", plane), ("cone", lambda cell: top(cell, 1)),
                       ("paraboloid", lambda cell: top(cell, 2)), ("bowl", bowl),
                       ("valley", valley)):
        for cell in cells:
            error = work(cell)
            print(f"{name:<11} {cell:>8g} "
                  + "".join(f"{100 * error[method]:>12.2f}" for method in METHODS))


if __name__ == "__main__":
    main()
