"""Crescents: arc bunds open uphill, their tips on one contour, that water a tree on a slope."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.works.cross_section import bank_area
from terrain.works.lie import Lie
from terrain.works.rules import Rulebook
from terrain.works.store import Curve

FloatArray = NDArray[np.float64]

#: A depth may be that much more than the ground falls, as heights are rounded. [m]
ROUNDING = 1e-3
#: The pool of a crescent is worked on so many cells along its radius.
ACROSS = 40
#: So many points stand on its bund's centreline.
RIDGE = 241


def crescent_volume(radius: float, depth: float, slope: float) -> float:
    """Water between an arc bund and its tips' contour on an even slope, as behind a thin bund. [m3]

    Parameters
    ----------
    radius : float
        Of the arc's inner foot. [m]
    depth : float
        At the lowest point of the arc; the tips stand on the contour of the water's level. [m]
    slope : float
        Of the ground. [m/m]

    Raises
    ------
    ValueError
        If a figure is not above 0, or the depth is more than a half-moon's, radius times slope.

    Notes
    -----
    The water covers a segment of the circle between the arc and a chord on contour at
    a = R - d/s from the centre, and is as deep at each place as that lies below the chord:
    V = s [2/3 (R2 - a2)^1.5 - a (R2 acos(a/R) - a sqrt(R2 - a2))], for the half-moon 2/3 s R3.
    """
    across = chord_offset(radius, depth, slope)
    half = math.sqrt(max(radius**2 - across**2, 0.0))
    segment = radius**2 * math.acos(min(across / radius, 1.0)) - across * half
    return slope * (2 / 3 * half**3 - across * segment)


def chord_offset(radius: float, depth: float, slope: float) -> float:
    """How far below the arc's centre the tips' contour lies. [m]

    Raises
    ------
    ValueError
        As `crescent_volume`.
    """
    if not (radius > 0 and depth > 0 and slope > 0):
        raise ValueError(f"a crescent needs a radius, a depth and a slope above 0, not {radius:g}, "
                         f"{depth:g} and {slope:g}")
    if depth > radius * slope + ROUNDING:
        raise ValueError(f"ground that slopes {slope:.1%} falls only {radius * slope:.2f} m over "
                         f"the radius of {radius:.1f} m")
    return max(radius - depth / slope, 0.0)


def half_angle(radius: float, depth: float, slope: float) -> float:
    """Angle from the arc's lowest point to a tip, seen from the centre; a half-moon's is a
    quarter turn. [rad]"""
    return math.acos(min(chord_offset(radius, depth, slope) / radius, 1.0))


@dataclass(frozen=True)
class Crescent:
    """A crescent on the ground.

    Attributes
    ----------
    radius, depth : float
        Of the arc's inner foot; of the water at its lowest point on an even slope. [m]
    slope : float
        Of the ground that fits best. [m/m]
    level : float
        Of the water: the lower tip's ground. [m]
    tips : float64, shape (2, 2)
        The lower one first. [m]
    arc, pool : float64, shape (points, 2)
        The bund's inner foot from tip to tip; the same closed by the chord. [m]
    curve : Curve
        From the raster's ground, as behind a thin bund.
    closed_form : float
        What it would hold on an even slope. [m3]
    freeboard : float
        Of the settled crest above the water. [m]
    bund_height : float
        Greatest, as built, above the ground under its centreline. [m]
    bund : float
        Earth in it as built, compacted measure; its ends slope down to the water's level at the
        tips. [m3]
    ridge : float64, shape (points, 2)
        Its centreline, from the tips' contour round to it again. [m]
    built : float64, shape (points,)
        Level of its crest there as built, ends left out. [m]
    centre : (float, float)
        Of the arc: the tree. [m]
    top, side_slope : float
        Width of its top [m], its sides H:V. [-]
    """

    radius: float
    depth: float
    slope: float
    level: float
    tips: FloatArray
    arc: FloatArray
    pool: FloatArray
    curve: Curve
    closed_form: float
    freeboard: float
    bund_height: float
    bund: float
    ridge: FloatArray
    built: FloatArray
    centre: tuple[float, float]
    top: float
    side_slope: float


def crescent_at(dem: Dem, x: float, y: float, radius: float, depth: float, lie: Lie,
                rules: Rulebook) -> Crescent:
    """Lay a crescent out about a tree at (x, y), the centre of its arc.

    Its tips stand on the contour that lies `depth` above the arc's lowest point on the plane
    `lie`; its water stands as high as the lower tip's ground on the raster, and spills round it.
    The wedge of water over the bund's own face is left out.

    Raises
    ------
    ValueError
        As `crescent_volume`; if some ground is not known; or if the raster's ground holds nothing
        there.
    """
    angle = half_angle(radius, depth, lie.slope)
    turn = np.linspace(-angle, angle, 2 * ACROSS + 1)
    arc = _around(x, y, radius, turn, lie)
    heights = dem.height_at(*arc[[0, -1]].T)
    pool = np.concatenate([arc, arc[:1]])
    level = float(heights.min())
    curve = _hypsometry(dem, x, y, radius, chord_offset(radius, depth, lie.slope), level, lie)
    if curve is None:
        raise ValueError(f"{dem.source} has no height for some of the ground within {radius:.1f} m")
    if curve.capacity < 0.1 * crescent_volume(radius, depth, lie.slope):
        raise ValueError(f"the ground there holds next to nothing below the tips at {level:.2f} m")
    side, top = rules["crescent side slope"], rules["crescent top width"]
    crest = level + rules["berm freeboard"]
    grown = 1 + rules["berm settlement"]
    far = radius + side * (crest - (level - depth)) + top / 2
    # Its centreline is the longer way round: it too begins and ends on the tips' contour.
    angle = math.acos(min(chord_offset(radius, depth, lie.slope) / far, 1.0))
    around = np.linspace(-angle, angle, RIDGE)
    ridge = _around(x, y, far, around, lie)
    ground = dem.height_at(*ridge.T)
    if np.isnan(ground).any():
        raise ValueError(f"{dem.source} has no height for some of the ground under the bund")
    built = np.maximum(crest - ground, 0.0) * grown
    inward = far * (angle - np.abs(around))
    stands = np.clip(level - ground + inward / side, 0.0, built)
    ends = np.array([bank_area(height, top + 2 * side * (whole - height), side, side)
                     for height, whole in zip(stands.tolist(), built.tolist(), strict=True)])
    earth = float(np.trapezoid(ends, around)) * far
    tips = arc[[0, -1]] if heights[0] <= heights[1] else arc[[-1, 0]]
    return Crescent(radius, depth, lie.slope, level, tips, arc, pool, curve,
                    crescent_volume(radius, depth, lie.slope), rules["berm freeboard"],
                    float(built.max()), earth, ridge, ground + built, (x, y), top, side)


def _around(x: float, y: float, radius: float, turn: FloatArray, lie: Lie) -> FloatArray:
    """Points about a centre, by the angle from the way down the slope."""
    down, across = radius * np.cos(turn), radius * np.sin(turn)
    return np.stack([x + down * lie.down_x - across * lie.down_y,
                     y + down * lie.down_y + across * lie.down_x], 1)


def _hypsometry(dem: Dem, x: float, y: float, radius: float, chord: float, level: float, lie: Lie
                ) -> Curve | None:
    """Water up to a level on the interpolated ground between arc and chord."""
    step = radius / ACROSS
    middles = (np.arange(-ACROSS, ACROSS) + 0.5) * step
    down, across = np.meshgrid(middles, middles)
    within = (np.hypot(down, across) <= radius) & (down >= chord)
    down, across = down[within], across[within]
    ground = dem.height_at(x + down * lie.down_x - across * lie.down_y,
                           y + down * lie.down_y + across * lie.down_x)
    if np.isnan(ground).any():
        return None
    floor = float(ground.min())
    if floor >= level:
        return Curve(np.array([level - 1e-3, level]), np.zeros(2), np.zeros(2))
    levels = np.linspace(floor, level, 25)
    depths = np.maximum(levels[:, None] - ground[None, :], 0.0)
    return Curve(levels, (depths > 0).sum(1) * step**2, depths.sum(1) * step**2)
