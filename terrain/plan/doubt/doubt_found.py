"""What many runs tell: ranges, how well the runs know them, and chances."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: Ends of a range: one run in ten lies below it, one in ten above.
LOW, HIGH = 0.1, 0.9
#: Standard deviations within which 95 % of a normal distribution lie.
NINETY_FIVE = 1.959963984540054


@dataclass(frozen=True)
class Range:
    """A figure over many runs.

    Attributes
    ----------
    plan : float or None
        The plan's own; None where it has none.
    low, median, high : float
        What 10, 50 and 90 % of the runs do not exceed.
    low_error, high_error : float
        How far the two ends may be off for the number of runs alone, with 95 % confidence.
    """

    plan: float | None
    low: float
    median: float
    high: float
    low_error: float
    high_error: float

    @property
    def plan_outside(self) -> bool:
        """Whether the plan's own figure lies outside the range, by more than rounding."""
        if self.plan is None:
            return False
        slack = 1e-9 * max(abs(self.low), abs(self.high))
        return not self.low - slack <= self.plan <= self.high + slack


def range_of(values: ArrayLike, plan: float | None = None) -> Range:
    """The range of a figure over runs.

    Parameters
    ----------
    values : (runs,)
    plan : float, optional
        The plan's own figure.

    Raises
    ------
    ValueError
        If there are no values.

    Notes
    -----
    The i-th smallest of n stands for i / (n + 1): then one more run falls between the ends with
    the chance 80 %, whatever the distribution (E. J. Gumbel, Statistics of Extremes, 1958).  How
    far an end may be off comes from the ranks within which it lies with 95 % confidence, by the
    binomial distribution of the runs below it (W. J. Conover, Practical Nonparametric
    Statistics, 3rd ed., 1999, sect. 3.2; both from memory).
    """
    ranked = np.sort(np.asarray(values, np.float64))
    if not ranked.size:
        raise ValueError("there are no runs to take a range of")
    low, median, high = (float(v) for v in np.quantile(ranked, [LOW, 0.5, HIGH],
                                                       method="weibull"))
    return Range(plan, low, median, high, _error(ranked, LOW), _error(ranked, HIGH))


def _error(ranked: NDArray[np.float64], share: float) -> float:
    """Half of the span of an end's 95 % confidence."""
    count = ranked.size
    half = NINETY_FIVE * float(np.sqrt(count * share * (1 - share)))
    first = int(np.clip(np.floor(count * share - half), 1, count))
    last = int(np.clip(np.ceil(count * share + half), 1, count))
    return float(ranked[last - 1] - ranked[first - 1]) / 2


@dataclass(frozen=True)
class Headline:
    """One of the plan's headline figures in doubt.

    Attributes
    ----------
    name : str
        "passive", "roof", "left site" or "share kept".
    together : Range
        With everything in doubt.  [m3], or a share
    alone : dict of str to Range
        With only one thing in doubt, by its name; none that is not in doubt at all.
    shares : dict of str to float
        Variance with that one in doubt over the variance with all, in the same draws; they need
        not add to 1, as doubts act on one another.  None where nothing varies.
    """

    name: str
    together: Range
    alone: dict[str, Range]
    shares: dict[str, float]

    @property
    def most(self) -> str | None:
        """The doubt that matters most; None where none matters."""
        best = max(self.shares, key=lambda doubt: self.shares[doubt], default=None)
        return best if best is not None and self.shares[best] > 0 else None


@dataclass(frozen=True)
class DoubtedStore:
    """A store in doubt.

    Attributes
    ----------
    name : str
    catchment : Range
        Ground that comes to it. [m2]
    arrives, caught : Range
        In the design storm. [m3]
    arrives_year, caught_year : Range or None
        In an average year; None without a record. [m3]
    fills : float
        Chance that the design storm fills it.
    never_fills : float
        Chance that neither the design storm nor any day of the record fills it.
    plan_fills : bool
        Whether the design storm fills it by the plan.
    other_ground : float
        Chance that more than half of its catchment is not what the plan says: that the ground
        which comes to it here and not there, or there and not here, is more than half as large.
    other_spill : float or None
        Chance that its spill meets another store, or none where the plan says one, or one where
        the plan says none; None where a pipe or a word leads it.
    leaves_elsewhere : float or None
        Chance that its spill leaves the property by more than the rule `spill moved` from where
        the plan says; None where a pipe or a word leads it, or it meets a store by the plan.
    """

    name: str
    catchment: Range
    arrives: Range
    caught: Range
    arrives_year: Range | None
    caught_year: Range | None
    fills: float
    never_fills: float
    plan_fills: bool
    other_ground: float
    other_spill: float | None
    leaves_elsewhere: float | None


@dataclass(frozen=True)
class Beside:
    """The plan's average year with the soil's wetness reckoned the other way.

    Attributes
    ----------
    soil : str
        Such as "soil that dries".
    figures : dict of str to float
        By headline. [m3], or a share
    """

    soil: str
    figures: dict[str, float]


@dataclass(frozen=True)
class Doubt:
    """How sure a plan is.

    Attributes
    ----------
    runs, alone_runs, seed : int
        Runs with everything in doubt, runs of each doubt alone, and the seed of both.
    grounds : int
        How many of the runs had heights of their own.
    design_storm : str
    storm : dict of str to Headline
        Of the design storm, by name.
    year, one_year : dict of str to Headline
        Of an average year, and of any one year of the record; empty where they are not told.
    stores : tuple of DoubtedStore
        In the order of the cascade's nodes.
    notes : tuple of str
        What it rests on, in whole sentences.
    beside : Beside or None
        Of the average year, which no run draws; None where it is not known.
    """

    runs: int
    alone_runs: int
    seed: int
    grounds: int
    design_storm: str
    storm: dict[str, Headline]
    year: dict[str, Headline]
    one_year: dict[str, Headline]
    stores: tuple[DoubtedStore, ...]
    notes: tuple[str, ...]
    beside: Beside | None = None
