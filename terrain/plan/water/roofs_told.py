"""All that a plan tells of roofs, gutters and tanks beside their accounts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.accounts import YearOfRecord
from terrain.plan.water.cascade import Cascade, Node
from terrain.plan.water.gutter_checks import (
    Cloudburst,
    asked_of,
    cloudburst,
    gutter_caution,
    gutter_checks,
    no_cloudburst,
)
from terrain.plan.water.tank_sizes import MORE_ROOF
from terrain.plan.water.tank_years import TankLife, tank_life
from terrain.plan.water.water_balance import SeasonRun
from terrain.runoff.roof_materials import MATERIALS
from terrain.units import in_both, lasting, ordered, shown
from terrain.works.gutters import GutterCheck
from terrain.works.rules import HEALTH, PRACTICE

#: Grey water is to soak in within this. [h]
DAY = 24.0


@dataclass(frozen=True)
class RoofsTold:
    """What is told of roofs and tanks.

    Attributes
    ----------
    burst : Cloudburst or None
        What gutters must carry; None where it is not known, or no roof feeds a tank.
    gutters : tuple of GutterCheck
    tanks : tuple of TankLife
        In the order of the nodes; none without a rain record.
    cautions : dict of int to tuple of str
        By node.
    notes : tuple of str
    """

    burst: Cloudburst | None
    gutters: tuple[GutterCheck, ...]
    tanks: tuple[TankLife, ...]
    cautions: dict[int, tuple[str, ...]]
    notes: tuple[str, ...]

    def tank(self, index: int) -> TankLife | None:
        """What is told of the tank that is a node."""
        return next((life for life in self.tanks if life.index == index), None)

    def gutter(self, roof: str) -> GutterCheck | None:
        """What is told of a roof's gutter."""
        return next((check for check in self.gutters if check.roof == roof), None)


def litres_a_day(use: float) -> str:
    """A use [m3/day] in litres and gallons."""
    return ordered(f"{use * 1000:,.0f} L", f"{use / 0.003785411784:,.0f} gal")


def tell_roofs(inputs: Inputs, cascade: Cascade, placed: list[Placed],
               seasons: SeasonRun | None, years: Sequence[YearOfRecord]) -> RoofsTold:
    """Hold gutters against the cloudburst, and live every tank through the record."""
    tanks = [i for i, place in enumerate(placed) if place.kind == "tank"]
    burst = None
    gutters: tuple[GutterCheck, ...] = ()
    if asked_of(inputs, cascade):
        burst = cloudburst(inputs)
    if burst is not None:
        gutters = gutter_checks(inputs, cascade, burst)
    lives = () if seasons is None else tuple(
        tank_life(cascade, seasons, i, years, inputs.site.rain.start_month,
                  MORE_ROOF[inputs.site.units]) for i in tanks)
    cautions = {}
    for i in tanks:
        node = cascade.nodes[i]
        said = _tank_cautions(inputs, node, placed[i], seasons)
        said += [caution for check in gutters if burst is not None and check.roof in node.roof.names
                 and (caution := gutter_caution(check, burst, inputs.rules)) is not None]
        cautions[i] = tuple(said)
    for i in range(len(placed)):
        givers = [other.store.name for other in cascade.nodes if i in other.grey_to]
        if givers:
            hours = cascade.nodes[i].store.drain_hours
            cautions[i] = (*cautions.get(i, ()), _grey_caution(givers, hours))
    return RoofsTold(burst, gutters, lives, cautions,
                     tuple(_notes(inputs, cascade, placed, burst, seasons)))


def _flush_of(litres: float) -> str:
    """A volume of first flush in both systems: hundredths of a m3, whole gallons."""
    volume = litres / 1000
    return ordered(shown(volume, "volume", "metric", 2), shown(volume, "volume", "us"))


def _tank_cautions(inputs: Inputs, node: Node, place: Placed, seasons: SeasonRun | None
                   ) -> list[str]:
    rules, roof, work, said = inputs.rules, node.roof, place.work, []
    least = rules["first flush least"]
    if roof.area and roof.first_flush < least - 1e-9:
        turned = "Nothing is turned away of a storm's first water" if not roof.first_flush else (
            f"Only {_flush(roof.first_flush)} of a storm's first water are turned away")
        with_it = 0.5 ** (roof.first_flush / rules["first flush halves"])
        costs = "" if seasons is None else (
            f", and would cost {_flush_cost(node, least, seasons)} a year")
        said.append(
            f"{turned}: {with_it:.0%} of what a storm washes off its roofs comes into the tank, "
            f"where it settles as silt ({rules.cited('first flush halves')}). "
            f"{in_both(least, 'rain')} is the least asked for ({rules.source('first flush least')})"
            f": here {_flush_of(least * roof.area)}{costs}. Else desludge the "
            "tank more often.")
    if roof.area and work.leaf_screen in (None, "none"):
        said.append("No leaf screen is stated: leaves that rot in the tank foul its water, and "
                    f"block gutters before ({PRACTICE}; whoever keeps the tank decides). State "
                    "the one that stands there (leaf screen).")
    bad = [r for r in inputs.ground.roofs if r.name in roof.names
           and " ".join(r.material.lower().split()) in MATERIALS
           and MATERIALS[" ".join(r.material.lower().split())].unfit]
    if bad and any(use.kind == "household" for use in node.store.uses):
        said.append("A household draws on it, and water off " + ", ".join(
            f"\"{r.name}\" ({r.material})" for r in bad) + " is not for drinking even when it is "
            "treated (Texas Water Development Board, Texas Manual on Rainwater Harvesting, 3rd "
            f"ed., 2005, and WHO, from memory; {HEALTH}).")
    for other in place.joined:
        apart = float(abs(np.diff(inputs.dem.height_at(np.array([place.x, other.x]),
                                                       np.array([place.y, other.y])))[0]))
        if apart > rules["joined tanks level"]:
            said.append(f"\"{other.name}\", joined with it below, stands {in_both(apart, 'size')} "
                        "off its level: water stands alike in both, so the lower one runs over "
                        "before the higher one is full, and they hold less than is reckoned "
                        f"({rules.cited('joined tanks level')}). Set them on one level.")
    if any(use.kind == "wildlife" for use in node.store.uses):
        said.append("Wild animals drink from it: lay a ramp in the trough so that small ones get "
                    f"out ({PRACTICE}).")
    return said


def _flush(depth: float) -> str:
    """A first flush as it is reckoned with, to a hundredth where tenths would not tell it. [mm]"""
    return in_both(depth, "rain", 1 if abs(depth - round(depth, 1)) < 0.005 else 2)


def _flush_cost(node: Node, flush: float, seasons: SeasonRun) -> str:
    more = np.minimum(seasons.rain_mm, flush) - np.minimum(seasons.rain_mm, node.roof.first_flush)
    return in_both(seasons.mean(more) * node.roof.collected / 1000, "volume")


def _grey_caution(givers: list[str], hours: float) -> str:
    """What grey water asks of the store that it comes to, which when full stands so long. [h]"""
    stands = "" if hours <= DAY else (
        f" Full, it {'does not soak away' if np.isinf(hours) else f'stands about {lasting(hours)}'}"
        ": lead no grey water there while water stands in it, but turn it to a sewer or to ground "
        "that is dry until that has soaked in.")
    return ("Grey water from " + ", ".join(f"\"{name}\"" for name in givers) + " comes to it: let "
            "it soak in the same day under mulch, never on leaves that are eaten raw, and never "
            f"store it ({PRACTICE}; {HEALTH}).{stands}")


def _notes(inputs: Inputs, cascade: Cascade, placed: list[Placed], burst: Cloudburst | None,
           seasons: SeasonRun | None) -> list[str]:
    """What the figures of roofs and tanks rest on, in whole sentences."""
    rules, said = inputs.rules, []
    feeding = {name for node in cascade.nodes for name in node.roof.names}
    by_basis: dict[str, list[str]] = {}
    for roof in inputs.ground.roofs:
        if roof.name in feeding and roof.basis not in ("", "as stated", "as stated for all"):
            by_basis.setdefault(
                f"{roof.efficiency:.0%} of its rain" + (f" as {roof.material}" if roof.material else
                                                        "") + f" ({roof.basis})", []
            ).append(roof.name)
    if by_basis:
        said.append("Share of the rain that roofs give: " + "; ".join(
            f"{', '.join(names)} {basis}" for basis, names in by_basis.items()) + ".")
    screened = [p.name for p in placed if getattr(p.work, "leaf_screen", None) == "self-cleaning"]
    if screened:
        said.append(f"A self-cleaning leaf screen lets {rules['screen loss']:.0%} of the water run "
                    f"off with the leaves ({rules.source('screen loss')}): {', '.join(screened)}.")
    if burst is not None:
        said.append(f"Gutters: a cloudburst of {in_both(burst.intensity, 'rate')}, {burst.source}; "
                    "all that falls on a roof's plan area runs off. A gutter carries what "
                    "Manning's equation gives brim full at its fall (gutter roughness, "
                    f"{rules.source('gutter roughness')}); a downspout the lesser of what its "
                    "mouth takes as a weir or orifice (EN 12056-3, 2000, from memory) and what "
                    f"runs down its wall with {rules['downspout filled']:.0%} of it filled "
                    f"({rules.source('downspout filled')}). What a gutter cannot "
                    "carry is not taken off in storms and years.")
    elif asked_of(inputs, cascade):
        said.append(no_cloudburst(inputs))
    uses = [(place.name, use) for place, node in zip(placed, cascade.nodes, strict=True)
            for use in node.store.uses]
    if uses:
        said.append("Uses of water: " + "; ".join(
            f"{use.name} from {name}, {litres_a_day(use.mean_day)} on the mean day "
            f"({use.basis})" for name, use in uses) + ".")
    if seasons is not None and any(place.kind == "tank" for place in placed):
        said.append("Tanks, day by day: in the morning a tanker comes if the tank holds less "
                    "than its mark, and rations are set by what it holds; then in each hour water "
                    "comes, "
                    "what does not fit spills, and the uses draw in the order they are listed: "
                    "yield after spillage, by the hour. Every tank is empty when the record "
                    "begins: so the accounts have it. What is told of a tank beside them (demand "
                    "met, days dry, deliveries, waits, other sizes, more roof) is of a second "
                    "time through the record, begun with what the first left in it and in every "
                    "store that gives to it, so a first filling does not count. "
                    + ("" if not seasons.missing else
                    "Days without a reading are left out of that: they all stand still, and no "
                    "dry spell or wait runs across them. ")
                    + "Grey water reaches the ground store on the day it is used. A day is dry on "
                    "which some use gets less than its ration.")
    return said
