"""Each rule of the trade that is a figure, with its source; a site file may overrule any.

What each is on a site in US units stands in `us_figures.py`.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, replace

from terrain.units import read_quantity
from terrain.works.us_figures import US_FIGURES, US_NAMES

PRACTICE = "common practice, no source"
#: Who decides where a rule bites; what stands here is an instrument's answer, not theirs.
OWNER = "you and whoever digs decide"
DAMS = "the local dam or water authority decides"
ENGINEER = "a licensed engineer decides"
BUILDING = "the local building office decides"
HEALTH = "the local health office decides"
WATER = "the local water authority decides"
SAFETY = "the local office for safety at work decides"
LINE_OWNER = "whoever owns the line decides"
TREES = "you and whoever knows the tree decide"
SETBACKS = "Minnesota Stormwater Manual, 2022"
FM_FACTORS = "US Army FM 5-434, 2000, Table 1-1, from memory"
ILO_TASKS = "m3 in the ground a worker's day; ILO, Building Rural Roads, 2008, from memory: "
FAO_HALF_MOONS = "later guides after FAO AGL/MISC/17/91, 1991: half-moons 2 to 8 m wide"


@dataclass(frozen=True)
class Rule:
    """A figure of the trade.

    Attributes
    ----------
    value : float
        In the unit kept inside for `dimension`; a bare figure where that is None.
    dimension : str or None
    source : str
    decides : str
        Who has the last word where the rule bites, as the end of a sentence.
    """

    value: float
    dimension: str | None
    source: str
    decides: str = OWNER


RULES: dict[str, Rule] = {
    "swale depth": Rule(0.3, "length", PRACTICE),
    "swale width": Rule(0.6, "length", PRACTICE),
    "swale side slope": Rule(2.0, None, PRACTICE),
    "swale shallowest": Rule(0.2, "length", PRACTICE),
    "swale deepest": Rule(0.5, "length", PRACTICE),
    "swale length": Rule(60.0, "length", PRACTICE),
    "swale longest": Rule(300.0, "length", PRACTICE),
    "swale steepest": Rule(0.15, None, PRACTICE, ENGINEER),
    "swale steep": Rule(0.10, None, PRACTICE, ENGINEER),
    "swale flat": Rule(0.01, None, PRACTICE),
    "berm top width": Rule(0.6, "length", PRACTICE),
    "berm freeboard": Rule(0.15, "length", PRACTICE),
    "return end longest": Rule(6.0, "length", PRACTICE),
    "berm settlement": Rule(0.10, None, "Hydraulic Structures, 4th ed., sect. 2.10"),
    "sill coefficient": Rule(1.7, None, "FAO Irrigation and Drainage Paper 64, 2010"),
    "sill head": Rule(0.075, "length", PRACTICE),
    "sill shortest": Rule(4.0, "length", "North Carolina State Univ., Level Spreaders, 2006"),
    "sill longest": Rule(40.0, "length", "North Carolina State Univ., Level Spreaders, 2006"),
    "basin freeboard": Rule(0.3, "length", "NRCS practice standard 378", ENGINEER),
    "spillway head": Rule(0.15, "length", PRACTICE, ENGINEER),
    "embankment water": Rule(0.9, "length", "NRCS practice standard 378", DAMS),
    "engineer water": Rule(1.8, "length", "33 USC 467: 6 ft; many places set lower limits",
                           ENGINEER),
    "wall top width": Rule(1.8, "length", "NRCS practice standard 378, under 10 ft (3 m) "
                           "high; USDA Agriculture Handbook 590, 1997; both from memory", ENGINEER),
    "wall top width from 3 m": Rule(2.4, "length", "NRCS practice standard 378", ENGINEER),
    "wall top width from 4.6 m": Rule(3.0, "length", "NRCS practice standard 378", ENGINEER),
    "wall top width from 6.1 m": Rule(3.7, "length", "NRCS practice standard 378", ENGINEER),
    "wall wet slope": Rule(3.0, None, "a state wildlife agency's pond guide; NRCS practice "
                           "standard 378 asks 2.5:1 or flatter", ENGINEER),
    "wall dry slope": Rule(2.5, None, "a state wildlife agency's pond guide", ENGINEER),
    "wall slopes together": Rule(5.0, None, "NRCS practice standard 378", ENGINEER),
    "wall wet slope least": Rule(2.5, None, "NRCS practice standard 378, a state edition",
                                 ENGINEER),
    "wall dry slope least": Rule(2.0, None, "NRCS practice standard 378", ENGINEER),
    "wall settlement": Rule(0.10, None, "USDA Agriculture Handbook 590, 1997, from memory: 10 % "
                            "of hauled fill, 5 % where it is rolled in thin layers", ENGINEER),
    "topsoil depth": Rule(0.15, "length", PRACTICE),
    "cut-off depth": Rule(0.6, "length", PRACTICE, ENGINEER),
    "cut-off width": Rule(1.2, "length", "USDA Agriculture Handbook 590, 1997, from memory",
                          ENGINEER),
    "cut-off side slope": Rule(1.0, None, "USDA Agriculture Handbook 590, 1997, from memory"),
    "pit from wall": Rule(3.0, "length", PRACTICE, ENGINEER),
    "spillway return period": Rule(10.0, None, "NRCS practice standard 378, from memory", DAMS),
    "spillway return period, larger": Rule(25.0, None, "NRCS practice standard 378, from memory",
                                           DAMS),
    "small drainage": Rule(80_937.0, "area", "NRCS practice standard 378, from memory: 20 acre",
                           DAMS),
    "forebay least": Rule(0.10, None, PRACTICE),
    "forebay most": Rule(0.20, None, PRACTICE),
    "fish depth": Rule(1.2, "length", "California Department of Public Health, 2010", HEALTH),
    "seepage high": Rule(50.0, "seepage", "FAO Training Series, Pond water losses, from memory"),
    "standing water": Rule(72.0, "time", "Univ. of California, Managing Mosquitoes in Stormwater "
                           "Treatment Devices, 2004", HEALTH),
    "drowning depth": Rule(0.45, "length", PRACTICE),
    "building setback": Rule(3.0, "length", "Minnesota Stormwater Manual, 2022", BUILDING),
    "septic setback": Rule(10.67, "length", f"{SETBACKS}: 35 ft", HEALTH),
    "private well setback": Rule(15.24, "length", f"{SETBACKS}: 50 ft", HEALTH),
    "public well setback": Rule(30.48, "length", f"{SETBACKS}: 50 to 100 ft", HEALTH),
    "steep toe slope": Rule(0.20, None, SETBACKS, ENGINEER),
    "steep toe setback": Rule(60.96, "length", f"{SETBACKS}: 200 ft", ENGINEER),
    "steep ground least": Rule(100.0, "area", PRACTICE),
    "rock or wet ground below": Rule(0.91, "length", f"{SETBACKS}: 3 ft", WATER),
    "retaining wall setback": Rule(2.0, None, PRACTICE + ": its height, times this", ENGINEER),
    "unstable ground setback": Rule(30.0, "length", PRACTICE, ENGINEER),
    "stream bank setback": Rule(10.0, "length", PRACTICE, WATER),
    "buried line clearance": Rule(0.6, "length", "US utility locating guidance: 24 in to each "
                                  "side of the mark", LINE_OWNER),
    "breach reach": Rule(10.0, "length", PRACTICE, ENGINEER),
    "federal dam height": Rule(7.62, "length", "33 USC 467: 25 ft", DAMS),
    "federal dam volume": Rule(61_674.0, "volume", "33 USC 467: 50 acre-ft", DAMS),
    "federal dam height least": Rule(1.829, "length", "33 USC 467: no higher than 6 ft", DAMS),
    "federal dam volume least": Rule(18_502.0, "volume", "33 USC 467: no more than 15 acre-ft",
                                     DAMS),
    "state dam height": Rule(1.829, "length", "US states' dam-safety agencies, surveyed 2011 to "
                             "2016: from 6, 10 or 25 ft", DAMS),
    "state dam volume": Rule(3_700.0, "volume", "US states' dam-safety agencies, surveyed 2011 "
                             "to 2016: from 3 to 100 acre-ft", DAMS),
    "low hazard storage times height": Rule(1_127_900.0, None, "m4; NRCS practice standard 378: "
                                            "under 3,000 acre-ft times ft", ENGINEER),
    "compacted per bank": Rule(0.9, None, "US Army FM 5-434, 2000, Table 1-1, from memory"),
    "tree bowl shallowest": Rule(0.15, "length", PRACTICE),
    "tree bowl deepest": Rule(0.30, "length", PRACTICE),
    "hollow rim": Rule(0.05, "length", PRACTICE),
    "hollow noted": Rule(1.0, "volume", PRACTICE),
    "harvest efficiency": Rule(0.5, None, "FAO AGL/MISC/17/91, 1991, sect. 4.3: 0.5 to 0.75"),
    "tree bowl side slope": Rule(2.0, None, PRACTICE),
    "crescent narrowest": Rule(1.0, "length", FAO_HALF_MOONS),
    "crescent widest": Rule(4.0, "length", FAO_HALF_MOONS),
    "crescent deepest": Rule(0.3, "length", PRACTICE),
    "crescent flattest": Rule(0.005, None, PRACTICE),
    "crescent steep": Rule(0.05, None, "FAO AGL/MISC/17/91, 1991: no water harvesting on steeper "
                           "ground"),
    "crescent top width": Rule(0.25, "length", "FAO AGL/MISC/17/91, 1991, semi-circular bunds, "
                               "from memory"),
    "crescent side slope": Rule(1.0, None, "FAO AGL/MISC/17/91, 1991, semi-circular bunds, from "
                                "memory"),
    "trench width": Rule(0.6, "length", PRACTICE),
    "trench shallowest": Rule(0.3, "length", PRACTICE),
    "trench usual depth": Rule(0.6, "length", PRACTICE),
    "trench deepest": Rule(1.5, "length", "OSHA Technical Manual, section V, chapter 2", SAFETY),
    "tree drip line": Rule(1.0, None, PRACTICE + ": the crown's radius, times this", TREES),
    "tree clear of berm": Rule(0.5, "length", PRACTICE),
    "tree clear of wall": Rule(5.0, "length", PRACTICE, ENGINEER),
    "tree catchment largest": Rule(1000.0, "area", "FAO Water Harvesting, 1991: "
                                   "microcatchments are smaller than 1,000 m2"),
    "plant factor": Rule(0.5, None, "ASABE S623, trees in dry air, for looks"),
    "tree root depth": Rule(1.2, "length", "FAO 56, 1998, Table 22, from memory: citrus 1.1 to "
                            "1.5 m, olives 1.2 to 1.7 m"),
    "available water": Rule(130.0, None, "mm in a metre of soil; FAO 56, 1998, Table 19, from "
                            "memory: sandy loam 110 to 150, loam 130 to 180, sand 50 to 110"),
    "root zone depletion": Rule(0.5, None, "FAO 56, 1998, Table 22, fruit trees, from memory"),
    "tree gets by": Rule(0.5, None, PRACTICE),
    "seepage to roots": Rule(0.5, None, PRACTICE + ": half of what soaks in beside trees; FAO "
                             "AGL/MISC/17/91, 1991, sect. 4.3, counts 0.5 to 0.75 of harvested "
                             "water as used"),
    "design rain exceeded": Rule(0.67, None, "FAO AGL/MISC/17/91, 1991, sect. 4.3"),
    "drain grade": Rule(0.003, None, PRACTICE),
    "drain flattest": Rule(0.002, None, PRACTICE),
    "drain steep": Rule(0.005, None, PRACTICE),
    "drain steepest": Rule(0.10, None, PRACTICE, ENGINEER),
    "drain longest": Rule(600.0, "length", PRACTICE),
    "drain width": Rule(0.4, "length", PRACTICE),
    "drain widest": Rule(2.0, "length", PRACTICE),
    "drain side slope": Rule(2.0, None, PRACTICE),
    "drain water": Rule(0.3, "length", PRACTICE),
    "drain shallowest": Rule(0.2, "length", PRACTICE),
    "drain bank top width": Rule(0.3, "length", PRACTICE),
    "drain freeboard": Rule(0.09, "length", "NRCS practice standard 362: 0.3 ft, from memory"),
    "erodible soil velocity": Rule(0.53, "speed", "Fortier & Scobey, 1926: sandy loam, clear "
                                   "water, from memory"),
    "resistant soil velocity": Rule(0.76, "speed", "Fortier & Scobey, 1926: firm loam, clear "
                                    "water, from memory"),
    "stone velocity": Rule(1.5, "speed", "Fortier & Scobey, 1926: cobbles, clear water, from "
                           "memory"),
    "turn-out reach": Rule(100.0, "length", PRACTICE),
    "screen loss": Rule(0.10, None, "DIN 1989-1, 2002: hydraulic efficiency 0.9 of a filter, from "
                        "memory"),
    "first flush least": Rule(0.41, "rain", "Texas Water Development Board, Texas Manual on "
                              "Rainwater Harvesting, 3rd ed., 2005: 10 gal for 1,000 ft2 of roof",
                              HEALTH),
    "first flush halves": Rule(1.0, "rain", "Martinson & Thomas, Quantifying the first-flush "
                               "phenomenon, 2005, from memory: what a storm washes off halves for "
                               "each mm turned away", HEALTH),
    "joined tanks level": Rule(0.1, "length", PRACTICE),
    "gutter fall": Rule(0.005, None, PRACTICE),
    "gutter roughness": Rule(0.012, None, "Chow, Open-Channel Hydraulics, 1959, Table 5-6: smooth "
                             "steel, from memory"),
    "gutter rain": Rule(1 / 12, "time", "Sheet Metal and Air Conditioning Contractors' National "
                        "Association, Architectural Sheet Metal Manual: 5 minutes, from memory",
                        BUILDING),
    "gutter return period": Rule(10.0, None, "Sheet Metal and Air Conditioning Contractors' "
                                 "National Association, Architectural Sheet Metal Manual: once in "
                                 "10 years, from memory", BUILDING),
    "downspout filled": Rule(7 / 24, None, "Wyly & Eaton, National Bureau of Standards, 1961, and "
                             "US plumbing codes, from memory; EN 12056-3, 2000, allows 0.33",
                             BUILDING),
    "downspout roughness": Rule(0.00025, "length", "EN 12056-3, 2000: 0.25 mm", BUILDING),
    "pipe diameter": Rule(0.1, "length", PRACTICE),
    "pipe roughness": Rule(0.011, None, "Chow, Open-Channel Hydraulics, 1959, Table 5-6: smooth "
                           "pipe, from memory"),
    "culvert roughness": Rule(0.024, None, "Chow, Open-Channel Hydraulics, 1959, Table 5-6: "
                              "corrugated metal, from memory"),
    "furrow fall": Rule(0.002, None, PRACTICE),
    "furrow width": Rule(0.3, "length", PRACTICE + ": as wide as a spade"),
    "furrow depth": Rule(0.15, "length", PRACTICE),
    "finishing share": Rule(0.25, None, PRACTICE),
    "loose per bank sand": Rule(1.11, None, FM_FACTORS),
    "loose per bank loam": Rule(1.25, None, FM_FACTORS),
    "loose per bank clay": Rule(1.43, None, FM_FACTORS),
    "machine bucket": Rule(0.1, "volume", PRACTICE + ": a digger of 3.5 t"),
    "machine fill": Rule(0.9, None, PRACTICE),
    "machine cycle": Rule(25.0, None, PRACTICE + ": seconds"),
    "machine efficiency": Rule(0.6, None, PRACTICE),
    "machine set-up": Rule(1.0, "time", PRACTICE + ": of each day"),
    "machine day": Rule(8.0, "time", PRACTICE),
    "hard ground share": Rule(0.25, None, PRACTICE + ": of the cut, at worst"),
    "hard ground output": Rule(0.4, None, PRACTICE + ": of the machine's output elsewhere"),
    "spreading share": Rule(0.5, None, PRACTICE + ": of the time it took to dig"),
    "topsoil on banks": Rule(0.10, "length", PRACTICE),
    "spoil thickness": Rule(0.15, "length", PRACTICE),
    "haul load": Rule(0.5, "volume", PRACTICE + ": a small dumper, loose"),
    "haul speed": Rule(1.0, "speed", PRACTICE + ": there and back, off the road"),
    "haul longest": Rule(150.0, "length", PRACTICE),
    "haul uphill": Rule(10.0, None, PRACTICE + ": metres on the level for each of rise"),
    "hand digging easy": Rule(5.0, None, ILO_TASKS + "soft soil"),
    "hand digging hard": Rule(2.0, None, ILO_TASKS + "very hard soil"),
    "hand digging most": Rule(15.0, "volume", PRACTICE),
    "stone thickness": Rule(0.3, "length", PRACTICE),
    "stone along the flow": Rule(3.0, "length", PRACTICE + ": over the lip and on its apron below"),
    "stone density": Rule(1.6, None, PRACTICE + ": tonnes in a m3 of loose stone"),
    "upkeep least": Rule(0.01, None, PRACTICE + ": of the cost, each year"),
    "upkeep most": Rule(0.03, None, PRACTICE + ": of the cost, each year"),
    "plastic tank lasts": Rule(25.0, None, PRACTICE + ": years, at least"),
    "plastic tank lasts at best": Rule(30.0, None, PRACTICE + ": years"),
    "steel tank lasts": Rule(15.0, None, PRACTICE + ": years, at least"),
    "steel tank lasts at best": Rule(30.0, None, PRACTICE + ": years"),
    "ferrocement tank lasts": Rule(25.0, None, PRACTICE + ": years, at least"),
    "ferrocement tank lasts at best": Rule(50.0, None, PRACTICE + ": years"),
    "pipe lasts": Rule(25.0, None, PRACTICE + ": years, at least"),
    "pipe lasts at best": Rule(50.0, None, PRACTICE + ": years"),
    "inspect after storm": Rule(25.0, "rain", PRACTICE),
    "sediment most": Rule(0.25, None, PRACTICE + ": of the depth of water"),
    "mulch thickness": Rule(0.1, "length", PRACTICE + ": 75 to 100 mm"),
    "finish before rain": Rule(1.0, None, PRACTICE + ": months"),
    "distinct rains": Rule(0.6, None, PRACTICE + ": share of its rain that a year's six wettest "
                           "months bring"),
    "stake spacing": Rule(10.0, "length", PRACTICE),
    "bend stake spacing": Rule(5.0, "length", PRACTICE),
    "stake bend radius": Rule(10.0, "length", PRACTICE),
    "stake line aside": Rule(0.25, "length", PRACTICE + ": the line between two stakes"),
    "stake offset": Rule(2.0, "length", PRACTICE),
    "staff length": Rule(4.0, "length", PRACTICE),
    "staff to spare": Rule(0.2, "length", PRACTICE + ": at its top, for a level set up higher"),
    "staff foot to spare": Rule(0.3, "length", PRACTICE + ": for a level set up lower, and to see "
                                "over grass"),
    "instrument height": Rule(1.4, "length", PRACTICE + ": over the ground it stands on"),
    "sight length": Rule(60.0, "length", PRACTICE),
    "level tolerance": Rule(0.1, "length", PRACTICE),
    "sill off level": Rule(0.005, "length", PRACTICE),
    "crest too low": Rule(0.005, "length", PRACTICE + ": no more than a level and staff err by",
                          ENGINEER),
    "crest too high": Rule(0.03, "length", PRACTICE),
    "bed off level": Rule(0.03, "length", PRACTICE),
    "surveyed off its line": Rule(3.0, "length", PRACTICE),
    "points on a sill": Rule(3.0, None, PRACTICE),
    "benchmark read again": Rule(0.005, "length", PRACTICE),
    "digging radius": Rule(3.0, "length", PRACTICE),
    "station spacing": Rule(3.0, "length", PRACTICE),
    "swale narrowest": Rule(0.3, "length", PRACTICE),
    "swale widest": Rule(1.5, "length", PRACTICE),
    "berm side slope clay": Rule(2.0, None, PRACTICE),
    "berm side slope loam": Rule(2.0, None, PRACTICE),
    "berm side slope sand": Rule(3.0, None, PRACTICE),
    "check spacing": Rule(12.0, "length", PRACTICE),
    "swale without checks": Rule(150.0, "length", PRACTICE),
    "check below sill": Rule(0.075, "length", PRACTICE),
    "check top width": Rule(0.5, "length", PRACTICE),
    "low rain year": Rule(500.0, "rain", PRACTICE),
    "curve number doubt": Rule(5.0, None, PRACTICE),
    "tested rate doubt": Rule(2.0, None, PRACTICE),
    "untested rate doubt": Rule(3.0, None, "more than the factor 2.3 of a coefficient of variation "
                                "of 1, which fields show: Warrick & Nielsen 1980, from memory"),
    "lidar doubt": Rule(0.10, "length", "USGS Lidar Base Specification, quality level 2, bare "
                        "ground, from memory"),
    "drone doubt": Rule(0.10, "length", "with ground control, from memory: 0.03 to 0.10 m on bare "
                        "ground, worse in shrubs"),
    "survey doubt": Rule(0.05, "length", PRACTICE),
    "national raster doubt": Rule(0.82, "length", "USGS 3DEP accuracy, 2024: 1/3 arc-second"),
    "global raster doubt": Rule(5.0, "length", "Journal of Geographic Information System, 2019: 5 "
                                "to 20 m"),
    "elevation doubt reach": Rule(30.0, "length", "Oksanen & Sarjakoski 2005: ranges of 30 to 120 "
                                  "m were tried"),
    "spill moved": Rule(25.0, "length", PRACTICE),
    "earth by two ways": Rule(0.10, None, PRACTICE),
    "swale spacing tolerance": Rule(0.10, None, "NRCS practice standard 600: spacing may be "
                                    "raised by 10 %"),
}


class Rulebook:
    """The rules in force: the published ones, less what the owner overruled.

    Parameters
    ----------
    overruled : mapping of str to str or float, optional
        A rule's name and the owner's figure.
    system : {"metric", "us"}
        Whose figures the published ones are, and the units of a bare number.

    Raises
    ------
    ValueError
        If a rule is not known, or its figure cannot be read.
    """

    def __init__(self, overruled: Mapping[str, str | float] | None = None,
                 system: str = "metric") -> None:
        self.system = system
        self._rules = {name: _in_us(name, rule) if system == "us" else rule
                       for name, rule in RULES.items()}
        self._own: set[str] = set()
        for name, given in (overruled or {}).items():
            name = own_name(name)
            if name not in RULES:
                near = difflib.get_close_matches(name, RULES, 1, 0)
                raise ValueError(f"there is no rule '{name}'; the nearest is '{near[0]}'")
            dimension = RULES[name].dimension
            try:
                value = (read_quantity(given, dimension, system) if dimension
                         else float(given))
            except ValueError:
                raise ValueError(f"the rule '{name}' cannot be '{given}'") from None
            if not value > 0:
                raise ValueError(f"the rule '{name}' must be above 0, not {given}")
            self._own.add(name)
            self._rules[name] = Rule(value, dimension, "the site file", RULES[name].decides)

    def __getitem__(self, name: str) -> float:
        return self._rules[name].value

    def source(self, name: str) -> str:
        """Where a rule's figure comes from."""
        return self._rules[name].source

    def overruled(self, name: str) -> bool:
        """Whether the owner states a figure of their own."""
        return name in self._own

    def decides(self, name: str) -> str:
        """Who has the last word where a rule bites."""
        return self._rules[name].decides

    def cited(self, name: str) -> str:
        """A rule's name, where its figure comes from, and who decides: what a caution owes."""
        rule = self._rules[name]
        return f"{self.named(name)}, {rule.source}; {rule.decides}"

    def named(self, name: str) -> str:
        """What a rule is called in the units of these."""
        return US_NAMES.get(name, name) if self.system == "us" else name


def own_name(name: str) -> str:
    """A rule's name here, of that or of what it is called in US units."""
    return next((own for own, us in US_NAMES.items() if us == name), name)


def _in_us(name: str, rule: Rule) -> Rule:
    """A rule with its figure on a site in US units."""
    given = US_FIGURES.get(name)
    if given is None or rule.dimension is None:
        return rule
    return replace(rule, value=read_quantity(given, rule.dimension, "us"))
