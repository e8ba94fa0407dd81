"""Reference evapotranspiration of every day from its weather."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import refet
from numpy.typing import ArrayLike, NDArray
from refet import calcs

from terrain.errors import InputError
from terrain.inputs.weather import WeatherRecord

if TYPE_CHECKING:
    import pandas

#: Wind where none was measured: the mean over 2,000 stations; FAO 56, 1998, p. 63 (from memory).
#: [m/s]
USUAL_WIND = 2.0
#: Days of each month in the mean Gregorian year of 365.2425 days.
MONTH_DAYS = (31, 28.2425, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September",
          "October", "November", "December")


@dataclass(frozen=True)
class Evapotranspiration:
    """Reference evapotranspiration of the days of a weather record.

    Attributes
    ----------
    daily : Series
        Depth of each day; NaN where it cannot be reckoned. [mm/day]
    method : str
        ``penman-monteith`` or ``hargreaves``.
    notes : tuple of str
        What it rests on, in whole sentences.
    """

    daily: pandas.Series
    method: str
    notes: tuple[str, ...]


def extraterrestrial_radiation(latitude: float, day_of_year: ArrayLike) -> NDArray[np.float64]:
    """Sun at the top of the air on level ground; FAO 56, 1998, eq. 21 [1]_. [MJ/m2/day]

    Parameters
    ----------
    latitude : float
        North is positive. [degrees]
    day_of_year : (days,)
        From 1.

    References
    ----------
    .. [1] R. G. Allen, L. S. Pereira, D. Raes & M. Smith, "Crop evapotranspiration", FAO
       Irrigation and Drainage Paper 56, 1998.
    """
    return np.asarray(calcs.ra_daily(np.radians(latitude), np.asarray(day_of_year)), np.float64)


def daylight_hours(latitude: float, day_of_year: ArrayLike) -> NDArray[np.float64]:
    """Hours from sunrise to sunset; FAO 56, 1998, eq. 34. [h]"""
    declination = calcs.declination(np.asarray(day_of_year))
    return np.asarray(24 / np.pi * calcs.sunset_hour_angle(np.radians(latitude), declination),
                      np.float64)


def radiation_of_sunshine(sunshine: ArrayLike, latitude: float, day_of_year: ArrayLike
                          ) -> NDArray[np.float64]:
    """Solar radiation from the hours of sunshine; FAO 56, 1998, eq. 35. [MJ/m2/day]

    Its a and b are 0.25 and 0.50, for want of local ones. Sunshine beyond the daylight counts as
    all of it.
    """
    daylight = daylight_hours(latitude, day_of_year)
    share = np.divide(sunshine, daylight, out=np.zeros_like(daylight), where=daylight > 0)
    return np.asarray((0.25 + 0.5 * np.minimum(share, 1.0))
                      * extraterrestrial_radiation(latitude, day_of_year), np.float64)


def vapour_pressure(days: pandas.DataFrame) -> NDArray[np.float64]:
    """Vapour pressure of each day by the best that was read of it. [kPa]

    In this order, as FAO 56, 1998, ch. 3 ranks them: vapour pressure itself; dew point (eq. 14);
    highest and lowest relative humidity (eq. 17); the highest alone (eq. 18); the mean (eq. 19).

    Parameters
    ----------
    days : DataFrame
        As in `WeatherRecord`.
    """
    def column(key: str) -> NDArray[np.float64]:
        if key not in days:
            return np.full(len(days), np.nan)
        found: NDArray[np.float64] = days[key].to_numpy(np.float64)
        return found
    hot, cold = (calcs.sat_vapor_pressure(column(key)) for key in ("tmax", "tmin"))
    found = column("vapour_pressure")
    for other in (calcs.sat_vapor_pressure(column("dew_point")),
                  (cold * column("humidity_max") + hot * column("humidity_min")) / 200,
                  cold * column("humidity_max") / 100,
                  (hot + cold) / 2 * column("humidity") / 100):
        found = np.where(np.isnan(found), other, found)
    return found


def penman_monteith(tmax: ArrayLike, tmin: ArrayLike, vapour_pressure: ArrayLike,
                    radiation: ArrayLike, wind: ArrayLike, latitude: float, elevation: float,
                    day_of_year: ArrayLike, wind_height: float = 2.0, soil_heat: ArrayLike = 0.0
                    ) -> NDArray[np.float64]:
    """Reference evapotranspiration of clipped grass; FAO 56, 1998, eq. 6 [1]_. [mm/day]

    Parameters
    ----------
    tmax, tmin : (days,)
        Highest and lowest air temperature. [degC]
    vapour_pressure : (days,)
        [kPa]
    radiation : (days,)
        Solar, on level ground. [MJ/m2/day]
    wind : (days,)
        Mean speed at `wind_height` [m], brought to 2 m by eq. 47. [m/s]
    latitude, elevation : float
        [degrees], [m]
    soil_heat : (days,) or float
        Into the ground; of a single day 0 (eq. 42). [MJ/m2/day]

    Notes
    -----
    By the library refet, whose daily equation for short grass [2]_ is the same. It takes the
    cloudiness of eq. 39 from no less than 0.3 of the clear sky's radiation.

    References
    ----------
    .. [1] R. G. Allen, L. S. Pereira, D. Raes & M. Smith, "Crop evapotranspiration", FAO
       Irrigation and Drainage Paper 56, 1998.
    .. [2] ASCE-EWRI, "The ASCE standardized reference evapotranspiration equation", 2005.
    """
    low, high, humid, sun, speed = (np.asarray(given, np.float64) for given in (
        tmin, tmax, vapour_pressure, radiation, wind))
    day = refet.Daily(tmin=low, tmax=high, ea=humid, rs=sun, uz=speed, zw=wind_height,
                      elev=float(elevation), lat=float(latitude), doy=np.asarray(day_of_year))
    day.g = np.asarray(soil_heat)
    return np.asarray(day.eto(), np.float64)


def hargreaves(tmax: ArrayLike, tmin: ArrayLike, latitude: float, day_of_year: ArrayLike
               ) -> NDArray[np.float64]:
    """Reference evapotranspiration by temperature alone; FAO 56, 1998, eq. 52. [mm/day]

    Rougher than Penman-Monteith day by day: FAO 56 asks for it to be checked against that where
    wind is strong or the air humid.
    """
    high, low = np.asarray(tmax, np.float64), np.asarray(tmin, np.float64)
    water = 0.408 * extraterrestrial_radiation(latitude, day_of_year)  # eq. 20
    return np.asarray(0.0023 * ((high + low) / 2 + 17.8) * np.sqrt(high - low) * water, np.float64)


def reference_evapotranspiration(record: WeatherRecord, latitude: float, elevation: float,
                                 method: str | None = None, wind_height: float = 2.0
                                 ) -> Evapotranspiration:
    """Reference evapotranspiration of every day of a weather record.

    Parameters
    ----------
    record : WeatherRecord
        Daily weather.
    latitude, elevation : float
        Of the site; north is positive. [degrees], [m]
    method : {"penman-monteith", "hargreaves"}, optional
        Left out, the first where it can be reckoned on at least half of the days that have
        temperatures, else the second.
    wind_height : float
        Height of the wind gauge. [m]

    Raises
    ------
    InputError
        If the record lacks what the method needs.
    ValueError
        If the latitude, the gauge's height or the method cannot be.
    """
    import pandas

    if not -90 <= latitude <= 90:
        raise ValueError(f"latitude {latitude:g} is outside -90 to 90")
    if not wind_height > 0.1:
        raise ValueError(f"a wind gauge {wind_height:g} m high is too low for the law of the wind")
    if method not in (None, "penman-monteith", "hargreaves"):
        raise ValueError(f"the method '{method}' is not known")
    days = record.days
    of_year = pandas.DatetimeIndex(days.index).day_of_year.to_numpy()
    high, low = (days[key].to_numpy(np.float64) for key in ("tmax", "tmin"))
    with_temperatures = ~np.isnan(high) & ~np.isnan(low)
    humid = vapour_pressure(days)
    radiation, notes = _radiation(days, latitude, of_year)
    whole = with_temperatures & ~np.isnan(humid) & ~np.isnan(radiation)
    if method == "penman-monteith" and not whole.any():
        lacks = [word for word, values in (("humidity", humid), ("solar radiation or sunshine",
                                                                 radiation))
                 if np.isnan(values[with_temperatures]).all()]
        raise InputError(record.source, f"it has no day with all that Penman-Monteith needs"
                         f"{': no ' + ' and no '.join(lacks) if lacks else ''}",
                         "Add it, or leave the method out")
    if method == "hargreaves" or (method is None and 2 * whole.sum() < with_temperatures.sum()):
        taken, notes = "hargreaves", [
            "Reference evapotranspiration is by the equation of Hargreaves (FAO 56, 1998, eq. 52), "
            "from temperatures alone" + (", as asked for." if method else ", as the record has no "
                                         "humidity or no sun on most days.")]
        depths = hargreaves(high, low, latitude, of_year)
    else:
        taken = "penman-monteith"
        wind, said = _wind(days, whole)
        notes = ["Reference evapotranspiration is by the equation of Penman and Monteith (FAO 56, "
                 "1998, eq. 6).", *notes, *said]
        depths = np.full(len(days), np.nan)
        measured = ~np.isnan(wind)
        for some, speed, height in ((whole & measured, wind, wind_height),
                                    (whole & ~measured, np.full(len(days), USUAL_WIND), 2.0)):
            if some.any():
                depths[some] = penman_monteith(
                    high[some], low[some], humid[some], radiation[some], speed[some], latitude,
                    elevation, of_year[some], height)
        if measured.any() and wind_height != 2.0:
            notes.append(f"The wind was brought from {wind_height:g} m to 2 m above the ground.")
    below = depths < 0
    if below.any():
        notes.append(f"Days on which the equation gives less than 0, counted as 0: "
                     f"{below.sum():,}.")
        depths = np.where(below, 0.0, depths)
    without = int(np.isnan(depths).sum())
    if without:
        notes.append(f"Days whose weather is too little known for it: {without:,} of "
                     f"{len(days):,}.")
    return Evapotranspiration(pandas.Series(depths, days.index, name="evapotranspiration_mm"),
                              taken, tuple(notes))


def _radiation(days: pandas.DataFrame, latitude: float, of_year: NDArray[np.int32]
               ) -> tuple[NDArray[np.float64], list[str]]:
    """Solar radiation as read, else from sunshine. [MJ/m2/day]"""
    radiation = np.full(len(days), np.nan)
    if "radiation" in days:
        radiation = days["radiation"].to_numpy(np.float64)
    if "sunshine" not in days:
        return radiation, []
    sunshine = days["sunshine"].to_numpy(np.float64)
    from_sunshine = np.isnan(radiation) & ~np.isnan(sunshine)
    notes = []
    if from_sunshine.any():
        notes.append(f"Solar radiation is reckoned from sunshine on {from_sunshine.sum():,} days "
                     "(FAO 56, 1998, eq. 35, with a and b of 0.25 and 0.50).")
    beyond = from_sunshine & (sunshine > daylight_hours(latitude, of_year) + 0.5)
    if beyond.any():
        notes.append(f"Days with over half an hour more sunshine than daylight, counted as clear: "
                     f"{beyond.sum():,}.")
    return np.where(from_sunshine, radiation_of_sunshine(sunshine, latitude, of_year),
                    radiation), notes


def _wind(days: pandas.DataFrame, whole: NDArray[np.bool_]
          ) -> tuple[NDArray[np.float64], list[str]]:
    """Wind as read, NaN where it was not, and a note on what is taken instead. [m/s]"""
    said = f"was taken as {USUAL_WIND:g} m/s at 2 m (FAO 56, 1998, p. 63, from memory)"
    if "wind" not in days:
        return np.full(len(days), np.nan), [f"The wind, which the record has not, {said}."]
    wind = days["wind"].to_numpy(np.float64)
    missing = int((np.isnan(wind) & whole).sum())
    return wind, [f"The wind of {missing:,} days without a reading {said}."] if missing else []


def monthly_means(daily: pandas.Series) -> NDArray[np.float64]:
    """Mean depth of each calendar month, January first; NaN for a month without a day.

    Parameters
    ----------
    daily : Series
        On a DatetimeIndex. [mm/day]

    Returns
    -------
    totals : (12,)
        Mean of the month's days times its days (28.2425 in February). [mm]
    """
    import pandas

    means = daily.groupby(pandas.DatetimeIndex(daily.index).month).mean()
    return np.asarray(means.reindex(range(1, 13)).to_numpy(np.float64) * MONTH_DAYS, np.float64)


def on_days(days: pandas.DatetimeIndex, daily: pandas.Series | None = None,
            monthly: ArrayLike | None = None) -> tuple[NDArray[np.float64], int]:
    """A figure for every day: its own, else the mean of its calendar month.

    Parameters
    ----------
    days : DatetimeIndex
        Days wanted.
    daily : Series, optional
        Depths of days known, NaN where not. [mm/day]
    monthly : twelve floats, optional
        Totals of the months, January first, spread evenly over their days; with `daily` they
        serve only the months of which that has no day. [mm]

    Returns
    -------
    depths : (days,)
        [mm/day]
    filled : int
        How many of them have the mean of their month, as they have no figure of their own in
        `daily`; 0 without it.

    Raises
    ------
    ValueError
        If neither is given, or a month of a day has no figure at all.
    """
    months = days.month.to_numpy()
    spread = np.full(len(days), np.nan)
    if monthly is not None:
        totals = np.asarray(monthly, np.float64)
        if totals.shape != (12,):
            raise ValueError(f"monthly totals are {totals.size}, not 12")
        spread = totals[months - 1] / days.days_in_month.to_numpy()
    elif daily is None:
        raise ValueError("evapotranspiration is given neither by day nor by month")
    if daily is None:
        return _all_known(spread, months), 0
    own = daily.reindex(days).to_numpy(np.float64)
    means = (monthly_means(daily) / MONTH_DAYS)[months - 1]
    unknown = np.isnan(own)
    return _all_known(np.where(unknown, np.where(np.isnan(means), spread, means), own),
                      months), int(unknown.sum())


def _all_known(depths: NDArray[np.float64], months: NDArray[np.int32]) -> NDArray[np.float64]:
    unknown = np.isnan(depths)
    if unknown.any():
        raise ValueError(f"no evapotranspiration is known of any day in "
                         f"{MONTHS[months[unknown][0] - 1]}")
    return np.asarray(depths, np.float64)
