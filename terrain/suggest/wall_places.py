"""Where walls could stand: valleys and outlets of hollows, square to the way the water takes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from terrain.inputs.site_works import Basin
from terrain.plan.earth.cost import loose_per_bank
from terrain.suggest.candidate import Candidate
from terrain.suggest.cells import is_open, spill_below
from terrain.suggest.floors import WELL_WITHIN, soaked_depth
from terrain.suggest.look import Look
from terrain.suggest.naming import named
from terrain.suggest.spread import spread
from terrain.suggest.valleys import Place, valley_places
from terrain.suggest.wall_lines import SHALLOWEST, Lines, Wall
from terrain.suggest.wall_pools import Held, Pools
from terrain.suggest.wall_spillway import Spillway
from terrain.units import in_both
from terrain.works.rules import Rulebook

#: Depths of water at a wall that are tried, then deeper by the step up to the limit. [m]
DEPTHS, DEEPER = (0.4, 0.6, 0.8), 0.3
#: Water stays so much below a limit. [m]
BELOW = 0.02
#: A pool that holds less is not worth a bank; common practice, no source. [m3]
LEAST = 2.0
#: Nor is a bank that holds back less than this for each m3 of its earth; common practice, no
#: source. [-]
WORTH = 0.1
#: Walls whose places lie in one square of this side are like each other. [m]
NEIGHBOURHOOD = 20.0
#: A valley narrows where a wall is so long, times the middle one of those in its neighbourhood that
#: hold water as deep within so much; common practice, no source. [-], [m]
NARROW, ALIKE = 0.85, 0.1


def wall_places(look: Look, most: int) -> list[Candidate]:
    """Basins behind walls across valleys and below hollows, the most water for their earth first.

    Parameters
    ----------
    most : int
        So many at most, spread over the site: first the best of each neighbourhood, then the
        second best, and so on.

    Notes
    -----
    A wall is a straight line square to the way of the water; its pool is flooded on cells as
    fine as those of `terrain.works.pool`, and holds what the bank leaves.  Nothing deeper than
    soaks in within the rule "standing water" is kept, but for a pond deeper than "fish depth".
    """
    if not (look.room > 0).any():
        return []
    pools = Pools(look)
    found = [held for place in valley_places(look) for held in _held_at(look, place, pools)]
    narrow = _narrow(found)
    chosen: list[tuple[Held, Candidate]] = []
    for held in spread(found, lambda held: held.worth, _neighbourhood):
        if len(chosen) >= most:
            break
        made = _candidate(look, held, pools, narrow(held))
        if made is not None:
            chosen.append((held, made))
    chosen.sort(key=lambda pair: -pair[0].worth)
    return named(look, "wall", [made for _, made in chosen])


def _neighbourhood(held: Held) -> tuple[int, int]:
    x, y = held.wall.place.at
    return int(x // NEIGHBOURHOOD), int(y // NEIGHBOURHOOD)


def _held_at(look: Look, place: Place, pools: Pools) -> list[Held]:
    """Walls at one place, one for each depth of water that it may hold."""
    rules = look.inputs.rules
    lines = Lines(look, place)
    rate = look.soaks(np.array([place.cell])).rate
    soaked, fish = soaked_depth(look, rate, WELL_WITHIN), rules["fish depth"]
    found, fitted = [], False
    for depth in _depths(look):
        wall = lines.wall(depth)
        held = None if wall is None else pools.behind(wall, rate)
        if held is not None and held.deepest > soaked:
            if held.deepest > fish:
                held = replace(held, pond=True)
            elif not fitted:  # more than soaks away in time: so much less, once
                fitted = True
                held = _fitted(lines, pools, depth - (held.deepest - soaked), rate, soaked)
            else:
                held = None
        if held is not None and held.storage >= LEAST and held.worth >= WORTH \
                and pools.stays(held.wall):
            found.append(held)
    return found


def _depths(look: Look) -> list[float]:
    """Depths of water at a wall that are tried. [m]"""
    asked = look.asked.water_at_bank
    limit = (asked or look.inputs.rules["embankment water"]) - BELOW
    deeper = [] if asked is None else np.arange(DEPTHS[-1] + DEEPER, limit, DEEPER).tolist()
    return sorted({*(depth for depth in (*DEPTHS, *deeper) if depth < limit), limit})


def _fitted(lines: Lines, pools: Pools, depth: float, rate: float, soaked: float
            ) -> Held | None:
    """The deepest water at a wall, from `depth` on down, that soaks away in time. [m]"""
    for _ in range(3):
        wall = lines.wall(depth - BELOW / 2) if depth > SHALLOWEST else None
        held = None if wall is None else pools.behind(wall, rate)
        if held is None or held.deepest <= soaked:
            return held
        depth -= held.deepest - soaked + BELOW / 2
    return None


def _candidate(look: Look, held: Held, pools: Pools, narrow: bool) -> Candidate | None:
    """A wall as a candidate; None where its earth or its sill would come on shut ground."""
    dem, rules, wall = look.inputs.dem, look.inputs.rules, held.wall
    made = wall.profile
    sill = Spillway(look, wall, pools.middles(held.cells), pools.fine.cell)
    if sill.endless:
        return None
    body = wall.bank.union(sill.floor)
    if not is_open(dem, look.room, body):
        return None
    cells = pools.cells_of(held.cells)
    soaks = look.soaks(cells)
    if abs(soaks.rate - held.rate) > 1e-9 and not held.pond and (
            held.deepest > soaked_depth(look, soaks.rate, WELL_WITHIN)):
        return None
    own = np.concatenate([cells, np.stack(dem.row_column(*wall.spots.T), 1)])
    spill = spill_below(look, sill.start, own)
    if spill is None:
        return None
    soil = look.soil_of(cells)
    dug, opened = sill.dug()
    topsoil = made.topsoil + min(made.strip * opened, dug)
    cut = made.cutoff + made.topsoil + dug
    cost = look.cost(cut, wall.fill, soil, topsoil,
                     seeded=_to_seed(wall, cut, topsoil, soil, rules))
    entry = {"name": "wall", "kind": "basin", "wall": [look.stated(*end) for end in wall.ends],
             "crest": made.crest, "sill": wall.level}
    if look.asked.infiltration is not None:
        entry["infiltration"] = look.asked.infiltration
    if held.pond:
        entry["holds water"] = True
    footprint = pools.outline_of(held.cells).union(body)
    return Candidate("wall", "wall", (Basin.model_validate(entry),), cells, spill, footprint,
                     held.storage, held.area, soaks.rate, cost, wall.depth,
                     said=_said(held, narrow))


def _to_seed(wall: Wall, cut: float, topsoil: float, soil: str, rules: Rulebook) -> float:
    """Crest and dry side of a bank, and the earth that is left over, spread. [m2]"""
    made = wall.profile
    high = made.heights * (1 + made.settlement)
    wide = np.where(high > 0, made.top + np.hypot(1.0, made.dry_slope) * high, 0.0)
    surface = float(np.trapezoid(wide, made.stations))
    packed = rules["compacted per bank"]
    left = (max(cut - topsoil - wall.fill / packed, 0.0)
            + max(topsoil - rules["topsoil on banks"] * surface / packed, 0.0))
    return surface + left * loose_per_bank(soil, rules) / rules["spoil thickness"]


def _said(held: Held, narrow: bool) -> tuple[str, ...]:
    length = float(np.subtract(*held.wall.profile.stands[::-1]))
    what = ("Below the outlet of a hollow" if held.wall.place.hollow else
            "The valley narrows here:" if narrow else "Across the way of much water here,")
    return (f"{what} {in_both(length, 'length')} of bank hold {in_both(held.storage, 'volume')}, "
            f"{held.worth:.1f} m³ of water for each m³ of earth.",)


def _narrow(found: Sequence[Held]) -> Callable[[Held], bool]:
    """Tells whether a wall is short beside those about it that hold about as deep water."""
    at = np.array([held.wall.place.at for held in found]).reshape(-1, 2)
    depth = np.array([held.wall.depth for held in found])
    length = np.array([held.wall.profile.stations[-1] for held in found])

    def narrow(held: Held) -> bool:
        near = ((np.hypot(*(at - held.wall.place.at).T) <= NEIGHBOURHOOD)
                & (np.abs(depth - held.wall.depth) <= ALIKE))
        return bool(held.wall.profile.stations[-1] <= NARROW * np.median(length[near]))
    return narrow
