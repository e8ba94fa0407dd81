"""Sections of channels and banks across sloping ground, in closed form."""

from __future__ import annotations

import math
from dataclasses import dataclass


def channel_area(depth: float, bed: float, side_slope: float) -> float:
    """Water area of a trapezoid channel. [m2]

    Parameters
    ----------
    depth, bed : float
        Water depth and bed width. [m]
    side_slope : float
        Horizontal over vertical; the same on both sides. [-]
    """
    return (bed + side_slope * depth) * depth


def area_on_slope(rise: float, flat: float, side_slope: float, ground_slope: float) -> float:
    """Area of a trapezoid cut into, or heaped upon, ground that slopes across it. [m2]

    The trapezoid stands on the line where the level of its open side meets the ground: a
    swale's bed cut `rise` deep below its lip, or a berm's top heaped `rise` above its toe.
    The part beyond that level, up to (or down to) the sloping ground, is added.

    Parameters
    ----------
    rise : float
        Depth of the cut below the lip, or height of the berm above its toe. [m]
    flat : float
        Width of the bed, or of the berm's top. [m]
    side_slope : float
        Horizontal over vertical. [-]
    ground_slope : float
        Slope of the ground across the section. [m/m]

    Raises
    ------
    ValueError
        If the ground is as steep as the side, so that they never meet.
    """
    if side_slope * ground_slope >= 1:
        raise ValueError(f"ground of {ground_slope:.0%} never meets a side of {side_slope:g}:1")
    width = flat + 2 * side_slope * rise
    reach = width / (1 - side_slope * ground_slope)
    return channel_area(rise, flat, side_slope) + 0.5 * width * ground_slope * reach


def width_on_slope(rise: float, flat: float, side_slope: float, ground_slope: float) -> float:
    """Width on the ground of the section of `area_on_slope`. [m]"""
    return (flat + 2 * side_slope * rise) / (1 - side_slope * ground_slope)


def bank_area(height: float, top: float, wet_slope: float, dry_slope: float) -> float:
    """End area of a bank on level ground. [m2]

    Parameters
    ----------
    height, top : float
        [m]
    wet_slope, dry_slope : float
        Horizontal over vertical. [-]
    """
    return (top + (wet_slope + dry_slope) / 2 * height) * height


#: Shapes of a swale's section; `trapezoid` if nobody says.
SHAPES = ("trapezoid", "parabola", "vee")


@dataclass(frozen=True)
class Section:
    """The section of a level channel, from its deepest point up to the water at its sill.

    Attributes
    ----------
    shape : str
        One of `SHAPES`.
    depth : float
        Of the water when it stands at the sill. [m]
    width : float
        Of a trapezoid its bed; of a parabola its water at the sill; of a vee 0. [m]
    side_slope : float
        Horizontal over vertical at the water's edge; above it the cut goes on so. [-]

    Raises
    ------
    ValueError
        If the shape is not known, or depth, width and side do not make it.

    References
    ----------
    .. [1] Chow, Open-Channel Hydraulics, 1959, Table 2-1 (area, top width, wetted perimeter).
    """

    shape: str
    depth: float
    width: float
    side_slope: float

    def __post_init__(self) -> None:
        if self.shape not in SHAPES:
            raise ValueError(f"a section is one of {', '.join(SHAPES)}, not '{self.shape}'")
        if not (self.depth > 0 and self.side_slope >= 0 and self.top_width() > 0):
            raise ValueError(f"a {self.shape} {self.depth:g} m deep and {self.width:g} m wide "
                             f"with sides of {self.side_slope:g}:1 holds nothing")

    def top_width(self, rise: float | None = None) -> float:
        """Width of the water at a rise above the deepest point, at the sill if left out. [m]"""
        rise = self.depth if rise is None else rise
        if self.shape == "parabola":
            return self.width * math.sqrt(rise / self.depth)
        return self.width + 2 * self.side_slope * rise

    def area(self, rise: float | None = None) -> float:
        """Area of the water up to a rise. [m2]"""
        rise = self.depth if rise is None else rise
        if self.shape == "parabola":
            return 2 / 3 * self.top_width(rise) * rise
        return channel_area(rise, self.width, self.side_slope)

    def moment(self, rise: float) -> float:
        """The area up to a rise, each strip of it times its own rise. [m3]"""
        if self.shape == "parabola":
            return 2 / 5 * self.top_width(rise) * rise * rise
        return rise * rise * (self.width / 2 + 2 / 3 * self.side_slope * rise)

    def wetted_perimeter(self, rise: float | None = None) -> float:
        """Length of bed and sides under water up to a rise. [m]"""
        rise = self.depth if rise is None else rise
        if self.shape != "parabola":
            return self.width + 2 * rise * math.hypot(1.0, self.side_slope)
        wide = self.top_width(rise)
        steep = 4 * rise / wide if wide else 0.0
        if steep < 1e-6:
            return wide
        return wide / 2 * (math.hypot(1.0, steep) + math.asinh(steep) / steep)

    def floor(self) -> list[Piece]:
        """The floor from the downhill lip (0, 0) uphill, in pieces."""
        depth, bed, side = self.depth, self.width, self.side_slope
        if self.shape == "parabola":
            bend = 4 * depth / (bed * bed)
            return [Piece(0.0, bed / 2, 0.0, -bend * bed, bend),
                    Piece(bed / 2, bed, 0.0, -bend * bed, bend)]
        foot, wide = side * depth, self.top_width()
        fall = 1 / side if side else 0.0
        return [Piece(0.0, foot, 0.0, -fall), Piece(foot, foot + bed / 2, -depth),
                Piece(foot + bed / 2, foot + bed, -depth),
                Piece(foot + bed, wide, -fall * wide, fall)]


@dataclass(frozen=True)
class Piece:
    """A piece of a profile, z = a + b x + c x2 from `start` to `end`. [m]"""

    start: float
    end: float
    a: float
    b: float = 0.0
    c: float = 0.0

    def at(self, x: float) -> float:
        """Its height. [m]"""
        return self.a + (self.b + self.c * x) * x


def section_of(shape: str, depth: float, width: float | None, side_slope: float,
               bed: float) -> Section:
    """A section from what is known of it.

    Parameters
    ----------
    width : float, optional
        Of a trapezoid its bed, `bed` if left out; of a parabola its water at the sill, if left
        out as wide as makes its edges as steep as `side_slope`; a vee has none. [m]
    side_slope : float
        Horizontal over vertical; a parabola whose width is given has its own. [-]
    """
    if shape == "vee":
        return Section(shape, depth, 0.0, side_slope)
    if shape == "parabola":
        wide = 4 * side_slope * depth if width is None else width
        return Section(shape, depth, wide, wide / (4 * depth))
    return Section(shape, depth, bed if width is None else width, side_slope)


@dataclass(frozen=True)
class Berm:
    """A berm downhill of a channel: crest above the sill and top width [m], sides H:V [-]."""

    height: float
    top: float
    side_slope: float


@dataclass(frozen=True)
class Earth:
    """Earth at one station: areas of cut and berm [m2], width of the cut on the ground [m]."""

    cut: float
    berm: float
    cut_width: float


def earth_across(section: Section, berm: Berm, ground: float, ground_slope: float) -> Earth:
    """Areas of cut and berm of a channel at a set level across sloping ground.

    Parameters
    ----------
    ground : float
        The ground at the line, above the sill's level; below it where negative. [m]
    ground_slope : float
        Rise of the ground uphill, across the line. [m/m]

    Notes
    -----
    Levels are from the sill's, x from the line uphill.  The channel's floor starts at the lip
    (0, 0); both of its sides go on upward at `side_slope` until they meet the ground.  The
    berm's wet side starts at the lip too.  What lies between ground and floor is cut; what lies
    between the berm (and the floor's downhill half) and lower ground is filled.  Both are summed
    exactly, piece by piece.  Ground at the lip's level gives `area_on_slope` for each.

    Raises
    ------
    ValueError
        If the ground is as steep as a side, so that they never meet.
    """
    side = section.side_slope
    _refuse_steep(ground_slope, side, berm.side_slope)
    floor = section.floor()
    outward = max(ground, 0.0) + 1.0
    steep = 1 / side if side else 1e9
    down = Piece(-outward / (steep + ground_slope), 0.0, 0.0, -steep)
    up = _uphill_side(section, ground, ground_slope)
    cut, west, east = _between([down, *floor, up], ground, ground_slope, 1.0)

    high, slope = berm.height, berm.side_slope
    fall, crest = 1 / slope, -slope * berm.height - berm.top
    toe = (ground - high + fall * crest) / (fall - ground_slope)
    outer = Piece(min(toe, crest) - 1.0, crest, high - fall * crest, fall)
    heap = [outer, Piece(crest, -slope * high, high), Piece(-slope * high, 0.0, 0.0, -fall)]
    fill = _between([*heap, *floor[:len(floor) // 2]], ground, ground_slope, -1.0)[0]
    return Earth(cut, fill, max(east - west, 0.0))


def earth_at_sill(section: Section, reach: float, slope: float, ground: float, ground_slope: float
                  ) -> Earth:
    """Areas of cut and fill where the berm is left out along the sill.

    Parameters
    ----------
    reach : float
        Ground downhill of the lip that stands above the sill is taken off so far. [m]
    slope : float
        Where the ground at the lip lies below the sill, earth is put to it that falls away
        downhill so, H:V. [-]
    ground, ground_slope : float
        As of `earth_across`. [m], [m/m]

    Raises
    ------
    ValueError
        As `earth_across`.
    """
    _refuse_steep(ground_slope, section.side_slope, slope)
    floor = section.floor()
    up = _uphill_side(section, ground, ground_slope)
    cut, west, east = _between([Piece(-reach, 0.0, 0.0), *floor, up], ground, ground_slope, 1.0)
    fall = 1 / slope
    toe = ground / (fall - ground_slope)
    lip = Piece(min(toe, 0.0) - 1.0, 0.0, 0.0, fall)
    fill = _between([lip, *floor[:len(floor) // 2]], ground, ground_slope, -1.0)[0]
    return Earth(cut, fill, max(east - max(west, 0.0), 0.0))


def berm_end(section: Section, berm: Berm, ground: float, ground_slope: float) -> float:
    """What a berm's sloping end at the sill adds to a square end there; below 0 what it saves. [m3]

    The end rises from the sill's level, at the sill's end, to the crest as steeply as the berm's
    sides, and falls on below the sill's level on lower ground.  Simpson's rule over its sections.
    """
    def heap(level: float) -> float:
        cropped = Berm(level, berm.top + 2 * berm.side_slope * (berm.height - level),
                       berm.side_slope)
        return earth_across(section, cropped, ground, ground_slope).berm

    full = heap(berm.height)
    wide = berm.top + 2 * berm.side_slope * berm.height
    lowest = ground - max(ground_slope, 0.0) * wide / (1 - berm.side_slope * ground_slope)
    bare = earth_at_sill(section, wide, berm.side_slope, ground, ground_slope).berm
    saved = simpson([full - heap(berm.height * i / 8) for i in range(9)], berm.height)
    more = (simpson([max(heap(lowest * i / 8) - bare, 0.0) for i in range(9)], -lowest)
            if lowest < 0 else 0.0)
    return berm.side_slope * (more - saved)


def simpson(values: list[float], length: float) -> float:
    """The integral of an odd number of evenly spaced values over a length, by Simpson's rule."""
    odd, even = sum(values[1::2]), sum(values[2:-1:2])
    return length / (3 * (len(values) - 1)) * (values[0] + 4 * odd + 2 * even + values[-1])


def _refuse_steep(ground_slope: float, *sides: float) -> None:
    for slope in sides:
        if slope * abs(ground_slope) >= 1:
            raise ValueError(f"ground of {ground_slope:.0%} never meets a side of {slope:g}:1")


def _uphill_side(section: Section, ground: float, ground_slope: float) -> Piece:
    """A section's uphill side from the water's edge up to the ground."""
    wide, steep = section.top_width(), 1 / section.side_slope if section.side_slope else 1e9
    far = max(ground + ground_slope * wide, 0.0) / (steep - ground_slope)
    return Piece(wide, wide + far + 1.0, -steep * wide, steep)


def _between(pieces: list[Piece], ground: float, slope: float, sign: float
             ) -> tuple[float, float, float]:
    """Area where the ground lies above a profile (below it, if `sign` is -1), and its ends."""
    area, west, east = 0.0, math.inf, -math.inf
    for piece in pieces:
        a, b, c = ground - piece.a, slope - piece.b, -piece.c
        x0 = piece.start
        inner = sorted([x for x in _roots(a, b, c) if x0 < x < piece.end])
        for x1 in (*inner, piece.end):
            middle = (x0 + x1) / 2
            half = a + (b + c * middle) * middle
            if x1 > x0 and sign * half > 0:
                # Simpson's rule is exact for a parabola.
                first, last = a + (b + c * x0) * x0, a + (b + c * x1) * x1
                area += sign * (x1 - x0) / 6 * (first + 4 * half + last)
                west, east = min(west, x0), max(east, x1)
            x0 = x1
    return area, west, east


def _roots(a: float, b: float, c: float) -> list[float]:
    """Real zeros of a + b x + c x2."""
    if c == 0:
        return [-a / b] if b else []
    square = b * b - 4 * a * c
    if square <= 0:
        return []
    q = -(b + math.copysign(math.sqrt(square), b)) / 2
    return [q / c, a / q] if q else [0.0]
