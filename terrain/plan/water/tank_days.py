"""The days of the rain record with a reading, and a tank that lives through them a second time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from terrain.plan.water.cascade import Cascade
from terrain.plan.water.water_balance import Lived, SeasonRun, live
from terrain.works.store import Store

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class DaysRead:
    """The days of the record with a reading, and what comes to a tank on them.

    Attributes
    ----------
    rain_mm, weights : float64, shape (days,)
        As of `SeasonRun`.
    others, roof : float64, shape (days,)
        What comes the second time beside what its own roofs give and a tanker brings; what its
        roofs give. [m3]
    known : bool, shape (all days,)
    others_first : float64, shape (days,)
        As `others`, the first time. [m3]
    """

    days: pd.DatetimeIndex
    rain_mm: FloatArray
    weights: FloatArray
    others: FloatArray
    roof: FloatArray
    known: NDArray[np.bool_]
    others_first: FloatArray

    def mean(self, series: FloatArray) -> float:
        """Sum of a daily series over an average year."""
        return float((series * self.weights).sum())

    def on_all_days(self, chosen: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """The same on every day of the record, false on those without a reading."""
        found = np.zeros(self.known.size, bool)
        found[self.known] = chosen
        return found


def days_read(cascade: Cascade, run: SeasonRun, index: int) -> DaysRead:
    """The days of a record that were read, for the tank that is a node of the cascade."""
    known = run.known
    first, others = _from_others(cascade, run, index,
                                 np.asarray(run.days.month, np.int64)[known] - 1)
    return DaysRead(run.days[known], run.rain_mm[known], run.weights[known], others,
                    run.stores[index].roof[known], known, first)


def _from_others(cascade: Cascade, run: SeasonRun, index: int, months: NDArray[np.int64]
                 ) -> tuple[FloatArray, FloatArray]:
    """What other stores give a tank on the days read, the first time and the second. [m3]

    Every store above it, whose spill or grey water comes to it in the end, lives twice as it does.
    """
    nodes = cascade.nodes
    above = _above(cascade, index)
    lives: dict[int, tuple[Lived, Lived]] = {}

    def given(to: int, time: int) -> FloatArray:
        total = np.zeros(months.size)
        for i, pair in lives.items():
            lived = pair[time]
            for taker, part in nodes[i].given(lived.spilled, lived.over):
                if taker == to:
                    total = total + part
            for use, taker in zip(lived.uses, nodes[i].grey_to, strict=False):
                if taker == to:
                    total = total + use.use.grey * use.used
        return total

    for i in cascade.order:
        if i in above:
            store, years = nodes[i].store, run.stores[i]
            own = (years.runoff + years.roof)[run.known]
            sun = run.evaporation[run.known] * store.open_water
            once = live(store, own + given(i, 0), months, sun, lifts=nodes[i].lifts)
            twice = live(store, own + given(i, 1), months, sun, float(once.held[-1:].sum()),
                         nodes[i].lifts)
            lives[i] = once, twice
    ground = run.stores[index].runoff[run.known]
    return ground + given(index, 0), ground + given(index, 1)


def _above(cascade: Cascade, index: int) -> set[int]:
    found = {index}
    for i in reversed(cascade.order):  # those below come first
        node = cascade.nodes[i]
        if any(to in found for to in (*node.takers, *node.grey_to) if to is not None):
            found.add(i)
    return found - {index}


def lived_again(store: Store, roof: FloatArray, read: DaysRead) -> Lived:
    """A tank's second time through the days read, begun with what the first left in it."""
    months, still = np.asarray(read.days.month, np.int64) - 1, np.zeros(roof.size)
    first = live(store, read.others_first + roof, months, still)
    return live(store, read.others + roof, months, still, float(first.held[-1:].sum()))


def share_met(met: float, wanted: float) -> float:
    """Share of what is wanted that is met; 1 where nothing is wanted."""
    return min(met / wanted, 1.0) if wanted > 0 else 1.0


def by_month(run: DaysRead, series: FloatArray, weights: FloatArray) -> FloatArray:
    """Sums of a weighted daily series by month of the year, January first."""
    return np.bincount(np.asarray(run.days.month) - 1, weights=series * weights,
                       minlength=12).astype(np.float64)
