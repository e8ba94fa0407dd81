"""How long a long record takes through many stores: fifty stores over fifty years.

Run:  .venv/bin/python tests/benchmarks/seasons.py [stores] [years]

The record is the four years that vega_datasets ships (Seattle, from NOAA), repeated.  A third of
the stores are tanks with a rationed household, livestock and a tanker, a third swales, a third
bowls; every tank spills to a swale and every swale to a bowl.  Printed is the best of three runs
after one that compiles.  Budget: 2 s for fifty stores over fifty years.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1] / "published"))

from networks import NO_GROUND, NO_ROOF, cascade_of, ground_of, reference_of, store_of

from terrain.plan.water.water_balance import run_seasons
from terrain.works.roof import RoofCatchment
from terrain.works.store import bowl_curve, channel_curve, tank_curve
from terrain.works.water_use import TopUp, Use

DRY = [60.0, 75, 110, 145, 185, 205, 210, 190, 150, 110, 70, 55]
BUDGET = 2.0


def record_of(years: int) -> pd.Series:
    """Daily rain of so many years. [mm]"""
    from vega_datasets import data

    rain = data.seattle_weather()["precipitation"].to_numpy(float)
    days = pd.date_range("1961-01-01", periods=round(years * 365.25))
    return pd.Series(np.resize(rain, days.size), days)


def many(count: int):
    """A cascade of so many stores, a third of each kind."""
    tank = replace(store_of("tank", tank_curve(20.0)), demand=0.3, uses=(
        Use("house", "household", np.full(12, 0.2), ((0.5, 0.8), (0.2, 0.5)), 0.5),
        Use("goats", "livestock", np.full(12, 0.1))), top_up=TopUp(2.0, 5.0, 60.0))
    swale = store_of("swale", channel_curve(10.0, 0.3, 0.6, 2.0, 40.0), 6.0, infiltration=3.0)
    bowl = store_of("tree basin", bowl_curve(9.0, 0.25, 2.0, 2.0), 4.0, infiltration=1.0)
    road = ground_of([82.0, 89.0, 100.0], [1500.0, 220.0, 72.0])
    veld = ground_of([74.0, 100.0], [300.0, 12.6])
    parts = []
    for i in range(count):
        kind = i % 3
        below = i + 1 if kind < 2 and i + 1 < count else None
        store, ground, roof = [(tank, NO_GROUND, RoofCatchment(150.0, 135.0, 0.5)),
                               (swale, road, NO_ROOF), (bowl, veld, NO_ROOF)][kind]
        parts.append((store, ground, roof, below))
    made = cascade_of(parts, ground_of([74.0], [4000.0]))
    nodes = [replace(node, grey_to=(node.spills_to, None)) if node.store.uses else node
             for node in made.nodes]
    return replace(made, nodes=nodes)


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("stores", nargs="?", type=int, default=50)
    words.add_argument("years", nargs="?", type=int, default=50)
    given = words.parse_args()
    cascade, record = many(given.stores), record_of(given.years)
    reference = reference_of(record, DRY)
    run_seasons(cascade, record[:400], reference[:400], True)
    for follows, soil in ((False, "of average wetness"), (True, "that dries")):
        took = []
        for _ in range(3):
            start = time.perf_counter()
            run_seasons(cascade, record, reference, follows)
            took.append(time.perf_counter() - start)
        print(f"{given.stores} stores over {given.years} years, soil {soil}: {min(took):.2f} s "
              f"(budget {BUDGET:g} s)")


if __name__ == "__main__":
    main()
