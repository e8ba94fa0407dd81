"""What every store and the site catch by how deep it rains, and when they fill and spill."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.plan.water.accounts import storm_account
from terrain.plan.water.cascade import Cascade
from terrain.plan.water.catches import curve_depths
from terrain.plan.water.rarity import Rarity
from terrain.plan.water.routing import StormRun, run_storm
from terrain.plan.water.totals import share_that_stays
from terrain.runoff.storms import Hyetograph

FloatArray = NDArray[np.float64]
#: Depths of rain along a curve, its start at no rain included.
POINTS = 31


@dataclass(frozen=True)
class StoreCapture:
    """One store by how deep it rains, in the design storm's duration and shape.

    Attributes
    ----------
    name, kind : str
    came, caught, spilled : float64, shape (n,)
        [m3]
    begins : float or None
        Smallest rain that brings it water, from its own ground, its roofs or the spill of stores
        above; None where none up to 500 mm does. [mm]
    full, spills : float or None
        Smallest rain that fills it, and with which it first spills: the same for all but drains,
        which hold nothing and pass on whatever comes. [mm]
    """

    name: str
    kind: str
    came: FloatArray
    caught: FloatArray
    spilled: FloatArray
    begins: float | None
    full: float | None
    spills: float | None

    @property
    def share(self) -> FloatArray:
        """Share of what came that it kept; 1 where nothing came, shape (n,)."""
        return np.divide(self.caught, self.came, out=np.ones_like(self.came),
                         where=self.came > 0)


@dataclass(frozen=True)
class Capture:
    """The sweep of depths through a cascade.

    Attributes
    ----------
    rain : float64, shape (n,)
        Rising from 0. [mm]
    runs : tuple of StormRun
        Of each depth.
    stores : tuple of StoreCapture
    came, passive, roof : float64, shape (n,)
        Rain on the property and run-on together; caught by ground works; by tanks. [m3]
    stays, stays_before : float64, shape (n,)
        Share of the rain on the property that does not leave it, with the works and before.
    rarity : Rarity or None
        How rare rains of the design storm's duration are.
    """

    rain: FloatArray
    runs: tuple[StormRun, ...]
    stores: tuple[StoreCapture, ...]
    came: FloatArray
    passive: FloatArray
    roof: FloatArray
    stays: FloatArray
    stays_before: FloatArray
    rarity: Rarity | None

    @property
    def kept_of_all(self) -> FloatArray:
        """Share of rain and run-on together that the works keep, shape (n,)."""
        kept = self.passive + self.roof
        return np.divide(kept, self.came, out=np.zeros_like(kept), where=self.came > 0)


def capture(cascade: Cascade, before: Cascade, shape: Hyetograph, depths: Sequence[float],
            filled: Sequence[float | None], rarity: Rarity | None = None) -> Capture:
    """Run a sweep of depths through a cascade, stores empty before each.

    Parameters
    ----------
    before : Cascade
        The same ground without the works.
    shape : Hyetograph
        Of the design storm.
    depths : sequence of float
        Of the storms asked for; the sweep goes a quarter beyond the deepest, has each, and the
        depths at which stores fill. [mm]
    filled : sequence of float or None
        Smallest rain that fills each store, as `full_at` finds it. [mm]
    """
    rain = np.union1d(curve_depths(max(depths), POINTS), np.asarray(depths, float))
    # Curves bend where a store fills.
    bends = [np.ceil(2 * depth) / 2 for depth in filled if depth is not None and depth < rain[-1]]
    rain = np.union1d(rain, bends)
    runs = tuple(run_storm(cascade, float(depth), shape) for depth in rain)
    accounts = [storm_account(run) for run in runs]
    stays = np.array([share_that_stays(cascade, account) for account in accounts])
    stays_before = np.array([share_that_stays(before, storm_account(
        run_storm(before, float(depth), shape))) for depth in rain])
    marks = depths_that_matter(cascade, filled, overs(cascade, shape, float(rain[-1])))
    stores = []
    for index, node in enumerate(cascade.nodes):
        came, caught, spilled = (np.array([getattr(run.stores[index], name) for run in runs])
                                 for name in ("inflow", "caught", "spilled"))
        stores.append(StoreCapture(node.store.name, node.store.kind, came, caught, spilled,
                                   *marks[index]))
    return Capture(rain, runs, tuple(stores),
                   np.array([account.rain + account.run_on for account in accounts]),
                   np.array([account.passive for account in accounts], np.float64),
                   np.array([account.roof for account in accounts], np.float64), stays,
                   stays_before, rarity)


def overs(cascade: Cascade, shape: Hyetograph, deepest: float, within: float = 0.25
          ) -> dict[int, float | None]:
    """The smallest storm of which a pump of stated capacity cannot lift all, by its node. [mm]

    Parameters
    ----------
    deepest : float
        None where not even this is too much. [mm]
    within : float
        The answer is that much too high at most. [mm]
    """
    found: dict[int, float | None] = {}
    for index, node in enumerate(cascade.nodes):
        if node.lifts is None:
            continue
        low, high = 0.0, deepest
        if not run_storm(cascade, high, shape).stores[index].over > 0:
            found[index] = None
            continue
        while high - low > within:
            middle = (low + high) / 2
            if run_storm(cascade, middle, shape).stores[index].over > 0:
                high = middle
            else:
                low = middle
        found[index] = high
    return found


def depths_that_matter(cascade: Cascade, filled: Sequence[float | None],
                       over_from: Mapping[int, float | None] | None = None
                       ) -> list[tuple[float | None, float | None, float | None]]:
    """The rain at which each store begins to fill, is full, and first spills. [mm]

    Parameters
    ----------
    filled : sequence of float or None
        Smallest rain that fills each store. [mm]
    over_from : dict of int to float or None
        As `overs` finds it. [mm]
    """
    found: list[tuple[float | None, float | None, float | None]] = [(None, None, None)] * len(
        cascade.nodes)
    for index in cascade.order:
        node = cascade.nodes[index]
        starts = [node.catchment.starts_at, node.roof.starts_at]
        for i, other in enumerate(cascade.nodes):
            spills = found[i][2]
            if other.spills_to != index and index in other.takers:
                spills = (over_from or {}).get(i)
            if index in other.takers and spills is not None:
                starts.append(spills)
        begins = None if np.isinf(min(starts)) else float(min(starts))
        full = filled[index]
        found[index] = ((begins, None, begins) if node.store.kind == "drain" else
                        (begins, full, full))
    return found
