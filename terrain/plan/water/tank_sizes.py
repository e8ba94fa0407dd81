"""A tank of another size, or with more roof, lived through the same days of the record."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain.plan.water.cascade import Node
from terrain.plan.water.tank_days import DaysRead, lived_again, share_met
from terrain.works.store import Store, tank_curve
from terrain.works.tank_rules import knee_of
from terrain.works.water_use import TopUp, Use

FloatArray = NDArray[np.float64]
#: The curve of sizes goes from no tank at all to the least that meets this share of what a tank
#: without end would meet; common practice, no source.
CURVE_REACHES = 0.99
#: Sizes along it, evenly apart.
POINTS = 33
#: Where nothing ever comes the curve goes to a tank that holds so many days' use.
NOTHING_COMES = 100.0
#: Roof that "more roof" adds, a round figure in the site's own units. [m2]
MORE_ROOF = {"metric": 100.0, "us": 1000 * 0.3048**2}


@dataclass(frozen=True)
class SizeCurve:
    """Tanks of all sizes, each lived through the record without rationing and deliveries.

    It depends on the roofs, the uses and the record alone, not on the tank as it is.

    Attributes
    ----------
    volumes : float64, shape (sizes,)
        From 0 to the least that meets 99 % of what a tank without end would. [m3]
    days, met : float64, same shape
        Share of days on which every use gets what it wants; share of what is wanted that is met.
    loads : float64, same shape, or None
        Deliveries a year with them, rationed as this one; NaN where a load does not fit.
    knee : int or None
        The size at which what is met levels off.
    own : float
        What the tank holds as it is. [m3]
    own_days, own_met : float
        The same shares of its own size.
    """

    volumes: FloatArray
    days: FloatArray
    met: FloatArray
    loads: FloatArray | None
    knee: int | None
    own: float
    own_days: float
    own_met: float


@dataclass(frozen=True)
class More:
    """What a change brings in an average year, without deliveries: roof added [m2], water used
    [m3], days dry."""

    what: str
    roof: float
    used: float
    fewer_dry: float


def tried(store: Store, roof: FloatArray, run: DaysRead) -> tuple[float, float, float]:
    """Share of days, share of volume, and what is used in an average year [m3]."""
    found = lived_again(store, roof, run)
    days = float(run.weights.sum())
    used, wanted = run.mean(found.used), sum(run.mean(part.wanted) for part in found.uses)
    return 1 - run.mean(found.dry.astype(np.float64)) / days, share_met(used, wanted), used


def resized(store: Store, times: float) -> Store:
    """The same tank so many times as large, without deliveries.

    It is rationed when as much water is left in it as before, smaller or larger: what is left
    lasts as long in it.  A small one may thus be rationed from full on.
    """
    def steps(use: Use) -> tuple[tuple[float, float], ...]:
        return tuple((below / times, draw) for below, draw in use.steps)

    curve = tank_curve(store.capacity * times, float(store.curve.levels[-1]))
    return replace(store, curve=curve, top_up=None,
                   uses=tuple(replace(use, steps=steps(use)) for use in store.uses))


def unrationed(store: Store, volume: float) -> Store:
    """A tank of a size with the same uses, neither rationed nor brought water. [m3]"""
    return replace(store, curve=tank_curve(volume), top_up=None,
                   uses=tuple(replace(use, steps=()) for use in store.uses))


def size_curve(node: Node, run: DaysRead) -> SizeCurve:
    """Tanks of all sizes with the uses of this one."""
    store = node.store

    def shares(volume: float) -> tuple[float, float]:
        if volume <= 0:  # no tank: nothing is met, and no day on which something is wanted
            return run.mean((wanted <= 0).astype(np.float64)) / float(run.weights.sum()), 0.0
        return tried(unrationed(store, volume), run.roof, run)[:2]

    wanted = sum((use.amounts for use in store.drawn), np.zeros(12))[
        np.asarray(run.days.month, np.int64) - 1]
    volumes = _curve_end(store, run, shares) * np.linspace(0.0, 1.0, POINTS)
    found = np.array([shares(float(volume)) for volume in volumes])
    loads = None
    if store.top_up is not None:
        loads = np.array([_loads(resized(store, float(v) / store.capacity), store, run) if v > 0
                          else np.nan for v in volumes])
    return SizeCurve(volumes, found[:, 0], found[:, 1], loads, knee_of(volumes, found[:, 1]),
                     store.capacity, *shares(store.capacity))


def _curve_end(store: Store, run: DaysRead, shares: Callable[[float], tuple[float, float]]
               ) -> float:
    """The least size that meets nearly all that a tank without end would, within 1/512. [m3]"""
    comes = float((run.roof + run.others).sum() + run.others_first.sum())
    days_use = sum(use.mean_day for use in store.drawn)
    if comes <= 0:
        return NOTHING_COMES * days_use
    enough = CURVE_REACHES * shares(2 * comes)[1]
    high = days_use / 24
    while high < 2 * comes and shares(high)[1] < enough:
        high *= 2
    low = 0.0
    for _ in range(9):
        middle = (low + high) / 2
        low, high = (low, middle) if shares(middle)[1] >= enough else (middle, high)
    return high


def _loads(sized: Store, store: Store, run: DaysRead) -> float:
    """Deliveries a year to a tank of another size, at the same share of it."""
    asked = store.top_up
    assert asked is not None
    top_up = TopUp(asked.below * sized.capacity / store.capacity, asked.load, asked.price)
    if top_up.below + top_up.load > sized.capacity * (1 + 1e-9):
        return float("nan")
    found = lived_again(replace(sized, top_up=top_up), run.roof, run)
    return run.mean(found.brought) / asked.load


def more_of(node: Node, run: DaysRead, added: float) -> tuple[More, ...]:
    """So much more roof [m2], another tank of the same size, and both."""
    store, roof = node.store, node.roof
    alone = replace(store, top_up=None)
    larger = resized(store, 2.0)
    kept = roof.collected / roof.area if roof.area else 0.9
    wider = replace(roof, area=roof.area + added, collected=roof.collected + added * kept)
    different, which = np.unique(run.rain_mm, return_inverse=True)
    now, more = run.roof, wider.runoff_volumes(different)[which]
    days, _, used = tried(alone, now, run)
    found = []
    for what, roof_more, other, shed in (("roof", added, alone, more), ("tank", 0.0, larger, now),
                                         ("roof and tank", added, larger, more)):
        new_days, _, new_used = tried(other, shed, run)
        found.append(More(what, roof_more, new_used - used, (new_days - days) * 365.25))
    return tuple(found)
