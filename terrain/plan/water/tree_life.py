"""What trees get from a basin or swale month by month, as their root zone keeps it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from terrain.plan.water.accounts import CLOSES_TO, YearOfRecord
from terrain.plan.water.water_balance import SeasonRun, StoreYears
from terrain.runoff.rain_years import WET
from terrain.works.root_zone import RootZone, effective_rain, live, longest_run, root_zone_room
from terrain.works.rules import Rulebook
from terrain.works.tree_basin import TreeShape
from terrain.works.tree_stand import TreeStand

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
_FIELDS = ("want", "rain", "soaked", "missed", "gets", "drained", "gain")


@dataclass(frozen=True)
class TreeMonths:
    """A tree's months, January first; each array has shape (12,). [m3]

    Attributes
    ----------
    name : str
        "average year", or a year of the record by its kind.
    want : float64
        With all the water it likes.
    rain, soaked : float64
        Rain under the crown beside the basin that reaches the roots, and what the basin soaks in.
    missed : float64
        What of that does not come to the roots: 0 under a tree basin.
    gets, drained, gain : float64
        What the tree takes, what sinks below its roots, and by how much its soil grows wetter.
    """

    name: str
    want: FloatArray
    rain: FloatArray
    soaked: FloatArray
    missed: FloatArray
    gets: FloatArray
    drained: FloatArray
    gain: FloatArray

    @property
    def share(self) -> float:
        """What it gets of its year's want; 1 where it wants nothing. [-]"""
        return float(self.gets.sum() / self.want.sum()) if self.want.sum() else 1.0


@dataclass(frozen=True)
class TreeLife:
    """A tree over the record, or trees alike beside a swale or basin, all together.

    Attributes
    ----------
    room : float
        What its root zone holds. [m3]
    months : tuple of TreeMonths
        Of the average year, then of a dry and a wet year of the record where there are any.
    gap_days : int
        Most days in a row on which less than 1 mm over its crown reaches its roots.
    gap_starts : str or None
        First of them, as YYYY-MM-DD.
    short_days : float
        Days of an average year on which it gets less than the rules' `tree gets by` of its want.
    reach : float
        Share of what soaks in that comes to its roots.
    """

    room: float
    months: tuple[TreeMonths, ...]
    gap_days: int
    gap_starts: str | None
    short_days: float
    reach: float = 1.0


def tree_life(shape: TreeShape | TreeStand, store: StoreYears, seasons: SeasonRun,
              reference: FloatArray, years: Sequence[YearOfRecord], rules: Rulebook,
              texture: str | None = None) -> TreeLife:
    """Let the tree of a basin, or the trees beside a swale or basin, live through the record.

    The root zone is as wide as the crown.  Rain on a tree basin's own surface is in what it soaks
    in; rain on the rest of the crown's ground comes straight.  Of what a swale or basin soaks in
    its trees get `reach`; the rest sinks past their roots.  Trees alike share alike, so all of a
    stand are one zone.

    Parameters
    ----------
    reference : float64, shape (days,)
        Reference evapotranspiration. [mm]
    texture : str, optional
        Of its soil, where it is known.

    Raises
    ------
    ArithmeticError
        If a month's account does not close to 1e-9.
    """
    want = reference * shape.factor * shape.crown_area / 1000
    rain = effective_rain(seasons.rain_mm, reference) * shape.bare_crown / 1000
    room = root_zone_room(shape.crown_area, rules, texture)
    reach = shape.reach if isinstance(shape, TreeStand) else 1.0
    gains = rain + reach * store.infiltrated
    missed = (1.0 - reach) * store.infiltrated
    zone = live(want, gains, room, rules["root zone depletion"])
    first, gap = longest_run(gains < WET * shape.crown_area / 1000)
    short = (want > 0) & (zone.gets < rules["tree gets by"] * want)
    months = [_months("average year", zone, rain, store.infiltrated, missed, seasons.days,
                      seasons.weights)]
    months += [_months(year.name, zone, rain, store.infiltrated, missed, seasons.days,
                       year.within(seasons.days).astype(np.float64))
               for year in years if year.kind in ("dry", "wet")]
    starts = seasons.days[first].date().isoformat() if gap else None
    return TreeLife(room, tuple(months), gap, starts,
                    seasons.mean(short.astype(np.float64)), reach)


def together(lives: Sequence[TreeLife]) -> list[TreeMonths]:
    """The months of several trees of one record, added up."""
    return [TreeMonths(parts[0].name, *(sum((getattr(part, field) for part in parts), np.zeros(12))
                                        for field in _FIELDS))
            for parts in zip(*(life.months for life in lives), strict=True)]


def _months(name: str, zone: RootZone, rain: FloatArray, soaked: FloatArray, missed: FloatArray,
            days: pd.DatetimeIndex, weights: FloatArray) -> TreeMonths:
    month = days.month.to_numpy() - 1
    gain = np.diff(zone.held, prepend=zone.start)
    parts = (zone.want, rain, soaked, missed, zone.gets, zone.drained, gain)
    found = TreeMonths(name, *(np.bincount(month, series * weights, 12).astype(np.float64)
                               for series in parts))
    off = np.abs(found.rain + found.soaked - found.missed - found.gets - found.drained
                 - found.gain)
    came = max(float((found.rain + found.soaked).sum()), 1e-6)
    if not off.max() <= CLOSES_TO * came:
        raise ArithmeticError(f"a tree's month fails to close by {off.max() / came:.1e}")
    return found
