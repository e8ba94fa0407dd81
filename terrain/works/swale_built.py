"""A swale as it is to be dug: line, section, sill, berm and checks, station by station."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely import LineString, Point

from terrain.inputs.dem import Dem
from terrain.units import along_words, first_system, in_both, unit_name
from terrain.works.cross_section import Berm, Section, berm_end
from terrain.works.return_end import Return, turned_ends
from terrain.works.rules import ENGINEER, OWNER, Rulebook
from terrain.works.setbacks import buried_lines
from terrain.works.sill import Sill
from terrain.works.store import Curve
from terrain.works.swale import SwaleLine
from terrain.works.swale_checks import Check, check_volume, swale_curve
from terrain.works.swale_stations import (
    STEEPEST,
    Station,
    chainages,
    middles,
    stations_of,
    volumes_of,
)

#: So many stretches of a line are named in a sentence.
MOST_NAMED = 4
#: The soil a berm is taken to be made of by its hydrologic soil group; common practice, no source.
SOIL_OF_GROUP = {"A": "sand", "B": "loam", "C": "loam", "D": "clay"}


@dataclass(frozen=True)
class Swale:
    """A swale as it is to be dug.

    Attributes
    ----------
    route : SwaleLine
    section : Section
        Its depth is that of the water at the sill.
    sill : Sill
        Its level is the swale's water level when full.
    sill_x, sill_y : float
        Where the sill is cut. [m]
    sill_from, sill_to : float
        Chainages of its ends. [m]
    berm_height, berm_height_built : float
        Settled and freshly built height of the crest above the sill. [m]
    berm_top, berm_side_slope : float
        Width of the berm's top [m], its sides H:V.
    stations : tuple of Station
        From the line's start to its end.
    checks : tuple of Check
    cut, berm : float
        Earth dug (bank measure) and berm as built, before it settles (compacted measure), by the
        prismoidal rule over the stations; checks are left standing and not cut, the berm is left
        out along the sill, and its ends turned uphill are counted. [m3]
    spare : float
        What the cut leaves over once the berm is built, compacted measure; below 0 what must be
        brought. [m3]
    top_width : float
        Median width of the cut on the ground. [m]
    cautions : tuple of str
    cut_end_areas, berm_end_areas : float
        The same by average end areas. [m3]
    returns : (Return, Return)
        The berm's ends, at the line's start and at its end.
    """

    route: SwaleLine
    section: Section
    sill: Sill
    sill_x: float
    sill_y: float
    sill_from: float
    sill_to: float
    berm_height: float
    berm_height_built: float
    berm_top: float
    berm_side_slope: float
    stations: tuple[Station, ...]
    checks: tuple[Check, ...]
    cut: float
    berm: float
    spare: float
    top_width: float
    cautions: tuple[str, ...]
    cut_end_areas: float
    berm_end_areas: float
    returns: tuple[Return, Return]

    @property
    def built_berm(self) -> Berm:
        """Its berm before it settles."""
        return Berm(self.berm_height_built, self.berm_top, self.berm_side_slope)

    @property
    def depth(self) -> float:
        """Of the water at the sill. [m]"""
        return self.section.depth

    @property
    def width(self) -> float:
        """Of its section: a trapezoid's bed, a parabola's water; 0 for a vee. [m]"""
        return self.section.width

    @property
    def side_slope(self) -> float:
        """H:V of its sides at the water's edge."""
        return self.section.side_slope

    @property
    def curve(self) -> Curve:
        """Its stage, area and volume."""
        return swale_curve(self.sill.level, self.section, self.route.length, self.checks)

    @property
    def section_words(self) -> str:
        """Its section in words, metric and US."""
        return section_words(self.section)

    def nearest_station(self, chainage: float) -> Station:
        """The station nearest to a chainage."""
        return min(self.stations, key=lambda station: abs(station.chainage - chainage))


def section_words(section: Section) -> str:
    """A section in words, in both systems."""
    deep, wide = in_both(section.depth, "size"), in_both(section.width, "size")
    side = f"{section.side_slope:.3g}:1"
    return {"trapezoid": f"trapezoid, bed {wide} wide, water {deep} deep, sides {side}",
            "parabola": f"parabola, water {wide} wide and {deep} deep, edges {side}",
            "vee": f"vee, water {deep} deep, sides {side}"}[section.shape]


def berm_slope(soil: str, rules: Rulebook) -> float:
    """Slope of a berm's sides by its soil, H:V."""
    return rules[f"berm side slope {soil}"]


def berm_height(level: float, head: float, rules: Rulebook, crest: float | None = None) -> float:
    """Height of a berm's settled crest above the sill. [m]

    Parameters
    ----------
    level : float
        Of the sill. [m]
    head : float
        Of water on it at the design peak. [m]
    crest : float, optional
        Level of the settled crest, where the owner fixes it. [m]
    """
    return head + rules["berm freeboard"] if crest is None else crest - level


def finish(dem: Dem, route: SwaleLine, section: Section, sill: Sill, sill_x: float, sill_y: float,
           rules: Rulebook, checks: tuple[Check, ...] = (), soil: str = "loam",
           berm_side_slope: float | None = None, crest: float | None = None) -> Swale:
    """Put berm, stations, earth volumes and cautions to a line with its section and sill.

    Parameters
    ----------
    soil : str
        clay, loam or sand.
    berm_side_slope : float, optional
        H:V; by the soil if left out.
    crest : float, optional
        Level of the settled crest as the owner fixes it; else the water at the design peak plus
        the rules' `berm freeboard`. [m]
    """
    slope = berm_slope(soil, rules) if berm_side_slope is None else berm_side_slope
    height = berm_height(sill.level, sill.head, rules, crest)
    built = height * (1 + rules["berm settlement"])
    shape = LineString(route.line)
    half = min(sill.length, shape.length) / 2
    middle = min(max(float(shape.project(Point(sill_x, sill_y))), half), shape.length - half)
    marked = [(middle, "sill"), (middle - half, "sill"), (middle + half, "sill"),
              *((check.chainage, "check") for check in checks)]
    at = chainages(shape.length, rules["station spacing"], marked)
    berm = Berm(built, rules["berm top width"], slope)
    gap = (middle - half, middle + half)
    stations, between = (stations_of(dem, route.line, sill.level, section, berm, places,
                                     route.cross_slope, gap) for places in (at, middles(at)))
    sums = volumes_of(stations, between, sill.level, section, berm, gap)
    returns = turned_ends(dem, route.line, sill.level, berm, rules)
    ends = sum(end.volume for end in returns) + _beside_sill(stations, gap, sill.level, section,
                                                             berm)
    cut, heaped = max(sums.cut - check_volume(checks), 0.0), sums.berm + ends
    compacted = rules["compacted per bank"]
    spare = cut * compacted - heaped
    cautions = _cautions(route, section, sill, rules)
    steep = [s.chainage for s in stations if s.too_steep]
    if steep:
        cautions.append(f"The ground is nearly as steep as the sides{_where(_runs(steep, rules))}: "
                        "no section fits there. Move the swale, or end it before; "
                        f"{ENGINEER} whether a bank stands there.")
    cautions += _round_ends(returns, built, height, sill.head, rules)
    if height - sill.head < rules["berm freeboard"] - 1e-6:
        left = height - sill.head
        over = (f"stands {in_both(-left, 'size')} over the berm's settled crest" if left < 0 else
                f"leaves {in_both(left, 'size')} of berm above it")
        cautions.append(f"At the design peak the water {over}; "
                        f"{in_both(rules['berm freeboard'], 'size')} is asked for "
                        f"({rules.cited('berm freeboard')}). Raise the crest, or "
                        "lengthen the sill.")
    if spare < 0:
        cautions.append(f"The cut gives {in_both(cut * compacted, 'earth')} of berm and "
                        f"{in_both(heaped, 'earth')} is needed (compacted per bank "
                        f"{compacted:g}; {rules.cited('compacted per bank')}): dig wider or "
                        "deeper, or bring earth.")
    return Swale(route, section, sill, sill_x, sill_y, middle - half, middle + half, height, built,
                 berm.top, slope, stations, checks, cut, heaped, spare,
                 float(np.median([s.cut_width for s in stations])), tuple(cautions),
                 max(sums.cut_end_areas - check_volume(checks), 0.0), sums.berm_end_areas + ends,
                 returns)


def _round_ends(returns: tuple[Return, Return], built: float, height: float, head: float,
                rules: Rulebook) -> list[str]:
    """A caution where the ground at the tips of the berm's ends is lower than its settled crest."""
    rise = [built - end.tip for end in returns]
    low = [(where, high) for where, high in zip(("start", "end"), rise, strict=True)
           if high < height - 5e-3]
    if not low:
        return []
    where = " and ".join(f"at its {name} {in_both(max(high, 0.0), 'size')}" for name, high in low)
    least = max(min(high for _, high in low), 0.0)
    peak = (f"; at the design peak it stands {in_both(head, 'size')} above the sill and would "
            "get round" if head > least else "")
    return [f"Turned uphill, its berm runs {in_both(rules['return end longest'], 'length')} from "
            f"the line at most ({rules.cited('return end longest')}), and the ground there is "
            f"lower than its crest: {where} above the sill. Water higher than that goes round the "
            f"berm's end{peak}: carry that end on to higher ground, or close it with a bank "
            "across."]


def _beside_sill(stations: tuple[Station, ...], gap: tuple[float, float], level: float,
                 section: Section, berm: Berm) -> float:
    """What the berm's sloping ends at the sill add to square ones. [m3]"""
    most = STEEPEST / max(section.side_slope, berm.side_slope)
    ends = [min(stations, key=lambda s: abs(s.chainage - place)) for place in gap]
    return sum(berm_end(section, berm, end.ground - level,
                        float(np.clip(end.cross_slope, -most, most))) for end in ends)


def _runs(places: list[float], rules: Rulebook) -> tuple[tuple[float, float], ...]:
    from terrain.works.alignment import stretches

    return tuple(stretches(np.array(places), 1.5 * rules["station spacing"]))


def _where(found: tuple[tuple[float, float], ...]) -> str:
    """Chainages in words; nothing where there are none."""
    if not found:
        return ""
    named = [along_words(start, False) if end - start < 0.1 else
             f"{along_words(start, False)} to {along_words(end, False)}"
             for start, end in found[:MOST_NAMED]]
    more = f" and {len(found) - MOST_NAMED} more places" if len(found) > MOST_NAMED else ""
    return f" at station {', '.join(named)} {unit_name('length', first_system())}{more}"


def _cautions(route: SwaleLine, section: Section, sill: Sill, rules: Rulebook) -> list[str]:
    said, depth = [], section.depth
    if route.steepest > rules["swale steep"]:
        said.append(f"Across the line the ground slopes up to {route.steepest:.1%}; above "
                    f"{rules['swale steep']:.0%} swales are dear and risky "
                    f"({rules.cited('swale steep')}). Have the slope looked at before digging.")
    if depth > rules["swale deepest"] + 1e-9:
        said.append(f"Water {in_both(depth, 'size')} deep is more than the usual "
                    f"{in_both(rules['swale deepest'], 'size')} "
                    f"({rules.cited('swale deepest')}): it can drown a child, and a cut "
                    f"{in_both(rules['trench deepest'], 'size')} deep or more must be sloped or "
                    f"shored while people are in it ({rules.cited('trench deepest')}).")
    if route.cross_slope < rules["swale flat"]:
        said.append(f"The ground slopes only {route.cross_slope:.1%}; below "
                    f"{rules['swale flat']:.0%} the fall hides in the level error "
                    f"({rules.cited('swale flat')}): a basin may do better.")
    if route.deviation > rules["level tolerance"]:
        said.append(f"The raster's ground is up to {in_both(route.deviation, 'size')} above or "
                    f"below the line's level{_where(route.off)}; "
                    f"{in_both(rules['level tolerance'], 'size')} is allowed "
                    f"({rules.cited('level tolerance')}): set it out with a level, and cut the "
                    "sill where the ground is natural and undisturbed.")
    if route.tight:
        said.append(f"It bends to a radius of {in_both(route.radius, 'size')}{_where(route.tight)}"
                    f", tighter than {in_both(route.asked_radius, 'size')} "
                    f"({rules.cited('digging radius')}), to stay at its level: dig there by hand, "
                    "or move it.")
    if sill.head > rules["sill head"] * 1.001:
        said.append(f"At the design peak {in_both(sill.head, 'size')} stands on the sill; more "
                    f"than {in_both(rules['sill head'], 'size', 3)} needs a stone lip "
                    f"({rules.cited('sill head')}).")
    if sill.length > route.length - 1e-6:
        said.append(f"Its sill takes all of its length, {in_both(sill.length, 'length')}: what "
                    "the site file or the design peak asks for, or the rules' least of "
                    f"{in_both(rules['sill shortest'], 'length')} (sill shortest, "
                    f"{rules.source('sill shortest')}), is longer than the swale. Its berm "
                    f"stands at its ends alone; {OWNER} whether to lengthen the swale.")
    said.append(buried_lines(rules))
    return said
