"""From the ground to the model: every candidate, with its water, its cost and its clashes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.site_suggest import Kind, Suggest
from terrain.plan.siting.reading import Inputs, Progress
from terrain.plan.water.cascade import tanked_roofs
from terrain.plan.water.water_balance import SeasonRun
from terrain.suggest.candidate import Candidate
from terrain.suggest.clashes import clashes
from terrain.suggest.dug_places import dug_places
from terrain.suggest.look import Look
from terrain.suggest.model import Model
from terrain.suggest.network import alone, crossings, network_of
from terrain.suggest.rains import Rains, storm_rains, year_rains
from terrain.suggest.real import Runner
from terrain.suggest.road_places import road_places
from terrain.suggest.swale_places import swale_places
from terrain.suggest.tree_places import tree_places
from terrain.suggest.wall_places import wall_places

FloatArray = NDArray[np.float64]
Places = Callable[[Look, int], list[Candidate]]

#: Each kind of work, who looks for it, and its share of the places that are looked at.
GENERATORS: dict[Kind, tuple[Places, float]] = {
    "road basin": (road_places, 0.05), "wall": (wall_places, 0.15),
    "dug basin": (dug_places, 0.15), "tree row": (tree_places, 0.2), "swale": (swale_places, 1.0)}
#: So many of a kind are laid out in full, to learn how far its rough price is off.
LAID_OUT = 6
#: To a work that is worth digging comes this share of what it holds in the design storm, and no
#: more than so many times that, where nothing stands above it; common practice, no source.
LEAST_COMES, MOST_COMES = 0.2, 20.0
#: So many rows of trees are run alone, to count those that get by.
MOST_ROWS = 150
#: They are counted on as long as their work keeps this share of what it keeps alone; common
#: practice, no source.
ENOUGH_WATER = 0.8


def places(look: Look, asked: Suggest, progress: Progress, stopped: Callable[[], bool]
           ) -> list[Candidate]:
    """Candidates of every kind asked for, as many as asked; those of a stopped search so far."""
    found: list[Candidate] = []
    for kind, (generator, share) in GENERATORS.items():
        if kind not in asked.kinds or stopped():
            continue
        progress(f"Looking for places: {kind}s")
        left = asked.places - len(found)
        most = left if kind == "swale" else min(int(asked.places * share), left)
        found += [c for c in generator(look, max(most, 1)) if _wide_enough(c, asked)]
    return found


def _wide_enough(candidate: Candidate, asked: Suggest) -> bool:
    """Whether a swale has room for the least sill."""
    least = asked.sill_at_least
    length = getattr(candidate.works[-1], "length", None)
    return least is None or candidate.kind != "swale" or length is None or length >= least


def repriced(candidates: Sequence[Candidate], runner: Runner, stopped: Callable[[], bool]
             ) -> list[Candidate]:
    """The same with their rough prices put right by kind, as the plan reckons some of them.

    The middle of what the plan's price is over the rough one, of candidates evenly taken from the
    list of a kind.
    """
    found: list[Candidate] = []
    for kind in dict.fromkeys(c.kind for c in candidates):
        own = [c for c in candidates if c.kind == kind]
        if kind == "own":
            found += own
            continue
        ratios = []
        for i in np.unique(np.linspace(0, len(own) - 1, LAID_OUT).astype(int)):
            if stopped():
                break
            ran = runner.run([own[i]])
            if ran.candidates:
                cost = runner.costs(ran)[0][own[i].name]
                ratios.append([cost.of(name) / own[i].cost.of(name)
                               for name in _priced(own[i]) if own[i].cost.of(name) > 0])
        times = np.median(np.array(ratios), axis=0) if ratios else np.ones(3)
        found += [replace(c, cost=replace(c.cost, **{
            name: c.cost.of(name) * float(by) for name, by in zip(_priced(c), times,
                                                                  strict=False)})) for c in own]
    return found


def _priced(candidate: Candidate) -> list[str]:
    return [name for name in ("money", "hours", "earth")
            if name != "money" or candidate.cost.money is not None]


def _areas(look: Look, numbers: FloatArray) -> list[FloatArray]:
    """Of each curve number the ground that drains over the land, not into tanks. [m2]"""
    inputs = look.inputs
    dry = np.zeros(inputs.dem.shape, bool)
    for roofs in tanked_roofs(inputs.site, inputs.ground).values():
        for roof in roofs:
            dry |= roof.cells
    return [np.where(~dry & (inputs.ground.curve_number == number), inputs.dem.cell_area, 0.0)
            for number in numbers]


def worth_digging(look: Look, candidates: Sequence[Candidate], rains: Rains) -> list[Candidate]:
    """Candidates to which enough water comes, and not far more than they hold: what holds little
    of the design storm silts up and is all spillway."""
    inputs = look.inputs
    found = crossings(candidates, inputs.terrain.direction, _areas(look, rains.numbers))
    drains = alone(network_of(found), len(candidates))
    depths = inputs.hydrology.rule.runoff(inputs.site.rain.design.depth, rains.numbers)
    comes = drains @ np.asarray(depths) / 1000
    return [c for c, volume in zip(candidates, comes.tolist(), strict=True)
            if enough_comes(c, volume)]


def enough_comes(candidate: Candidate, volume: float) -> bool:
    """Whether as much runoff of the design storm as comes to a place is worth digging for. [m3]"""
    return LEAST_COMES * candidate.storage <= volume <= MOST_COMES * candidate.storage


@dataclass(frozen=True)
class Prepared:
    """The model and what it is of.

    Attributes
    ----------
    candidates : tuple of Candidate
        In the order of the model; those that stand come last.
    model : Model
    rains : Rains
    barred : frozenset of int
        The owner's own works on ground that the rules keep clear: weighed, never proposed.
    """

    candidates: tuple[Candidate, ...]
    model: Model
    rains: Rains
    barred: frozenset[int]

    @property
    def free(self) -> list[int]:
        """Candidates that may be proposed."""
        return [j for j in range(len(self.candidates))
                if j not in self.barred and j not in self.model.stands]


def rains_for(inputs: Inputs, aim: str, storm: str, seasons: SeasonRun | None) -> Rains:
    """The rain that an aim is of."""
    if storm:
        return storm_rains(inputs, storm)
    assert seasons is not None
    return year_rains(inputs, seasons, dry=aim == "trees in a dry year")


def prepared(runner: Runner, candidates: Sequence[Candidate], stands: Sequence[Candidate],
             aim: str, rains: Rains, barred: frozenset[str]) -> Prepared:
    """Make the model.

    Parameters
    ----------
    stands : sequence of Candidate
        What stands in every layout, each as if it were to be built.
    barred : frozenset of str
        Names of candidates that are never proposed.
    """
    look, inputs = runner.look, runner.inputs
    every = (*candidates, *stands)
    ground = network_of(crossings(every, inputs.terrain.direction, _areas(look, rains.numbers)))
    drains = alone(ground, len(every))
    rooms = [rains.room(c.storage, c.water_area, c.soak, drains[j]) for j, c in enumerate(every)]
    room = np.array([one for one, _ in rooms]).reshape(len(every), rains.days.size)
    network = replace(ground, own=ground.own @ rains.depths.T / 1000)
    number = {c.name: j for j, c in enumerate(every)}
    costs = {name: np.array([c.cost.of(name) for c in every])
             for name in ("money", "hours", "earth")
             if name != "money" or inputs.site.money is not None}
    trees = thirst = None
    if aim == "trees in a dry year":
        kept = np.minimum(drains @ rains.depths.T / 1000, room) @ rains.days
        trees, thirst = _carried(runner, every[:len(candidates)], kept[:len(candidates)])
        trees = np.append(trees, np.zeros(len(stands), np.int64))
        thirst = np.append(thirst, np.ones(len(stands)))
    worth = _worth(look, every, aim)
    gift = worth * np.array([rain for _, rain in rooms])
    model = Model(network, room, rains.days, worth, gift, costs,
                  clashes(every, inputs.dem), frozenset(range(len(candidates), len(every))),
                  trees, thirst)
    return Prepared(tuple(every), model, rains,
                    frozenset(number[name] for name in barred))


def _worth(look: Look, every: Sequence[Candidate], aim: str) -> FloatArray:
    """Of a m3 that each keeps: 1, or against erosion the fall it is spared on the site. [m]"""
    if aim != "erosion":
        return np.ones(len(every))
    inputs = look.inputs
    heights, inside = inputs.terrain.filled, inputs.ground.inside
    found = []
    for candidate in every:
        row, column = candidate.spill
        path = inputs.terrain.path(row, column)
        on_site = np.flatnonzero(inside[path[:, 0], path[:, 1]])
        last = path[on_site[-1]] if on_site.size else path[0]
        found.append(max(float(heights[row, column]) - float(heights[last[0], last[1]]), 0.0))
    return np.array(found)


def _carried(runner: Runner, every: Sequence[Candidate], kept: FloatArray
             ) -> tuple[NDArray[np.int64], FloatArray]:
    """How many trees of each candidate get by in the dry year where it stands alone, by the plan's
    own run, and what of the water that it then keeps each of these must get. [m3]

    Parameters
    ----------
    kept : float64, shape (candidates,)
        Water that each keeps alone. [m3]
    """
    count = np.zeros(len(every), np.int64)
    with_trees = [j for j, c in enumerate(every) if c.trees]
    for j in with_trees[:MOST_ROWS]:
        count[j] = runner.trees_of(runner.run([every[j]]), every[j])
    return count, np.maximum(ENOUGH_WATER * kept / np.maximum(count, 1), 1e-9)


def limits_of(asked: Suggest, inputs: Inputs) -> tuple[str, dict[str, float]]:
    """What the front goes against, and the limits that are given.

    Raises
    ------
    InputError
        If a budget is given and the site file states no rates.
    """
    given = {name: most for name, most in (
        ("money", asked.budget), ("hours", asked.machine_hours), ("earth", asked.earth))
        if most is not None}
    if "money" in given and inputs.site.money is None:
        raise InputError(f"{inputs.site.where('suggest', 'budget')}, suggest, budget",
                         "a budget is given, and nothing says what things cost",
                         "Add a money: block with a machine hour, or limit machine hours or earth")
    axis = ("money" if inputs.site.money is not None and ("money" in given or not given) else
            "hours" if "hours" in given or not given else next(iter(given)))
    return axis, given
