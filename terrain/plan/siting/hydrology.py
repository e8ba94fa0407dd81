"""What a site file says of rain, weather and travel time, made ready for the accounts."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.dem import Dem
from terrain.inputs.rain_frequency import depth_of, frequency_table
from terrain.inputs.rainfall import RainRecord, filled, read_daily_rain
from terrain.inputs.site import Site
from terrain.inputs.site_rain import Storm
from terrain.inputs.weather import read_weather
from terrain.runoff.curve_number import AS_PUBLISHED, RunoffRule
from terrain.runoff.evapotranspiration import (
    MONTHS,
    monthly_means,
    on_days,
    reference_evapotranspiration,
)
from terrain.runoff.extremes import ANY_24_HOURS, LEAST_YEARS, annual_maxima
from terrain.runoff.hydrograph import STANDARD_PEAK_FACTOR
from terrain.runoff.storms import NESTED, Hyetograph, nested_shape, storm_shape
from terrain.runoff.travel_time import Timing
from terrain.units import either, first_system, in_both

if TYPE_CHECKING:
    import pandas

#: A rain that comes every 2 years on average is exceeded as the greatest of a year once in so many:
#: 1 / (1 - exp(-1/2)), W. B. Langbein, Transactions of the American Geophysical Union 30, 1949.
#: [years]
TWO_YEARS_BY_MAXIMA = float(1 / -np.expm1(-0.5))


@dataclass(frozen=True)
class Hydrology:
    """How rain becomes water at the stores.

    Attributes
    ----------
    rule : RunoffRule
    timing : Timing
    peak_factor : float
        Of the unit hydrograph.
    loss_on_the_way : bool
        Whether runoff soaks in on ground that it crosses.
    shapes : dict of str to Hyetograph
        Of each storm, by its name.
    notes : tuple of str
    """

    rule: RunoffRule = AS_PUBLISHED
    timing: Timing = field(default_factory=Timing)
    peak_factor: float = STANDARD_PEAK_FACTOR
    loss_on_the_way: bool = False
    shapes: dict[str, Hyetograph] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Evaporation:
    """Reference evapotranspiration.

    Attributes
    ----------
    monthly : float64, shape (12,)
        Of an average year, January first. [mm]
    daily : float64, shape (days,), or None
        Of each day of the rain record, where there is one. [mm]
    notes : tuple of str
    """

    monthly: NDArray[np.float64]
    daily: NDArray[np.float64] | None
    notes: tuple[str, ...]

    @property
    def year(self) -> float:
        """Of an average year. [mm]"""
        return float(self.monthly.sum())


def rain_record(site: Site) -> RainRecord | None:
    """The daily rain record, its gaps filled where that is asked for.

    Raises
    ------
    InputError
        If it cannot be read, or holds less than a year or not every month.
    """
    asked = site.rain.daily
    if asked is None:
        return None
    record = read_daily_rain(site.folder / asked.file, asked.unit)
    if asked.fill_gaps or asked.fill_gaps_from:
        neighbour = (None if asked.fill_gaps_from is None else
                     _neighbour(site.folder / asked.fill_gaps_from, asked.unit))
        record = filled(record, asked.fill_gaps, neighbour)
    if len(record.depths) < 365:
        raise InputError(site.where("rain", "daily"), f"the record in {record.source} spans "
                         f"less than a year ({len(record.depths)} days)",
                         "Give at least a whole year")
    if record.depths.dropna().index.month.nunique() < 12:
        raise InputError(site.where("rain", "daily"), f"the record in {record.source} has no "
                         "reading at all in some month of the year", "Give a fuller record")
    return record


def _neighbour(path: Path, unit: str | None) -> RainRecord:
    """A neighbour's record; where it does not say its unit, that of the record itself will do."""
    try:
        return read_daily_rain(path)
    except InputError as error:
        if unit is None or "does not say in which unit" not in error.what:
            raise
        return read_daily_rain(path, unit)


def evaporation(site: Site, dem: Dem, record: RainRecord | None) -> Evaporation | None:
    """Reference evapotranspiration by months or from the weather; None where neither is given.

    Raises
    ------
    InputError
        If the weather record cannot be used.
    """
    import pandas

    days = None if record is None else pandas.DatetimeIndex(record.depths.index)
    if site.evapotranspiration is not None:
        monthly = np.array(site.evapotranspiration, np.float64)
        return Evaporation(monthly, None if days is None else on_days(days, monthly=monthly)[0],
                           ())
    asked = site.weather
    if asked is None:
        return None
    where = site.where("weather")
    west, south, east, north = dem.bounds
    lonlat = dem.frame.to_lonlat([(west + east) / 2], [(south + north) / 2])
    if lonlat is None:
        raise InputError(where, "the sun's strength goes by the latitude, and the elevation has no "
                         "coordinate system", "State its CRS, or give evapotranspiration by month")
    weather = read_weather(site.folder / asked.file, asked.temperature_unit)
    found = reference_evapotranspiration(weather, float(lonlat[1][0]),
                                         float(np.nanmean(dem.heights)), asked.method,
                                         asked.wind_height)
    monthly = monthly_means(found.daily)
    notes = [*weather.notes, *found.notes]
    if np.isnan(monthly).any():
        lacks = ", ".join(MONTHS[month] for month in np.flatnonzero(np.isnan(monthly)))
        raise InputError(where, f"the weather in {weather.source} has no usable day in {lacks}",
                         "Give a fuller record, or evapotranspiration by month")
    daily = None
    if days is not None:
        daily, by_month = on_days(days, found.daily)
        if by_month:
            notes.append(f"On {by_month:,} of the {len(days):,} days of the rain record the "
                         "evapotranspiration is the mean of its calendar month.")
    return Evaporation(monthly, daily, (*notes, _months_note(monthly)))


def _months_note(monthly: NDArray[np.float64]) -> str:
    """The evapotranspiration of an average year, to be checked by."""
    total, us = float(monthly.sum()), first_system() == "us"
    each = ", ".join(f"{depth / 25.4:.1f}" if us else f"{depth:.0f}" for depth in monthly)
    return (f"Reference evapotranspiration: {either(f'{total:,.0f} mm', total, 'rain', 1)} in an "
            f"average year, January to December {each} {'in' if us else 'mm'}.")


def hydrology(site: Site, record: RainRecord | None) -> Hydrology:
    """How rain becomes water at the stores of a site.

    Raises
    ------
    InputError
        If a nested storm's duration is not in the frequency table, segments are asked for and the
        2-year rain is not known, or soil that dries and evapotranspiration is not.
    """
    soil_dries(site)
    given = site.rain.frequency
    table = None if given is None else frequency_table(site.folder / given.file, given.unit)
    shapes = {storm.name: _shape(site, index, storm, table)
              for index, storm in enumerate(site.rain.storms)}
    asked = site.runoff
    rain, source = _two_year_rain(site, table, record)
    if rain is None and asked.travel_time == "segments":
        raise InputError(f"{site.where('runoff', 'travel time')}, runoff, travel time",
                         "segments need the 2-year 24-hour rain, and nothing tells it",
                         "State it under rain (two year day: 40 mm), or use lag")
    timing = Timing(rain, asked.travel_time, asked.channel_from, asked.channel_roughness,
                    asked.channel_radius)
    notes = [*_shape_notes(site, table), _timing_note(timing, source)]
    if asked.loss_on_the_way:
        notes.append("Runoff soaks in on the way: each cell takes the water that runs onto it as "
                     "if it were more rain. Water is spread over the width of a cell, so where "
                     "channels are narrower more arrives than is said. Sizes, the rain that first "
                     "feeds a store, and what roads shed are reckoned without it; in soil that "
                     "dries the loss is taken as in a storm of the same runoff.")
    return Hydrology(RunoffRule(asked.antecedent, asked.abstraction_ratio), timing,
                     asked.peak_factor, asked.loss_on_the_way, shapes, tuple(notes))


def _shape(site: Site, index: int, storm: Storm, table: pandas.DataFrame | None) -> Hyetograph:
    if storm.pattern != NESTED:
        return storm_shape(storm.pattern, storm.duration)
    assert table is not None  # the site file was refused without one
    where = f'{site.where("rain", "storms", index)}, storm "{storm.name}"'
    durations = table.index.to_numpy(float)
    try:
        years = storm.return_period or _nearest(site, storm, table)
        curve = np.array([depth_of(table, hours, years) for hours in durations])
        return nested_shape(durations, curve, storm.duration)
    except ValueError as error:
        raise InputError(where, str(error), "Choose another duration or pattern") from None


def _nearest(site: Site, storm: Storm, table: pandas.DataFrame) -> float:
    """The return period of the table whose depth is nearest to a storm's. [years]"""
    periods = table.columns.to_numpy(float)
    depths = np.array([depth_of(table, storm.duration, period) for period in periods])
    return float(periods[int(np.argmin(np.abs(site.rain.climate_factor * depths - storm.depth)))])


def _shape_notes(site: Site, table: pandas.DataFrame | None) -> list[str]:
    """What is assumed of the shapes of storms."""
    said = []
    for storm in site.rain.storms:
        if storm.pattern == NESTED and storm.return_period is None and table is not None:
            said.append(f"The storm \"{storm.name}\" has no return period; it has the shape of the "
                        f"rain once in {_nearest(site, storm, table):g} years, whose depth in the "
                        "frequency table is nearest.")
        if storm.pattern in ("I", "IA", "II", "III") and storm.duration > 24:
            said.append(f"The storm \"{storm.name}\" is an NRCS type drawn out from 24 to "
                        f"{storm.duration:g} hours, so its burst is gentler than that of the day's "
                        "storm and its peaks are lower; for peaks take the day or a nested storm.")
    return said


def _two_year_rain(site: Site, table: pandas.DataFrame | None, record: RainRecord | None
                   ) -> tuple[float | None, str]:
    """The 2-year 24-hour rain [mm], and where it comes from."""
    rain = site.rain
    if rain.two_year_day is not None:
        return rain.two_year_day, "as stated"
    if table is not None:
        try:
            years = TWO_YEARS_BY_MAXIMA if table.attrs["annual"] else 2.0
            return (rain.climate_factor * depth_of(table, 24.0, years), "from the frequency table"
                    + (", once in 2.54 years of its annual maxima (Langbein 1949)"
                       if table.attrs["annual"] else "")
                    + ("" if rain.climate_factor == 1 else ", climate factor included"))
        except ValueError:
            pass
    for storm in rain.storms:
        if storm.return_period == 2 and storm.duration == 24:
            return storm.depth, f"the storm \"{storm.name}\""
    if record is not None:
        maxima = annual_maxima(record.depths, rain.start_month).depths
        if len(maxima) >= LEAST_YEARS:
            day = float(np.quantile(maxima, 1 - 1 / TWO_YEARS_BY_MAXIMA, method="weibull"))
            return (ANY_24_HOURS * day,
                    f"{ANY_24_HOURS:g} times (Hershfield 1961, from memory) the day that "
                    f"{1 / TWO_YEARS_BY_MAXIMA:.0%} of {len(maxima)} years exceed")
    return None, ""


def _timing_note(timing: Timing, source: str) -> str:
    if timing.two_year_rain is None:
        return ("Travel time: the watershed lag equation of NEH 630 ch. 15 (2010), as the 2-year "
                "24-hour rain, which the way by segments needs, is not known (two year day: under "
                "rain).")
    segments = (f"2-year 24-hour rain {in_both(timing.two_year_rain, 'rain')}, {source}; a channel "
                f"from where {in_both(timing.channel_from, 'area')} drain")
    if timing.by == "lag":
        return ("Travel time: the watershed lag equation of NEH 630 ch. 15 (2010), as asked for; "
                f"by segments beside it ({segments}).")
    return ("Travel time: sheet, shallow concentrated and channel flow along the longest path "
            f"(TR-55, 1986, ch. 3; NEH 630 ch. 15, 2010); {segments}. The watershed lag equation "
            "stands beside it.")


#: Names of an average year's account: with curve numbers that stay at average wetness, and with
#: numbers that follow the wetness of the soil.
YEARS = {False: "average year, soil of average wetness", True: "average year, soil that dries"}


def soil_dries(site: Site) -> bool:
    """Whether curve numbers follow the wetness of the soil through the years.

    Raises
    ------
    InputError
        If that is asked for and nothing tells the evapotranspiration.
    """
    asked = site.runoff.soil_moisture == "continuous"
    if asked and site.evapotranspiration is None and site.weather is None:
        raise InputError(f"{site.where('runoff', 'soil moisture')}, runoff, soil moisture",
                         "the soil dries by evapotranspiration, and nothing tells it",
                         "Give evapotranspiration or weather, or write: average")
    return asked
