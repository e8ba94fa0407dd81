"""Fields of the site file: quantities with units, and the part that every block builds on."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo

from terrain.units import DIMENSIONS, read_quantity

#: No quantity of a site is larger, in whatever unit inside.
MOST_OF_ALL = 1e12
#: Bounds of a storm: the rain of its duration, and how long it lasts. [mm], [h]
#: More than 9,300 mm never fell in a month (Cherrapunji, July 1861: World Meteorological
#: Organization, archive of weather extremes, from memory); the others common practice, no source.
LEAST_STORM, MOST_STORM = 0.1, 10_000.0
SHORTEST_STORM, LONGEST_STORM = 1 / 60, 366 * 24.0


def _quantity(dimension: str, least: float | None = None, above: float | None = None,
              most: float = MOST_OF_ALL) -> BeforeValidator:
    def read(given: Any, info: ValidationInfo) -> float:
        context = info.context or {}
        system = context.get("units", "metric")
        value = read_quantity(given, dimension, system)
        if value != value or abs(value) == float("inf"):
            raise ValueError(f"{given} is not a finite {dimension}")
        if above is not None and value <= above:
            raise ValueError(f"{given} is not above {above:g}")
        if least is not None and value < least:
            raise ValueError(f"{given} is below {_bound(least, dimension)}")
        if abs(value) > most:
            raise ValueError(f"{given} is more than {_bound(most, dimension)}")
        if not isinstance(given, str) or given.strip().lstrip("+-").replace(".", "").isdigit():
            unit = DIMENSIONS[dimension][2 if system == "us" else 1]
            named = str(info.field_name).replace("_", " ")
            context.setdefault("bare", []).append((named, str(given), unit))
        return value
    return BeforeValidator(read)


def _bound(value: float, dimension: str) -> str:
    if not value:
        return "0"
    number = f"{value:,.0f}" if value >= 1000 else f"{value:.3g}"
    return f"{number} {DIMENSIONS[dimension][0].replace('**', '')}"


Level = Annotated[float, _quantity("length")]
Length = Annotated[float, _quantity("length", above=0.0)]
Span = Annotated[float, _quantity("length", least=0.0)]
Rain = Annotated[float, _quantity("rain", least=0.0)]
StormDepth = Annotated[float, _quantity("rain", LEAST_STORM, 0.0, MOST_STORM)]
Rate = Annotated[float, _quantity("rate", least=0.0)]
Seepage = Annotated[float, _quantity("seepage", least=0.0)]
Area = Annotated[float, _quantity("area", least=0.0)]
Volume = Annotated[float, _quantity("volume", above=0.0)]
Use = Annotated[float, _quantity("use", least=0.0)]
Hours = Annotated[float, _quantity("time", SHORTEST_STORM, 0.0, LONGEST_STORM)]
#: Hydraulic radius of a channel; bounds are common practice, no source.
Radius = Annotated[float, _quantity("length", 0.01, 0.0, 20.0)]
#: Height of a wind gauge over the ground; bounds are common practice, no source.
Mast = Annotated[float, _quantity("length", 0.2, 0.0, 200.0)]
Point = tuple[float, float]
UnitSystem = Literal["metric", "us"]
SoilGroup = Literal["A", "B", "C", "D"]


class Part(BaseModel):
    """Fields are written in the file with blanks where Python has underscores."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False,
        alias_generator=lambda name: name.replace("_", " "))
