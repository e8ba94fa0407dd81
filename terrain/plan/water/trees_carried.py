"""The inverse question: how many trees of a kind would this water carry?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.plan.siting.hydrology import soil_dries
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.siting.tree_climate import daily_runoff
from terrain.plan.water.cascade import Cascade
from terrain.plan.water.water_balance import SeasonRun
from terrain.runoff.catchment import gather
from terrain.runoff.rain_years import year_of, years_of
from terrain.runoff.sheds import Shed, ShedPoint
from terrain.works.root_zone import effective_rain, live, root_zone_room
from terrain.works.rules import Rulebook

FloatArray = NDArray[np.float64]

#: No more trees than this are counted.
MOST_TREES = 2**20
#: Stands for any number of them: rain on the ground under their crowns is enough.
RAIN_ALONE = MOST_TREES + 1
#: So many places where roads, and where bare ground, shed are asked.
MOST_POINTS = {"road": 10, "bare ground": 5}
#: Of fewer whole years no dry one is told; common practice, no source.
LEAST_YEARS = 5
#: Share of years that are drier than the dry year: one in five.
DRY = 0.2
#: Crown of the tree that stands for all where the site file names none; an example. [m]
EXAMPLE_CROWN = 3.0


@dataclass(frozen=True)
class Kind:
    """Trees alike: crown [m], plant factor [-], and what they are called."""

    name: str
    crown: float
    factor: float

    @property
    def area(self) -> float:
        """Under the crown. [m2]"""
        return float(np.pi * self.crown**2 / 4)


@dataclass(frozen=True)
class Count:
    """Trees in a median and in a dry year; None where that is not told.

    `RAIN_ALONE` where any number of them needs no other water, `MOST_TREES` for so many or more.
    """

    median: int | None
    dry: int | None


@dataclass(frozen=True)
class Carried:
    """What the water of one source would carry.

    Attributes
    ----------
    source : str
    kind : str
        "store", or "road" or "bare ground" for a place where these shed.
    row, column : int or None
        Of such a place.
    water_median, water_dry : float or None
        Water of a year. [m3]
    trees : Kind
    full, some : Count
        With all that they want, and with the rules' `tree gets by` of it.
    ends_at : int
        For such a place: mark of the store that its water meets, 0 for none.
    """

    source: str
    kind: str
    row: int | None
    column: int | None
    water_median: float | None
    water_dry: float | None
    trees: Kind
    full: Count
    some: Count
    ends_at: int = 0


def carried(water: FloatArray, kind: Kind, rain: FloatArray, reference: FloatArray,
            years: NDArray[np.int64], whole: Sequence[int], shares: Sequence[float],
            rules: Rulebook) -> list[NDArray[np.int64]]:
    """How many trees a series of water would give a share of their want, in each whole year.

    The water of a day is shared alike by the root zones of all the trees, and what these have
    no room for sinks below them and is lost; so more trees keep more of a storm.  Rain on the
    crown's ground comes on top, light showers left out.

    Parameters
    ----------
    water : float64, shape (days,)
        [m3]
    rain, reference : float64, shape (days,)
        Rain and reference evapotranspiration. [mm]
    years : int64, shape (days,)
        The year each day belongs to.
    whole : sequence of int
        Years to answer for.
    shares : sequence of float
        Of the year's want.

    Returns
    -------
    counts : list of int64, shape (whole years,)
        For each share; `RAIN_ALONE` where rain alone gives it, `MOST_TREES` where so many or
        more are carried.
    """
    index = {year: i for i, year in enumerate(whole)}
    which = np.array([index.get(int(year), len(whole)) for year in years])
    want = reference * kind.factor * kind.area / 1000
    own = effective_rain(rain, reference) * kind.area / 1000
    room, depletion = root_zone_room(kind.area, rules), rules["root zone depletion"]

    def by_year(series: FloatArray) -> FloatArray:
        sums = np.bincount(which, weights=series, minlength=len(whole) + 1)
        return sums[:len(whole)].astype(np.float64)

    wanted = by_year(want)
    tried: dict[int, FloatArray] = {}

    def share(count: int) -> FloatArray:
        """Of the want, for so many trees; for `RAIN_ALONE` without the water."""
        if count not in tried:
            part = 0.0 * water if count == RAIN_ALONE else water / count
            gets = by_year(live(want, own + part, room, depletion).gets)
            tried[count] = np.divide(gets, wanted, out=np.ones(len(whole)), where=wanted > 0)
        return tried[count]

    return [_most(share, least * (1 - 1e-9), len(whole)) for least in shares]


def _most(share: Callable[[int], FloatArray], least: float, years: int) -> NDArray[np.int64]:
    """The largest count in each year whose share is no less; fewer trees never get less."""
    alone = share(RAIN_ALONE) >= least
    low, high = np.zeros(years, np.int64), np.full(years, MOST_TREES + 1, np.int64)
    low = np.where(alone, MOST_TREES, low)
    count = 1
    while count <= MOST_TREES:  # doubled until none is carried
        reached = share(count) >= least
        low = np.where(reached, np.maximum(low, count), low)
        high = np.where(~reached, np.minimum(high, count), high)
        if not (reached & ~alone).any():
            break
        count *= 2
    while (high - low > 1).any():
        widest = int(np.argmax(high - low))
        middle = int((low[widest] + high[widest]) // 2)
        if middle > MOST_TREES:
            break
        reached = share(middle) >= least
        low = np.where(reached, np.maximum(low, middle), low)
        high = np.where(~reached, np.minimum(high, middle), high)
    return np.where(alone, RAIN_ALONE, np.minimum(low, MOST_TREES))


def typical(counts: NDArray[np.int64] | FloatArray) -> tuple[float, float | None]:
    """The median year's figure, and that of the year than which one in five is drier.

    The lower of two between which it falls; the dry one is None for fewer than 5 years.
    """
    ranked = np.sort(counts)

    def at(part: float) -> float:
        place = int(np.floor((ranked.size + 1) * part + 1e-9)) - 1
        return float(ranked[min(max(place, 0), ranked.size - 1)])
    return at(0.5), at(DRY) if ranked.size >= LEAST_YEARS else None


def kinds_of(placed: Sequence[Placed], rules: Rulebook) -> list[Kind]:
    """The kinds of trees that the works water; an example where there are none."""
    found: dict[tuple[float, float], Kind] = {}
    for place in placed:
        if place.tree is not None:
            tree = place.tree
            found.setdefault((tree.crown, tree.factor), Kind(
                place.work.tree or place.work.name, tree.crown, tree.factor))
    for place in placed:  # a tree basin gives a kind its name before trees beside a work do
        if place.stand is not None:
            stand = place.stand
            found.setdefault((stand.crown, stand.factor), Kind(
                stand.name, stand.crown, stand.factor))
    return list(found.values()) or [Kind("example tree", EXAMPLE_CROWN, rules["plant factor"])]


def trees_carried(inputs: Inputs, cascade: Cascade, placed: Sequence[Placed],
                  seasons: SeasonRun | None, ranked: Sequence[tuple[Shed, ShedPoint]]
                  ) -> list[Carried]:
    """What the water of each ground store and of each place where roads shed would carry.

    Nothing without a rain record with a whole year, or without evapotranspiration.
    """
    import pandas as pd

    if seasons is None or inputs.evaporation is None or inputs.evaporation.daily is None:
        return []
    reference, rules = inputs.evaporation.daily, inputs.rules
    daily = pd.Series(np.where(seasons.known, seasons.rain_mm, np.nan), seasons.days)
    start_month = inputs.site.rain.start_month
    whole = [int(year) for year in years_of(daily, start_month).whole]
    if not whole:
        return []
    years = year_of(seasons.days, start_month)
    found = []
    sources: list[tuple[str, str, FloatArray, ShedPoint | None]] = [
        (name, "store", water, None) for name, water in _stores(cascade, placed, seasons)]
    sources += [(shed.name, shed.kind, water, point)
                for shed, point, water in _points(inputs, seasons, ranked)]
    for name, kind, water, point in sources:
        yearly = np.array([water[years == year].sum() for year in whole])
        median, dry = typical(yearly)
        for trees in kinds_of(placed, rules):
            counts = [Count(*(None if v is None else int(v) for v in typical(count)))
                      for count in carried(water, trees, seasons.rain_mm, reference, years, whole,
                                           (1.0, rules["tree gets by"]), rules)]
            found.append(Carried(name, kind, None if point is None else point.row,
                                 None if point is None else point.column, median, dry, trees,
                                 counts[0], counts[1], 0 if point is None else point.ends_at))
    return found


def _stores(cascade: Cascade, placed: Sequence[Placed], seasons: SeasonRun
            ) -> list[tuple[str, FloatArray]]:
    """What each work soaks in, day by day; the basins of one entry as one.

    Rain on a tree basin's own surface is left out, for it falls under the crown.
    """
    found: dict[str, FloatArray] = {}
    for place, node, store in zip(placed, cascade.nodes, seasons.stores, strict=True):
        if place.kind in ("tank", "drain"):
            continue
        water = store.infiltrated
        if place.tree is not None:
            surface = min(float(node.store.curve.areas[-1]), place.tree.crown_area)
            water = np.maximum(water - seasons.rain_mm * surface / 1000, 0.0)
        found[place.work.name] = found.get(place.work.name, 0.0) + water
    return list(found.items())


def _points(inputs: Inputs, seasons: SeasonRun, ranked: Sequence[tuple[Shed, ShedPoint]]
            ) -> list[tuple[Shed, ShedPoint, FloatArray]]:
    """What passes each place where roads and bare ground shed, day by day."""
    terrain, ground, rule = inputs.terrain, inputs.ground, inputs.hydrology.rule
    assert inputs.evaporation is not None
    reference = inputs.evaporation.daily if soil_dries(inputs.site) else None
    found = []
    asked = [one for kind, most in MOST_POINTS.items()
             for one in [one for one in ranked if one[0].kind == kind][:most]]
    for shed, point in asked:
        outlet = np.zeros(terrain.dem.shape, bool)
        outlet[point.exits[:, 0], point.exits[:, 1]] = True
        part = gather(ground.curve_number, terrain.catchment(outlet), terrain.dem.cell_area,
                      rule=rule)
        depths = daily_runoff(seasons.rain_mm, part.curve_numbers, rule, reference)
        found.append((shed, point, part.made(depths)))
    return found
