"""Quantities with units at the edges; SI inside.

Rain depths are kept in mm, flows per day in m3/day; everything else in m, m2,
m3 and s.  Pint is imported only when a quantity with a unit is read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from typing import Any, NamedTuple

#: dimension: (unit kept inside, unit of a bare number in a metric site, and in a US site)
DIMENSIONS: dict[str, tuple[str, str, str]] = {
    "length": ("m", "m", "ft"),
    "rain": ("mm", "mm", "in"),
    "area": ("m**2", "m**2", "ft**2"),
    "volume": ("m**3", "m**3", "gal"),
    "rate": ("mm/h", "mm/h", "in/h"),
    "time": ("h", "h", "h"),
    "use": ("m**3/day", "L/day", "gal/day"),
    "flow": ("m**3/s", "m**3/s", "cfs"),
    "seepage": ("mm/day", "mm/day", "in/day"),
    "speed": ("m/s", "m/s", "ft/s"),
    "mass": ("tonne", "tonne", "short_ton"),
}

#: Metres in each unit of length that maps and heights are in: the metre, the international foot,
#: the US survey foot.
METRES = {"m": 1.0, "ft": 0.3048, "us-ft": 1200 / 3937}

#: Nobody digs deeper, or a wider bed, on a property: a unit forgotten or mistaken breaks these.
#: Common practice, no source. [m]
SHALLOWEST_DUG, DEEPEST_DUG, WIDEST_BED = 0.02, 10.0, 30.0

#: Bounds of a storm: the rain of its duration, and how long it lasts. [mm], [h]
#: More than 9,300 mm never fell in a month (Cherrapunji, July 1861: World Meteorological
#: Organization, archive of weather extremes, from memory); the others common practice, no source.
LEAST_STORM, MOST_STORM = 0.1, 10_000.0
SHORTEST_STORM, LONGEST_STORM = 1 / 60, 366 * 24.0

#: What a quantity of each dimension is called in a sentence.
NAMES = {"length": "a length", "rain": "a depth of rain", "area": "an area",
         "volume": "a volume", "rate": "a rate of soaking", "time": "a time",
         "use": "a use of water a day", "flow": "a flow",
         "seepage": "a depth of seepage a day",
         "speed": "a speed", "mass": "a weight"}

#: How a quantity of each dimension may be written, in metric and in US units.
EXAMPLES = {"length": ("0.4 m", "1.5 ft"), "rain": ("35 mm", "1.4 in"),
            "area": ("3 ha", "7 acre"), "volume": ("20 m3", "5000 gal"),
            "rate": ("12 mm/h", "0.5 in/h"), "time": ("6 h", "6 h"),
            "use": ("250 L/day", "65 gal/day"), "flow": ("40 L/min", "10 gal/min"),
            "seepage": ("3 mm/day", "0.1 in/day"), "speed": ("2 m/s", "6 ft/s"),
            "mass": ("2 tonne", "2 short_ton")}

#: Dimensions that are another one in a time, and how that time is written.
_PER = {"rate": "/h", "seepage": "/day", "use": "/day", "flow": "/min"}

#: dimension: (metric unit, its factor from inside, decimals), (the same for US); `printed` gives
#: the foot of lengths and levels as it is on the site at hand.
PRINTED: dict[str, tuple[tuple[str, float, int], tuple[str, float, int]]] = {
    "length": (("m", 1.0, 1), ("ft", 1 / 0.3048, 1)),
    "level": (("m", 1.0, 2), ("ft", 1 / 0.3048, 2)),
    "size": (("m", 1.0, 2), ("ft", 1 / 0.3048, 1)),
    "rain": (("mm", 1.0, 1), ("in", 1 / 25.4, 2)),
    "area": (("m²", 1.0, 0), ("ft²", 1 / 0.09290304, 0)),
    "land": (("ha", 1e-4, 2), ("acre", 1 / 4046.8564224, 2)),
    "volume": (("m³", 1.0, 1), ("gal", 1 / 0.003785411784, 0)),
    "earth": (("m³", 1.0, 1), ("yd³", 1 / 0.764554857984, 1)),
    "flow": (("L/s", 1000.0, 1), ("cfs", 1 / 0.028316846592, 2)),
    "rate": (("mm/h", 1.0, 1), ("in/h", 1 / 25.4, 2)),
    "seepage": (("mm/day", 1.0, 1), ("in/day", 1 / 25.4, 2)),
    "speed": (("m/s", 1.0, 2), ("ft/s", 1 / 0.3048, 1)),
    "energy": (("MJ", 1e-6, 2), ("million ft·lb", 0.7375621493e-6, 2)),
}

# Commas and blanks only between thousands: a decimal comma must not change a number silently.
_NUMBER = re.compile(r"^\s*([-+]?(?:\d{1,3}(?:[, ]\d{3})+(?!\d)(?:\.\d*)?|\d+\.?\d*|\.\d+)"
                     r"(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")
#: Ground from this area up is told as land, in ha or acres: a hectare, a quarter of an acre.
#: Common practice, no source. [m2]
LAND_FROM = {"metric": 10_000.0, "us": 4046.8564224 / 4}
#: Water from this volume up is told in acre-feet too, in US units: one acre-foot. [m3]
ACRE_FOOT = 1233.48183754752
#: Water from this many gallons up is told in millions of them.
MANY_GALLONS = 1e7
#: What stands behind feet that inches follow: 5 ft 6 in, 5' 6", 5'-6" (a dash as on drawings).
_INCHES_TOO = re.compile(r"(?:(?:ft|foot|feet)\s*|'(?:-| - |\s*))([-+]?)(\d+\.?\d*|\.\d+)\s*"
                         r"(in|inch|inches|\")?", re.IGNORECASE)
#: Marks of feet and inches as office programs set them.
_MARKS = str.maketrans({"′": "'", "’": "'", "″": '"', "”": '"'})
#: A number with a decimal comma, and what stands behind it.
_COMMA = re.compile(r"^\s*([-+]?\d+),(\d+\D*?)\s*$")
#: A size below this is told in inches in US units. [in]
INCHES_BELOW = 24.0
_SPELLINGS = {"us-ft": "survey_foot",
              "litre": "liter", "litres": "liter", "metre": "meter", "metres": "meter",
              "inches": "inch", "feet": "foot", "gals": "gal", "acre-ft": "acre_foot",
              "acre-feet": "acre_foot", "acre ft": "acre_foot", "acres": "acre",
              "gpd": "gal/day", "gpm": "gal/minute", "gph": "gal/hour",
              "m2": "m**2", "m3": "m**3", "ft2": "ft**2", "ft3": "ft**3", "yd3": "yd**3",
              "m²": "m**2", "m³": "m**3", "ft²": "ft**2", "ft³": "ft**3", "yd³": "yd**3",
              "km2": "km**2", "ha": "hectare", "kl": "kiloliter", "l": "liter"}


class Unreadable(ValueError):
    """Words that are no quantity of the dimension asked for: what is wrong, and what to write."""

    def __init__(self, what: str, remedy: str) -> None:
        self.what, self.remedy = what, remedy
        super().__init__(f"{what}; {remedy[0].lower()}{remedy[1:]}")


class _Told(NamedTuple):
    """Whose units `in_both` tells first, and which foot lengths and levels are read and told in."""

    system: str
    foot: str


_USUAL = _Told("metric", "ft")
_TOLD: ContextVar[_Told] = ContextVar("units at hand", default=_USUAL)


@contextmanager
def told_first(system: str | None = None, foot: str | None = None) -> Iterator[None]:
    """Let sentences that give a figure in both systems, metric and us, begin with this one, and
    let a foot of length or level be this one: ft or us-ft. What is left out stays as it is."""
    now = _TOLD.get()
    before = _TOLD.set(_Told(system or now.system, foot or now.foot))
    try:
        yield
    finally:
        _TOLD.reset(before)


def metres_in(unit: str) -> float:
    """How long a unit of `METRES` is on the site at hand: where a foot says no more of itself, it
    is the one that `told_first` set. [m]"""
    return METRES[_TOLD.get().foot if unit == "ft" else unit]


def first_system() -> str:
    """The system whose units sentences begin with."""
    return _TOLD.get().system


def length_words(system: str) -> str:
    """What lengths and levels are in: metres, feet or US survey feet."""
    if system != "us":
        return "metres"
    return "US survey feet" if _TOLD.get().foot == "us-ft" else "feet"


def tenths_words(system: str) -> str | None:
    """Which foot levels are in, and that its parts are tenths; None in metric units."""
    if system != "us":
        return None
    which = ("US survey feet (1200/3937 m), as the elevation's own are" if
             _TOLD.get().foot == "us-ft" else "feet")
    return f"Levels are in {which}: feet and tenths, not inches."


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    registry: Any = pint.UnitRegistry()
    registry.define("cfs = foot**3 / second")
    # The international acre; pint's own is of the US survey foot, 4 ppm larger.
    registry.define("acre = 43560 * foot**2")
    registry.define("acre_foot = acre * foot")
    return registry


def _unit(text: str) -> str:
    """Turn a unit as people write it into one pint reads."""
    text = text.strip()
    text = _SPELLINGS.get(text.lower(), text)
    words = re.split(r"(\s*/\s*|\s+per\s+)", text)
    return "".join("/" if w.strip() in ("/", "per") else _SPELLINGS.get(w.lower(), w)
                   for w in words)


def read_quantity(given: str | float | int, dimension: str, system: str = "metric") -> float:
    """Read a quantity into the unit kept inside for its dimension.

    Parameters
    ----------
    given : str, float or int
        ``"1.2 in"``, ``"3 acre"``, ``"11,000 gal"``; a bare number is taken in the
        unit that `system` declares for the dimension.  A length may be in feet and inches,
        ``"5 ft 6 in"``, ``5' 6"``; a depth of rain may be ``1.2"``.
    dimension : str
        A key of `DIMENSIONS`.
    system : {"metric", "us"}

    A foot of a length is the one that `told_first` set.

    Raises
    ------
    ValueError
        If the text is no number with a unit of that dimension.
    """
    inside, metric, us = DIMENSIONS[dimension]
    such = f"Write it such as {EXAMPLES[dimension][system == 'us']}"
    if isinstance(given, bool) or not isinstance(given, int | float | str):
        raise Unreadable(f"{given!r} is not a quantity such as '1.2 {metric}'", such)
    text = str(given)
    match = _NUMBER.match(text)
    if not match:
        raise Unreadable(f"'{text}' does not start with a number", such)
    number = float(re.sub(r"[, ]", "", match.group(1)))
    written = match.group(2)
    if written[:1] in (",", "_") or written[:1].isdigit():
        comma = _COMMA.match(text)
        raise Unreadable(f"'{text}' is not a number", "Write decimals with a point, such as "
                         + (f"{comma.group(1)}.{comma.group(2)}" if comma else "0.4"))
    if number in (float("inf"), float("-inf")):
        raise ValueError(f"'{text}' is too large")
    written = written.translate(_MARKS)
    if dimension == "length" and (more := _INCHES_TOO.fullmatch(written)):
        return _feet_and_inches(text, number, match.group(1)[0] in "-+", *more.groups())
    if dimension == "length" and written == "'":
        written = "ft"
    if dimension == "rain" and _INCHES_TOO.fullmatch(written):
        raise Unreadable(f"'{text}' is in feet and inches, which rain is not read in",
                         "Write it in inches alone, such as 14 in")
    if dimension in ("length", "rain") and written == '"':
        written = "in"
    if "'" in written or '"' in written:
        raise Unreadable(f"'{text}' uses a quote mark that is not read in {NAMES[dimension]}",
                         "Write ft or in")
    unit = _unit(written) if written else (us if system == "us" else metric)
    if unit == inside:
        return number
    if dimension == "length" and unit in ("ft", "foot"):
        return number * metres_in("ft")
    import pint

    try:
        quantity = _registry().Quantity(number, unit)
        value = float(quantity.to(inside).magnitude)
    except pint.DimensionalityError:
        per = _PER.get(dimension, "")
        if per and (quantity / _registry().hour).check(_registry()(inside).dimensionality):
            such = f"Write it such as {text.strip()}{per}"
        raise Unreadable(f"'{text}' is not {NAMES[dimension]}", such) from None
    except Exception:
        raise Unreadable(f"'{text}' has an unknown unit '{written}'", such) from None
    return value


def _feet_and_inches(text: str, feet: float, signed: bool, sign: str, inches: str, mark: str | None
                     ) -> float:
    """Feet and the inches behind them. [m]"""
    such = "Write it such as 5 ft 6 in"
    if mark is None:
        raise Unreadable(f"'{text}' does not say that its {inches} are inches", such)
    if signed or sign:
        raise Unreadable(f"'{text}' has a sign, and feet and inches are read without one",
                         f"{such}, or a level below 0 in feet alone, such as -5.5 ft")
    if not feet.is_integer():
        raise Unreadable(f"'{text}' has inches behind feet that are not whole", such)
    if float(inches) >= 12:
        raise Unreadable(f"'{text}' has {inches} inches behind its feet, and 12 make a foot",
                         f"Write it such as {feet + float(inches) // 12:.0f} ft "
                         f"{float(inches) % 12:g} in")
    return feet * metres_in("ft") + float(inches) * 0.0254


def printed(dimension: str, system: str = "metric") -> tuple[str, float, int]:
    """Unit in which a dimension is printed, its factor from inside, and its usual decimals."""
    unit, factor, places = PRINTED[dimension][system == "us"]
    return unit, (1 / metres_in("ft") if unit == "ft" else factor), places


def shown(value: float | None, dimension: str, system: str = "metric",
          decimals: int | None = None, with_unit: bool = True) -> str:
    """Print an inside value for a person, in metric or US customary units.

    A "size" is a length that is dug or built: in US units it is told in inches below two feet, and
    without decimals that say nothing.  "ground" is an area, as `ground_unit` says.  A large volume
    in gallons has its acre-feet behind it, and from `MANY_GALLONS` up is told in millions, unless
    its decimals are asked for, so that figures in one column keep one unit.
    """
    if value is None or value != value:
        return "unknown"
    if dimension == "ground":
        dimension = ground_unit(value, system)
    unit, factor, places = printed(dimension, system)
    if dimension == "size" and system == "us":
        return _dug(value, decimals if decimals is not None else places, with_unit)
    usual = decimals is None
    if decimals is None:  # thousands need no decimals, unless they are a level
        decimals = 0 if abs(value * factor) >= 1000 and dimension != "level" else places
    number = f"{value * factor:,.{decimals}f}"
    if number.strip("-0.,") == "":
        number = number.lstrip("-")
    if not with_unit:
        return number
    if unit == "gal" and usual and abs(value) >= ACRE_FOOT:
        if abs(value * factor) >= MANY_GALLONS:
            number = f"{_three_figures(value * factor / 1e6)} million"
        return f"{number} {unit} ({acre_feet(value)})"
    return f"{number} {unit}"


def acre_feet(volume: float) -> str:
    """A volume in acre-feet, to three figures."""
    return f"{_three_figures(volume / ACRE_FOOT)} acre-ft"


def _three_figures(number: float) -> str:
    """A number to three figures, or whole."""
    size = abs(number)
    return f"{number:,.{2 if size < 9.995 else 1 if size < 99.95 else 0}f}"


def ground_unit(area: float, system: str) -> str:
    """The dimension in which an area of ground is told: area (m2, ft2), or land (ha, acre) from
    `LAND_FROM` up. [m2]"""
    return "land" if area >= LAND_FROM[system] else "area"


def _dug(metres: float, decimals: int, with_unit: bool) -> str:
    """A size in feet, or in inches below two feet."""
    inches = metres / 0.0254
    small = abs(round(inches, 1)) < INCHES_BELOW
    number = f"{inches if small else inches / 12:,.{1 if small else decimals}f}"
    number = number.rstrip("0").rstrip(".") if "." in number else number
    number = "0" if number == "-0" else number
    return f"{number} {'in' if small else 'ft'}" if with_unit else number


def in_both(value: float, dimension: str, decimals: int | None = None) -> str:
    """Print an inside value in both systems, for sentences that all read: metric units with the
    US ones behind, or the other way round within `told_first("us")`."""
    first = first_system()
    second = "metric" if first == "us" else "us"
    if dimension == "size" and first == "metric":
        dimension = "level"  # feet behind metres tell what they come to, not what to dig
    return (f"{_in_one(value, dimension, first, decimals)} "
            f"({_in_one(value, dimension, second, decimals)})")


def _in_one(value: float, dimension: str, system: str, decimals: int | None) -> str:
    """A figure of `in_both`, with no parentheses of its own."""
    if dimension == "volume" and system == "us" and abs(value) >= ACRE_FOOT:
        return acre_feet(value)
    return shown(value, dimension, system, decimals)


def ordered(metric: str, us: str) -> str:
    """A figure that is written in both systems, in the order of `in_both`."""
    return f"{us} ({metric})" if first_system() == "us" else f"{metric} ({us})"


def either(metric: str, value: float, dimension: str, decimals: int | None = None) -> str:
    """A figure in one system only, that of `told_first`: as written in metric units, or an inside
    value printed in US units."""
    return shown(value, dimension, "us", decimals) if first_system() == "us" else metric


def along_words(metres: float, with_unit: bool = True) -> str:
    """A place along a line, to a tenth, in one system only, that of `told_first`."""
    return shown(metres, "length", first_system(), 1, with_unit).replace(",", "")


def soil_water(held: float, system: str = "metric") -> tuple[str, str]:
    """Water that soil holds, of so many mm in a metre, and the depth that holds it."""
    return ((f"{held / 1000 * 12:.1f} in", "foot") if system == "us" else
            (f"{held:.0f} mm", "metre"))


def lasting(hours: float) -> str:
    """Print how long something lasts: to a tenth below 10 h, then whole hours below three days,
    then whole days."""
    if hours > 1e6:
        return "never"
    return (f"{hours:.1f} h" if hours < 10 and hours != round(hours) else
            f"{hours:,.0f} h" if hours < 72 else f"{hours / 24:,.0f} days")


def worked(hours: float) -> str:
    """Print how long a machine works: to a tenth below 100 h, then whole hours."""
    return f"{hours:,.{1 if hours < 99.95 else 0}f} h"


def within_words(metres: float, system: str) -> str:
    """How near something lies, "less than" the last place where that would print as nothing."""
    told = shown(metres, "size", system)
    least = 0.00254 if system == "us" else 0.01
    nothing = told == shown(0.0, "size", system)
    return f"less than {shown(least, 'size', system)}" if nothing else told


def per_cent(share: float, decimals: int = 0) -> str:
    """Print a share, such as "2.7 %", its sign kept on the same line."""
    return f"{100 * share:,.{decimals}f}\u00a0%"


def share_words(share: float) -> str:
    """A share with one decimal; all or nothing is said only where it is so."""
    if 0.9995 <= share < 1 - 1e-9:
        return f"over {per_cent(0.999, 1)}"
    return f"under {per_cent(0.001, 1)}" if 1e-9 < share < 0.0005 else per_cent(share, 1)


def unit_name(dimension: str, system: str = "metric") -> str:
    """Name the unit in which `shown` prints a dimension."""
    return PRINTED[dimension][system == "us"][0]
