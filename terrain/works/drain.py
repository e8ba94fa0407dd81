"""A drain: a channel that leads water at a steady grade across the slope."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.units import in_both
from terrain.works.cross_section import area_on_slope
from terrain.works.manning import Trapezoid, channel_roughness, normal_depth, velocity
from terrain.works.rules import Rulebook

#: Stations for earth are at most this far apart. [m]
STATIONS = 2.0
#: Cover of `grass_velocities.csv` that stands for a lining of grass.
GRASS = "grass mixtures, reed canarygrass"
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
    """

    line: NDArray[np.float64]
    start_level: float
    grade: float
    stations: NDArray[np.float64]
    cross_slopes: NDArray[np.float64]
    above: NDArray[np.float64]
    to: str

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
    return DrainLine(line, start_level, grade, stations, slopes, np.nan_to_num(above, nan=0.0), to)


@lru_cache(maxsize=1)
def _grass() -> dict[str, dict[str, str]]:
    text = resources.files("terrain.works").joinpath("grass_velocities.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return {row["cover"]: row for row in rows}


def grass_velocity(grade: float, erodible: bool, cover: str = GRASS) -> float | None:
    """Velocity that a grassed channel stands; None where grass is not recommended. [m/s]

    Parameters
    ----------
    grade : float
        [m/m]
    erodible : bool
        Whether the soil is easily eroded.
    cover : str
        A row of the table.

    References
    ----------
    .. [1] USDA SCS-TP-61, Handbook of Channel Design for Soil and Water Conservation, 1954.
    """
    steep = "0_5pct" if grade <= 0.05 else "5_10pct" if grade <= 0.10 else "over_10pct"
    given = _grass()[cover][f"{'erodible' if erodible else 'resistant'}_{steep}"]
    return float(given) * 0.3048 if given else None


def permissible(lining: str, grade: float, erodible: bool, rules: Rulebook
                ) -> tuple[float | None, str]:
    """Velocity that a lining stands [m/s], None where it stands none; and the source."""
    if lining == "grass":
        return grass_velocity(grade, erodible), "USDA SCS-TP-61, 1954, grass mixtures"
    name = ("stone velocity" if lining == "stone" else
            "erodible soil velocity" if erodible else "resistant soil velocity")
    return rules[name], f"{name}, {rules.source(name)}"


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
    """

    route: DrainLine
    section: Section
    cut: float
    cautions: tuple[str, ...]

    def bed(self, station: float) -> float:
        """Level of its bed at a distance. [m]"""
        return self.route.lip(station) - self.section.depth


def areas(route: DrainLine, section: Section) -> NDArray[np.float64]:
    """Area to dig at each station, on the ground's real slope across. [m2]

    Ground nearly as steep as the side, which it never meets, counts as nine tenths of that.
    """
    most = 0.9 / section.side_slope
    return np.array([area_on_slope(max(section.depth + above, 0.0), section.width,
                                   section.side_slope, min(slope, most))
                     for above, slope in zip(route.above, route.cross_slopes, strict=True)])


def finish(route: DrainLine, section: Section, rules: Rulebook) -> Drain:
    """Put earth and cautions to a line with its section."""
    dug = areas(route, section)
    cut = float((np.diff(route.stations) * (dug[1:] + dug[:-1]) / 2).sum())
    return Drain(route, section, cut, tuple(_cautions(route, section, rules)))


def _cautions(route: DrainLine, section: Section, rules: Rulebook) -> list[str]:
    said = []
    if not section.holds:
        said.append(_too_fast(route, section, rules))
    spare = section.depth - section.water
    if spare < rules["drain freeboard"] - 1e-6:
        left = ("it overflows its lip by " + in_both(-spare, "level") if spare < 0 else
                f"only {in_both(spare, 'level')} of its side is left above it")
        said.append(f"The design peak stands {in_both(section.water, 'level')} deep in it, and "
                    f"{left}; {in_both(rules['drain freeboard'], 'level')} is asked for (drain "
                    f"freeboard, {rules.source('drain freeboard')}): make it deeper or wider.")
    if route.grade < rules["drain flattest"] * (1 - 1e-9):
        said.append(f"A grade of {route.grade:.2%} is flatter than {rules['drain flattest']:.2%} "
                    f"(drain flattest, {rules.source('drain flattest')}): silt settles in it; "
                    "clear it after storms.")
    if route.grade > rules["drain steep"] * (1 + 1e-9):
        said.append(f"A grade of {route.grade:.2%} is steeper than the usual "
                    f"{rules['drain steep']:.2%} (drain steep, {rules.source('drain steep')}): it "
                    "scours if more comes than reckoned.")
    low = float(-route.above.min())
    if low > rules["level tolerance"]:
        said.append(f"The raster's ground lies up to {in_both(low, 'level')} below its lip: heap "
                    "what is dug on the downhill side there, packed, or set it out further uphill.")
    if float(route.above.max()) > 2 * rules["level tolerance"]:
        said.append("The raster's ground stands up to "
                    f"{in_both(float(route.above.max()), 'level')} above its lip: it is dug that "
                    "much deeper there.")
    steep = float(np.percentile(route.cross_slopes, 90))
    if steep > rules["swale steepest"]:
        said.append(f"Across the line the ground slopes up to {steep:.0%}; above "
                    f"{rules['swale steepest']:.0%} (swale steepest, "
                    f"{rules.source('swale steepest')}) have the slope looked at before digging.")
    said.append("Have buried pipes and cables located before digging; the locating service does "
                "not mark private lines.")
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
            f"({section.source})" if section.permissible is not None else
            f"and grass is not recommended at that grade ({section.source})")
    bed = "bare earth" if section.lining == "bare" else section.lining
    do = ("it would hold with " + " or ".join(advice) if advice else
          "lead less water in it, or have it designed")
    return (f"At the design peak of {in_both(section.peak, 'flow')} water runs at "
            f"{in_both(section.velocity, 'speed')} over {bed}, {held}: {do}.")
