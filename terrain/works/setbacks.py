"""How far works are to stay from what lies about them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from terrain.inputs.keep_clear import Thing
from terrain.inputs.site_keep_clear import DEEP, HIGH
from terrain.units import in_both
from terrain.works.rules import Rulebook

BURIED = ("buried water line", "buried power line", "buried gas line", "buried line")
WELLS = ("private well", "public well")
#: The rule that each kind of thing goes by.
RULE_OF = {
    "septic field": "septic setback",
    "private well": "private well setback",
    "public well": "public well setback",
    "foundation": "building setback",
    "unstable ground": "unstable ground setback",
    "stream bank": "stream bank setback",
    "tree": "tree drip line",
    **dict.fromkeys(HIGH, "retaining wall setback"),
    **dict.fromkeys(BURIED, "buried line clearance"),
    **dict.fromkeys(DEEP, "rock or wet ground below"),
}


@dataclass(frozen=True)
class Setback:
    """A distance to keep from something.

    Attributes
    ----------
    distance : float
        From its drawn shape. [m]
    told : str
        The rule, where it comes from and who decides.
    """

    distance: float
    told: str


def setback_of(thing: Thing, rules: Rulebook) -> Setback | None:
    """The distance to keep from a thing; None where its depth counts, not its distance."""
    name = RULE_OF[thing.kind]
    if thing.kind in DEEP:
        return None
    if thing.distance is not None:
        return Setback(thing.distance, f"the distance in the site file, in place of {name}; "
                       f"{rules.decides(name)}")
    if thing.kind == "tree":
        own = thing.shape.area  # the outline of a crown is its drip line already
        radius = math.sqrt(own / math.pi) if own else (thing.measure or 0.0) / 2
        return Setback(radius * rules[name] - (radius if own else 0.0), rules.cited(name))
    if thing.kind in HIGH:
        return Setback((thing.measure or 0.0) * rules[name], rules.cited(name))
    return Setback(rules[name], rules.cited(name))


def buried_lines(rules: Rulebook) -> str:
    """The caution that every digging earns."""
    return ("Have buried pipes and cables located before digging, and dig by hand within "
            f"{in_both(rules['buried line clearance'], 'size')} of the marks "
            f"({rules.cited('buried line clearance')}); the locating service marks no private "
            "lines.")
