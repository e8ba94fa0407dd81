"""What each kind of ground of a district sheds in each storm, and in an average year."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas
from numpy.typing import NDArray

from terrain.district.kinds import Kinds
from terrain.district.screened import Water
from terrain.district.waters import ParcelWater
from terrain.inputs.site import Site
from terrain.plan.siting.hydrology import soil_dries
from terrain.plan.siting.reading import Rain
from terrain.plan.siting.tree_climate import daily_runoff
from terrain.plan.water.cascade import Cascade
from terrain.plan.water.water_balance import run_seasons
from terrain.runoff.catchment import Catchment

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class DistrictRain:
    """Rain, and the runoff that it makes.

    Attributes
    ----------
    rain : Rain
        The record, the evaporation, and how rain becomes runoff.
    names : tuple of str
        Of the storms.
    depths : float64, shape (storms,)
        [mm]
    runoff : float64, shape (storms, k)
        Of each kind of ground in each storm; 0 where its curve number is not known. [mm]
    year : float or None
        Rain of an average year; None without a record. [mm]
    year_runoff : float64, shape (k,)
        Of each kind in an average year, 0 without a record. [mm]
    """

    rain: Rain
    names: tuple[str, ...]
    depths: FloatArray
    runoff: FloatArray
    year: float | None
    year_runoff: FloatArray

    def waters(self, kinds: Kinds, water: ParcelWater, collected: float
               ) -> tuple[tuple[Water, ...], Water | None]:
        """What each storm, and an average year, brings to a parcel.

        Parameters
        ----------
        collected : float
            Roofs of the parcel in plan, times the share of their rain that reaches the gutter.
            [m2]
        """
        own = np.where(kinds.roof, 0.0, water.own)

        def told(name: str, rain: float, runoff: FloatArray) -> Water:
            shed = runoff / 1000
            return Water(name, rain, float(own @ shed), float(water.run_on @ shed),
                         float(((own + water.run_on) * shed)[kinds.road].sum()),
                         collected * rain / 1000)

        storms = tuple(told(*one) for one in zip(self.names, self.depths.tolist(), self.runoff,
                                                 strict=True))
        return storms, None if self.year is None else told("year", self.year, self.year_runoff)


def district_rain(site: Site, rain: Rain, kinds: Kinds) -> DistrictRain:
    """Find what the rain of a district makes of each kind of ground.

    Parameters
    ----------
    site : Site
        Any of its parcels as a site.
    rain : Rain
        As `read_rain` gives it.

    Notes
    -----
    A storm's runoff is that of its depth by the curve number, a year's the sum over the days of
    the record, each with its weight in an average year, as in the plan's accounts.
    """
    known = np.isfinite(kinds.number)
    numbers, rule = kinds.number[known], rain.hydrology.rule
    depths = np.array([storm.depth for storm in site.rain.storms])
    runoff = np.zeros((depths.size, known.size))
    runoff[:, known] = rule.runoff(depths[:, None], numbers[None, :])
    names = tuple(storm.name for storm in site.rain.storms)
    year_runoff = np.zeros(known.size)
    if rain.record is None:
        return DistrictRain(rain, names, depths, runoff, None, year_runoff)
    weights = _weights(rain.record.depths)
    falls = rain.record.depths.fillna(0.0).to_numpy(np.float64)
    follows = soil_dries(site)
    # Each day is one storm on ground of average wetness where numbers do not follow the soil's.
    made = daily_runoff(falls, numbers, rule if follows else replace(rule, condition="II"),
                        rain.evaporation.daily if follows and rain.evaporation else None)
    year_runoff[known] = weights @ made
    return DistrictRain(rain, names, depths, runoff, float(weights @ falls), year_runoff)


def _weights(record: pandas.Series) -> FloatArray:
    """Share of each day in an average year, as the plan's seasons have it."""
    none = np.zeros(0)
    nothing = Cascade([], [], Catchment(none, none, none), np.zeros((0, 0), np.int32))
    return run_seasons(nothing, record).weights
