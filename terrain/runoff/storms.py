"""Storms: how a depth of rain is spread over its duration."""

from __future__ import annotations

import csv
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

PATTERNS = ("even", "I", "IA", "II", "III")


@lru_cache(maxsize=8)
def _day_pattern(kind: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    text = resources.files("terrain.runoff").joinpath("storm_patterns.csv").read_text("utf-8")
    rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    column = f"type_{kind.lower()}"
    return (np.array([float(row["hour"]) for row in rows]),
            np.array([float(row[column]) for row in rows]))


def cumulative_fraction(hours: NDArray[np.float64], duration: float, pattern: str
                        ) -> NDArray[np.float64]:
    """Share of a storm's rain that has fallen by each hour after its start.

    Parameters
    ----------
    hours : float64
        [h]
    duration : float
        [h]
    pattern : {"even", "I", "IA", "II", "III"}
        The NRCS 24-hour types; for a storm of another duration up to 24 h the part of the
        type of that length with most rain, scaled to 1 (common practice, no source); longer
        storms stretch the type.

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
    share = np.clip(np.asarray(hours, float) / duration, 0.0, 1.0)
    if pattern == "even":
        return share
    clock, fallen = _day_pattern(pattern)
    if duration >= 24:
        return np.interp(share * 24.0, clock, fallen)
    # The steepest window starts or ends at an ordinate, as the type is straight between them.
    starts = np.clip(np.concatenate([clock, clock - duration]), 0.0, 24.0 - duration)
    gains = np.interp(starts + duration, clock, fallen) - np.interp(starts, clock, fallen)
    start = float(starts[np.argmax(gains)])
    return (np.interp(start + share * duration, clock, fallen)
            - np.interp(start, clock, fallen)) / float(gains.max())


def cumulative_rain(depth: float, duration: float, pattern: str, step: float, until: float
                    ) -> NDArray[np.float64]:
    """Rain fallen by the end of each step. [mm]

    Parameters
    ----------
    depth : float
        Of the whole storm. [mm]
    duration, step, until : float
        The storm's length, the time step and the time to go on to. [h]
    """
    steps = int(np.ceil(until / step - 1e-9))
    ends = (np.arange(steps, dtype=np.float64) + 1) * step
    return depth * cumulative_fraction(ends, duration, pattern)
