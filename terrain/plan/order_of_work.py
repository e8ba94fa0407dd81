"""In what order to build: from the top of the slope down, and what comes before and after."""

from __future__ import annotations

import heapq
import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import ArrayLike
from shapely import LineString

from terrain.plan.earth.cost import Range
from terrain.plan.earth.earthworks import LEAST, Earthworks
from terrain.plan.earth.work_earth import Dug
from terrain.plan.safety.furrow_cautions import furrow_as_dug
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Cascade
from terrain.plan.water.short_record import short_record
from terrain.runoff.evapotranspiration import MONTHS
from terrain.runoff.rain_years import mean_months
from terrain.units import in_both, ordered
from terrain.works.furrow import Furrow
from terrain.works.furrow_flow import lining_sod, lining_stone
from terrain.works.rules import Rulebook
from terrain.works.tree_basin import mound_over


@dataclass(frozen=True)
class Step:
    """One step of the work.

    Attributes
    ----------
    work : str
        What it builds; "" for a step of the whole site.
    says : str
    hours : (float, float) or None
        Machine hours, each day's set-up included. [h]
    by_hand : (float, float) or None
        Days of one worker, where it is dug by hand; hours are then what it is priced by. [days]
    """

    work: str
    says: str
    hours: Range | None = None
    by_hand: Range | None = None

    @property
    def takes(self) -> str:
        """How long it takes: days by hand where it is dug so, else hours of a machine; "" where it
        takes neither."""
        if self.by_hand is not None:
            return f"{_span(self.by_hand)} days of one worker by hand"
        return "" if self.hours is None else f"{_span(self.hours)} h of a machine"


def _span(given: Range) -> str:
    low, high = (f"{value:.1f}" for value in given)
    return low if low == high else f"{low} to {high}"


def top_down(spills_to: Sequence[int | None], levels: ArrayLike, chosen: Collection[int]
             ) -> list[int]:
    """Chosen nodes of a cascade, none before one whose spill comes to it; the highest first.

    Parameters
    ----------
    spills_to : sequence of int or None
        Of every node; nodes that are not chosen hand their water on.
    levels : shape (nodes,)
        [m]
    """
    heights = np.asarray(levels, dtype=np.float64)
    goes = {node: _next_chosen(node, spills_to, chosen) for node in chosen}
    before = {node: sum(goal == node for goal in goes.values()) for node in chosen}
    ready = [(-heights[node], node) for node in chosen if not before[node]]
    heapq.heapify(ready)
    order = []
    while ready:
        _, node = heapq.heappop(ready)
        order.append(node)
        goal = goes[node]
        if goal is not None:
            before[goal] -= 1
            if not before[goal]:
                heapq.heappush(ready, (-heights[goal], goal))
    return order


def _next_chosen(node: int, spills_to: Sequence[int | None], chosen: Collection[int]
                 ) -> int | None:
    goal = spills_to[node]
    while goal is not None and goal not in chosen:
        goal = spills_to[goal]
    return goal


def share_of_wettest(months: ArrayLike) -> float:
    """Share of a year's rain that its six wettest months bring, whether or not they adjoin; NaN
    where a month is not known or none has rain. [-]

    Parameters
    ----------
    months : shape (12,)
        [mm]
    """
    rain = np.sort(np.asarray(months, dtype=np.float64))
    return float(rain[6:].sum() / rain.sum()) if rain.sum() > 0 else math.nan


def wet_season(months: ArrayLike, distinct: float) -> tuple[int, int] | None:
    """First and last of the wettest run of months with more rain than the mean one, 0 to 11.

    None where the rains are not distinct, as the six wettest months bring less than that share of
    the year's, or a month is not known.

    Parameters
    ----------
    months : shape (12,)
        Rain of each month of an average year. [mm]
    distinct : float
        The rule `distinct rains`. [-]
    """
    rain = np.asarray(months, dtype=np.float64)
    wet = rain > rain.mean() * (1 + 1e-9)
    if not share_of_wettest(rain) >= distinct or not wet.any():
        return None
    starts = [m for m in range(12) if wet[m] and not wet[m - 1]]
    runs = []
    for start in starts:
        length = next(n for n in range(1, 13) if not wet[(start + n) % 12])
        runs.append((float(sum(rain[(start + n) % 12] for n in range(length))), start, length))
    _, start, length = max(runs, key=lambda run: run[0])
    return start, (start + length - 1) % 12


def wetter_too(months: ArrayLike, season: tuple[int, int]) -> str:
    """A sentence that names the other months with more rain than the mean one; nothing without.

    Parameters
    ----------
    months : shape (12,)
        Rain of each month of an average year. [mm]
    season : (int, int)
        First and last month of the wettest run, 0 to 11.
    """
    rain = np.asarray(months, dtype=np.float64)
    first, last = season
    names = [MONTHS[m] for m in range(12) if rain[m] > rain.mean() * (1 + 1e-9)
             and (m - first) % 12 > (last - first) % 12]
    if not names:
        return ""
    listed = " and ".join([*([", ".join(names[:-1])] if names[1:] else []), names[-1]])
    return f" {listed} {'are' if names[1:] else 'is'} wetter than the mean month too."


def order_of_work(inputs: Inputs, cascade: Cascade, dug: Sequence[Dug], earth: Earthworks
                  ) -> tuple[Step, ...]:
    """Every step, numbered by its place; nothing where nothing is dug."""
    chosen = {index for index, work in enumerate(dug)
              if work.quantities is not None and work.drain is None}
    drains = [work for work in dug if work.drain is not None]
    if not chosen and not drains and not any(work.furrow for work in dug):
        return ()
    rules = inputs.rules
    steps = [Step("", "Have buried pipes and cables located, private lines too, and get the "
                      "permits that the cautions name; nobody digs before."),
             Step("", "Set the stakes of setting_out.csv from the benchmark, check them with a "
                      "level, and mark where topsoil and spare earth are to lie.")]
    order = top_down([node.spills_to for node in cascade.nodes],
                     [node.store.sill.level for node in cascade.nodes], chosen)
    done: set[str] = set()
    for entry, found in groupby(order, key=lambda index: dug[index].placed.work.name):
        steps.append(_build(entry, [dug[index] for index in found], earth, rules, done))
        done.add(entry)
    steps += _furrows(inputs, cascade, dug, earth)
    steps += [_drain(work, earth) for work in drains]
    joined = _joined(inputs, dug)
    if joined:
        steps.append(Step("", joined))
    return (*steps, Step("", "Seed and mulch whatever is still raw, walk every sill with a level, "
                             "and take the levels that were really dug."),
            Step("", _season(inputs, rules)))


def _build(entry: str, parts: Sequence[Dug], earth: Earthworks, rules: Rulebook,
           done: Collection[str]) -> Step:
    """A work built whole before the next is begun, after those that are done."""
    work = next(w for w in earth.works if w.name == entry)
    amounts = [part.quantities for part in parts if part.quantities is not None]
    share = sum(amount.cut for amount in amounts) / work.cut if work.cut else 1.0
    cost = earth.bills[entry]
    covered = work.topsoil_back * share >= LEAST and not work.topsoil_within
    *before, builds = _of_kind(parts, rules)
    # A bank is built once: what it takes from elsewhere is at hand before.
    said = [*_opening(work.topsoil * share), *before, *_brought(entry, earth, done), builds]
    if covered and parts[0].basin is not None:
        said[-1] += ", which is told without the topsoil that goes over it"
    if work.bank and work.topsoil_within * share >= LEAST:
        said.append(f"its bank, {in_both(work.bank * share, 'earth')} packed, is made of "
                    f"{in_both(max(work.wanted, 0.0) * share, 'earth')} of subsoil and of "
                    f"{in_both(work.topsoil_within * share, 'earth')} of topsoil placed on it, "
                    "which brings it to its crest: do not pack it to the crest before")
    for haul in earth.hauls:
        if haul.source == entry:
            said.append(f"carry {in_both(haul.volume, 'earth')} to \"{haul.to}\"")
    if covered:
        said.append("take the crest's levels, then put "
                    f"{in_both(work.topsoil_back * share, 'earth')} of topsoil back over the bank, "
                    "on top of its crest as built")
    for part in earth.spreads:
        if part.name == entry:
            both = (f", {in_both(part.volume, 'earth')} of subsoil and "
                    f"{in_both(part.topsoil, 'earth')} of topsoil,"
                    if min(part.volume, part.topsoil) >= LEAST else
                    " of subsoil" if part.volume >= LEAST else " of topsoil")
            said.append(f"spread the {in_both(part.volume + part.topsoil, 'earth')}{both} that are "
                        "left beside it, clear of its sill and the way of its spill")
    raw = "seed and mulch bank and spread earth" if work.bank else "seed and mulch what is spread"
    said.append(f"{raw} the same day: only then begin the next work")
    names = [part.store.name for part in parts]
    name = entry if share > 1 - 1e-9 else ", ".join(names)
    return Step(name, _sentence(said),
                (cost.hours[0] * share, cost.hours[1] * share))


def _brought(entry: str, earth: Earthworks, done: Collection[str]) -> list[str]:
    """The earth that its bank takes from other works and from a borrow."""
    said = []
    for haul in earth.hauls:
        if haul.to == entry:
            first = "" if haul.source in done else ", which is dug later: dig so much there now"
            said.append(f"have {in_both(haul.volume, 'earth')} for its bank from "
                        f"\"{haul.source}\" at hand{first}")
    if entry in earth.wanting:
        said.append(f"dig {in_both(earth.wanting[entry], 'earth')} more for it from a borrow, or "
                    "have it brought")
    return said


def _opening(topsoil: float) -> list[str]:
    return ([f"strip {in_both(topsoil, 'earth')} of topsoil and set it aside"]
            if topsoil >= LEAST else [])


def _of_kind(parts: Sequence[Dug], rules: Rulebook) -> list[str]:
    """What is dug and heaped, its sill first and its bank last."""
    first = parts[0]
    sill = first.store.sill
    lip = f"{in_both(sill.length, 'length')} long at {in_both(sill.level, 'level')}"
    if first.swale is not None:
        stone = " and lay its stone lip" if sill.head > rules["sill head"] * 1.001 else ""
        return [f"cut the sill first, {lip}, in natural ground{stone}",
                "dig the channel level and build the berm from it in packed layers"]
    if first.basin is not None and first.basin.has_wall:
        pit = "dig the pit and " if first.basin.rim is not None else ""
        return [f"cut the spillway first, {lip}, in natural ground",
                "dig the cut-off trench into tight soil and fill it again in rolled layers",
                f"{pit}build the wall in rolled layers to its crest as built"]
    if first.basin is not None:
        return [f"cut its sill first, {lip}, in natural ground", "dig it from the sill down"]
    several = f"the {len(parts)} " if len(parts) > 1 else ""
    form = getattr(first.placed.tree, "form", "bowl")
    what = f"{several}{form}s" if several else f"the {form}"
    ends = {"crescent": "heap and pack each bund, its ends on one contour",
            "trench": "dig along the contour with a level floor",
            "bowl": "dig to a level floor, its way out at the lowest ground of its rim"}[form]
    return [f"dig {what} by hand or with a small bucket", ends, *_mounds(parts, rules)]


def _mounds(parts: Sequence[Dug], rules: Rulebook) -> list[str]:
    """The mounds about the trunks of bowls, and how high over their sills."""
    over = [mound_over(part.placed.tree, part.over_sill, rules) for part in parts
            if part.placed.tree is not None and part.placed.tree.form == "bowl"]
    if not over:
        return []
    low, high = in_both(min(over), "size"), in_both(max(over), "size")
    if len(over) == 1:
        return [f"leave or heap a mound about the trunk, its top {low} over the sill"]
    tops = (f"{low} over its sill" if low == high else
            f"{low} to {high} over its sill, as its stake tells")
    return [f"leave or heap a mound about each trunk, its top {tops}"]


def _furrows(inputs: Inputs, cascade: Cascade, dug: Sequence[Dug], earth: Earthworks
             ) -> list[Step]:
    """The furrows of each entry, once the works at both their ends are built."""
    found = []
    rules = inputs.rules
    for entry in (work for work in earth.works if work.leads_from):
        lines, leads, words = list[tuple[str, str]](), list[Furrow](), list[str]()
        stone = sod = 0.0
        for node, work in zip(cascade.nodes, dug, strict=True):
            made, runs = work.furrow, work.furrow_runs
            if made is None or runs is None or node.spills_to is None or (
                    work.placed.work.name != entry.leads_from):
                continue
            leads.append(made)
            stone += lining_stone(made, runs, rules["stone thickness"])
            sod += lining_sod(made, runs)
            to = cascade.nodes[node.spills_to].store.name
            at, deep = made.deepest
            depth = (f", {in_both(deep, 'size')} deep {in_both(at, 'length')} from its sill"
                     if deep > made.depth else "")
            fails = "" if made.falls else (f" (lower the rim of \"{to}\" by "
                                           f"{in_both(max(made.lower_by, 0.01), 'size')} first)")
            words.append(furrow_as_dug(made, runs, rules))
            lines.append((f"from \"{work.store.name}\" to \"{to}\", "
                          f"{in_both(made.length, 'length')}",
                          f", its bed from {in_both(made.start_level, 'level')} at the sill to "
                          f"{in_both(made.end_level, 'level')} at the rim{depth}{fails}"))
        wide, deep_least = (in_both(size, "size") for size in (leads[0].width, leads[0].depth))
        plain = set(words) == {f"{wide} wide"}
        counted = "" if plain else (f", counted bare and {wide} wide: greater width is not "
                                    "priced")
        alike = len(set(words)) == 1
        told = [first + ("" if alike else f", {word}") + last
                for (first, last), word in zip(lines, words, strict=True)]
        days = earth.by_hand.get(entry.name)
        by_hand = f" ({counted[2:]})" if days is None and counted else "" if days is None else (
            f" ({days[0]:.1f} to {days[1]:.1f} days of one worker, priced as a small machine digs"
            f"{counted})")
        lined = [f"{in_both(amount, dimension)} of {what}" for amount, dimension, what in (
            (stone, "earth", "stone"), (sod, "area", "sod")) if amount]
        found.append(Step(entry.name, _sentence([
            *([f"have {' and '.join(lined)} at hand for the lining"] if lined else []),
            f"dig the {entry.name.split(' of ')[0]} by hand{by_hand}, "
            f"{f'{words[0]}, ' if alike else ''}at least {deep_least} deep between ground or low "
            "banks, from the lower end up", *told, *_gathers(leads),
            f"lay the {in_both(entry.cut, 'earth')} of earth{'' if plain else ' or more'} along "
            "the lower side, and across a low place under the bed",
            "open each at its sill last"]),
            earth.bills[entry.name].hours, days))
    return found


def _gathers(furrows: Sequence[Furrow]) -> list[str]:
    """How water over sills longer than a furrow is wide gets into its mouth."""
    longer = [made for made in furrows if made.gathers > 0]
    if not longer:
        return []
    longest = max(made.sill_length for made in longer)
    each = "the sill" if len(longer) == 1 else "each sill"
    below = "its brim no higher than the sill"
    level = "where the furrow begins level with the sill, banked on its lower side"
    brims = " and, ".join(words for words, there in (
        (below, any(made.begins_below for made in longer)),
        (level, any(not made.begins_below for made in longer))) if there)
    return [f"along the foot of {each}, over its whole length of "
            f"{'up to ' if len(longer) > 1 else ''}{in_both(longest, 'length')}, dig a trench as "
            "wide and deep that gathers what comes over it, its bed falling from both ends to the "
            f"furrow's mouth, {brims}"]


def _drain(work: Dug, earth: Earthworks) -> Step:
    name = work.placed.work.name
    assert work.drain is not None
    line = in_both(work.drain.route.length, "length", 0)
    to = f"into \"{work.drain.route.to}\"" if work.drain.route.to else "to its outfall"
    return Step(name, f"Dig the drain {to}, {line} long, from its outlet up, and open its upper "
                      "end last: it may bring water only to what is finished and grown over.",
                earth.bills[name].hours)


def _joined(inputs: Inputs, dug: Sequence[Dug]) -> str:
    """What is connected last."""
    tanks = [f"\"{work.store.name}\"" for work in dug if work.store.kind == "tank"]
    pipes = [f"\"{work.store.name}\", {in_both(length, 'length')} long"
             + _wide(work, inputs.rules) for work in dug if work.pipe_line is not None
             and (length := float(LineString(work.pipe_line).length)) > 0]
    said = []
    if inputs.ground.roads:
        said.append("let the roads' water in by its turn-outs and drains")
    if tanks:
        said.append(f"set and connect {', '.join(tanks)}")
    if pipes:
        said.append(f"lay the pipe of {'; of '.join(pipes)}")
    return _sentence(["only when every work is built and stabilised", *said],
                     ", ") if said else ""


def _wide(work: Dug, rules: Rulebook) -> str:
    """How wide its pipe is, and whether anybody said so."""
    asked = work.placed.work
    size = asked.pipe_diameter or rules["pipe diameter"]
    words = ordered(f"{size * 1000:,.0f} mm", f"{size / 0.0254:,.1f} in")
    return f", {words} wide" + ("" if asked.pipe_diameter else " (assumed)")


def _season(inputs: Inputs, rules: Rulebook) -> str:
    """When all must be done."""
    ahead = rules["finish before rain"]
    rule = (f"{ahead:g} month{'' if ahead == 1 else 's'} or more before them (finish before rain, "
            f"{rules.source('finish before rain')})")
    overnight = " Leave no raw bank overnight with a storm in sight: pack it, or open it again."
    wet = None if inputs.record is None else wet_season(mean_months(inputs.record.depths),
                                                        rules["distinct rains"])
    if wet is None or inputs.record is None:
        if inputs.record is not None and math.isfinite(
                share_of_wettest(mean_months(inputs.record.depths))):
            return ("The rain record shows no distinct rains (distinct rains, "
                    f"{rules.source('distinct rains')}), so no month is the one to finish by: "
                    "build in weeks when little rain is told and what is sown "
                    f"comes up.{overnight}")
        return f"Finish before the wettest months begin: {rule}.{overnight}"
    first, last = wet
    done = MONTHS[(first - 1 - math.ceil(ahead)) % 12]
    months = MONTHS[first] if first == last else f"{MONTHS[first]} to {MONTHS[last]}"
    short = short_record(inputs.record.depths, inputs.site.rain.start_month)
    doubt = "" if short is None else (" The record is too short to be an average, so ask people "
                                      "who have lived there when the rains come.")
    return (f"Finish by the end of {done}: the wettest months of the rain record, in a row, are "
            f"{months}, and all is to be grown over {rule}."
            f"{wetter_too(mean_months(inputs.record.depths), wet)}{doubt}{overnight}")


def _sentence(parts: Sequence[str], between: str = "; ") -> str:
    said = between.join(parts)
    return said[0].upper() + said[1:] + "."
