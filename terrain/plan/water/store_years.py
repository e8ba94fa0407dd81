"""The seasons of each store: how often it fills, how long it lies dry, what it carries over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.plan.water.accounts import YearOfRecord
from terrain.plan.water.cascade import Cascade
from terrain.plan.water.pond_years import DRY_BELOW
from terrain.plan.water.water_balance import SeasonRun, StoreYears, short_days
from terrain.runoff.rain_years import year_of

#: A store that holds this share of what it can counts as full; hours within a day are not kept,
#: so a day on which it spilled counts too.  Common practice, no source.
FULL_FROM = 0.99

Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class StoreYear:
    """A store in an average year, or in a year of the record.

    Attributes
    ----------
    year : str
        Such as "average year" or "dry year (2009)".
    fills, spills : float
        Times: runs of days on which it was full, and on which it spilled.
    days_with_water, days_full : float
        Days on which more than a hundredth of what it holds came to it or stood in it in the
        end; days on which it was full.
    dry_spell : int
        Longest run of days without water; of the average year that of the whole record.  No run
        goes across a day without a reading. [days]
    refill : float or None
        Median time from the day on which it had run dry, after it was full, to the next on which
        it was full again, of the dry days that lie in the year, no day without a reading between;
        None without one. [days]
    held_before, left_over : float
        What stands in it when the year begins and when it ends; of the average year the means
        over the years of the record. [m3]
    wanted, used : float
        What its uses want, and what they draw. [m3]
    short_days : float
        Days on which some use gets less than its ration.
    """

    year: str
    fills: float
    spills: float
    days_with_water: float
    days_full: float
    dry_spell: int
    refill: float | None
    held_before: float
    left_over: float
    wanted: float = 0.0
    used: float = 0.0
    short_days: float = 0.0


def store_years(cascade: Cascade, run: SeasonRun, years: Sequence[YearOfRecord],
                start_month: int = 1) -> tuple[tuple[StoreYear, ...], ...]:
    """The average, dry, median and wet year of every store; none of drains, which hold nothing.

    Notes
    -----
    They are of the days that the accounts are of: a tank's begin empty, as all stores do.
    """
    named = year_of(run.days, start_month)
    found: list[tuple[StoreYear, ...]] = []
    for node, store in zip(cascade.nodes, run.stores, strict=True):
        if node.store.kind == "drain":
            found.append(())
            continue
        told = [_of("average year", run, store, node.store.capacity, None, named)]
        told += [_of(year.name, run, store, node.store.capacity, year.within(run.days), named)
                 for year in years]
        found.append(tuple(told))
    return tuple(found)


def _of(name: str, run: SeasonRun, store: StoreYears, capacity: float, within: Bools | None,
        named: NDArray[np.int64]) -> StoreYear:
    """A year of a store; of the average year `within` is None."""
    spilled = store.spilled > 0
    full = full_days(store, capacity)
    wet = wet_days(store, capacity)
    weights = run.weights if within is None else (within & run.known).astype(np.float64)

    def times(days: Bools) -> float:
        return float((_starts(days) * weights).sum())

    chosen = np.ones(wet.size, bool) if within is None else within
    ends = np.flatnonzero(np.append(named[1:] != named[:-1], within is None or bool(within[-1])))
    ends = ends[chosen[ends]]
    if within is None and ends.size > 1:
        ends = ends[:-1]  # the record's own end is no year's end, unless it is the only one
    starts = np.flatnonzero(np.append(True, named[1:] != named[:-1]))
    starts = starts[chosen[starts]]
    short = short_days(store.uses, wet.size).astype(np.float64)
    wanted = sum((part.wanted for part in store.uses), np.zeros(wet.size))
    # An account's year counts its days without a reading too, as dry ones.
    days = run.weights if within is None else within.astype(np.float64)
    before = np.concatenate([[0.0], store.held[:-1]])
    waits = _waits(~wet, full, run.known)
    mine = [wait for day, wait in waits if chosen[day]]
    return StoreYear(name, times(full), times(spilled), float((wet * weights).sum()),
                     float((full * weights).sum()), _longest(~wet & chosen & run.known),
                     float(np.median(mine)) if mine else None,
                     float(before[starts].mean()) if starts.size else 0.0,
                     float(store.held[ends].mean()) if ends.size else 0.0,
                     float((wanted * days).sum()), float((store.used * days).sum()),
                     float((short * weights).sum()))


def full_days(store: StoreYears, capacity: float) -> Bools:
    """Days on which a store was full. [capacity in m3]"""
    return np.asarray((store.spilled > 0) | (store.held >= FULL_FROM * capacity))


def wet_days(store: StoreYears, capacity: float) -> Bools:
    """Days on which more than a hundredth of what a store holds came to it or stood in it in the
    end, or on which it was full. [capacity in m3]"""
    return full_days(store, capacity) | (
        np.maximum(store.held, store.inflow) > DRY_BELOW * capacity)


def _starts(days: Bools) -> Bools:
    """First days of runs."""
    found: Bools = days & ~np.concatenate([[False], days[:-1]])
    return found


def _longest(days: Bools) -> int:
    """Length of the longest run."""
    marks = np.concatenate([[False], days, [False]])
    turns = np.flatnonzero(marks[1:] != marks[:-1])
    return int((turns[1::2] - turns[::2]).max(initial=0))


def _waits(dry: Bools, full: Bools, known: Bools) -> list[tuple[int, int]]:
    """Days on which a store that was full fell dry, and how many passed until it was full again.

    Whatever happens on a day without a reading is not known, so no wait goes across one.
    """
    found = []
    fell = None
    was_full = False
    for day in range(dry.size):
        if not known[day]:
            fell, was_full = None, False
        elif full[day]:
            if fell is not None:
                found.append((fell, day - fell))
            fell, was_full = None, True
        elif dry[day] and was_full:
            fell, was_full = day, False
    return found
