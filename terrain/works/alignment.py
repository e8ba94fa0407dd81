"""A line a machine can dig: a contour smoothed to a least radius, still at its level."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem

FloatArray = NDArray[np.float64]

#: A point off its level is looked for on its level this far to each side. [m]
SIDEWAYS = 3.0
#: Rounds of smoothing; in the later half bends are eased no further, only levels kept.
ROUNDS = 40
#: A bend is eased so many radii to each side; what serves best is kept.
REACHES = (2.5, 1.0, 5.0)
#: Where a radius cannot be had, so much of it is tried for there; so many times.
LESS, TRIES = 0.7, 5


def radii(line: FloatArray) -> FloatArray:
    """Radius of the bend at each point: of the circle through it and its two neighbours. [m]

    Parameters
    ----------
    line : float64, shape (points, 2)
        [m]

    Returns
    -------
    radii : float64, shape (points,)
        Infinite where three points lie in line, and at both ends. [m]
    """
    found = np.full(len(line), np.inf)
    if len(line) < 3:
        return found
    a, b, c = line[:-2], line[1:-1], line[2:]
    double = np.abs((b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1])
                    - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0]))
    steps, across = np.hypot(*(line[:-1] - line[1:]).T), np.hypot(*(a - c).T)
    with np.errstate(divide="ignore"):
        found[1:-1] = np.where(double > 1e-12, steps[:-1] * steps[1:] * across / (2 * double),
                               np.inf)
    return found


def off_level(dem: Dem, line: FloatArray, level: float) -> tuple[FloatArray, FloatArray]:
    """How far the ground along a line stands above a level, between its points too.

    Returns
    -------
    chainage, rise : float64, shape (n,)
        Distance from the line's start, and ground less level; NaN over unknown ground. [m]
    """
    return _off_level(dem, line, _chainages(line), level)


def _off_level(dem: Dem, line: FloatArray, along: FloatArray, level: float
               ) -> tuple[FloatArray, FloatArray]:
    spacing = min(dem.cell / 4, 0.25)
    between = np.linspace(0.0, along[-1], max(int(np.ceil(along[-1] / spacing)), 1) + 1)
    chainage = np.unique(np.concatenate([along, between]))
    x, y = (np.interp(chainage, along, line[:, i]) for i in (0, 1))
    return chainage, dem.height_at(x, y) - level


def eased(dem: Dem, soft: Dem, line: FloatArray, level: float, radius: float, tolerance: float
          ) -> FloatArray:
    """Smooth a contour line to a least radius, its ground staying within a tolerance of its level.

    Parameters
    ----------
    dem : Dem
        The ground that the tolerance is held against (bilinear, between points too).
    soft : Dem
        The same ground lightly smoothed, which tells where uphill is.
    line : float64, shape (points, 2)
        A contour of `soft` at `level`. [m]
    radius, tolerance : float
        [m]

    Returns
    -------
    line : float64, shape (points, 2)
        Evenly spaced, closer than an eighth of the radius. [m]

    Notes
    -----
    The points nearest to the contour, in least squares, among lines of bounded bending
    (Whittaker 1923): each point is held to the contour by a weight, each bend eased by another.
    Easing is doubled about every bend that is too tight; a point whose ground is off the level
    is held, ever more, to the nearest place that is not, until neither is left.  Where both
    cannot be had, easing ends and points are held to the contour itself, so that the level
    wins; then a smaller radius is tried for there, and of all lines met within the tolerance the
    one whose tightest bend is the widest is taken.
    Points of `line` whose own ground is off the level are first moved up or down the slope.
    """
    from scipy.ndimage import binary_dilation

    spacing = min(max(dem.cell / 2, 0.25), radius / 8)
    contour = _on_level(dem, soft, _spaced(line, spacing), level, tolerance)
    count = len(contour)
    if count < 5:
        return contour
    step = float(np.hypot(*np.diff(contour, axis=0).T).mean())
    aim = np.full(count, float(radius))
    tried: list[tuple[int, float, int, FloatArray]] = []
    for _ in range(TRIES):
        found, off, tight = _toward(dem, soft, contour, level, radius, aim, tolerance, step)
        tried.append((int(off.sum()), -float(radii(found).min()), len(tried), found))
        if not tight.any():
            break
        # Where it cannot be had, less is asked for there, so that nothing is bent needlessly.
        near = np.ones(2 * max(int(np.ceil(radius / step)), 1) + 1, bool)
        aim[binary_dilation(tight, near)] *= LESS
    return min(tried)[-1]


def _toward(dem: Dem, soft: Dem, contour: FloatArray, level: float, radius: float,
            aim: FloatArray, tolerance: float, step: float
            ) -> tuple[FloatArray, NDArray[np.bool_], NDArray[np.bool_]]:
    """The best line met on the way to a radius at each point, and where it is off its level or
    too tight."""
    count = len(contour)
    best = contour, np.ones(count, bool), np.ones(count, bool)
    for reach in REACHES:
        near = max(int(np.ceil(reach * radius / step)), 1)
        taper = 1 - np.abs(np.arange(-near, near + 1)) / (near + 1)
        weight, easing, held = np.ones(count), np.zeros(count - 2), contour.copy()
        for turn in range(ROUNDS):
            found = _solved(held, weight, 0.5 * 2**easing) if turn else contour
            off = _off(dem, found, level, 0.97 * tolerance)
            tight = radii(found) < 1.03 * aim
            if (off.sum(), tight.sum()) < (best[1].sum(), best[2].sum()):
                best = found, off, tight
            if not off.any() and not tight.any():
                return best
            if turn < ROUNDS / 2 and tight.any():
                easing += _widened(tight[1:-1], taper)
            places = np.flatnonzero(off)
            held[places] = (contour[places] if turn > 0.8 * ROUNDS else
                            _back(dem, soft, found[places], level, 0.85 * tolerance))
            weight[places] *= 2 if turn < ROUNDS / 2 else 8
    return best


def _widened(tight: NDArray[np.bool_], taper: FloatArray) -> FloatArray:
    """1 at every tight place, less the further from one."""
    from scipy.ndimage import grey_dilation

    return np.asarray(grey_dilation(tight.astype(np.float64), structure=taper - 1, mode="nearest"))


def _off(dem: Dem, line: FloatArray, level: float, tolerance: float) -> NDArray[np.bool_]:
    """Points of a line off its level, or next to a place between points that is."""
    along = _chainages(line)
    chainage, rise = _off_level(dem, line, along, level)
    at = np.searchsorted(along, chainage[np.abs(rise) > tolerance])
    off = np.zeros(len(line), bool)
    off[np.minimum(at, len(line) - 1)] = off[np.maximum(at - 1, 0)] = True
    return off


def _back(dem: Dem, soft: Dem, points: FloatArray, level: float, tolerance: float) -> FloatArray:
    """Points moved up or down the slope until they are within a tolerance of the level."""
    rise = _or_0(dem.height_at(points[:, 0], points[:, 1]) - level)
    slope = _gradient(soft, points)
    square = np.maximum((slope**2).sum(axis=1), 1e-4)
    too_much = np.sign(rise) * np.maximum(np.abs(rise) - tolerance, 0.0)
    move = -(too_much / square)[:, None] * slope
    far = np.maximum(np.hypot(*move.T) / SIDEWAYS, 1.0)
    found: FloatArray = points + move / far[:, None]
    return found


def _gradient(soft: Dem, points: FloatArray) -> FloatArray:
    """Slope of the ground, uphill. [m/m]"""
    reach, (x, y) = max(soft.cell, 0.5), points.T
    around = soft.height_at(np.stack([x + reach, x - reach, x, x]),
                            np.stack([y, y, y + reach, y - reach]))
    return _or_0(np.stack([around[0] - around[1], around[2] - around[3]], 1) / (2 * reach))


def _or_0(values: FloatArray) -> FloatArray:
    """0 where unknown."""
    return np.where(np.isnan(values), 0.0, values)


def _chainages(line: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])


def tight_stretches(line: FloatArray, radius: float) -> list[tuple[float, float]]:
    """Chainages between which a line bends more tightly than a radius. [m]"""
    return stretches(_chainages(line)[radii(line) < 0.995 * radius], radius)


def stretches(places: FloatArray, apart: float) -> list[tuple[float, float]]:
    """First and last of each group of places that lie less than `apart` from the next. [m]"""
    found: list[tuple[float, float]] = []
    for place in places:
        if found and place - found[-1][1] < apart:
            found[-1] = (found[-1][0], float(place))
        else:
            found.append((float(place), float(place)))
    return found


def _spaced(line: FloatArray, spacing: float) -> FloatArray:
    steps = _chainages(line)
    at = np.linspace(0.0, steps[-1], max(int(np.ceil(steps[-1] / spacing)), 1) + 1)
    return np.stack([np.interp(at, steps, line[:, i]) for i in (0, 1)], 1)


def _on_level(dem: Dem, soft: Dem, line: FloatArray, level: float, tolerance: float) -> FloatArray:
    """Points whose ground is off the level moved along the slope to the nearest where it is not."""
    rise = _or_0(dem.height_at(line[:, 0], line[:, 1]) - level)
    slopes = _gradient(soft, line)
    offsets = np.linspace(-SIDEWAYS, SIDEWAYS, 241)
    for i in np.flatnonzero((np.abs(rise) > 0.5 * tolerance) & slopes.any(axis=1)):
        spots = line[i] + offsets[:, None] * slopes[i] / np.hypot(*slopes[i])
        there = np.abs(dem.height_at(spots[:, 0], spots[:, 1]) - level)
        good = np.flatnonzero(there <= 0.5 * tolerance)
        if good.size:
            line[i] = spots[good[np.argmin(np.abs(offsets[good]))]]
    return line


def _solved(held: FloatArray, weight: FloatArray, easing: FloatArray) -> FloatArray:
    """Least squares of weighted distance to `held` and eased second differences."""
    from scipy.linalg.lapack import dpbsv

    count = len(held)
    band = np.zeros((3, count))
    band[0] = weight
    twice, four = -2.0 * easing, 4.0 * easing
    for i, parts in enumerate(((easing, twice, easing), (four, twice), (easing,))):
        for j, part in enumerate(parts):
            band[j, i:i + count - 2] += part
    _, found, fault = dpbsv(band, weight[:, None] * held, lower=1)
    assert fault == 0  # weights above 0 make it positive definite
    return np.asarray(found)
