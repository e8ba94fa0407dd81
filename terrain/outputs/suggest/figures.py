"""Figures of a search as they are printed: what is aimed at, what it costs, how far from best."""

from __future__ import annotations

import math

from terrain.outputs.page.money_tables import figure
from terrain.suggest.candidate import Cost
from terrain.suggest.suggestion import Suggestion, Water
from terrain.units import per_cent, printed, shown


def aim_words(value: float | None, suggestion: Suggestion, system: str) -> str:
    """A figure of what is aimed at."""
    if value is None:
        return "–"
    dimension = suggestion.aim.dimension
    if dimension is None:
        number = f"{value:,.0f}" if abs(value - round(value)) < 0.05 else f"{value:,.1f}"
        return f"{number} tree{'' if number == '1' else 's'}"
    return shown(value, dimension, system)


def aim_unit(suggestion: Suggestion, system: str) -> tuple[str, float]:
    """Unit of what is aimed at, and its factor from inside."""
    dimension = suggestion.aim.dimension
    return ("trees", 1.0) if dimension is None else printed(dimension, system)[:2]


def limit_words(value: float, suggestion: Suggestion, system: str) -> str:
    """A figure of what the front goes against: money, hours of the machine or earth."""
    limit = suggestion.aim.limit
    if limit == "money":
        return f"{figure(value)} {currency(suggestion)}"
    return f"{value:,.1f} h of the machine" if limit == "hours" else shown(value, "earth", system)


def limit_unit(suggestion: Suggestion, system: str) -> tuple[str, float]:
    """Unit of what the front goes against, and its factor from inside."""
    limit = suggestion.aim.limit
    if limit == "money":
        return currency(suggestion), 1.0
    return ("h", 1.0) if limit == "hours" else printed("earth", system)[:2]


def currency(suggestion: Suggestion) -> str:
    """The site's own; "money" where it states none."""
    money = suggestion.site.money
    return "money" if money is None else str(money.currency)


def cost_words(cost: Cost, suggestion: Suggestion, system: str) -> str:
    """What a work or a layout takes."""
    told = [] if cost.money is None else [f"{figure(cost.money)} {currency(suggestion)}"]
    told.append(f"{cost.hours:,.1f} h of the machine")
    told.append(f"{shown(cost.earth, 'earth', system)} dug")
    return ", ".join(told)


def gap_words(gap: float) -> str:
    """How far below the best, at most: rounded up."""
    return "0" if gap < 1e-6 else per_cent(math.ceil(gap * 1000 - 1e-6) / 1000, 1)


def reached_words(gap: float) -> str:
    """What share of the best is reached, at least: rounded down."""
    return per_cent(1 - math.ceil(gap * 1000 - 1e-6) / 1000, 1)


def range_words(water: Water, system: str) -> str:
    """What a layout keeps of the design storm as far as it is known."""
    return (f"{shown(water.storm_low, 'volume', system, with_unit=False)} to "
            f"{shown(water.storm_high, 'volume', system)}")


def ground_words(area: float, system: str) -> str:
    """An area of ground: as land, or in m2 or ft2 where it is small."""
    return shown(area, "ground", system)
