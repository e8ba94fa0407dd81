"""What a tank does over the rain record: days dry, demand met, loads; rules of thumb beside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from terrain.plan.water.accounts import YearOfRecord
from terrain.plan.water.cascade import Cascade, Node
from terrain.plan.water.tank_days import DaysRead, by_month, days_read, lived_again, share_met
from terrain.plan.water.tank_sizes import MORE_ROOF, More, SizeCurve, more_of, size_curve, tried
from terrain.plan.water.water_balance import Lived, SeasonRun
from terrain.runoff.rain_years import year_of
from terrain.works.tank_rules import dry_season_storage, monthly_run
from terrain.works.water_use import Use

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
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
        return share_met(float(self.met.sum()), float(self.wanted.sum()))

    @property
    def shares(self) -> list[float]:
        """The same of each use."""
        return [share_met(float(m), float(w))
                for m, w in zip(self.met.sum(1), self.wanted.sum(1), strict=True)]

    @property
    def month_shares(self) -> list[float]:
        """The same of each month, all uses together."""
        return [share_met(float(m), float(w))
                for m, w in zip(self.met.sum(0), self.wanted.sum(0), strict=True)]


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
              start_month: int = 1, more_roof: float = MORE_ROOF["metric"]) -> TankLife:
    """What the record says of the tank that is a node of the cascade, and of so much more roof
    [m2].

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
    read = days_read(cascade, run, index)
    again = lived_again(node.store, read.roof, read)
    dry = again.dry
    longest, begins = _longest(read.on_all_days(dry))
    refill, times = _refill(again, node.store.capacity, read)
    named = year_of(run.days, start_month)[run.known]
    curve = size_curve(node, read) if uses else None
    return TankLife(
        index, uses, _year("average year", read, again, node, read.weights),
        tuple(_year(year.name, read, again, node, (named == year.year).astype(np.float64))
              for year in years),
        _year("whole record", read, again, node, np.ones(read.days.size)),
        int(dry.sum()), longest, run.days[begins] if longest else None, refill, times, curve,
        more_of(node, read, more_roof) if uses else (), _thumbs(node, again, read) if uses else (),
        run.mean(np.minimum(run.rain_mm, node.roof.first_flush)) * node.roof.collected / 1000)


def _year(name: str, run: DaysRead, lived: Lived, node: Node, weights: FloatArray) -> TankYear:
    top_up = node.store.top_up
    loads = 0.0 if top_up is None else float((lived.brought * weights).sum()) / top_up.load
    wanted, met = np.zeros((2, len(lived.uses), 12))
    for i, part in enumerate(lived.uses):
        wanted[i], met[i] = (by_month(run, series, weights) for series in (part.wanted, part.used))
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


def _refill(lived: Lived, capacity: float, read: DaysRead) -> tuple[float | None, int]:
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


def _thumbs(node: Node, lived: Lived, run: DaysRead) -> tuple[Thumb, ...]:
    """Rules of thumb beside what the record says."""
    import pandas as pd

    store, roof = node.store, node.roof
    supply = by_month(run, run.rain_mm, run.weights) * roof.collected / 1000
    wants = sum((part.wanted for part in lived.uses), np.zeros(run.rain_mm.size))
    demand = by_month(run, wants, run.weights)
    inflow = run.others + run.roof
    _, met, used = tried(replace(store, top_up=None), run.roof, run)
    longest, _ = _longest(run.on_all_days(run.rain_mm <= roof.first_flush))
    daily = float(demand.sum()) / float(run.weights.sum())
    if not roof.area:  # other stores fill it: what they give stands in the roofs' place
        supply = by_month(run, inflow, run.weights)
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
                           share_met(drawn, float(wants.sum())),
                           "met day by day, no deliveries", met,
                           "yield after and before spillage: Jenkins and others, 1978; Fewkes & "
                           "Butler, 2000; both from memory"))
    return tuple(found)
