"""Works, placed by reading the ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import LineString, Point, Polygon

from making.drawn import BOUNDARY, COLUMNS, HOUSE, ROWS, TREE_FALL, TREE_RIM, YARD, Grid
from making.flow import contributing, flood, receivers
from making.used_ground import X, Y, at, away_from


@dataclass
class Reading:
    """What the works are placed by: smoothed ground, its slope, and where water runs."""

    ground: Grid
    smooth: Grid
    gx: Grid
    gy: Grid
    slope: Grid
    to: NDArray[np.int64]
    area: Grid

    def downhill(self, x: float, y: float) -> Grid:
        """Unit vector of steepest descent on the smoothed ground."""
        v = -np.array([at(self.gx, x, y), at(self.gy, x, y)])
        return v / max(float(np.hypot(*v)), 1e-9)

    def run_down(self, x: float, y: float, far: float) -> Grid:
        """Follow the water from a point for `far` metres; one row per cell."""
        i = int(ROWS - y) * COLUMNS + int(x)
        path, gone = [(x, y)], 0.0
        while gone < far and self.to[i] != i:
            i = int(self.to[i])
            p = (i % COLUMNS + 0.5, ROWS - i // COLUMNS - 0.5)
            gone += float(np.hypot(p[0] - path[-1][0], p[1] - path[-1][1]))
            path.append(p)
        return np.array(path)


def read_ground(z: Grid) -> Reading:
    """Smooth the ground and route water over it."""
    smooth = ndimage.gaussian_filter(z, 2.0)
    gy, gx = np.gradient(ndimage.gaussian_filter(z, 4.0))
    filled = flood(z)
    to = receivers(filled)[0]
    return Reading(z, smooth, gx, -gy, np.hypot(gx, gy), to, contributing(filled, to))


def contour(read: Reading, x: float, y: float, reach: float, free: NDArray[np.bool_]) -> Grid:
    """Walk the contour through a point both ways, up to `reach` m each, on free ground."""
    level = at(read.smooth, x, y)
    sides = []
    for sign in (-1, 1):
        p, walked = np.array([x, y]), []
        for _ in range(int(reach)):
            down = read.downhill(*p)
            step = p + sign * np.array([-down[1], down[0]])
            for _ in range(3):
                down = read.downhill(*step)
                step = step + down * np.clip((at(read.smooth, *step) - level)
                                             / max(at(read.slope, *step), 0.02), -1, 1)
            if not free[int(ROWS - step[1]), int(step[0])]:
                break
            walked.append(step)
            p = step
        sides.append(walked)
    return np.array([*sides[0][::-1], np.array([x, y]), *sides[1]])


def straightness(line: Grid, window: int = 14) -> float:
    """The least chord over arc of any stretch of `window` steps; 1 is straight."""
    return float(np.hypot(*(line[window:] - line[:-window]).T).min() / window)


def swale_pair(read: Reading, free: NDArray[np.bool_]) -> dict:
    """Two contours one below the other, the lower across the path of the upper's spill.

    Looked for on the slope below the road, so that the road basin spills on to it too.
    """
    best, found = 0.0, None
    for y in range(380, 470, 4):
        for x in range(195, 290, 4):
            if not free[int(ROWS - y), x] or not 0.04 < at(read.slope, x, y) < 0.085:
                continue
            upper = contour(read, x, y, 38, free)
            if len(upper) < 60:
                continue
            slopes = [at(read.slope, *p) for p in upper[::6]]
            if min(slopes) < 0.02 or max(slopes) > 0.10:
                continue
            for share in (0.12, 0.25, 0.75, 0.88):
                sill = upper[int(share * (len(upper) - 1))]
                start = sill + 4 * read.downhill(*sill)
                path = read.run_down(*start, 34)
                if len(path) < 20:
                    continue
                px, py = path[-1]
                if not free[int(ROWS - py), int(px)] or not 0.03 < at(read.slope, px, py) < 0.09:
                    continue
                lower = contour(read, px, py, 42, free)
                ahead = np.hypot(*(lower - path[-1]).T).argmin()
                if len(lower) < 64 or min(ahead, len(lower) - ahead) < 12:
                    continue
                slopes = [at(read.slope, *p) for p in lower[::6]]
                if min(slopes) < 0.02 or max(slopes) > 0.10:
                    continue
                cells = {(int(ROWS - q[1]), int(q[0])) for q in upper}
                caught = sum(sorted((read.area[c] for c in cells), reverse=True)[:12])
                bend = straightness(upper) * straightness(lower)
                score = min(caught, 4000) ** 0.3 * bend**2
                if score > best:
                    best, found = score, {"upper": upper, "lower": lower, "sill": sill,
                                          "meets": path[-1], "caught": caught}
    if found is None:
        raise RuntimeError("no slope for two swales on this ground; change the seed")
    return found


def half(value: float) -> float:
    """Round to 0.5 m."""
    return round(float(value) * 2) / 2


def low_rim(z: Grid, p: Grid) -> float:
    """Lowest ground on the rim of a tree's bowl, as the site file rounds its place [m]."""
    x, y = half(p[0]), half(p[1])
    return min(at(z, x + TREE_RIM * np.cos(a), y + TREE_RIM * np.sin(a))
               for a in np.linspace(0, 2 * np.pi, 48, endpoint=False))


def place_works(z: Grid, known: dict) -> dict:
    """Find where each work goes; all places in metres past the corner."""
    read = read_ground(z)
    plot = Polygon(BOUNDARY)
    free = shapely.contains_xy(plot.buffer(-12), X, Y)
    free &= ndimage.maximum_filter(read.area, 7) < 4500
    road, drive = (LineString(known[k].points) for k in ("road", "drive"))
    for part, far in [(road, 14), (drive, 14), (known["yard"], 16), (Point(known["pan"]), 20)]:
        free &= away_from(part) > far
    pair = swale_pair(read, free)

    (ax, ay), (bx, by) = known["ends"]
    wall = np.linspace((ax, ay), (bx, by), 60)
    bed = min(at(z, *p) for p in wall)
    sill = round(bed + 0.85, 2)
    crest = round(sill + 0.45, 2)
    out = (wall[0] - wall[-1]) / np.hypot(*(wall[0] - wall[-1]))
    ends = []
    for end, way in ((wall[0], out), (wall[-1], -out)):
        reach = next(d for d in np.arange(-4, 14, 0.5)
                     if min(at(z, *(end + (d + e) * way)) for e in (0, 0.5, 1)) > crest + 0.08)
        ends.append(end + reach * way)

    # the pit lies across the flow just past the mouth of the road's mitre drain
    mouth = np.array(known["spout"])
    down = mouth - np.array(known["dip"])
    down /= np.hypot(*down)
    middle = mouth + 5.5 * down
    along = np.array([-down[1], down[0]])
    pit = [middle + a * along + d * down for a, d in
           [(-5.5, -3.6), (0, -4.1), (5.5, -3.6), (6.2, 0.4), (4.6, 3.8), (-4.6, 3.8), (-6.2, 0.4)]]

    a = np.radians(YARD[4])
    down = np.array([np.sin(a), np.cos(a)])
    side = np.array([np.cos(a), -np.sin(a)])
    foot = np.array(YARD[:2]) + (YARD[3] / 2 + 7.0) * down + 6.0 * side
    open_ground = (away_from(known["yard"]) > 2.5) & (
        away_from(LineString(known["road"].points)) > 7)
    yard_swale = contour(read, *foot, 19, open_ground)
    below = contour(read, *(foot + 8.0 * read.downhill(*foot)), 19, open_ground)
    spots = np.linspace(0.12, 0.88, 6) * (len(below) - 1)
    row = [below[int(i)] for i in spots]
    trees = [row[0]]
    for spot in row[1:]:  # each a little lower than the one before, so that the furrows fall
        while low_rim(z, spot) > low_rim(z, trees[-1]) - TREE_FALL:
            spot = spot + 0.25 * read.downhill(*spot)
        trees.append(spot)
    inlet = yard_swale[int(0.3 * (len(yard_swale) - 1))]
    if np.hypot(*(inlet - HOUSE[:2])) > np.hypot(*(yard_swale[-1] - HOUSE[:2])):
        inlet = yard_swale[int(0.7 * (len(yard_swale) - 1))]
    house_tank = np.array(HOUSE[:2]) + 8.5 * down + 6.0 * side
    return {"read": read, "pair": pair, "wall": ends, "crest": crest, "sill": sill, "bed": bed,
            "pit": pit, "foot": foot, "yard_swale": yard_swale, "trees": trees, "row": row,
            "inlet": inlet,
            "house_tank": house_tank, "bend": (house_tank + inlet) / 2 + 1.5 * side,
            "shed_tank": np.array([160.0, 345.0]), "barrels": np.array([137.0, 314.0])}
