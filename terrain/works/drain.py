"""A drain: a channel that leads water at a steady grade across the slope."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.units import in_both
from terrain.works import cross_section as channel
from terrain.works.lining import CALLED, permissible
from terrain.works.manning import Trapezoid, channel_roughness, normal_depth, velocity
from terrain.works.rules import OWNER, Rulebook
from terrain.works.setbacks import buried_lines

#: Stations for earth are at most this far apart. [m]
STATIONS = 2.0
#: Ground so little below the lip needs no bank: it is within what a spade makes level; common
#: practice, no source. [m]
LEAST_BANK = 0.01
#: Kinds of channel (Chow 1959, Table 5-6) that stand for a lining: newly made, in which water runs
#: fastest, and grown or worn, in which it stands deepest. The choice is common practice, no source.
LININGS = {
    "bare": ("earth, straight, uniform, clean, recently completed",
             "earth, winding, grass, some weeds"),
    "grass": ("earth, short grass, few weeds", "earth, winding, dense weeds in deep channels"),
    "stone": ("earth bottom, rubble sides", "earth, cobble bottom, clean sides"),
}


@dataclass(frozen=True)
class DrainLine:
    """A drain's line on the ground; it is the downhill lip of its channel.

    Attributes
    ----------
    line : float64, shape (points, 2)
        From where it begins to where it lets water go. [m]
    start_level : float
        Of the lip where it begins. [m]
    grade : float
        [m/m]
    stations : float64, shape (n,)
        Distances along it, for earth and stakes. [m]
    cross_slopes : float64, shape (n,)
        Slope of the ground square to the line at each. [m/m]
    above : float64, shape (n,)
        How far the raster's ground stands above the lip there. [m]
    to : str
        Name of the store that it leads to, or "" for a point.
    left : bool
        Whether the ground rises on the left of it.
    """

    line: NDArray[np.float64]
    start_level: float
    grade: float
    stations: NDArray[np.float64]
    cross_slopes: NDArray[np.float64]
    above: NDArray[np.float64]
    to: str
    left: bool = True

    @property
    def length(self) -> float:
        """[m]"""
        return float(self.stations[-1])

    @property
    def end_level(self) -> float:
        """Of the lip where it ends. [m]"""
        return self.start_level - self.grade * self.length

    def lip(self, station: float) -> float:
        """Level of the lip at a distance. [m]"""
        return self.start_level - self.grade * station


def describe(dem: Dem, line: NDArray[np.float64], start_level: float, grade: float, to: str
             ) -> DrainLine:
    """Measure the ground along a line, on the raster as it was read."""
    from shapely.geometry import LineString

    shape = LineString(line)
    count = max(int(np.ceil(shape.length / STATIONS)), 1)
    stations = np.linspace(0.0, shape.length, count + 1)
    points = np.array([shape.interpolate(s).coords[0] for s in stations])
    before = np.array([shape.interpolate(max(s - 0.5, 0.0)).coords[0] for s in stations])
    after = np.array([shape.interpolate(min(s + 0.5, shape.length)).coords[0] for s in stations])
    way = after - before
    way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    square = np.stack([-way[:, 1], way[:, 0]], 1)
    reach = max(dem.cell, 1.0)
    left, right = (dem.height_at(*(points + sign * reach * square).T) for sign in (1, -1))
    slopes = np.nan_to_num(abs(left - right) / (2 * reach), nan=0.0)
    above = dem.height_at(*points.T) - (start_level - grade * stations)
    rise = (left - right)[np.isfinite(left - right)]
    return DrainLine(line, start_level, grade, stations, slopes, np.nan_to_num(above, nan=0.0), to,
                     not (rise.size and np.median(rise) < 0))


@dataclass(frozen=True)
class Section:
    """The channel of a drain.

    Attributes
    ----------
    width, side_slope, depth : float
        Bed [m], horizontal over vertical [-], and from bed to lip [m].
    lining, erodible : str, bool
    peak : float
        What it is to carry. [m3/s]
    water : float
        Depth of it once the channel is grown or worn. [m]
    velocity : float
        Of it in the newly made channel. [m/s]
    permissible : float or None
        Velocity that the lining stands; None where it is not recommended at the grade. [m/s]
    source : str
        Of that velocity.
    """

    width: float
    side_slope: float
    depth: float
    lining: str
    erodible: bool
    peak: float
    water: float
    velocity: float
    permissible: float | None
    source: str

    @property
    def holds(self) -> bool:
        """Whether the water is no faster than the lining stands."""
        return self.permissible is not None and self.velocity <= self.permissible * (1 + 1e-9)


def _carried(peak: float, grade: float, bed: float, side: float, lining: str
             ) -> tuple[float, float]:
    """Depth in the grown channel, velocity in the new one."""
    new, grown = (channel_roughness(kind)[1] for kind in LININGS[lining])
    shape = Trapezoid(bed, side)
    deep = normal_depth(shape, peak, grade, grown)
    return deep, velocity(shape, normal_depth(shape, peak, grade, new), grade, new)


def design_section(peak: float, grade: float, rules: Rulebook, lining: str = "bare",
                   erodible: bool = True, width: float | None = None, depth: float | None = None,
                   side_slope: float | None = None) -> Section:
    """Size a drain's channel for a flow.

    A bed left open widens from the rules' usual width until the water is neither deeper than
    their `drain water` nor faster than the lining stands, or is as wide as their widest; a depth
    left open is that of the water and the freeboard.

    Parameters
    ----------
    peak : float
        [m3/s]
    grade : float
        [m/m]
    lining : {"bare", "grass", "stone"}
    erodible : bool
    width, depth, side_slope : float, optional
        What is fixed already. [m], H:V
    """
    side = side_slope or rules["drain side slope"]
    stands, source = permissible(lining, grade, erodible, rules)
    bed = rules["drain width"] if width is None else width
    water, fast = _carried(peak, grade, bed, side, lining)
    while (width is None and bed + 0.1 <= rules["drain widest"] + 1e-9
           and (water > rules["drain water"] or (stands is not None and fast > stands))):
        bed += 0.1
        water, fast = _carried(peak, grade, bed, side, lining)
    if depth is None:
        depth = max(np.ceil((water + rules["drain freeboard"]) / 0.05 - 1e-9) * 0.05,
                    rules["drain shallowest"])
    return Section(bed, side, float(depth), lining, erodible, peak, water, fast, stands, source)


@dataclass(frozen=True)
class Drain:
    """A drain as it is to be dug.

    Attributes
    ----------
    route : DrainLine
    section : Section
    cut : float
        Earth dug, bank measure. [m3]
    cautions : tuple of str
    bank : float
        Earth heaped on its downhill side where the ground lies below its lip, as built, compacted
        measure. [m3]
    bank_top, settlement : float
        Width of that bank's top [m]; the share of its height that it is built higher by. [-]
    """

    route: DrainLine
    section: Section
    cut: float
    cautions: tuple[str, ...]
    bank: float
    bank_top: float
    settlement: float

    def bed(self, station: float) -> float:
        """Level of its bed at a distance. [m]"""
        return self.route.lip(station) - self.section.depth


def areas(route: DrainLine, section: Section, rules: Rulebook) -> NDArray[np.float64]:
    """Areas to dig and to heap at each station, on the ground's real slope across. [m2]

    Where the ground lies more than `LEAST_BANK` below the lip, a bank on the downhill side brings
    it up to there, higher by what it settles.  Ground nearly as steep as the side, which it never
    meets, counts as nine tenths of that.

    Returns
    -------
    areas : float64, shape (2, n)
        Cut, bank.
    """
    side = section.side_slope
    shape = channel.Section("trapezoid", section.depth, section.width, side)
    found = []
    for above, slope in zip(route.above, route.cross_slopes, strict=True):
        low = max(-float(above), 0.0)
        berm = channel.Berm(low * rules["berm settlement"], rules["drain bank top width"], side)
        earth = channel.earth_across(shape, berm, float(above), min(float(slope), 0.9 / side))
        found.append((earth.cut, earth.berm if low > LEAST_BANK else 0.0))
    return np.array(found).T


def finish(route: DrainLine, section: Section, rules: Rulebook) -> Drain:
    """Put earth and cautions to a line with its section."""
    steps = np.diff(route.stations)
    cut, bank = (float((steps * (of[1:] + of[:-1]) / 2).sum())
                 for of in areas(route, section, rules))
    return Drain(route, section, cut, tuple(_cautions(route, section, rules)), bank,
                 rules["drain bank top width"], rules["berm settlement"])


def _cautions(route: DrainLine, section: Section, rules: Rulebook) -> list[str]:
    said = []
    if not section.holds:
        said.append(_too_fast(route, section, rules))
    spare = section.depth - section.water
    if spare < rules["drain freeboard"] - 1e-6:
        left = ("it overflows its lip by " + in_both(-spare, "size") if spare < 0 else
                f"only {in_both(spare, 'size')} of its side is left above it")
        said.append(f"The design peak stands {in_both(section.water, 'size')} deep in it, and "
                    f"{left}; {in_both(rules['drain freeboard'], 'size')} is asked for "
                    f"({rules.cited('drain freeboard')}): make it deeper or wider.")
    if route.grade < rules["drain flattest"] * (1 - 1e-9):
        said.append(f"A grade of {route.grade:.2%} is flatter than {rules['drain flattest']:.2%} "
                    f"({rules.cited('drain flattest')}): silt settles in it; clear it after storms."
                    )
    if route.grade > rules["drain steep"] * (1 + 1e-9):
        said.append(f"A grade of {route.grade:.2%} is steeper than the usual "
                    f"{rules['drain steep']:.2%} ({rules.cited('drain steep')}): it scours if more "
                    "comes than reckoned.")
    low = float(-route.above.min())
    if low > rules["level tolerance"]:
        said.append(f"The raster's ground lies up to {in_both(low, 'size')} below its lip: "
                    "heap what is dug on the downhill side there, packed, as the earth table "
                    f"counts it, or set it out further uphill ({rules.cited('level tolerance')}).")
    if float(route.above.max()) > 2 * rules["level tolerance"]:
        said.append("The raster's ground stands up to "
                    f"{in_both(float(route.above.max()), 'size')} above its lip: it is dug that "
                    f"much deeper there; {OWNER} whether to move it.")
    steep = float(np.percentile(route.cross_slopes, 90))
    if steep > rules["swale steepest"]:
        said.append(f"Across the line the ground slopes up to {steep:.0%}; above "
                    f"{rules['swale steepest']:.0%} have the slope looked at before digging "
                    f"({rules.cited('swale steepest')}).")
    said.append(buried_lines(rules))
    return said


def _too_fast(route: DrainLine, section: Section, rules: Rulebook) -> str:
    """That the water scours, and what would hold."""
    advice = []
    flatter = route.grade
    while flatter - 0.0005 >= rules["drain flattest"]:
        flatter -= 0.0005
        if design_section(section.peak, flatter, rules, section.lining, section.erodible,
                          None, None, section.side_slope).holds:
            advice.append(f"a grade of {flatter:.2%}")
            break
    for lining in ("grass", "stone"):
        if lining != section.lining and section.lining != "stone" and design_section(
                section.peak, route.grade, rules, lining, section.erodible, None, None,
                section.side_slope).holds:
            advice.append(f"a lining of {lining}")
    held = (f"more than the {in_both(section.permissible, 'speed')} that it stands "
            f"({section.source}; {OWNER})" if section.permissible is not None else
            f"and grass is not recommended at that grade ({section.source}; {OWNER})")
    do = ("it would hold with " + " or ".join(advice) if advice else
          "lead less water in it, or have it designed")
    return (f"At the design peak of {in_both(section.peak, 'flow')} water runs at "
            f"{in_both(section.velocity, 'speed')} over {CALLED[section.lining]}, {held}: {do}.")
