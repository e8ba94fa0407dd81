"""How fast the ground takes water: from a hole test, or by default, and how long water stands."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from terrain.errors import InputError
from terrain.inputs.hole_readings import read_hole
from terrain.runoff.hole_test import (
    LEAST_DROP,
    STEADY_WITHIN,
    Hole,
    HoleTest,
    hole_test,
    pit,
    round_hole,
)
from terrain.runoff.infiltration import (
    GROUP_SOURCE,
    TEXTURE_SOURCE,
    UNTESTED_SHARE,
    group_of,
    rate_of,
)
from terrain.units import either, in_both
from terrain.works.rules import PRACTICE, RULES

#: How long people let water stand. [h]
#: Source: common practice for 24 and 48 h; the rule "standing water" for 72 h.
LIMITS = (24.0, 48.0, RULES["standing water"].value)
#: Nobody holds deeper water to soak in. [m]
DEEPEST = 100.0
LATEST = ("California Department of Public Health, Best Management Practices for Mosquito Control, "
          "2010, allows 96 h")


@dataclass(frozen=True)
class Drawdown:
    """How long a depth of water stands on a flat floor. [m], [h]"""

    depth: float
    hours: float

    @property
    def over(self) -> dict[float, bool]:
        """Whether it stands longer than each of `LIMITS`."""
        return {limit: self.hours > limit for limit in LIMITS}


@dataclass(frozen=True)
class SoakAnswer:
    """A rate to count on.

    Attributes
    ----------
    rate : float
        [mm/h]
    source : str
    test : HoleTest or None
        None for a default.
    soil_group : str
        The group that is asked about, or the one that the tested rate would fit; empty for a
        texture.
    drawdown : Drawdown or None
    cautions, rests_on : tuple of str
    """

    rate: float
    source: str
    test: HoleTest | None
    soil_group: str
    drawdown: Drawdown | None
    cautions: tuple[str, ...]
    rests_on: tuple[str, ...]


_OF_TESTS = (
    "Have buried pipes and cables located before you dig; cover the hole whenever you leave it.",
    "The rate belongs to that spot and depth: test at the depth of the floor to be, in two or "
    "three places, and count on the slowest.",
    "Codes may ask for a licensed person's test, for septic fields above all.")


def from_hole(path: Path, diameter: float | None, sides: tuple[float, float] | None,
              safety: float, hole_depth: float | None = None, depth: float | None = None
              ) -> SoakAnswer:
    """The rate that readings of a hole test give.

    Parameters
    ----------
    path : Path
    diameter : float or None
        Of a round hole. [m]
    sides : (float, float) or None
        Of a pit; one of the two. [m]
    safety : float
        What the measured rate is divided by. [-]
    hole_depth : float, optional
        For distances measured down from the rim. [m]
    depth : float, optional
        A depth of water to drain. [m]

    Raises
    ------
    InputError
    """
    if not safety >= 1:
        raise InputError("--safety", f"{safety:g} is not a factor of 1 or more", "Give 2, or more")
    hole = _hole(diameter, sides)
    readings = read_hole(path, None if hole_depth is None else hole_depth * 1000)
    try:
        test = hole_test(readings.fillings, hole, safety)
    except ValueError as error:
        raise InputError(str(path), str(error), "Correct the readings") from None
    group = group_of(test.measured)
    rests = [
        *readings.notes,
        f"{hole.words[0].upper()}{hole.words[1:]}: water leaves through floor and sides alike, as "
        "in the inverted auger-hole method (Kessler & Oosterbaan, ILRI Publication 16, 1974, from "
        "memory), so that the rate is that of a flat floor.",
        "The slower half of the last filling counts; the whole of it where the water sank by less "
        f"than {either(f'{LEAST_DROP:g} mm', LEAST_DROP, 'rain')} in a half ({PRACTICE}).",
        f"Steady means that the rate fell by no more than {STEADY_WITHIN:.0%} ({PRACTICE}).",
        f"The measured rate is divided by {safety:g} ({PRACTICE}), for soil differs from spot to "
        "spot and silts up.",
        f"A soil that takes {in_both(test.measured, 'rate')} throughout its first metre, with "
        f"neither rock nor water within it, is of group {group} (NEH 630, ch. 7, 2009, Table 7-1, "
        "from memory): compare it with the soil map."]
    return _answer(test.design, f"hole test of {readings.source}, divided by {safety:g}", test,
                   group, depth, [*test.cautions, *_OF_TESTS], rests)


def by_default(texture: str | None, group: str | None, depth: float | None = None) -> SoakAnswer:
    """The rate counted on for a texture or a soil group that nobody tested.

    Raises
    ------
    InputError
        If the texture is unknown.
    """
    try:
        found = rate_of(None, texture, group)
    except ValueError as error:
        raise InputError("--texture", str(error), "Use one of them, or --group") from None
    rests = [f"The published rate ({TEXTURE_SOURCE if texture else GROUP_SOURCE}) times "
             f"{UNTESTED_SHARE:g}, as no hole was tested ({PRACTICE})."]
    if texture:
        rests.append("The table's conductivity is that of wetted soil with air trapped in it, half "
                     "the saturated one.")
    else:
        rests.append("The middle of the group's band is taken.")
    return _answer(found.rate, found.source, None, group or "", depth,
                   ["This is a default. Soil of one name differs tenfold; a hole, a bucket and a "
                    "watch tell more."], rests)


def site_line(rate: float, system: str = "metric") -> str:
    """The line of a site file that states a rate, to three figures. [mm/h]"""
    value, unit = (rate / 25.4, "in/h") if system == "us" else (rate, "mm/h")
    figures = f"{float(f'{value:.3g}'):f}"
    return f"infiltration: {figures.rstrip('0').rstrip('.')} {unit}"


def _hole(diameter: float | None, sides: tuple[float, float] | None) -> Hole:
    if (diameter is None) == (sides is None):
        raise InputError("the hole", "its size was not given" if diameter is None else
                         "it cannot be both round and a pit",
                         "Give --diameter of a round hole, or --pit LENGTH,WIDTH")
    try:
        return round_hole(diameter) if diameter is not None else pit(*(sides or (0.0, 0.0)))
    except ValueError as error:
        raise InputError("--diameter" if sides is None else "--pit", str(error),
                         "Give it with its unit, such as 300mm or 12in") from None


def _answer(rate: float, source: str, test: HoleTest | None, group: str, depth: float | None,
            cautions: list[str], rests: list[str]) -> SoakAnswer:
    drawdown = None
    if depth is not None:
        if depth > DEEPEST:
            raise InputError("--depth", f"{depth:g} m is more water than any work holds",
                             "Give it with its unit, such as 300mm")
        hours = depth * 1000 / rate if rate > 0 else float("inf")
        drawdown = Drawdown(depth, hours)
        limit = RULES["standing water"]
        rests = [*rests, f"{in_both(depth, 'length', 2)} of water on a flat floor, by soaking "
                 "alone; rain on it and silt make it longer, the sides and the sun shorter.",
                 f"Many want it gone in 24 or 48 h ({PRACTICE}); in {limit.value:.0f} h it must "
                 f"be, lest it breed insects ({limit.source})."]
        if hours > limit.value:
            cautions = [f"Water that stands longer than {limit.value:.0f} h breeds mosquitoes "
                        f"({limit.source}; {LATEST}). Make it shallower or wider, or lead the "
                        "water on.", *cautions]
    return SoakAnswer(rate, source, test, group, drawdown, tuple(cautions), tuple(rests))
