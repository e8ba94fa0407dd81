"""What a plan's figures rest on, in whole sentences."""

from __future__ import annotations

from itertools import takewhile

import numpy as np

from terrain.plan.siting.hydrology import soil_dries
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs, assumptions
from terrain.plan.water.short_record import short_record
from terrain.plan.water.water_balance import SeasonRun
from terrain.runoff.hydrograph import STANDARD_PEAK_FACTOR
from terrain.units import in_both, tenths_words


def plan_notes(inputs: Inputs, placed: list[Placed], seasons: SeasonRun | None) -> list[str]:
    """Every note of a plan, in the order of the work."""
    tenths = tenths_words(inputs.site.units)
    notes = [*([tenths] if tenths is not None else []), *assumptions(inputs)]
    how = inputs.hydrology
    notes.append("Runoff: curve numbers of TR-55 (1986), Table 2-2, summed cell by cell; "
                 f"{how.rule.said}.")
    notes.append("Ways of the water: steepest descent to one of eight neighbours on the raster "
                 "with its hollows filled to their rims; the works catch what meets them.")
    notes += _hollow_notes(inputs, placed)
    notes += _drain_notes(inputs, placed)
    hydrograph = ("unit hydrograph of NEH 630 ch. 16 (2007)" if
                  how.peak_factor == STANDARD_PEAK_FACTOR else
                  f"gamma unit hydrograph of peak rate factor {how.peak_factor:g} (NEH 630 ch. 16, "
                  "2007)")
    notes.append(f"Storms: every store starts empty; {hydrograph}, its lag 0.6 of the time of "
                 "concentration; level-pool routing with infiltration.")
    notes += how.notes
    if seasons is not None:
        said = ("1 day without a reading was left out of the average" if seasons.missing == 1 else
                f"{seasons.missing} days without a reading were left out of the average"
                if seasons.missing else "no day is missing")
        wetness = "on ground of average wetness"
        if soil_dries(inputs.site):
            wetness = ("on ground whose curve numbers follow its wetness between antecedent "
                       "condition I and III (Kannan and others, 2008, from memory)")
        years = f"{seasons.years:.1f}".removesuffix(".0")
        notes.append(f"Average year: {years} {'year' if years == '1' else 'years'} of days with "
                     f"a reading, {said}; each day one storm {wetness}; runoff arrives over the "
                     "first six hours.")
        if inputs.record is not None:
            short = short_record(inputs.record.depths, inputs.site.rain.start_month)
            notes += [short] if short else []
        if inputs.evaporation is not None:
            notes.append("The wetness of the soil moves the yearly figures a great deal, so the "
                         "average year stands in the accounts both ways; dry, median and wet year "
                         "go with the last line. Numbers of average wetness on every day suit "
                         "roads and crusted ground, which shed from dry; soil that dries sheds far "
                         "less in dry country. Plan trees on the lesser figure, and watch for a "
                         "season which rains make the ground run.")
        if inputs.evaporation is None:
            notes.append("No evaporation is counted: the site file gives neither "
                         "evapotranspiration nor weather.")
    return notes


def _drain_notes(inputs: Inputs, placed: list[Placed]) -> list[str]:
    """What is assumed of drains."""
    rules, said = inputs.rules, []
    drains = [place for place in placed if place.drain is not None]
    if drains:
        said.append("A drain takes in all that the ground above it sheds and hands it on at once "
                    "and whole: the minutes that water needs along it, and what soaks in there, "
                    "are left out, so peaks below it are a little high. Its channel is sized by "
                    "Manning's equation (n of Chow 1959, Table 5-6): depth with the bed grown or "
                    "worn, velocity with the bed new.")
    usual = rules["drain grade"]
    for place in drains:
        if place.drain is None or place.work.grade is not None:
            continue
        found = place.drain.grade
        how = (f"the usual one was taken (drain grade, {rules.source('drain grade')})"
               if abs(found - usual) < 1e-9 else
               f"at the usual {usual:.2%} (drain grade, {rules.source('drain grade')}) its line "
               "does not arrive, and this one does")
        said.append(f"The grade of \"{place.name}\" was left open and is {found:.2%}: {how}.")
    return said


def _hollow_notes(inputs: Inputs, placed: list[Placed]) -> list[str]:
    """What is assumed of the hollows that are works, and of those that are not."""
    rules, dem, said = inputs.rules, inputs.dem, []
    named = [place for place in placed if place.hollow is not None]
    if named:
        widths = ", ".join(f"{place.name} {in_both(place.hollow.sill_length, 'length')}"
                           for place in named if place.hollow is not None)
        said.append("A natural hollow spills over its rim as over a level sill, as wide as the rim "
                    "about its way out stands no more than "
                    f"{in_both(rules['hollow rim'], 'size')} above it "
                    f"({rules.source('hollow rim')}): {widths}. Deeper water finds a wider way "
                    "out, so its depth there is an upper bound.")
    taken = np.zeros(dem.shape, bool)
    for place in placed:
        taken[place.cells[:, 0], place.cells[:, 1]] = True
    free = inputs.ground.inside & ~taken
    large = takewhile(lambda h: h.volume > rules["hollow noted"], inputs.terrain.hollows)
    left = [hollow for hollow in large if free[hollow.row, hollow.column]]
    if left:
        x, y = (float(v) for v in dem.xy(left[0].row, left[0].column))
        least = in_both(rules["hollow noted"], "volume")
        count, lie, it, them = (("One natural hollow", "lies", "it", "it") if len(left) == 1 else
                                (f"{len(left)} natural hollows", "lie", "the largest", "them"))
        said.append(f"{count} of more than {least} {lie} within the boundary and in none of the "
                    f"works ({it} holds {in_both(left[0].volume, 'volume')} at "
                    f"{dem.named(x, y)}): water is taken to run on through {them} as if full, so "
                    "what reaches the works below and what leaves the site are upper bounds.")
    return said
