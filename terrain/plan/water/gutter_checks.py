"""The gutters of roofs that feed tanks, held against the local cloudburst."""

from __future__ import annotations

from dataclasses import dataclass

from terrain.inputs.rain_frequency import depth_of, frequency_table
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Cascade
from terrain.runoff.ground import Roof
from terrain.runoff.storms import NESTED
from terrain.units import in_both
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

    None where it is not known: no table reaches it, and no storm is stated to come as seldom.
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
    hours = rules["gutter rain"]
    rare = [(storm.return_period, storm.pattern != NESTED, storm) for storm in site.rain.storms
            if storm.return_period is not None and storm.return_period >= years]
    if not rare:
        return None
    returns, _, storm = min(rare, key=lambda one: one[:2])
    depth = storm.depth * inputs.hydrology.shapes[storm.name].greatest_share(hours)
    return Cloudburst(depth / min(hours, storm.duration), f"the hardest {_minutes(hours)} of the "
                      f"storm \"{storm.name}\", once in {returns:g} years, as no table of depths "
                      f"reaches so short a rain once in {years:g} years")


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
    return f"{metres * 1000:,.0f} mm ({metres / 0.0254:,.1f} in)"


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
    return f"{60 * hours:.3g} minutes"
