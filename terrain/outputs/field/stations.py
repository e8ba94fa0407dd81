"""Where along a line stakes stand: evenly, closer on bends, and at every corner."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from shapely import LineString

from terrain.works.alignment import radii, stretches
from terrain.works.rules import Rulebook

FloatArray = NDArray[np.float64]

#: A line that turns by more than this at one point has a corner there; common practice, no source.
CORNER = np.radians(15.0)
#: A stake that would stand nearer than this share of the spacing to one on a bend is left out.
NEAR = 0.4


def evenly(length: float, spacing: float) -> list[float]:
    """Stations from a line's start to its end, evenly and at most so far apart. [m]"""
    count = max(int(np.ceil(length / spacing - 1e-9)), 1)
    return [length if i == count else i * length / count for i in range(count + 1)]


def stations_along(line: LineString, rules: Rulebook) -> list[float]:
    """Stations of the stakes on a line. [m]

    At most the rules' `stake spacing` apart; where the line bends more tightly than `stake bend
    radius`, also where each bend starts and ends and at most `bend stake spacing` apart; at its
    corners; and so close everywhere that the straight between two stakes leaves the line by no
    more than `stake line aside`.
    """
    points = np.asarray(line.coords)[:, :2]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    closer = [0.0, line.length, *corners_of(line)]
    tight = along[radii(points) < rules["stake bend radius"]]
    for start, end in stretches(tight, rules["bend stake spacing"]):
        closer += [start + s for s in evenly(end - start, rules["bend stake spacing"])]
    spare = NEAR * rules["bend stake spacing"]
    kept: list[float] = []
    for station in sorted(closer):
        if not kept or station - kept[-1] > spare:
            kept.append(station)
    if kept[-1] < line.length:
        kept[len(kept) - (len(kept) > 1):] = [line.length]
    # Stakes on the whole spacing, where no bend's stake stands beside them already.
    for station in evenly(line.length, rules["stake spacing"])[1:-1]:
        if min(abs(station - other) for other in kept) > spare:
            kept.append(station)
    kept = sorted(kept)
    found = [0.0]
    for start, end in pairwise(kept):
        found += _split(points, along, start, end, rules["stake spacing"],
                        rules["stake line aside"])
    found[-1] = line.length
    return found


def corners_of(line: LineString) -> list[float]:
    """Stations at which a line has a corner. [m]"""
    points = np.asarray(line.coords)[:, :2]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    ways = np.diff(points, axis=0)
    turns = np.diff(np.unwrap(np.arctan2(ways[:, 1], ways[:, 0])))
    return [float(s) for s in along[1:-1][np.abs(turns) > CORNER]]


def _split(points: FloatArray, along: FloatArray, start: float, end: float, spacing: float,
           aside: float) -> list[float]:
    """Stations after `start` up to `end`, halved until close enough to the line between."""
    between = (along > start) & (along < end)
    a, b = (np.array([np.interp(s, along, points[:, i]) for i in (0, 1)]) for s in (start, end))
    way, off = b - a, points[between] - a
    long = float(np.hypot(*way))
    apart = np.abs(way[0] * off[:, 1] - way[1] * off[:, 0]) / max(long, 1e-9)
    if end - start > 1.0 and (end - start > spacing * (1 + 1e-9) or apart.max(initial=0.0) > aside):
        middle = (start + end) / 2
        return [*_split(points, along, start, middle, spacing, aside),
                *_split(points, along, middle, end, spacing, aside)]
    return [end]
