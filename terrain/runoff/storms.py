"""Storms: how a depth of rain is spread over its duration."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

#: Patterns that need no table of the site's own.
PATTERNS = ("even", "I", "IA", "II", "III")
NESTED = "nested"


@dataclass(frozen=True)
class Hyetograph:
    """A storm's shape: the share of its rain that has fallen by each hour.

    Attributes
    ----------
    pattern : str
        "even", an NRCS type, or "nested".
    hours, shares : float64, shape (n,)
        Rising from 0 to the storm's duration, and from 0 to 1; straight between. [h], [-]
    """

    pattern: str
    hours: NDArray[np.float64]
    shares: NDArray[np.float64]

    @property
    def duration(self) -> float:
        """[h]"""
        return float(self.hours[-1])

    def fallen(self, hours: NDArray[np.float64]) -> NDArray[np.float64]:
        """Share of the rain that has fallen by some hours after the start."""
        return np.interp(hours, self.hours, self.shares)

    def cumulative(self, depth: float, step: float) -> NDArray[np.float64]:
        """Rain fallen by the end of each step, to the end of the storm. [mm]

        Parameters
        ----------
        depth : float
            Of the whole storm. [mm]
        step : float
            [h]
        """
        steps = int(np.ceil(self.duration / step - 1e-9))
        return depth * self.fallen((np.arange(steps, dtype=np.float64) + 1) * step)

    def greatest_share(self, window: float) -> float:
        """Greatest share of the rain that falls within a window of so many hours."""
        window = min(window, self.duration)
        # The steepest window starts or ends at an ordinate, as the rain is even between them.
        starts = np.clip(np.concatenate([self.hours, self.hours - window]), 0.0,
                         self.duration - window)
        return float((self.fallen(starts + window) - self.fallen(starts)).max())


def storm_shape(pattern: str, duration: float) -> Hyetograph:
    """The shape of a storm that needs no table of the site's own.

    Parameters
    ----------
    pattern : {"even", "I", "IA", "II", "III"}
        The NRCS 24-hour types; for a storm of another duration up to 24 h the part of the
        type of that length with most rain, scaled to 1 (common practice, no source); longer
        storms stretch the type.
    duration : float
        [h]

    Raises
    ------
    ValueError
        If the pattern is not known or the duration is not above 0.

    References
    ----------
    .. [1] USDA SCS, TR-55, 2nd ed., 1986, Appendix B; ordinates as in Chow, Maidment & Mays,
       Applied Hydrology, 1988, Table 14.4.3.
    """
    if pattern not in PATTERNS:
        raise ValueError(f"storm pattern '{pattern}' is not one of {', '.join(PATTERNS)}")
    if duration <= 0:
        raise ValueError(f"storm duration {duration:g} h is not above 0")
    if pattern == "even":
        return Hyetograph(pattern, np.array([0.0, duration]), np.array([0.0, 1.0]))
    clock, fallen = _day_pattern(pattern)
    if duration >= 24:
        return Hyetograph(pattern, clock * (duration / 24.0), fallen)
    starts = np.clip(np.concatenate([clock, clock - duration]), 0.0, 24.0 - duration)
    gains = np.interp(starts + duration, clock, fallen) - np.interp(starts, clock, fallen)
    start = float(starts[np.argmax(gains)])
    inner = clock[(clock > start) & (clock < start + duration)]
    hours = np.concatenate([[start], inner, [start + duration]])
    shares = np.interp(hours, clock, fallen)
    hours, shares = hours - start, (shares - shares[0]) / (shares[-1] - shares[0])
    hours[-1] = duration
    return Hyetograph(pattern, hours, shares)


@lru_cache(maxsize=8)
def _day_pattern(kind: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    text = resources.files("terrain.runoff").joinpath("storm_patterns.csv").read_text("utf-8")
    rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    column = f"type_{kind.lower()}"
    return (np.array([float(row["hour"]) for row in rows]),
            np.array([float(row[column]) for row in rows]))


def nested_shape(durations: NDArray[np.float64], depths: NDArray[np.float64], duration: float
                 ) -> Hyetograph:
    """A storm built of alternating blocks, so that each part of it is as rare as the whole.

    Parameters
    ----------
    durations, depths : float64, shape (n,)
        The site's depth for each duration at one return period, both rising. [h], [mm]
    duration : float
        Of the storm; blocks are as long as the table's shortest duration, or a little longer
        so that a whole number of them makes the storm. [h]

    Returns
    -------
    shape : Hyetograph
        The heaviest block in the middle (the earlier of two middles), the next ones in turn
        after and before it.  A storm as short as the table's shortest duration is even.

    Raises
    ------
    ValueError
        If the duration lies outside the table.

    Notes
    -----
    Depths between the table's durations are interpolated log-log.  Where the table bends the
    wrong way, so that a longer block would be heavier than a shorter one, blocks are put in order
    of their depth, and some part is a little rarer than the whole.

    References
    ----------
    .. [1] Chow, Maidment & Mays, Applied Hydrology, 1988, section 14.4, alternating block method.
    """
    if not durations[0] <= duration <= durations[-1]:
        raise ValueError(f"a duration of {duration:g} h is outside the table, which goes from "
                         f"{durations[0]:.3g} h to {durations[-1]:g} h")
    count = max(int(duration / durations[0] + 1e-9), 1)
    ends = duration / count * np.arange(1, count + 1)
    reached = np.exp(np.interp(np.log(ends), np.log(durations), np.log(depths)))
    blocks = np.sort(np.diff(reached, prepend=0.0))[::-1]
    middle = (count - 1) // 2
    away = np.arange(1, count + 1) // 2 * np.where(np.arange(count) % 2, 1, -1)
    placed = np.empty(count)
    placed[middle + away] = blocks
    shares = np.concatenate([[0.0], np.cumsum(placed) / placed.sum()])
    shares[-1] = 1.0
    return Hyetograph(NESTED, np.concatenate([[0.0], ends]), shares)


def storm_steps(duration: float) -> float:
    """Time step for a storm of a duration, both in h: 2 minutes, or a 96th if shorter."""
    return min(duration / 96, 1 / 30)
