"""What keeps works in order: what is looked at after rain, and what is done when in the year.

Months are those of a site: they follow from its wet season, never from a date that is made up.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from terrain.units import lasting
from terrain.works.rules import PRACTICE

BEFORE, RAINS, AFTER, DRY, DRIEST, HOT = ("before the rains", "each month of the rains",
                                          "after the rains", "each dry month",
                                          "in the driest month", "before the hot months")
#: Of these a site without a known wet season is told in words.
MOMENTS = (BEFORE, RAINS, AFTER, DRY, DRIEST, HOT)
#: Months of what is done each quarter, 0 to 11.
QUARTERS = (0, 3, 6, 9)

FEMA = "FEMA 534, Impacts of Plants on Earthen Dams, 2005"
MOSQUITOES = "Univ. of California, Managing Mosquitoes in Stormwater Treatment Devices, 2004"


@dataclass(frozen=True)
class Task:
    """A task of upkeep.

    Attributes
    ----------
    says : str
        What is done; figures in braces are those of rules.
    kinds : tuple of str
        Kinds of work that it is for; "roof" for what leads a roof's water, "road" for a road that
        lets its water go, "bank" for a wall of earth, "deep" for water that can drown.
    when : tuple of str
        Some of `MOMENTS`.
    source : str
    """

    says: str
    kinds: tuple[str, ...]
    when: tuple[str, ...]
    source: str = PRACTICE


@dataclass(frozen=True)
class Look:
    """What is looked at once the first storm has filled a work, and after every heavy one;
    figures in braces are those of rules, and `drained_words` of the work."""

    says: str
    kinds: tuple[str, ...]
    source: str = PRACTICE


TASKS: tuple[Task, ...] = (
    Task("Clear gutters and downspouts of leaves and nests", ("roof",), (BEFORE, RAINS)),
    Task("Clean leaf screens, and the mesh at each tank's inlet and overflow", ("roof",),
         (BEFORE, RAINS)),
    Task("Empty the first-flush diverter, rinse it, see that it drips dry", ("first flush",),
         (BEFORE, RAINS)),
    Task("Look over tank, lid, base, taps and overflow; tighten and mend", ("tank",), (BEFORE,)),
    Task("Measure the sediment in the tank; take it out before it nears the outlet", ("tank",),
         (DRIEST,)),
    Task("Walk sill, ends and toe: cracks, burrows, wet places, a low crest",
         ("swale", "basin"), (BEFORE, AFTER)),
    Task("Take levels along sill and crest; fill low places, never trim the lip",
         ("swale", "basin"), (AFTER,)),
    Task("Reseed and mulch bare patches of berms, banks and spread earth",
         ("swale", "basin", "drain"), (BEFORE,)),
    Task("Cut what grows woody on a bank, its sill or spillway, roots and all", ("bank", "swale"),
         (AFTER,), FEMA),
    Task("Clear brush and flotsam off sill and spillway; put stone back", ("swale", "basin"),
         (BEFORE, RAINS)),
    Task("Dig out sediment, above all at the inlet, once it fills {sediment most} of the depth",
         ("swale", "basin"), (AFTER,)),
    Task("Look for larvae where water stands longer than {standing water}; drain it or stock fish",
         ("swale", "basin", "tree basin", "hollow"), (RAINS,), MOSQUITOES),
    Task("See that fence and rope stand where water is deep", ("deep",), (BEFORE,)),
    Task("Clear each basin's way in and way out, and the furrow between", ("tree basin",),
         (BEFORE, RAINS)),
    Task("Bring mulch up to {mulch thickness}, a hand's width off the bark", ("tree basin",),
         (AFTER, HOT)),
    Task("Water young trees by hand, for two or three years", ("tree basin",), (DRY,)),
    Task("Clear the bed, mend where it scours, look at its outfall", ("drain",),
         (BEFORE, AFTER)),
    Task("Walk the rim and the floor: new ways out, burrows, rubbish", ("hollow",), (AFTER,)),
    Task("Clear turn-outs, water bars and the mouths of culverts", ("road",), (BEFORE, RAINS)),
)

LOOKS: tuple[Look, ...] = (
    Look("Where did water stand? Mark its edge all along: it shows where sill, lip or crest is "
         "high or low.", ("swale", "basin", "tree basin")),
    Look("Did it spill at its sill and nowhere else, over the whole length of the sill?",
         ("swale", "basin", "tree basin")),
    Look("Is the way of the spill whole: no rill, no scour, no stone carried off?",
         ("swale", "basin", "tree basin", "hollow", "drain")),
    Look("Is the toe dry, the bank without cracks, sunken places or muddy water coming through? "
         "Muddy water: keep people off, let it down, ask an engineer.", ("swale", "bank")),
    Look("{drained}", ("swale", "basin", "tree basin", "hollow"), MOSQUITOES),
    Look("How much silt came in, and from where? Cover that ground first.",
         ("swale", "basin", "drain")),
    Look("Does its bed scour, or silt lie where it should run?", ("drain",)),
    Look("Do trunks stand dry on their mounds, with mulch still in place?", ("tree basin",)),
    Look("Did gutters run over, or joints drip?", ("roof",)),
    Look("Did the first flush fill before the tank did, and does it drip empty?",
         ("first flush",)),
    Look("Does the overflow go where the plan leads it, without washing at the tank's foot?",
         ("tank",)),
    Look("Is the water clear, the screen clean, the base dry and level?", ("tank",)),
    Look("Did each turn-out and culvert take its water off the road?", ("road",)),
)


def tasks_for(kinds: Collection[str]) -> list[Task]:
    """Tasks of works of such kinds."""
    return [task for task in TASKS if set(task.kinds) & set(kinds)]


def looks_for(kinds: Collection[str]) -> list[Look]:
    """What is looked at of works of such kinds."""
    return [look for look in LOOKS if set(look.kinds) & set(kinds)]


def drained_words(hours: Sequence[float], limit: float) -> str:
    """Whether works drained as planned, and what of mosquitoes where they stand longer.

    Parameters
    ----------
    hours : sequence of float
        How long each work of one entry takes to drain, full; infinite where it never does. [h]
    limit : float
        The rule `standing water`. [h]
    """
    ends = [hour for hour in hours if lasting(hour) != "never"]
    told = list(dict.fromkeys(lasting(hour) for hour in (min(ends), max(ends)))) if ends else []
    if len(told) == 2 and told[0].split(" ")[1] == told[1].split(" ")[1]:
        told[0] = told[0].split(" ")[0]  # the unit once
    asked = (f"Had it drained after about {' to '.join(told)}, as planned? If not, test a hole "
             "again." if told else "Does it hold its water as planned? If it sinks faster than sun "
             "and use explain, look for where it leaks.")
    if max(hours) <= limit:
        return asked
    return (f"{asked} Water that stands longer than {limit:g} h (standing water) breeds "
            "mosquitoes: look for larvae.")


def months_of(moments: Sequence[str], season: tuple[int, int] | None, driest: int, ahead: int,
              hot: int | None) -> list[int]:
    """Months in which a task falls, 0 to 11, in their order.

    Parameters
    ----------
    season : (int, int) or None
        First and last month of the rains, 0 to 11. None where no rains are distinct: what is
        done within the rains, or the dry months, is then done every month, and what comes before
        or after the rains each quarter (common practice, no source).
    driest : int
        Month with the least rain.
    ahead : int
        Whole months before the rains by which all is to be ready.
    hot : int or None
        First of the hot months; None where none stand out.

    Raises
    ------
    ValueError
        If a moment is none of `MOMENTS`.
    """
    rains = dry = list(range(12))
    before = after = list(QUARTERS)
    if season is not None:
        first, last = season
        rains = [(first + i) % 12 for i in range((last - first) % 12 + 1)]
        dry = [month for month in range(12) if month not in rains]
        before, after = [(first - ahead) % 12], [(last + 1) % 12]
    found: set[int] = set()
    for moment in moments:
        if moment == BEFORE:
            found.update(before)
        elif moment == RAINS:
            found.update(rains)
        elif moment == AFTER:
            found.update(after)
        elif moment == DRY:
            found.update(dry)
        elif moment == DRIEST:
            found.add(driest)
        elif moment == HOT:
            found.update([] if hot is None else [(hot - 1) % 12])
        else:
            raise ValueError(f"'{moment}' is no moment of upkeep")
    return sorted(found)


def hottest_from(latitude: float) -> int | None:
    """First of the hot months, 0 to 11: June north of the tropic, December south of it.

    Meteorological summers, June to August and December to February (World Meteorological
    Organization's usage, from memory); within the tropics, 23.44 degrees, none stands out.
    """
    if abs(latitude) < 23.44:
        return None
    return 5 if latitude > 0 else 11
