"""Each rule of the trade that is a figure, with its source; a site file may overrule any."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass

from terrain.units import read_quantity

PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Rule:
    """A figure of the trade.

    Attributes
    ----------
    value : float
        In the unit kept inside for `dimension`; a bare figure where that is None.
    dimension : str or None
    source : str
    """

    value: float
    dimension: str | None
    source: str


RULES: dict[str, Rule] = {
    "swale depth": Rule(0.3, "length", PRACTICE),
    "swale width": Rule(0.6, "length", PRACTICE),
    "swale side slope": Rule(2.0, None, PRACTICE),
    "swale shallowest": Rule(0.2, "length", PRACTICE),
    "swale deepest": Rule(0.5, "length", PRACTICE),
    "swale length": Rule(60.0, "length", PRACTICE),
    "swale longest": Rule(300.0, "length", PRACTICE),
    "swale steepest": Rule(0.15, None, PRACTICE),
    "swale steep": Rule(0.10, None, PRACTICE),
    "swale flat": Rule(0.01, None, PRACTICE),
    "berm top width": Rule(0.6, "length", PRACTICE),
    "berm freeboard": Rule(0.15, "length", PRACTICE),
    "berm settlement": Rule(0.10, None, "Hydraulic Structures, 4th ed., sect. 2.10"),
    "sill coefficient": Rule(1.7, None, "FAO Irrigation and Drainage Paper 64, 2010"),
    "sill head": Rule(0.075, "length", PRACTICE),
    "sill shortest": Rule(4.0, "length", "North Carolina State Univ., Level Spreaders, 2006"),
    "sill longest": Rule(40.0, "length", "North Carolina State Univ., Level Spreaders, 2006"),
    "basin freeboard": Rule(0.3, "length", "NRCS practice standard 378"),
    "spillway head": Rule(0.15, "length", PRACTICE),
    "embankment water": Rule(0.9, "length", "NRCS practice standard 378"),
    "engineer water": Rule(1.8, "length", "33 USC 467: 6 ft; many places set lower limits"),
    "wall top width": Rule(1.8, "length", "USDA Agriculture Handbook 590, 1997, from memory"),
    "wall wet slope": Rule(3.0, None, "a state wildlife agency's pond guide; NRCS practice "
                           "standard 378 asks 2.5:1 or flatter"),
    "wall dry slope": Rule(2.5, None, "a state wildlife agency's pond guide"),
    "standing water": Rule(72.0, "time", "Univ. of California, Managing Mosquitoes in Stormwater "
                           "Treatment Devices, 2004"),
    "drowning depth": Rule(0.45, "length", PRACTICE),
    "building setback": Rule(3.0, "length", "Minnesota Stormwater Manual, 2022"),
    "compacted per bank": Rule(0.9, None, "US Army FM 5-434, 2000, Table 1-1, from memory"),
    "tree bowl shallowest": Rule(0.15, "length", PRACTICE),
    "tree bowl deepest": Rule(0.30, "length", PRACTICE),
    "hollow rim": Rule(0.05, "length", PRACTICE),
    "hollow noted": Rule(1.0, "volume", PRACTICE),
    "harvest efficiency": Rule(0.5, None, "FAO AGL/MISC/17/91, 1991, sect. 4.3: 0.5 to 0.75"),
    "tree bowl side slope": Rule(2.0, None, PRACTICE),
    "furrow fall": Rule(0.002, None, PRACTICE),
    "finishing share": Rule(0.25, None, PRACTICE),
    "stake spacing": Rule(10.0, "length", PRACTICE),
    "level tolerance": Rule(0.1, "length", PRACTICE),
}


class Rulebook:
    """The rules in force: the published ones, less what the owner overruled.

    Raises
    ------
    ValueError
        If a rule is not known, or its figure cannot be read.
    """

    def __init__(self, overruled: Mapping[str, str | float] | None = None,
                 system: str = "metric") -> None:
        self._rules = dict(RULES)
        for name, given in (overruled or {}).items():
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
            self._rules[name] = Rule(value, dimension, "the site file")

    def __getitem__(self, name: str) -> float:
        return self._rules[name].value

    def source(self, name: str) -> str:
        """Where a rule's figure comes from."""
        return self._rules[name].source
