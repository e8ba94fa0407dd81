"""What a suggestion rests on, in whole sentences."""

from __future__ import annotations

import numpy as np

from terrain.inputs.site_suggest import Kind, Suggest
from terrain.plan.siting.reading import Inputs
from terrain.runoff.infiltration import rate_of
from terrain.suggest.look import Look
from terrain.suggest.prepare import (
    ENOUGH_WATER,
    GENERATORS,
    LAID_OUT,
    LEAST_COMES,
    MOST_COMES,
    MOST_ROWS,
    Prepared,
)
from terrain.suggest.rains import KINDS_OF_DAYS
from terrain.suggest.road_places import SHALLOWEST as SHALLOWEST_ROAD_BASIN
from terrain.suggest.suggestion import AimWords
from terrain.suggest.wall_lines import SHALLOWEST as SHALLOWEST_WALL
from terrain.units import in_both, per_cent
from terrain.works.rules import Rulebook

OF_AIM = {
    "water in a year": f"In the model the year is {KINDS_OF_DAYS} kinds of days with as much "
    "runoff each, and on a day of a kind a work has room for what it keeps on a mean one of them "
    "when it lives through the record alone.",
    "trees in a dry year": "The trees of a row are those that get by in the dry year of the record "
    f"by the plan's run of it alone; at most {MOST_ROWS} rows are run so. In the model they get by "
    f"as long as their row keeps {ENOUGH_WATER:.0%} of what it keeps alone, and fewer with less.",
    "water in a storm": "In the model a work's room is what it keeps of a storm far too large for "
    "it, soaking included.",
    "storm leaving": "The model counts water kept in the storm, for that is what can be added up; "
    "of the layouts that reach a tenth less or better, the one is taken from which the least flow "
    "leaves in the run.",
    "erosion": "Erosion is told as the work of running water: each m³ that is kept is spared the "
    "fall from there to where it would leave the site.",
}


def notes_of(look: Look, asked: Suggest, aim: AimWords, whole: Prepared) -> list[str]:
    """What all of it rests on."""
    rules = look.inputs.rules
    weighed = len(whole.free)
    said = [f"The bound is that of the model over the {weighed:,} places that were weighed, with "
            "works that may be built in part: no choice among them does better in it. Places to "
            f"which less than {LEAST_COMES:.0%} of what they hold comes in the design storm, or "
            f"more than {MOST_COMES:g} times that, were left out before (common practice, no "
            "source), and places that were not looked at are outside it.", OF_AIM[aim.aim],
            f"Prices of places are reckoned roughly and put right by kind, by {LAID_OUT} of each "
            "laid out as the plan does; what a proposal costs is the plan's own reckoning of its "
            "works, tanks and what stands left out."]
    money = look.inputs.site.money
    if money is not None and sum(money.haulage) > 0:
        said.append(f"Bringing the machine and fetching it again, about {sum(money.haulage):,.0f} "
                    f"{money.currency}, is in what a proposal costs and in none of its works; "
                    "whole days of the machine may add to it.")
    said.append(soaks_note(asked, rules))
    deep = asked.water_at_bank or rules["embankment water"]
    said.append(f"No bank holds water deeper than {in_both(deep, 'size')}." if asked.water_at_bank
                else f"Water at banks stays below {in_both(deep, 'size')}, from which on the rules "
                f"for dams apply ({rules.cited('embankment water')}).")
    if whole.barred:
        names = [whole.candidates[j].name for j in sorted(whole.barred)]
        said.append("Works of your own on ground that the rules keep clear are weighed, not "
                    "proposed: " + ", ".join(names) + ".")
    if look.inputs.hydrology.loss_on_the_way:
        said.append("The model leaves out what soaks in on the way; the runs count it.")
    return said


def soaks_note(asked: Suggest, rules: Rulebook) -> str:
    """How fast new works are taken to soak in."""
    if asked.infiltration is not None:
        return (f"Every new work is taken to soak in {in_both(asked.infiltration, 'rate')}, as "
                "stated under suggest; dig a hole test where each is to go.")
    return ("New works soak in by the table rates of their soil groups, halved as nobody dug a "
            f"hole test; where water would stand for more than {rules['standing water']:g} h "
            f"({rules.source('standing water')}) none is proposed, but ponds deeper than "
            f"{in_both(rules['fish depth'], 'length')}, which are meant to hold water all the time "
            f"({rules.source('fish depth')}). A hole test, stated under suggest (infiltration:), "
            "may open more ground.")


def why_none(inputs: Inputs, asked: Suggest, kind: Kind) -> str:
    """Why no place of a kind was found, in a whole sentence; "" where that is not known."""
    rules = inputs.rules
    if kind == "road basin" and not inputs.ground.roads:
        return "No place for a road basin was found, as the site file lists no road."
    least = {"swale": rules["swale shallowest"], "road basin": SHALLOWEST_ROAD_BASIN,
             "wall": SHALLOWEST_WALL}.get(kind)
    if least is None:
        return ""
    rate = _quickest(inputs, asked)
    soaked = rules["standing water"] * rate / 1000
    if soaked >= least:
        return "" if kind != "swale" or asked.sill_at_least is None else (
            f"No place for a swale of {in_both(asked.sill_at_least, 'length')} or more was found, "
            "as long as a sill is to be at least.")
    return (f"No place for a {kind} was found, as water would stand there for more than "
            f"{rules['standing water']:g} h: at {in_both(rate, 'rate')}, the quickest that is "
            f"counted on here, {in_both(soaked, 'size')} soak in by then, and none shallower than "
            f"{in_both(least, 'size')} is looked for.")


def _quickest(inputs: Inputs, asked: Suggest) -> float:
    """The rate of the soil of the site that takes in most. [mm/h]"""
    ground = inputs.ground
    cells = np.argwhere(ground.inside)
    _, one_of_each = np.unique(ground.soil[ground.inside], return_index=True)
    return max((rate_of(asked.infiltration, None, ground.soil_group_of(cells[i:i + 1])).rate
                for i in one_of_each), default=0.0)


def shares_note(asked: Suggest) -> str:
    """How the places that are looked at are shared out where no swale takes what is left."""
    shares = {kind: share for kind, (_, share) in GENERATORS.items()
              if kind in asked.kinds and kind != "swale"}
    told = ", ".join(f"{per_cent(share)} {kind}s" for kind, share in shares.items())
    return (f"Of the {asked.places:,} places asked for at most so many are of a kind: {told}; "
            "the rest is kept for swales.") if told else ""
