"""What a search might have found on the small site, its figures made up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from terrain.inputs.site_suggest import Suggest
from terrain.inputs.site_works import Basin, Drain, Swale, TreeBasin
from terrain.plan.siting.layout import place_works
from terrain.plan.siting.reading import read_inputs
from terrain.suggest.candidate import Candidate, Cost
from terrain.suggest.suggestion import (
    AimWords,
    Chosen,
    FrontPoint,
    OwnPlan,
    Proposal,
    Rejected,
    Suggestion,
    Water,
)

#: New works of the small site by their candidate: each of the kinds that are sought.
NEW = {
    "swale 1": [Swale.model_validate({
        "kind": "swale", "name": "swale 1", "through": [500030, 6399930], "length": "25 m",
        "depth": "0.3 m", "infiltration": "12 mm/h"})],
    "road basin 2": [
        Drain.model_validate({
            "kind": "drain", "name": "road basin 2 drain", "from": [500080.5, 6399939.5],
            "to": "road basin 2", "grade": "1 %", "depth": "0.2 m"}),
        Basin.model_validate({
            "kind": "basin", "name": "road basin 2", "depth": 0.6, "batter": 2,
            "dug": [[500085, 6399912], [500093, 6399912], [500093, 6399920],
                    [500085, 6399920]]})],
    "tree row 3": [TreeBasin.model_validate({
        "kind": "tree basin", "name": "tree row 3", "crown": 3, "spacing": "6 m",
        "along": [[500022, 6399882], [500022, 6399906]]})],
}


def candidates_of(inputs, new):
    """Candidates of hand-made works, laid out as the plan does it."""
    works = [work for entries in new.values() for work in entries]
    site = inputs.site.model_copy(update={"works": works})
    with inputs.told():
        placed = place_works(site, inputs.terrain, inputs.ground, inputs.rules,
                             inputs.runoff(site.rain.design.depth))
    made = {}
    for number, (name, entries) in enumerate(new.items(), 1):
        store = entries[-1]
        of = tuple(p for p in placed if p.work.name in {work.name for work in entries})
        stores = [p for p in of if p.work.name == store.name]
        row, column = inputs.dem.row_column(stores[0].spill_x, stores[0].spill_y)
        money = None if inputs.site.money is None else 900.0 * number
        made[name] = Candidate(
            name, {"swale": "swale", "basin": "dug basin", "tree basin": "tree row"}[store.kind],
            tuple(entries), np.concatenate([p.cells for p in stores]), (int(row), int(column)),
            stores[0].outline, sum(p.curve.capacity for p in stores),
            sum(float(p.curve.areas[-1]) for p in stores), 12.0,
            Cost(money, 1.5 * number, 11.0 * number),
            trees=len(stores) if store.kind == "tree basin" else 0, crown=3.0,
            said=("The slope here is 4 % and the soil takes in 12 mm/h: <b>room</b> \"enough\".",))
        made[name] = made[name], of
    return made


def suggested(path, new=None, limit="hours", dimension="volume", **site):
    """A made-up suggestion for a site file."""
    inputs = read_inputs(path)
    if site:
        inputs = replace(inputs, site=inputs.site.model_copy(update=site))
    made = candidates_of(inputs, NEW if new is None else new)
    water = Water(0.0, 40.0, 210.0, 31.0, 52.0, 0.031, 300.0, 120.0, 900.0, 3)
    chosen = [Chosen(candidate, placed, candidate.cost, 4200.0 / n, 150.0 / n, 90.0 / n,
                     (f"Water from {n} ways meets here.",))
              for n, (candidate, placed) in enumerate(made.values(), 1)]
    most = len(chosen)
    sizes = sorted({max(most // 3, 1), max(2 * most // 3, 1), most})
    own = [work.name for work in inputs.site.works]
    steps = np.linspace(1, 12, 9)
    front = [FrontPoint(3.2 * s, 3.1 * s, 400 * (1 - np.exp(-s / 4)), 430 * (1 - np.exp(-s / 4)),
                        380 * (1 - np.exp(-s / 4)) if n % 2 else None, n + 1)
             for n, s in enumerate(steps)]
    proposals = []
    for name, size, at in zip(("cheap", "balanced", "most"), sizes, (2, 4, 8), strict=False):
        front[at] = replace(front[at], name=name)
        works = tuple(chosen[:size])
        cost = Cost(None if works[0].cost.money is None else sum(c.cost.money for c in works),
                    front[at].cost, sum(c.cost.earth for c in works))
        proposals.append(Proposal(
            name, works, tuple(own[1:]), (own[0],) if own else (), front[at].model,
            front[at].bound, cost, replace(water, aim=front[at].model * 0.95, storm_kept=80.0),
            tuple(Rejected(c.candidate, 31.0, "It costs more than what is left.")
                  for c in chosen[size:]), 12.5 if name != "most" else None))
    kinds = {"swale": 812, "wall": 40, "dug basin": 301, "road basin": 0, "tree row": 200}
    return Suggestion(
        inputs, inputs.site.suggest or Suggest(),
        AimWords("water in a year", "water kept in an average year", dimension, limit),
        kinds, water, tuple(front), 4, tuple(proposals),
        OwnPlan(20.0, 210.0, 380.0, 205.0, 350.0), 5.0,
        ("Curve numbers are of average wetness.",), False, 12.3, 8123.0,
        tuple(c.candidate for c in chosen))


@pytest.fixture(scope="session")
def small_suggested(tmp_path_factory, small_site_folder):
    """On the small site as it stands."""
    return suggested(small_site_folder(tmp_path_factory.mktemp("suggested")))


@pytest.fixture(scope="session")
def ponds(tmp_path_factory, small_site_folder):
    """A pond for fish, dug as the search digs it on slow soil, and a swale."""
    pond = Basin.model_validate({
        "kind": "basin", "name": "dug basin 2", "depth": 1.3, "batter": 3, "holds water": True,
        "dug": [[500085, 6399900], [500101, 6399900], [500101, 6399912], [500085, 6399912]]})
    return suggested(small_site_folder(tmp_path_factory.mktemp("ponds")),
                     {"swale 1": NEW["swale 1"], "dug basin 2": [pond]})
