"""Where water first leaves a work as it was built, and how it flows over so uneven a lip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from shapely import get_coordinates, line_interpolate_point

from terrain.asbuilt.compared import difference_along
from terrain.asbuilt.designed_lines import DesignedLine
from terrain.asbuilt.matching import Measured
from terrain.inputs.dem import Dem
from terrain.works.rules import Rulebook
from terrain.works.sill import Sill

FloatArray = NDArray[np.float64]

#: Lips and crests are looked at this often between surveyed points. [m]
STEP = 0.1
#: What can let water out.
OUTLETS = ("sill", "crest", "rim")


@dataclass(frozen=True)
class Lip:
    """Every place over which water could leave a work.

    Attributes
    ----------
    lines : tuple of DesignedLine
    which : int64, shape (n,)
        The line of each place.
    stations, x, y, level, settles, width : float64, shape (n,)
        Along its line; where; its level as surveyed, or as designed where nobody surveyed; how
        far it is to settle yet; and the length of line that it stands for. [m]
    surveyed : tuple of bool
        Of each line, whether it was surveyed.
    """

    lines: tuple[DesignedLine, ...]
    which: NDArray[np.int64]
    stations: FloatArray
    x: FloatArray
    y: FloatArray
    level: FloatArray
    settles: FloatArray
    width: FloatArray
    surveyed: tuple[bool, ...]

    def head_for(self, flow: float, coefficient: float) -> float:
        """How high water stands over the lowest place while it lets a flow out. [m]"""
        if flow <= 0:
            return 0.0
        low = float(self.level.min())

        def short(head: float) -> float:
            over = np.maximum(low + head - self.level, 0.0)
            return coefficient * float((self.width * over**1.5).sum()) - flow

        high = 0.05
        while short(high) < 0 and high < 100:
            high *= 2
        return float(brentq(short, 0.0, high, xtol=1e-9))

    def crest_left(self, level: float, settled: bool) -> float | None:
        """How far the lowest place of a bank stands above a level of water; None without one. [m]
        """
        banks = np.array([line.role == "crest" for line in self.lines])[self.which]
        if not banks.any():
            return None
        stands = self.level - (self.settles if settled else 0.0)
        return float(stands[banks].min()) - level


@dataclass(frozen=True)
class FirstSpill:
    """Where water first leaves.

    Attributes
    ----------
    level, x, y, station : float
        [m]
    line : DesignedLine
        A sill, or a bank's crest or pit's rim that lies lower.
    surveyed : bool
        Whether that line was surveyed; else it is where the design has it.
    """

    level: float
    x: float
    y: float
    station: float
    line: DesignedLine
    surveyed: bool


def lip_of(dem: Dem, lines: Sequence[DesignedLine],
           points: Sequence[tuple[Measured, ...]], rules: Rulebook) -> Lip | None:
    """Every place over which water could leave a work; None where it has no such line.

    Parameters
    ----------
    lines : sequence of DesignedLine
        Of one work.
    points : sequence of tuple of Measured
        Of each line; none where it was not surveyed.
    """
    outlets = [(line, found) for line, found in zip(lines, points, strict=True)
               if line.role in OUTLETS and line.length > 0]
    parts = []
    sills = [float((line.level_at(m) + difference_along(line, found, m)).min())
             for line, found in outlets if line.role == "sill" for m in [_places(line, found)]]
    for number, (line, found) in enumerate(outlets):
        for start, end in line.spans:
            at = _between(start, end, found)
            level = line.level_at(at) + difference_along(line, found, at)
            xy = get_coordinates(line_interpolate_point(line.shape, at))
            width = np.gradient(at) if len(at) > 1 else np.array([end - start])
            width = width * (end - start) / max(float(width.sum()), 1e-9)
            keep = np.ones(len(at), bool)
            if line.role == "rim":
                # The water's edge stands at the sill's level all round: it lets water out only
                # where it is lower, and no higher ground lies behind it.
                ground = dem.height_at(*xy.T)
                keep = ~(ground > line.level_at(at) + rules["level tolerance"])
                keep &= level < min(sills, default=np.inf) - line.low
            parts.append((np.full(keep.sum(), number), at[keep], xy[keep], level[keep],
                          line.settles_at(at)[keep], width[keep]))
    if not parts or not sum(len(part[0]) for part in parts):
        return None
    which, at, xy, level, settles, width = (np.concatenate(column) for column in
                                            zip(*parts, strict=True))
    return Lip(tuple(line for line, _ in outlets), which.astype(np.int64), at, xy[:, 0], xy[:, 1],
               level, settles, width, tuple(bool(found) for _, found in outlets))


def _places(line: DesignedLine, found: tuple[Measured, ...]) -> FloatArray:
    """Stations at which a line is looked at. [m]"""
    return np.concatenate([_between(start, end, found) for start, end in line.spans])


def _between(start: float, end: float, found: tuple[Measured, ...]) -> FloatArray:
    count = max(int(np.ceil((end - start) / STEP)), 1)
    own = [m.station for m in found if start <= m.station <= end]
    return np.unique(np.concatenate([np.linspace(start, end, count + 1), own]))


def first_spill(lip: Lip) -> FirstSpill:
    """The lowest place of a lip; of places as low as each other a sill, then the one in the middle.
    """
    low = float(lip.level.min())
    ties = np.flatnonzero(lip.level <= low + 1e-9)
    sills = [i for i in ties if lip.lines[lip.which[i]].role == "sill"]
    chosen = int((sills or list(ties))[len(sills or ties) // 2])
    line = lip.lines[lip.which[chosen]]
    return FirstSpill(low, float(lip.x[chosen]), float(lip.y[chosen]),
                      float(lip.stations[chosen]), line,
                      lip.surveyed[int(lip.which[chosen])])


def sill_as_built(designed: Sill, lip: Lip) -> Sill:
    """The level sill that passes the design peak at the head that the uneven lip needs for it.

    Notes
    -----
    Q = C sum (H - z)^1.5 dx over sill and crest gives the head H of the peak Q; a level sill of
    length Q / (C H^1.5) at the lowest place stands for it in the storm routine.
    """
    low = float(lip.level.min())
    head = lip.head_for(designed.peak, designed.coefficient)
    if head <= 0:
        return replace(designed, level=low)
    length = designed.peak / (designed.coefficient * head**1.5)
    return replace(designed, level=low, length=length, head=head)
