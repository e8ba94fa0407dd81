"""A daily weather record: temperatures, and humidity, wind and sun where there are any."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from terrain.errors import InputError
from terrain.inputs.station_tables import (
    Moment,
    Quantity,
    Reading,
    StationTable,
    plainly,
    read_table,
)

if TYPE_CHECKING:
    import pandas

#: The coldest and hottest air ever measured, -89.2 degC (Vostok, 1983) and 56.7 degC (Furnace
#: Creek, 1913), rounded outward: World Meteorological Organization, archive of weather extremes.
COLDEST, HOTTEST = -90.0, 57.0
#: More sun than reaches the top of the air in a day anywhere (about 48 at the South Pole in
#: December, from memory: FAO Irrigation and Drainage Paper 56, 1998, eq. 21). [MJ/m2/day]
MOST_SUN = 50.0
#: No air is so hot in degrees of any scale: whole numbers beyond it are tenths.
_NO_DEGREES = 135


@dataclass(frozen=True)
class WeatherRecord:
    """Daily weather over a span of days.

    Attributes
    ----------
    days : DataFrame
        A row for each calendar day from the first to the last, NaN where nothing was read.
        ``tmax``, ``tmin``: highest and lowest air temperature [degC]. Where the file has them:
        ``humidity``, ``humidity_max``, ``humidity_min``: relative humidity, mean and extremes [%];
        ``dew_point`` [degC]; ``vapour_pressure`` [kPa]; ``wind``: mean speed [m/s]; ``sunshine``
        [h]; ``radiation``: solar, on level ground [MJ/m2/day].
    source : str
        The file's name.
    notes : tuple of str
        What was assumed, dropped or missing, in whole sentences.
    """

    days: pandas.DataFrame
    source: str
    notes: tuple[str, ...]


class _Unit(NamedTuple):
    """To the unit inside: what is added first, then the factor."""

    words: str
    factor: float = 1.0
    added: float = 0.0


_TENTHS = _Unit("tenths of a degree Celsius", 0.1)
_DEGREES = {"C": _Unit("degrees Celsius"), "0.1 C": _TENTHS,
            "F": _Unit("degrees Fahrenheit", 5 / 9, -32.0)}
_M_S, _MPH, _MINUTES = _Unit("m/s"), _Unit("mph", 0.44704), _Unit("minutes", 1 / 60)


@dataclass(frozen=True)
class _Measured:
    """A quantity, its units by the words that end a column's name, and what can be true of it.

    `beside` is the unit in a station's file whose temperatures are in the unit named (from
    memory); `plain` the unit where nothing is said.
    """

    quantity: Quantity
    units: dict[str, _Unit]
    least: float
    most: float
    beside: dict[str, _Unit] = field(default_factory=dict)
    plain: _Unit | None = None


def _named(pattern: str, never: str = "") -> Callable[[str], bool]:
    unwanted = re.compile(rf"attribute|flag|quality|\b\d+ ?[ap]m\b|time{never}")

    def is_it(name: str) -> bool:
        return bool(re.match(f"(?:{pattern})(?: |$)", name)) and not unwanted.search(name)
    return is_it


_AIR, _RH = r"(?:air )?temp(?:erature)?s?", r"(?:rh|(?:relative )?humidity)"
_MAX, _MIN, _MEAN = "max(?:imum)?", "min(?:imum)?", "(?:mean|avg|average)"
_IN_DEGREES = {"(?:0 1|tenths.*) (?:deg )?c": _TENTHS,
               "(?:deg ?|degrees )?c|celsius|centigrade": _DEGREES["C"],
               "(?:deg ?|degrees )?f|fahrenheit": _DEGREES["F"],
               "k|kelvin": _Unit("kelvin", 1.0, -273.15)}
_IN_PERCENT = {"percent|pct": _Unit("percent")}


def _temperature(key: str, words: str, pattern: str, element: str, needed: bool) -> _Measured:
    return _Measured(Quantity(key, words, _named(pattern), element, needed), _IN_DEGREES, COLDEST,
                     HOTTEST)


def _humidity(key: str, words: str, pattern: str, element: str) -> _Measured:
    return _Measured(Quantity(key, words, _named(pattern), element), _IN_PERCENT, 0, 100,
                     plain=_Unit("percent"))


_MEASURED = {measured.quantity.key: measured for measured in (
    _temperature("tmax", "highest temperature", f"t ?max|tx|{_AIR} {_MAX}|{_MAX} {_AIR}", "TMAX",
                 True),
    _temperature("tmin", "lowest temperature", f"t ?min|tn|{_AIR} {_MIN}|{_MIN} {_AIR}", "TMIN",
                 True),
    _temperature("dew_point", "dew point", rf"adpt|(?:{_MEAN} )?dew ?p(?:oin)?t(?: {_AIR})?|t ?dew",
                 "ADPT", False),
    _humidity("humidity", "mean humidity",
              f"rhav|rh ?mean|{_MEAN} {_RH}|{_RH}(?! (?:max|min))", "RHAV"),
    _humidity("humidity_max", "highest humidity", f"rhmx|rh ?max|{_RH} {_MAX}|{_MAX} {_RH}",
              "RHMX"),
    _humidity("humidity_min", "lowest humidity", f"rhmn|rh ?min|{_RH} {_MIN}|{_MIN} {_RH}",
              "RHMN"),
    _Measured(Quantity("vapour_pressure", "vapour pressure",
                       _named("(?:actual )?vapou?r ?pressure|vp|ea")),
              {"kpa": _Unit("kPa"), "hpa|mbar|mb": _Unit("hPa", 0.1), "pa": _Unit("Pa", 0.001)},
              0, 10),
    _Measured(Quantity("wind", "mean wind speed", _named(
        rf"awnd|(?:{_MEAN} )?wind(?: ?speed)?|u2|ws", "|dir|gust|max|min|fast|run"), "AWND"),
        {"m s(?: 1)?|mps": _M_S, "km h(?: 1)?|kmh|kph": _Unit("km/h", 1 / 3.6), "mph|mi h": _MPH,
         "knots?|kn|kt": _Unit("knots", 1852 / 3600)},
        0, 75, {"0.1 C": _Unit("0.1 m/s", 0.1), "C": _M_S, "F": _MPH}),
    _Measured(Quantity("sunshine", "sunshine", _named(r"tsun|sun(?:shine)?(?: duration)?"),
                       "TSUN"),
              {"h|hours?|hrs?": _Unit("hours"), "min(?:utes)?": _MINUTES},
              0, 24, {"0.1 C": _MINUTES, "C": _MINUTES, "F": _MINUTES}),
    _Measured(Quantity("radiation", "solar radiation", _named(
        "srad|rs|solar|(?:(?:global|solar|shortwave) )*(?:ir)?radiation", "|net")),
        {"mj(?: m ?2(?: (?:d|day)(?: 1)?)?)?": _Unit("MJ/m2"), "w m ?2": _Unit("W/m2"),
         "kwh m ?2(?: (?:d|day)(?: 1)?)?": _Unit("kWh/m2", 3.6)},
        0, np.inf),
    _Measured(Quantity("daylight", "length of daylight", _named("dayl|daylight|day ?length")),
              {"s|sec(?:onds)?": _Unit("seconds"), "h|hours?": _Unit("hours", 3600.0)}, 0, 86400),
)}


def read_weather(path: Path, temperature_unit: str | None = None) -> WeatherRecord:
    """Read a daily weather record; its gaps stay.

    Parameters
    ----------
    path : Path
        A table of dates with the day's highest and lowest temperature: plain
        (``date,tmax_c,tmin_c,rh_percent,wind_m_s``), a weather station's export (one row a day, or
        one row an element), or a gridded daily pixel (``year,yday,...``), whose solar radiation
        is the mean over the hours of daylight.
    temperature_unit : {"C", "F", "0.1 C"}, optional
        The unit of the temperatures, where the file does not say.

    Raises
    ------
    InputError
        Naming the line and column of what cannot be used, or asking for a unit.
    """
    import pandas

    path = Path(path)
    if temperature_unit is not None and temperature_unit not in _DEGREES:
        raise InputError(str(path), f"the temperature unit '{temperature_unit}' is not known",
                         "Use C, F or 0.1 C")
    table = read_table(path, [measured.quantity for measured in _MEASURED.values()],
                       "date,tmax_c,tmin_c")
    units, why = _units(table, temperature_unit)
    moments, how = table.moments()
    notes = [f"{path.name} was read as {table.layout}.", *why, *how, *table.dropped()]
    values: dict[str, pandas.Series] = {}
    lines: dict[str, dict[datetime.date, int]] = {}
    for key in table.readings:
        values[key], lines[key] = _by_day(table, key, units[key], moments)
    daylight = values.pop("daylight", None)
    if "radiation" in values:
        values["radiation"], said = _radiation(table, values["radiation"], units["radiation"],
                                               daylight, lines["radiation"])
        notes += said
    days = pandas.DataFrame({key: values[key] for key in _MEASURED if key in values})
    days = days.sort_index()
    days = days.reindex(pandas.date_range(days.index[0], days.index[-1], freq="D", name="date"))
    if not (days["tmax"].notna() & days["tmin"].notna()).any():
        raise InputError(str(path), "not one of its days has both temperatures",
                         "Give a record with the highest and the lowest of each day")
    _refuse_crossed(table, days, lines)
    return WeatherRecord(days, path.name, (*notes, *_missing(days, table)))


def _units(table: StationTable, given: str | None) -> tuple[dict[str, _Unit], list[str]]:
    """The unit of every column, and notes on how they are known."""
    written = {key: _written_unit(table, key) for key in table.readings}
    degrees = [key for key in written if _MEASURED[key].units is _IN_DEGREES]
    for key in degrees:
        unit = written[key]
        if unit is not None and given is not None and unit != _DEGREES[given]:
            raise InputError(table.head(key), f"the column {table.columns[key]} says that it is in "
                             f"{unit.words}, but temperature unit: {given} was stated",
                             "Leave the temperature unit out, or correct the file")
    said = sorted({unit.words for key in degrees if (unit := written[key]) is not None})
    notes = [f"Its temperatures are in {' and '.join(said)}, as its header says."] if said else []
    beside, unsaid = given, [key for key in degrees if written[key] is None]
    if unsaid:
        if beside is None:
            beside, why = _by_the_look(table)
        else:
            why = f"Its temperatures were taken in {_DEGREES[beside].words}, as stated."
        notes.append(why)
        written |= dict.fromkeys(unsaid, _DEGREES[beside])
    units = {}
    for key, unit in written.items():
        measured = _MEASURED[key]
        if unit is None:
            unit = measured.plain
        name = plainly(table.written(key))
        if unit is None and table.from_station and beside is not None and (
                name in ("", measured.quantity.element.lower())):
            unit = measured.beside.get(beside)
            if unit is not None:
                notes.append(f"Its {measured.quantity.words} was taken in {unit.words}, as "
                             f"stations give it beside {_DEGREES[beside].words}.")
        if unit is None:
            known = ", ".join(unit.words for unit in measured.units.values())
            raise InputError(table.head(key), f"the column {table.columns[key]} does not say its "
                             "unit", f"Name it in the header ({known}), or delete the column")
        units[key] = unit
    return units, notes


def _written_unit(table: StationTable, key: str) -> _Unit | None:
    """The unit that ends a column's name, such as ``wind_m_s`` or ``tmax (deg c)``."""
    name = plainly(table.written(key).replace("²", "2").replace("%", " percent "))
    for pattern, unit in _MEASURED[key].units.items():
        if re.search(f"(?:^| )(?:{pattern})$", name):
            return unit
    return None


def _by_the_look(table: StationTable) -> tuple[str, str]:
    """Unit of a station's temperatures by their decimals and size."""
    decimals = table.decimals("tmax") | table.decimals("tmin")
    sizes = [abs(float(reading.text)) for key in ("tmax", "tmin")
             for reading in table.readings[key]
             if not reading.failed and re.fullmatch(r"[+-]?\d+(\.\d*)?", reading.text)]
    greatest = max((size for size in sizes if size < 999), default=0.0)
    if table.from_station and decimals == {0} and greatest > _NO_DEGREES:
        return "0.1 C", ("Its temperatures were taken in tenths of a degree Celsius, as all are "
                         f"whole numbers, up to {greatest:.0f}; if they are not, state temperature "
                         "unit: C or F.")
    if table.from_station and 1 in decimals and decimals <= {0, 1} and greatest <= HOTTEST:
        return "C", ("Its temperatures were taken in degrees Celsius, as they have one decimal "
                     "(a station's Fahrenheit has none); if they are not, state temperature "
                     "unit: F.")
    raise InputError(str(table.path), "it does not say in which unit its temperatures are",
                     "State it in the site file under weather, e.g. temperature unit: C (or F, "
                     "0.1 C)")


def _by_day(table: StationTable, key: str, unit: _Unit, moments: dict[str, Moment]
            ) -> tuple[pandas.Series, dict[datetime.date, int]]:
    """Values of a quantity by day, in the unit inside, and the line that each stands in."""
    import pandas

    values: dict[datetime.date, float] = {}
    lines: dict[datetime.date, int] = {}
    for reading in table.readings[key]:
        day = moments[reading.when].day
        if day in lines:
            raise InputError(table.where(reading.line), f"the day {day} stands twice; it is in "
                             f"line {lines[day]} too", "Give one row a day")
        lines[day] = reading.line
        values[day] = _value(table, key, reading, unit)
    index = pandas.DatetimeIndex(np.array(list(values), "datetime64[D]"))
    return pandas.Series(list(values.values()), index, dtype=np.float64), lines


def _value(table: StationTable, key: str, reading: Reading, unit: _Unit) -> float:
    """A reading in the unit inside, NaN where it has none."""
    if reading.empty:
        return float("nan")
    measured = _MEASURED[key]
    words = measured.quantity.words
    value = (table.number(key, reading, words) + unit.added) * unit.factor
    if not measured.least <= value <= measured.most:
        what = f"the {words} {reading.text}, taken in {unit.words}, "
        if measured.units is _IN_DEGREES:
            what += f"is {'hotter' if value > 0 else 'colder'} than any air ever measured"
        elif value < measured.least:
            what = f"the {words} {reading.text} is below 0"
        else:
            what += "is more than there can be"
        raise InputError(table.where(reading.line, key), what,
                         "Check the unit, or leave it empty where nothing was read")
    return value


def _radiation(table: StationTable, values: pandas.Series, unit: _Unit,
               daylight: pandas.Series | None, lines: dict[datetime.date, int]
               ) -> tuple[pandas.Series, list[str]]:
    """Solar radiation by day, which watts give only with the hours they are the mean of.

    [MJ/m2/day]
    """
    notes = []
    if unit.words == "W/m2":
        if daylight is not None:
            values = values * daylight / 1e6
            notes.append("Its solar radiation was taken as the mean over the hours of daylight.")
        elif table.pixel:
            raise InputError(table.head("radiation"), "it has solar radiation as the mean over "
                             "the hours of daylight, but not their length",
                             "Fetch the pixel again with its length of daylight (dayl)")
        else:
            values = values * 0.0864
            notes.append("Its solar radiation in W/m2 was taken as the mean over 24 hours.")
    over = values.index[values > MOST_SUN]
    if len(over):
        most = values[over[0]]
        told = f"{most:.1f}" if most < 1e6 else f"{most:.3g}"
        raise InputError(table.where(lines[over[0].date()], "radiation"), "the solar radiation, "
                         f"{told} MJ/m2 over the day, is more than there can be",
                         "Check the unit, or leave it empty where nothing was read")
    return values, notes


def _refuse_crossed(table: StationTable, days: pandas.DataFrame,
                    lines: dict[str, dict[datetime.date, int]]) -> None:
    crossed = days.index[days["tmax"] < days["tmin"]]
    if not len(crossed):
        return
    day = crossed[0]
    line, other = (lines[key][day.date()] for key in ("tmax", "tmin"))
    raise InputError(table.where(line, "tmax", "tmin"), f"the highest temperature of {day.date()}, "
                     f"{days['tmax'][day]:.1f} °C, is below the lowest, {days['tmin'][day]:.1f} °C"
                     + (f" in line {other}" if other != line else ""),
                     "Correct them, or leave both empty")


def _missing(days: pandas.DataFrame, table: StationTable) -> list[str]:
    both = days["tmax"].isna() | days["tmin"].isna()
    notes = [f"The weather record runs from {days.index[0]:%Y-%m-%d} to {days.index[-1]:%Y-%m-%d}."]
    if table.pixel and (leap := int((days.index.day_of_year == 366).sum())):
        notes.append(f"The layout leaves out 31 December of leap years: {leap}.")
    if both.any():
        notes.append(f"Days without both temperatures: {both.sum():,} of {len(days):,}.")
    for key in days.columns.difference(["tmax", "tmin"], sort=False):
        if gone := int(days[key].isna().sum()):
            notes.append(f"Days without {_MEASURED[key].quantity.words}: {gone:,} of "
                         f"{len(days):,}.")
    return notes
