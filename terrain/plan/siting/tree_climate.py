"""What the climate of a site means for trees, before any store has lived through it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.rainfall import RainRecord
from terrain.inputs.site import Site
from terrain.plan.siting.hydrology import Evaporation, soil_dries
from terrain.runoff.curve_number import RunoffRule
from terrain.runoff.rain_years import mean_months, year_totals, year_with_less, years_of
from terrain.runoff.soil_moisture import soil_moisture
from terrain.works.rules import Rulebook

FloatArray = NDArray[np.float64]
#: Of fewer whole years the mean year stands for the design rain; common practice, no source.
LEAST_YEARS = 5


@dataclass(frozen=True)
class TreeClimate:
    """Rain, thirst and runoff of a year.

    Attributes
    ----------
    thirst : float
        Reference evapotranspiration of an average year. [mm]
    design_rain : float
        Rain of the year that the published catchment ratio asks for. [mm]
    rain : float
        Of an average year. [mm]
    shed : float64, shape (rows, columns)
        Runoff of each cell in an average year; NaN where its ground is not known. [mm]
    """

    thirst: float
    design_rain: float
    rain: float
    shed: FloatArray


def daily_runoff(rain: FloatArray, numbers: FloatArray, rule: RunoffRule,
                 reference: FloatArray | None) -> FloatArray:
    """Runoff depth of each day from ground of several curve numbers. [mm]

    Parameters
    ----------
    rain : float64, shape (days,)
        [mm]
    numbers : float64, shape (k,)
    reference : float64, shape (days,), optional
        Reference evapotranspiration, where curve numbers follow the wetness of the soil. [mm]

    Returns
    -------
    depths : float64, shape (days, k)
    """
    if reference is None:
        depths, which = np.unique(rain, return_inverse=True)
        return np.asarray(rule.runoff(depths[:, None], numbers[None, :]))[which]
    dry, average, wet = (rule.retention(numbers, condition) for condition in ("I", "II", "III"))
    return np.asarray(soil_moisture(rain, reference, dry, average, wet,
                                    rule.abstraction_ratio).runoff)


def tree_climate(site: Site, record: RainRecord | None, evaporation: Evaporation | None,
                 curve_number: FloatArray, rule: RunoffRule, rules: Rulebook
                 ) -> TreeClimate | None:
    """The climate of a site; None without a rain record or evapotranspiration.

    The design rain is that which 67 % of years exceed (FAO AGL/MISC/17/91, 1991, sect. 4.3), or
    the mean year's where fewer than 5 years are whole.
    """
    if record is None or evaporation is None:
        return None
    daily = record.depths
    totals = year_totals(daily, years_of(daily, site.rain.start_month))
    mean = float(mean_months(daily).sum())
    design = (year_with_less(totals, 1 - min(rules["design rain exceeded"], 1.0))
              if len(totals) >= LEAST_YEARS else mean)
    known = np.isfinite(curve_number)
    numbers, which = np.unique(curve_number[known], return_inverse=True)
    rain = daily.fillna(0.0).to_numpy(np.float64)
    made = daily_runoff(rain, numbers, rule, evaporation.daily if soil_dries(site) else None)
    share = mean / rain.sum() if rain.sum() else 0.0  # one year's part of the record
    shed = np.full(curve_number.shape, np.nan)
    shed[known] = (made.sum(0) * share)[which]
    return TreeClimate(evaporation.year, design, mean, shed)
