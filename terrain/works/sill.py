"""Sills and spillways: flow over a level lip."""

from __future__ import annotations

import math
from dataclasses import dataclass

from terrain.works.rules import Rulebook


def weir_flow(length: float, head: float, coefficient: float = 1.7) -> float:
    """Flow over a broad level lip. [m3/s]

    Q = C L h^1.5 with L and h in m; the ideal C is 1.705.

    References
    ----------
    .. [1] Chow, Open-Channel Hydraulics, 1959, ch. 3 (broad-crested weir).
    """
    found: float = coefficient * length * max(head, 0.0) ** 1.5
    return found


def head_for_flow(flow: float, length: float, coefficient: float = 1.7) -> float:
    """Depth of flow over a lip that passes `flow`. [m]"""
    found: float = (max(flow, 0.0) / (coefficient * length)) ** (2 / 3)
    return found


@dataclass(frozen=True)
class Sill:
    """A level overflow.

    Attributes
    ----------
    level : float
        [m]
    length : float
        [m]
    head : float
        Depth over it at the design peak. [m]
    peak : float
        The design peak. [m3/s]
    coefficient : float
        Of `weir_flow`.
    """

    level: float
    length: float
    head: float
    peak: float
    coefficient: float


def design_sill(level: float, peak: float, most_head: float, rules: Rulebook,
                length: float | None = None, longest: float = math.inf) -> Sill:
    """Make a sill long enough that the design peak stands no deeper on it than `most_head`.

    The length stays between the shortest and the longest of the rules; the head follows.
    A `length` given is kept.  None is longer than `longest`, of what it stands in. [m]
    """
    coefficient = rules["sill coefficient"]
    if length is None:
        needed = peak / (coefficient * most_head**1.5)
        length = min(max(needed, rules["sill shortest"]), rules["sill longest"])
    length = min(length, longest)
    return Sill(level, length, head_for_flow(peak, length, coefficient), peak, coefficient)
