"""What a furrow carries, how fast, and what would make it hold."""

from __future__ import annotations

from dataclasses import dataclass

from terrain.works.drain import LININGS
from terrain.works.furrow import Furrow
from terrain.works.lining import permissible
from terrain.works.manning import Trapezoid, channel_roughness, flow, normal_depth, velocity
from terrain.works.rules import Rulebook


@dataclass(frozen=True)
class FurrowFlow:
    """The design peak in a furrow.

    Attributes
    ----------
    peak : float
        That spills into it at the design peak. [m3/s]
    slope : float
        Of its bed. [m/m]
    capacity : float
        What it carries brim full once it is worn; 0 where it does not fall. [m3/s]
    water : float
        Depth of the peak in it once it is worn, or its brim where that is less: the greatest as it
        is, lined and with its drops. [m]
    velocity : float
        Of the peak, or of what it carries brim full where that is less, newly dug. [m/s]
    permissible : float
        Velocity that bare earth stands. [m/s]
    source : str
        Of that velocity.
    needed_width : float or None
        At which it carries the peak over bare earth; None where no width up to the widest does.
        [m]
    lining : str
        "grass" or "stone", if that stands the peak's speed in a furrow `lined_width` wide; else "".
    lined_width : float or None
        Mean width within its lining at which it carries the peak once that is grown or worn; None
        without a lining. [m]
    drops : float or None
        Fall to take in drops over stone so that the rest of it, `drops_width` wide, runs no faster
        than bare earth stands; None where no width up to the widest does. [m]
    drops_width : float
        [m]
    """

    peak: float
    slope: float
    capacity: float
    water: float
    velocity: float
    permissible: float
    source: str
    needed_width: float | None
    lining: str
    lined_width: float | None
    drops: float | None
    drops_width: float

    @property
    def enough(self) -> bool:
        """Whether it carries the peak."""
        return self.capacity >= self.peak * (1 - 1e-9)

    @property
    def holds(self) -> bool:
        """Whether the water is no faster than bare earth stands."""
        return self.velocity <= self.permissible * (1 + 1e-9)

    @property
    def way(self) -> str:
        """How it is to be dug so that it carries the peak and holds: "bare", "grass" or "stone" to
        line it with, "drops" over stone; "" where none of them does, or it does not fall."""
        if self.slope <= 0 or (self.holds and self.needed_width is None):
            return ""
        if self.holds:
            return "bare"
        return self.lining or ("drops" if self.drops is not None else "")

    @property
    def dug_width(self) -> float | None:
        """Mean width, within its lining, that goes with that way; None where there is none. [m]"""
        return {"": None, "bare": self.needed_width, "drops": self.drops_width}.get(
            self.way, self.lined_width)


def lining_stone(made: Furrow, runs: FurrowFlow, thickness: float) -> float:
    """Stone on bed and sides of a furrow that is to be lined with it; 0 of any other. [m3]

    What is dug around the furrow for the lining, its corners included, up to its brim: the trench
    along the sill, where water comes in slowly and all along, is not lined.

    Parameters
    ----------
    thickness : float
        Of the lining. [m]
    """
    if runs.way != "stone" or runs.dug_width is None:
        return 0.0
    wide, deep = runs.dug_width, made.depth
    return ((wide + 2 * thickness) * (deep + thickness) - wide * deep) * made.length


def lining_sod(made: Furrow, runs: FurrowFlow) -> float:
    """Sod on bed and sides, up to the brim, of a furrow to be lined with grass; 0 of any other.
    [m2]"""
    if runs.way != "grass" or runs.dug_width is None:
        return 0.0
    return (runs.dug_width + 2 * made.depth) * made.length


def over_sill(head: float, made: Furrow | None, runs: FurrowFlow | None) -> float:
    """Depth of water over a sill at the design peak: of what spills, or what a furrow that begins
    level with it holds back where that is more. [m]

    Parameters
    ----------
    head : float
        Of a free spill. [m]
    made, runs : Furrow and FurrowFlow, or None
        Of the furrow that leads the spill, where one does.
    """
    back = made is not None and runs is not None and not made.begins_below and runs.peak > 0
    return max(head, runs.water) if back and runs is not None else head


def furrow_flow(made: Furrow, peak: float, erodible: bool, rules: Rulebook) -> FurrowFlow:
    """How the design peak runs in a furrow, upright sides taken, brim full at `made.depth`.

    As of drains, what it carries is reckoned for the worn channel and its speed for the new one.

    Parameters
    ----------
    peak : float
        [m3/s]
    erodible : bool
        Whether the soil is easily eroded.

    References
    ----------
    .. [1] Manning's formula and n: Chow, Open-Channel Hydraulics, 1959, ch. 5 and Table 5-6.
    .. [2] Fortier & Scobey, 1926 (bare earth and stone), USDA SCS-TP-61, 1954 (grass).
    """
    stands, source = permissible("bare", made.slope, erodible, rules)
    assert stands is not None  # only grass is ever not recommended
    slope, deep = made.slope, made.depth
    if slope <= 0:
        return FurrowFlow(peak, slope, 0.0, deep, 0.0, stands, source, None, "", None,
                          None, made.width)
    new, worn = (channel_roughness(kind)[1] for kind in LININGS["bare"])
    shape = Trapezoid(made.width, 0.0)
    carries = flow(shape, deep, slope, worn)
    fast = _speed(made.width, deep, peak, slope, new)
    wide = _width(made.width, deep, peak, slope, worn, rules["drain widest"])
    lining, lined_wide = _lined(made, peak, erodible, rules)
    # So wide that the peak runs at that speed no deeper than the brim in the worn channel.
    least = min(_slope_at(stands, made.width, peak, new), slope)
    drops_wide = _width(made.width, deep, peak, least, worn, rules["drain widest"])
    drops = None if drops_wide is None else (slope - least) * made.length
    runs = [(made.width, slope, worn)]
    if lined_wide is not None:
        runs.append((lined_wide, slope, channel_roughness(LININGS[lining][1])[1]))
    if drops_wide is not None:
        runs.append((drops_wide, least, worn))
    water = max(min(normal_depth(Trapezoid(width, 0.0), peak, falls, rough), deep)
                for width, falls, rough in runs)
    return FurrowFlow(peak, slope, carries, water, fast, stands, source, wide, lining, lined_wide,
                      drops, drops_wide or made.width)


def _lined(made: Furrow, peak: float, erodible: bool, rules: Rulebook
           ) -> tuple[str, float | None]:
    """The first lining that stands the speed of the peak in a furrow so wide that it carries that
    once the lining is grown or worn, and that width; "" and None without one."""
    for kind in ("grass", "stone"):
        worn = channel_roughness(LININGS[kind][1])[1]
        wide = _width(made.width, made.depth, peak, made.slope, worn, rules["drain widest"])
        if wide is not None and _stands(kind, wide, made.depth, peak, made.slope, erodible, rules):
            return kind, wide
    return "", None


def _speed(width: float, deep: float, peak: float, slope: float, roughness: float) -> float:
    shape = Trapezoid(width, 0.0)
    return velocity(shape, min(normal_depth(shape, peak, slope, roughness), deep), slope,
                    roughness)


def _width(least: float, deep: float, peak: float, slope: float, roughness: float, widest: float
           ) -> float | None:
    """Width at which a flow runs brim full, `least` if that is more; None beyond the widest. [m]"""
    from scipy.optimize import brentq

    def over(width: float) -> float:
        return flow(Trapezoid(width, 0.0), deep, slope, roughness) - peak

    if over(least) >= 0:
        return least
    return None if over(widest) < 0 else float(brentq(over, least, widest, xtol=1e-9))


def _stands(lining: str, width: float, deep: float, peak: float, slope: float, erodible: bool,
            rules: Rulebook) -> bool:
    """Whether a lining stands the speed of the peak in a furrow that carries it."""
    stands, _ = permissible(lining, slope, erodible, rules)
    new, _ = (channel_roughness(kind)[1] for kind in LININGS[lining])
    return stands is not None and _speed(width, deep, peak, slope, new) <= stands


def _slope_at(speed: float, width: float, peak: float, roughness: float) -> float:
    """Slope at which a flow runs at a speed in a channel with upright sides, V = R^(2/3) S^(1/2)
    / n. [m/m]"""
    area = peak / speed
    radius = area / (width + 2 * area / width)
    return (speed * roughness / radius ** (2 / 3)) ** 2 if radius > 0 else float("inf")
