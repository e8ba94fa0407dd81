"""What a plan says of a basin beyond its account: spillway, earth, forebay, catch, months."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from terrain.plan.water.catches import CatchCurve, StormCatch
from terrain.plan.water.pond_years import PondYear
from terrain.runoff.evapotranspiration import MONTHS
from terrain.units import in_both, lasting
from terrain.works.basin import Basin
from terrain.works.rules import Rulebook
from terrain.works.spillway import Spillway, lining_words, spillway
from terrain.works.store import Store

#: Ground so little lower than a crest is told as level with it, as 0.00 m would be. [m]
CLOSE = 0.005
#: The storm that people ask a basin about. [years]
ASKED = 10.0


@dataclass(frozen=True)
class BasinFacts:
    """What a plan says of a basin.

    Attributes
    ----------
    spillway : Spillway
    design : str
        Name of the design storm.
    forebay : (float, float)
        Least and most of a forebay's volume. [m3]
    empties_in_time : bool
        Full, it is empty again within the time that mosquitoes leave.
    catches : tuple of StormCatch
    curve : CatchCurve
    years : tuple of PondYear
        Of a pond meant to hold water, where there is a rain record.
    said : tuple of str
        All that in sentences.
    """

    spillway: Spillway
    design: str
    forebay: tuple[float, float]
    empties_in_time: bool
    catches: tuple[StormCatch, ...]
    curve: CatchCurve
    years: tuple[PondYear, ...]
    said: tuple[str, ...]


def basin_facts(basin: Basin, store: Store, design: str,
                catch: tuple[tuple[StormCatch, ...], CatchCurve],
                years: tuple[PondYear, ...], rules: Rulebook, pond: bool = False) -> BasinFacts:
    """Gather them.

    Parameters
    ----------
    basin : Basin
        With its sill as sized for the design peak.
    design : str
        Name of the design storm.
    pond : bool
        It is meant to hold water.
    """
    over = spillway(basin.sill, basin.crest if basin.has_wall else None, rules)
    forebay = (rules["forebay least"] * basin.storage, rules["forebay most"] * basin.storage)
    in_time = store.drain_hours <= rules["standing water"]
    said = [*catch_words(catch[0]), *earth_words(basin, rules),
            spillway_words(over, basin, f"the design storm \"{design}\"", rules),
            *rim_words(basin), forebay_words(forebay, rules),
            *([] if pond else [_drawdown(store, in_time, rules)]),
            *(_year_words(year) for year in years)]
    return BasinFacts(over, design, forebay, in_time, *catch, years, tuple(said))


def catch_words(found: tuple[StormCatch, ...]) -> list[str]:
    """What a basin catches of each 10-year storm; of every storm where none is one."""
    asked = [storm for storm in found if storm.return_period == ASKED]
    said = []
    for storm in asked or found:
        what = (f"A {ASKED:.0f}-year storm (\"{storm.name}\", " if asked else
                f"The storm \"{storm.name}\" (")
        said.append(
            f"{what}{in_both(storm.rain, 'rain')} over {storm.hours:g} h) brings "
            f"{in_both(storm.comes, 'volume')} to it, and it catches "
            f"{in_both(storm.caught, 'volume')}: between {in_both(storm.dry, 'volume')} on dry "
            f"ground (antecedent condition I) and {in_both(storm.wet, 'volume')} on wet (III).")
    if not asked:
        said.append("No storm of the site file is said to come once in 10 years; give one a "
                    "return period of 10, and it stands here.")
    return said


def earth_words(basin: Basin, rules: Rulebook) -> list[str]:
    """The earth of a basin's wall and pit, and their balance."""
    profile = basin.profile
    if profile is None:
        return []
    said = [
        f"Its wall is {in_both(profile.top, 'size')} wide at its top and holds "
        f"{in_both(profile.earth, 'earth')} once settled; build it "
        f"{profile.settlement:.0%} higher than it is to stand ({rules.source('wall settlement')}), "
        f"{in_both(profile.earth_built, 'earth')}. Under it {in_both(profile.topsoil, 'earth')} of "
        f"topsoil come off, {in_both(profile.strip, 'size')} deep, and a cut-off trench of "
        f"{in_both(profile.cutoff, 'earth')} is dug into tight soil along its centreline, "
        f"{in_both(profile.cutoff_depth, 'size')} deep and "
        f"{in_both(profile.cutoff_width, 'size')} wide at its floor, sides "
        f"{profile.cutoff_slope:g}:1, and filled again in rolled layers "
        f"({rules.source('cut-off width')})."]
    share, spare = rules["compacted per bank"], basin.spare(rules)
    sources = [*(["pit"] if basin.rim is not None else []), "trench",
               *(["spillway"] if basin.spillway > 0.05 else [])]
    listed = " and ".join([", ".join(sources[:-1]), sources[-1]] if sources[1:] else sources)
    gives = (f"{listed.capitalize()} {'give' if sources[1:] else 'gives'} "
             f"{in_both(basin.usable, 'earth')} of earth without topsoil, "
             f"{in_both(basin.usable * share, 'earth')} compacted")
    left = ("which balances" if abs(spare) < 0.05 else
            f"so {in_both(abs(spare), 'earth')} "
            + ("are left over" if spare > 0 else "must be brought"))
    said.append(f"{gives} (compacted per bank {share:g}, {rules.source('compacted per bank')}); "
                f"the bank as built takes {in_both(basin.fill, 'earth')}, trench and stripped "
                f"ground filled again: {left}.")
    if basin.balanced:
        beside = (" What its spillway gives comes beside that, "
                  f"{in_both(spare, 'earth')} compacted without topsoil, and is left over."
                  if basin.spillway > 0.05 else "")
        said.append(f"The pit's depth of {in_both(basin.pit_depth, 'size')} was left out and "
                    f"found so that pit and trench give what the bank takes.{beside}")
    return said


def spillway_words(over: Spillway, basin: Basin, storm: str, rules: Rulebook) -> str:
    """How a sill does at the design peak."""
    free = ("" if over.freeboard is None else
            f", {in_both(over.freeboard, 'size')} of bank is left above the water "
            f"({in_both(rules['basin freeboard'], 'size')} asked for, "
            f"{rules.source('basin freeboard')})")
    return (f"At the peak of {storm}, {in_both(basin.sill.peak, 'flow')}, "
            f"{in_both(basin.sill.head, 'size')} of water stands on its sill, "
            f"{in_both(basin.sill.length, 'length')} long{free}. It runs over at "
            f"{in_both(over.velocity, 'speed')}: {lining_words(over, rules)}. Further down on "
            "steeper ground it runs faster.")


def rim_words(basin: Basin) -> list[str]:
    """Where water would get round a wall."""
    if not basin.has_wall:
        return []
    if basin.outflank is None:
        ends = None if basin.profile is None else basin.profile.ground[[0, -1]]
        if ends is not None and (ends < basin.crest - CLOSE).any():
            low = float(basin.crest - ends.min())
            return [f"The ground at an end of the wall is {in_both(low, 'size')} lower than the "
                    "crest, so that end must be tied in; beside it the raster shows no ground "
                    "below the crest by which water would get round the wall."]
        return ["The raster shows no ground below the crest by which water would get round the "
                "wall."]
    return []


def forebay_words(forebay: tuple[float, float], rules: Rulebook) -> str:
    """How large a forebay would be."""
    low, high = (in_both(volume, "volume") for volume in forebay)
    return ("A forebay where the water comes in, with its own low bank, keeps silt where a machine "
            f"reaches it: {low} to {high}, {rules['forebay least']:.0%} to "
            f"{rules['forebay most']:.0%} of what the basin holds "
            f"({rules.source('forebay least')}).")


def _drawdown(store: Store, in_time: bool, rules: Rulebook) -> str:
    limit, hours = rules["standing water"], store.drain_hours
    takes = "does not soak away" if np.isinf(hours) else f"soaks away in {lasting(hours)}"
    return (f"Full, it {takes} at {in_both(store.infiltration, 'rate')} ({store.rate_source}): "
            f"{'within' if in_time else 'longer than'} the {limit:.0f} h that are told for "
            f"mosquitoes ({rules.source('standing water')}).")


def _year_words(year: PondYear) -> str:
    low = year.lowest
    dry = ("it never falls dry" if year.dry_days < 0.5 else
           f"it is dry on {year.dry_days:.0f} days")
    deep = f"{in_both(low.depth, 'size')} deep over its lowest floor"
    how = (f", {deep}." if low.dry_days < 0.5 else
           ", and it is dry all month." if not low.depth else
           f"; it is dry on {low.dry_days:.0f} of that month's days, and on the others {deep}.")
    return (f"In the {year.name} {dry}; least stands in it in {MONTHS[low.month - 1]}, "
            f"{in_both(low.stands, 'volume')} on the mean day{how}"
            + (f" Of the {in_both(year.wanted, 'volume')} that its uses want, "
               f"{in_both(year.used, 'volume')} are drawn, {year.used / year.wanted:.0%}."
               if year.wanted else ""))
