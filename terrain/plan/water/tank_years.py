"""What a tank does over the rain record: days dry, demand met, deliveries, and other sizes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from terrain.plan.water.accounts import YearOfRecord
from terrain.plan.water.cascade import Cascade, Node
from terrain.plan.water.water_balance import Lived, SeasonRun, live
from terrain.runoff.rain_years import year_of
from terrain.works.store import Store, tank_curve
from terrain.works.tank_rules import dry_season_storage, knee_of, monthly_run
from terrain.works.water_use import TopUp, Use

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
#: The curve of sizes goes from no tank at all to the least that meets this share of what a tank
#: without end would meet; common practice, no source.
CURVE_REACHES = 0.99
#: Sizes along it, evenly apart.
POINTS = 33
#: Where nothing ever comes the curve goes to a tank that holds so many days' use.
NOTHING_COMES = 100.0
#: Roof that "more roof" adds. [m2]
MORE_ROOF = 100.0
#: A tank with less than this share of what it holds counts as empty, with more than the other as
#: full; common practice, no source.
EMPTY, FULL = 0.01, 0.99


@dataclass(frozen=True)
class TankYear:
    """An average year or a year of the record.

    Attributes
    ----------
    name : str
    wanted, met : float64, shape (uses, 12)
        What each use wants, and gets, in each month. [m3]
    dry_days : float
        Days on which some use gets less than its ration.
    loads, cost : float
        Deliveries, and what they cost; cost is None where no price is stated.
    """

    name: str
    wanted: FloatArray
    met: FloatArray
    dry_days: float
    loads: float
    cost: float | None

    @property
    def share(self) -> float:
        """Share of all that is wanted that is met; 1 where nothing is wanted."""
        return _share(float(self.met.sum()), float(self.wanted.sum()))

    @property
    def shares(self) -> list[float]:
        """The same of each use."""
        return [_share(float(m), float(w)) for m, w in zip(self.met.sum(1), self.wanted.sum(1),
                                                           strict=True)]

    @property
    def month_shares(self) -> list[float]:
        """The same of each month, all uses together."""
        return [_share(float(m), float(w)) for m, w in zip(self.met.sum(0), self.wanted.sum(0),
                                                           strict=True)]


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
    """What a change brings in an average year, without deliveries: water used [m3], days dry."""

    what: str
    used: float
    fewer_dry: float


@dataclass(frozen=True)
class Thumb:
    """A rule of thumb beside the record.

    Attributes
    ----------
    rule : str
    dimension : {"volume", "days", "share"}
    says : float
        Infinite where no tank would do. [m3], [days], [-]
    beside : str
        What of the record or the tank is told beside it.
    record : float
    source : str
    """

    rule: str
    dimension: str
    says: float
    beside: str
    record: float
    source: str


@dataclass(frozen=True)
class TankLife:
    """All that the record says of a tank.

    Attributes
    ----------
    index : int
        Of its node.
    uses : tuple of Use
    average : TankYear
    years : tuple of TankYear
        A dry, a median and a wet year of the record, where it has five whole years.
    record : TankYear
        The whole record, days without a reading left out.
    dry_days : int
        Over the whole record, days without a reading left out.
    longest : int
    longest_from : date or None
        The longest run of days on which it cannot give its rations, and when it begins; none runs
        across a day without a reading.
    refill_days : float or None
        From the day on which a tank that ran empty takes in water to the day on which it is full,
        at median; None where it is never empty, or never full again.
    refills : int
        How often that was.
    curve : SizeCurve or None
        None where nothing is wanted.
    more : tuple of More
    thumbs : tuple of Thumb
    flushed : float
        Turned away by the first flush in an average year. [m3]
    """

    index: int
    uses: tuple[Use, ...]
    average: TankYear
    years: tuple[TankYear, ...]
    record: TankYear
    dry_days: int
    longest: int
    longest_from: pd.Timestamp | None
    refill_days: float | None
    refills: int
    curve: SizeCurve | None
    more: tuple[More, ...]
    thumbs: tuple[Thumb, ...]
    flushed: float


def tank_life(cascade: Cascade, run: SeasonRun, index: int, years: Sequence[YearOfRecord] = (),
              start_month: int = 1) -> TankLife:
    """What the record says of the tank that is a node of the cascade.

    Notes
    -----
    Other sizes and more roof are lived through by this tank alone, with the water that comes to
    it now: nothing above it hangs on its size, and what its spill does below is left out.  They are
    compared without deliveries.

    All figures are of a second time through the record, begun with what the first left in the
    tank and in every store above it: the accounts begin with empty ones.  Days without a reading
    are left out: all of them stand still, and no spell or wait runs across them.
    """
    node = cascade.nodes[index]
    uses = node.store.drawn
    known, months = run.known, np.asarray(run.days.month, np.int64)[run.known] - 1
    first, others = _from_others(cascade, run, index, months)
    read = _Read(run.days[known], run.rain_mm[known], run.weights[known], others,
                 run.stores[index].roof[known], known, first)
    again = _again(node.store, read.roof, read)
    dry = again.dry
    longest, begins = _longest(read.on_all_days(dry))
    refill, times = _refill(again, node.store.capacity, read)
    named = year_of(run.days, start_month)[run.known]
    curve = _curve(node, read) if uses else None
    return TankLife(
        index, uses, _year("average year", read, again, node, read.weights),
        tuple(_year(year.name, read, again, node, (named == year.year).astype(np.float64))
              for year in years),
        _year("whole record", read, again, node, np.ones(read.days.size)),
        int(dry.sum()), longest, run.days[begins] if longest else None, refill, times, curve,
        _more(node, read) if uses else (), _thumbs(node, again, read) if uses else (),
        run.mean(np.minimum(run.rain_mm, node.roof.first_flush)) * node.roof.collected / 1000)


@dataclass(frozen=True)
class _Read:
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


def _again(store: Store, roof: FloatArray, read: _Read) -> Lived:
    """A tank's second time through the days read, begun with what the first left in it."""
    months, still = np.asarray(read.days.month, np.int64) - 1, np.zeros(roof.size)
    first = live(store, read.others_first + roof, months, still)
    return live(store, read.others + roof, months, still, float(first.held[-1:].sum()))


def _share(met: float, wanted: float) -> float:
    return min(met / wanted, 1.0) if wanted > 0 else 1.0


def _year(name: str, run: _Read, lived: Lived, node: Node, weights: FloatArray) -> TankYear:
    top_up = node.store.top_up
    loads = 0.0 if top_up is None else float((lived.brought * weights).sum()) / top_up.load
    wanted, met = np.zeros((2, len(lived.uses), 12))
    for i, part in enumerate(lived.uses):
        wanted[i], met[i] = (_by_month(run, series, weights) for series in (part.wanted, part.used))
    return TankYear(
        name, wanted, met, float((lived.dry * weights).sum()), loads,
        None if top_up is None or top_up.price is None else loads * top_up.price)


def _longest(dry: NDArray[np.bool_]) -> tuple[int, int]:
    """Length of the longest run of days, and where it begins."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], dry.astype(np.int8), [0]])))
    starts, ends = edges[::2], edges[1::2]
    if not starts.size:
        return 0, 0
    best = int(np.argmax(ends - starts))
    return int(ends[best] - starts[best]), int(starts[best])


def _refill(lived: Lived, capacity: float, read: _Read) -> tuple[float | None, int]:
    """Median days from empty to full, and how often; on a day with spill it was full.

    A wait across days without a reading is left out, and so is one across the record's end.
    """
    took: list[int] = []
    since: int | None = None
    was_empty = bool((lived.held[-1:] <= EMPTY * capacity).all())  # the first time left it so
    numbers = np.flatnonzero(read.known).tolist()
    last = -1
    for day, water, spilled in zip(numbers, lived.held, lived.spilled, strict=True):
        if since is not None and day > last + 1:
            was_empty, since = False, None
        last = day
        if water <= EMPTY * capacity:
            was_empty, since = True, None
        elif was_empty and since is None:
            since = day
        if since is not None and (spilled > 0 or water >= FULL * capacity):
            took.append(day - since)
            was_empty, since = False, None
    return (float(np.median(took)), len(took)) if took else (None, 0)


def _tried(store: Store, roof: FloatArray, run: _Read) -> tuple[float, float, float]:
    """Share of days, share of volume, and what is used in an average year [m3]."""
    found = _again(store, roof, run)
    days = float(run.weights.sum())
    used, wanted = run.mean(found.used), sum(run.mean(part.wanted) for part in found.uses)
    return 1 - run.mean(found.dry.astype(np.float64)) / days, _share(used, wanted), used


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


def _curve(node: Node, run: _Read) -> SizeCurve:
    store = node.store

    def shares(volume: float) -> tuple[float, float]:
        if volume <= 0:  # no tank: nothing is met, and no day on which something is wanted
            return run.mean((wanted <= 0).astype(np.float64)) / float(run.weights.sum()), 0.0
        return _tried(unrationed(store, volume), run.roof, run)[:2]

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


def _curve_end(store: Store, run: _Read, shares: Callable[[float], tuple[float, float]]) -> float:
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


def _loads(sized: Store, store: Store, run: _Read) -> float:
    """Deliveries a year to a tank of another size, at the same share of it."""
    asked = store.top_up
    assert asked is not None
    top_up = TopUp(asked.below * sized.capacity / store.capacity, asked.load, asked.price)
    if top_up.below + top_up.load > sized.capacity * (1 + 1e-9):
        return float("nan")
    found = _again(replace(sized, top_up=top_up), run.roof, run)
    return run.mean(found.brought) / asked.load


def _more(node: Node, run: _Read) -> tuple[More, ...]:
    """More roof, another tank of the same size, and both."""
    store, roof = node.store, node.roof
    alone = replace(store, top_up=None)
    larger = resized(store, 2.0)
    kept = roof.collected / roof.area if roof.area else 0.9
    wider = replace(roof, area=roof.area + MORE_ROOF, collected=roof.collected + MORE_ROOF * kept)
    different, which = np.unique(run.rain_mm, return_inverse=True)
    now, more = run.roof, wider.runoff_volumes(different)[which]
    days, _, used = _tried(alone, now, run)
    found = []
    for what, tried, shed in (("roof", alone, more), ("tank", larger, now),
                              ("roof and tank", larger, more)):
        new_days, _, new_used = _tried(tried, shed, run)
        found.append(More(what, new_used - used, (new_days - days) * 365.25))
    return tuple(found)


def _by_month(run: _Read, series: FloatArray, weights: FloatArray) -> FloatArray:
    return np.bincount(np.asarray(run.days.month) - 1, weights=series * weights,
                       minlength=12).astype(np.float64)


def _thumbs(node: Node, lived: Lived, run: _Read) -> tuple[Thumb, ...]:
    """Rules of thumb beside what the record says."""
    import pandas as pd

    store, roof = node.store, node.roof
    supply = _by_month(run, run.rain_mm, run.weights) * roof.collected / 1000
    wants = sum((part.wanted for part in lived.uses), np.zeros(run.rain_mm.size))
    demand = _by_month(run, wants, run.weights)
    inflow = run.others + run.roof
    _, met, used = _tried(replace(store, top_up=None), run.roof, run)
    longest, _ = _longest(run.on_all_days(run.rain_mm <= roof.first_flush))
    daily = float(demand.sum()) / float(run.weights.sum())
    if not roof.area:  # other stores fill it: what they give stands in the roofs' place
        supply = _by_month(run, inflow, run.weights)
        longest, _ = _longest(run.on_all_days(inflow <= 0))
    found = [
        Thumb("roof yield of an average year", "volume", float(supply.sum()),
              "used in an average year, no deliveries", used,
              "area times share collected times the mean year's rain") if roof.area else
        Thumb("given by other works in an average year", "volume", float(supply.sum()),
              "used in an average year, no deliveries", used,
              "their spills, as they are reckoned here"),
        Thumb("a full tank lasts", "days", store.capacity / daily,
              "longest run of days on which its roofs gave nothing" if roof.area else
              "longest run of days on which nothing came from other works", float(longest),
              "what it holds over the mean day's use"),
        Thumb("tank that bridges the dry months", "volume", dry_season_storage(supply, demand),
              "what the tank holds", store.capacity,
              "use of the dry months of an average year less what comes in them: Home Power, "
              "Sizing a whole-house rainwater system")]
    comes, wanted = (pd.Series(series, run.days).groupby([run.days.year, run.days.month]).sum()
                     .to_numpy() for series in (inflow, wants))
    rules: tuple[Literal["after", "before"], ...] = ("after", "before")
    for rule in rules:
        first = monthly_run(comes, wanted, store.capacity, rule).held[-1:]
        drawn = float(monthly_run(comes, wanted, store.capacity, rule,
                                  float(first.sum())).drawn.sum())
        found.append(Thumb(f"share met by monthly sums, drawn {rule} what spills", "share",
                           _share(drawn, float(wants.sum())), "met day by day, no deliveries", met,
                           "yield after and before spillage: Jenkins and others, 1978; Fewkes & "
                           "Butler, 2000; both from memory"))
    return tuple(found)
