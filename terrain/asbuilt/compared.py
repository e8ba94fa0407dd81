"""Surveyed beside designed: where a line is high or low, by how much, and what mends it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from terrain.asbuilt.designed_lines import DesignedLine
from terrain.asbuilt.matching import Measured
from terrain.units import in_both
from terrain.works.rules import Rulebook

FloatArray = NDArray[np.float64]

#: Stakes no further apart than the rule says stand a little further apart on foot. [-]
PACED = 1.05
#: A difference may reach the tolerance to within what text keeps of a level. [m]
ROUNDED = 6e-4
#: One point tells the level of a sill no longer than this. [m]
SHORT_SILL = 1.5


@dataclass(frozen=True)
class Stretch:
    """A stretch of a line, or a part of a floor, that is out of tolerance one way.

    Attributes
    ----------
    high : bool
        Too high; else too low.
    start, end : float
        Stations; of a floor both 0. [m]
    length : float
        Of it, or the floor's area. [m], [m2]
    most : float
        Greatest difference from the designed level. [m]
    volume : float or None
        To shave or to fill down or up to the designed level; None where no earth is reckoned. [m3]
    """

    high: bool
    start: float
    end: float
    length: float
    most: float
    volume: float | None


@dataclass(frozen=True)
class LineFound:
    """A surveyed line beside its design.

    Attributes
    ----------
    line : DesignedLine
    points : tuple of Measured
        In order along it.
    natural : tuple of bool
        Of each point, whether natural ground stands as high as the design there, so that nothing
        was to be heaped.
    stretches : tuple of Stretch
    widest_gap : float
        Between surveyed points, the line's ends among them; 0 of a floor. [m]
    few : str or None
        Why the points are too few to judge it, as a sentence's end; None where they are not.
    """

    line: DesignedLine
    points: tuple[Measured, ...]
    natural: tuple[bool, ...]
    stretches: tuple[Stretch, ...]
    widest_gap: float
    few: str | None

    @property
    def highest(self) -> Measured:
        """The point that lies highest against its design."""
        return max(self.points, key=lambda point: point.difference)

    @property
    def lowest(self) -> Measured:
        """The point that lies lowest against its design."""
        return min(self.points, key=lambda point: point.difference)

    def state(self, index: int) -> str:
        """Whether a point is "high", "low", or "within" its tolerance."""
        point, line = self.points[index], self.line
        if point.difference > line.high + ROUNDED and not self.natural[index]:
            return "high"
        return "low" if point.difference < -line.low - ROUNDED else "within"

    @property
    def verdict(self) -> str:
        """What is to be said of the whole line, in a few words."""
        states = {self.state(i) for i in range(len(self.points))} - {"within"}
        if states:
            return f"too {' and '.join(sorted(states))}"
        return "too few points to judge" if self.few else "within tolerance"


def difference_along(line: DesignedLine, points: Sequence[Measured], stations: FloatArray
                     ) -> FloatArray:
    """Differences at stations of a line, linear between points, on a ring from the last to the
    first too; 0 where there are none. [m]"""
    return _along(line, [(p.station, p.difference) for p in points], stations)


def _along(line: DesignedLine, pairs: Sequence[tuple[float, float]], stations: FloatArray
           ) -> FloatArray:
    if not pairs:
        return np.zeros(np.shape(stations))
    at, means = averaged(pairs)
    period = float(line.stations[-1]) if line.ring else None
    return np.asarray(np.interp(stations, at, means, period=period), np.float64)


def averaged(pairs: Sequence[tuple[float, float]]) -> tuple[FloatArray, FloatArray]:
    """Values in order of their places, those of one place (to a millimetre) averaged."""
    found = sorted((round(at, 3), value) for at, value in pairs)
    places = np.unique([at for at, _ in found])
    return places, np.array([np.mean([v for at, v in found if at == place]) for place in places])


def compared(line: DesignedLine, points: tuple[Measured, ...], natural: tuple[bool, ...],
             rules: Rulebook, field: FloatArray | None = None, cell: float = 0.0) -> LineFound:
    """Hold a line's points against its design.

    Parameters
    ----------
    natural : tuple of bool
        As of `LineFound`.
    field, cell : float64, shape (n,), and float, optional
        Of a floor: differences over its cells, and a cell's side. [m]
    """
    if line.area is not None:
        few = ("one point tells nothing of how level it is" if len(points) < 2
               and float(line.area.area) > rules["stake spacing"] else None)
        return LineFound(line, points, natural, tuple(_of_floor(line, field, cell)), 0.0, few)
    gap = _widest_gap(line, points)
    return LineFound(line, points, natural, tuple(_stretches(line, points, natural)), gap,
                     _few(line, points, gap, rules))


def _widest_gap(line: DesignedLine, points: tuple[Measured, ...]) -> float:
    """The longest way along it without a surveyed point. [m]"""
    gaps = []
    if line.ring and line.length >= line.stations[-1] - 1e-6 and points:
        at = [p.station for p in points]
        return max(b - a for a, b in pairwise([*at, at[0] + line.length]))
    for start, end in line.spans:
        at = [start, *(p.station for p in points if start <= p.station <= end), end]
        gaps += [b - a for a, b in pairwise(at)]
    return max(gaps, default=0.0)


def _few(line: DesignedLine, points: tuple[Measured, ...], gap: float, rules: Rulebook
         ) -> str | None:
    least = int(rules["points on a sill"])
    if line.role == "sill" and line.length > SHORT_SILL and len({round(p.station, 2)
                                                         for p in points}) < least:
        return (f"it has {len(points)} of the {least} that a sill wants "
                f"({rules.cited('points on a sill')})")
    spacing = rules["stake spacing"]
    if gap > PACED * spacing and line.name != "check":
        return (f"{in_both(gap, 'length')} of it have none, and every "
                f"{in_both(spacing, 'length')} is asked for ({rules.cited('stake spacing')})")
    return None


def _stretches(line: DesignedLine, points: tuple[Measured, ...], natural: tuple[bool, ...]
               ) -> list[Stretch]:
    found = []
    # Where natural ground stands above the design nothing was to be heaped, so nothing is too high.
    judged = [(p.station, min(p.difference, 0.0) if as_ground else p.difference)
              for p, as_ground in zip(points, natural, strict=True)]
    for start, end in line.spans:
        if line.name == "check" and not any(start <= at <= end for at, _ in judged):
            continue
        nodes = np.unique([start, *(at for at, _ in judged if start < at < end), end])
        values = _along(line, judged, nodes)
        for sign, limit in ((1.0, line.high), (-1.0, line.low)):
            found += _beyond(line, nodes, sign * values, limit + ROUNDED, sign > 0)
    return sorted(found, key=lambda s: (s.start, s.high))


def _beyond(line: DesignedLine, nodes: FloatArray, values: FloatArray, limit: float, high: bool
            ) -> list[Stretch]:
    """Stretches on which differences that run straight between nodes are above a limit."""
    at, over = [nodes[0]], [values[0]]
    for (a, va), (b, vb) in pairwise(zip(nodes, values, strict=True)):
        if (va - limit) * (vb - limit) < 0:
            at.append(a + (limit - va) / (vb - va) * (b - a))
            over.append(limit)
        at.append(b)
        over.append(vb)
    found: list[Stretch] = []
    run: list[tuple[float, float]] = []

    def close() -> None:
        if len(run) > 1 and max(v for _, v in run) > limit:
            s, v = np.array(run).T
            volume = None
            if line.strip is not None:
                width, slope = line.strip.shave if high else line.strip.fill
                volume = _simpson(s, v, width, slope)
            found.append(Stretch(high, float(s[0]), float(s[-1]), float(s[-1] - s[0]),
                                 float(v.max()), volume))
        run.clear()

    for s, v in zip(at, over, strict=True):
        if v >= limit - 1e-12:
            run.append((float(s), float(v)))
        else:
            close()
    close()
    return found


def _simpson(at: FloatArray, depth: FloatArray, width: float, slope: float) -> float:
    """Volume of d (width + slope d) along a line whose d runs straight between places. [m3]"""
    first, last = depth[:-1], depth[1:]
    middle = (first + last) / 2

    def area(d: FloatArray) -> FloatArray:
        return d * np.maximum(width + slope * d, 0.0)
    return float((np.diff(at) / 6 * (area(first) + 4 * area(middle) + area(last))).sum())


def _of_floor(line: DesignedLine, field: FloatArray | None, cell: float) -> list[Stretch]:
    if field is None or not field.size:
        return []
    found = []
    for high, values, limit in ((True, field, line.high), (False, -field, line.low)):
        out = values > limit + ROUNDED
        if out.any():
            found.append(Stretch(high, 0.0, 0.0, float(out.sum()) * cell**2,
                                 float(values.max()), float(values[out].sum()) * cell**2))
    return found
