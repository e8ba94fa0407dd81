"""The gutters of roofs that feed tanks, held against the local cloudburst."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from terrain.inputs.rain_frequency import depth_of, frequency_table
from terrain.inputs.site_rain import Storm
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Cascade
from terrain.runoff.ground import Roof
from terrain.runoff.storms import Hyetograph
from terrain.units import in_both, ordered
from terrain.works.gutters import Gutter, GutterCheck, Needed, check_gutter
from terrain.works.rules import Rulebook

#: Where a table of depths begins with longer rain than the rule asks for, this is tried. [h]
NEXT_RAIN = 1 / 6


@dataclass(frozen=True)
class Cloudburst:
    """A short rain that gutters must carry: how hard it rains [mm/h], and where that is from."""

    intensity: float
    source: str


def cloudburst(inputs: Inputs) -> Cloudburst | None:
    """The short rain for gutters: from the frequency table, or else a storm's hardest minutes.

    A storm is asked only if it is stated to come as seldom, and if it says how hard it rains in 10
    minutes or fewer: the mean of a longer time is less than what falls in its worst minutes.  None
    where it is not known.
    """
    site, rules = inputs.site, inputs.rules
    stated = site.roofs.gutter_return_period if site.roofs is not None else None
    years = stated or rules["gutter return period"]
    why = "gutter return period, as stated" if stated else (
        f"gutter return period, {rules.source('gutter return period')}")
    if site.rain.frequency is not None:
        given = site.rain.frequency
        table = frequency_table(site.folder / given.file, given.unit)
        for hours in (rules["gutter rain"], NEXT_RAIN):
            try:
                depth = site.rain.climate_factor * depth_of(table, hours, years)
            except ValueError:
                continue
            return Cloudburst(depth / hours, f"{_minutes(hours)} once in {years:g} years, "
                              f"{given.file.name} ({why})")
    bursts = [(storm.return_period or 0.0, one, storm)
              for one, storm in ((hardest_piece(inputs.hydrology.shapes[storm.name]), storm)
                                 for storm in _rare(inputs, years))
              if one <= max(rules["gutter rain"], NEXT_RAIN) * (1 + 1e-9)]
    if not bursts:
        return None
    returns, piece, storm = min(bursts, key=lambda one: one[:2])
    hours = max(rules["gutter rain"], piece)
    depth = storm.depth * inputs.hydrology.shapes[storm.name].greatest_share(hours)
    return Cloudburst(depth / min(hours, storm.duration), f"the hardest {_minutes(hours)} of the "
                      f"storm \"{storm.name}\", once in {returns:g} years, as no table of depths "
                      f"reaches so short a rain once in {years:g} years")


def _rare(inputs: Inputs, years: float) -> list[Storm]:
    """Storms that are stated to come as seldom or more so."""
    return [storm for storm in inputs.site.rain.storms
            if storm.return_period is not None and storm.return_period >= years]


def hardest_piece(shape: Hyetograph) -> float:
    """How long a storm's shape takes its hardest rain to last; shorter bursts it does not know. [h]

    Even rain is one piece; the NRCS types are stated by the quarter of an hour at best.
    """
    lengths, rates = np.diff(shape.hours), np.diff(shape.shares) / np.diff(shape.hours)
    first = last = int(np.argmax(rates))
    while last + 1 < rates.size and np.isclose(rates[last + 1], rates[first]):
        last += 1
    return float(lengths[first:last + 1].sum())


def no_cloudburst(inputs: Inputs) -> str:
    """Why the cloudburst is not known, and what would tell it, in whole sentences."""
    site, rules = inputs.site, inputs.rules
    stated = site.roofs.gutter_return_period if site.roofs is not None else None
    years = stated or rules["gutter return period"]
    longest = _minutes(max(rules["gutter rain"], NEXT_RAIN))
    coarse = [f"\"{storm.name}\" ({_minutes(hardest_piece(inputs.hydrology.shapes[storm.name]))})"
              for storm in _rare(inputs, years)]
    said = "Gutters are not checked, as the cloudburst they must carry is not known: "
    too_long = _table_begins(inputs)
    if too_long is not None and too_long > max(rules["gutter rain"], NEXT_RAIN):
        name = site.rain.frequency.file.name if site.rain.frequency is not None else ""
        return said + (f"the table of depths {name} begins at {_minutes(too_long)}, and a gutter "
                       "runs over in the worst few of them. Add a row of "
                       f"{_minutes(rules['gutter rain'])} to it, or of {longest}; whoever "
                       "publishes the table usually has one.")
    if coarse:
        said += (f"the storms that come as seldom as once in {years:g} years say how hard it rains "
                 f"only as the mean of a longer time than {longest}, {', '.join(coarse)}, and a "
                 "gutter runs over in the worst minutes of it. ")
    else:
        said += ("neither a table of depths (frequency) nor a storm whose return period is stated "
                 f"says what falls in a few minutes as seldom as once in {years:g} years (rule "
                 "gutter return period). ")
    return said + (f"State a table of depths that reaches down to {_minutes(rules['gutter rain'])} "
                   f"or {longest}, or a storm as short with its return period.")


def _table_begins(inputs: Inputs) -> float | None:
    """The shortest duration of the site's table of depths; None where there is none. [h]"""
    given = inputs.site.rain.frequency
    if given is None:
        return None
    return float(frequency_table(inputs.site.folder / given.file, given.unit).index[0])


def asked_of(inputs: Inputs, cascade: Cascade) -> list[Roof]:
    """Roofs that feed a tank or have a gutter stated, in the layer's order."""
    feeding = {name for node in cascade.nodes for name in node.roof.names}
    return [roof for roof in inputs.ground.roofs if roof.gutter is not None or roof.name in feeding]


def gutter_checks(inputs: Inputs, cascade: Cascade, burst: Cloudburst
                  ) -> tuple[GutterCheck, ...]:
    """Every roof that feeds a tank or has a gutter stated, in the layer's order."""
    rules = inputs.rules
    return tuple(check_gutter(
        roof.name, roof.area, burst.intensity, _gutter(roof, rules), rules["gutter fall"],
        rules["gutter roughness"], rules["downspout filled"], rules["downspout roughness"])
        for roof in asked_of(inputs, cascade))


def _gutter(roof: Roof, rules: Rulebook) -> Gutter | None:
    asked = roof.gutter
    if asked is None:
        return None
    depth = asked.depth or asked.width / 2
    return Gutter(asked.shape, asked.width, depth, asked.fall or rules["gutter fall"],
                  asked.count or asked.downspouts, asked.downspouts, asked.diameter)


def wide(metres: float) -> str:
    """A width in mm and inches."""
    return ordered(f"{metres * 1000:,.0f} mm", f"{metres / 0.0254:,.1f} in")


def pipes_said(needs: tuple[Needed, ...]) -> str:
    """Downspouts that would do, such as "two of 100 mm (3.9 in) with a gutter 150 mm (5.9 in) wide
    or one of 125 mm (4.9 in) with a gutter 195 mm (7.7 in) wide"."""
    words = {1: "one", 2: "two", 3: "three", 4: "four"}
    kept = [need for need in needs if need.count <= 4][:2] or list(needs[-1:])
    return " or ".join(f"{words.get(need.count, need.count)} of {wide(need.diameter)} with a "
                       f"gutter {wide(need.width)} wide" for need in kept)


def gutter_caution(check: GutterCheck, burst: Cloudburst, rules: Rulebook) -> str | None:
    """What is wrong with a roof's gutter, in a sentence; None where nothing is."""
    gutter = check.gutter
    if gutter is None or (check.gutter_enough and check.downspouts_enough):
        return None
    parts = []
    if not check.gutter_enough and check.gutter_carries is not None:
        parts.append(f"its gutter, {wide(gutter.width)} wide at a fall of {gutter.fall:.1%}, "
                     f"carries {in_both(check.gutter_carries, 'flow')} and needs "
                     f"{wide(check.needs_width)}")
    if not check.downspouts_enough and check.downspouts_carry is not None:
        one = gutter.downspouts == 1
        parts.append((f"its downspout of {wide(gutter.diameter)} takes" if one else
                      f"its {gutter.downspouts} downspouts of {wide(gutter.diameter)} take")
                     + f" {in_both(check.downspouts_carry, 'flow')}"
                     + (f", held back by {'its mouth' if one else 'their mouths'},"
                        if check.outlet_decides else "")
                     + f" where it needs {pipes_said(check.needs)}")
    return (f"In a cloudburst of {in_both(burst.intensity, 'rate')} the roof \"{check.roof}\" "
            f"sheds {in_both(check.flow, 'flow')}; " + ", and ".join(parts)
            + ": the rest runs over the gutter's edge and is lost to the tank, at the foot of the "
            f"wall ({rules.cited('gutter rain')}).")


def _minutes(hours: float) -> str:
    return f"{60 * hours:.3g} minutes" if hours <= 2 else f"{hours:.3g} hours"
