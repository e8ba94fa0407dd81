"""Closed forms of frictionless shallow flow, held against both methods of the flood.

Formulas from memory, each with where it is printed; g 9.80665 m/s2, lengths in m, times in s.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

G = 9.80665
Array = NDArray[np.float64]


def ritter(x: Array, time: float, high: float) -> Array:
    """Depth after a dam at 0 broke over a dry bed (Ritter 1892; see ritter_dam_break.csv)."""
    c0, at = np.sqrt(G * high), x / time
    return np.where(at < -c0, high, np.where(at > 2 * c0, 0.0, (2 * c0 - at)**2 / (9 * G)))


def stoker(x: Array, time: float, high: float, low: float) -> Array:
    """Depth after a dam at 0 broke over water: Stoker, Water Waves, 1957, section 10.8."""
    c0, at = np.sqrt(G * high), x / time

    def off(middle: float) -> float:
        speed = 2 * (c0 - np.sqrt(G * middle))
        return float(speed - (middle - low) * np.sqrt(G * (middle + low) / (2 * middle * low)))
    middle = brentq(off, low, high)
    speed = 2 * (c0 - np.sqrt(G * middle))
    front = middle * speed / (middle - low)
    fan = (2 * c0 - at)**2 / (9 * G)
    return np.where(at < -c0, high, np.where(at < speed - np.sqrt(G * middle), fan,
                                             np.where(at < front, middle, low)))


def over_rise(high: float, rise: float) -> tuple[float, float]:
    """Depth and speed of a broken dam's water before a dry rise of the bed that it runs over.

    The fan of the break ends where the water keeps its energy up to critical depth on the rise, as
    over a broad crest (Alcrudo & Benkhaldoun, Computers & Fluids 30, 2001, 643-671).
    """
    c0 = np.sqrt(G * high)

    def off(before: float) -> float:
        speed = 2 * (c0 - np.sqrt(G * before))
        critical = (before * before * speed * speed / G)**(1 / 3)
        return float(before + speed * speed / (2 * G) - (1.5 * critical + rise))
    before = brentq(off, 4 / 9 * high, high * (1 - 1e-9))
    return before, float(2 * (c0 - np.sqrt(G * before)))


def simple_wave(x: Array, time: float, depth, deep: float) -> tuple[Array, Array]:
    """Depth and speed of a wave that runs one way into still water, before it breaks.

    u = 2 (c - c0), and depth goes with u + c as it was (Stoker, Water Waves, 1957, section 10.2);
    `depth` tells it at the start.
    """
    c0 = np.sqrt(G * deep)

    def pace(start: float) -> float:
        return float(3 * np.sqrt(G * depth(start)) - 2 * c0)
    starts = np.array([brentq(lambda s, at=at: s + pace(s) * time - at, at - 20 * c0 * time, at)
                       for at in x])
    found = depth(starts)
    return found, 2 * (np.sqrt(G * found) - c0)


def bowl(side: int, time: float) -> tuple[float, Array, Array, tuple[Array, Array]]:
    """Cell, bed, depth and speeds east and south of the plane surface of thacker_planar.csv."""
    cell, w = 4 / side, np.sqrt(2 * G * 0.1)
    x, y = np.meshgrid((np.arange(side) + 0.5) * cell - 2, (np.arange(side) + 0.5) * cell - 2)
    bed = 0.1 * (x * x + y * y - 1)
    level = 0.05 * (2 * x * np.cos(w * time) + 2 * y * np.sin(w * time) - 0.5)
    return cell, bed, np.maximum(level - bed, 0.0), (-0.5 * w * np.sin(w * time) + 0 * x,
                                                     0.5 * w * np.cos(w * time) + 0 * x)
