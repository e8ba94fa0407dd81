"""Fields of the site file: quantities with units, and the part that every block builds on."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo

from terrain.units import (
    DEEPEST_DUG,
    DIMENSIONS,
    EXAMPLES,
    LEAST_STORM,
    LONGEST_STORM,
    MOST_STORM,
    SHALLOWEST_DUG,
    SHORTEST_STORM,
    WIDEST_BED,
    Unreadable,
    read_quantity,
)

#: Control characters, but for blanks and the ends of lines.
UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")
#: No quantity of a site is larger, in whatever unit inside.
MOST_OF_ALL = 1e12


@dataclass(frozen=True)
class Quantity:
    """How a field with a unit is read: its dimension, and bounds in the unit kept inside."""

    dimension: str
    least: float | None = None
    above: float | None = None
    most: float = MOST_OF_ALL

    def __call__(self, given: Any, info: ValidationInfo) -> float:
        context = info.context or {}
        system = context.get("units", "metric")
        value = read_quantity(given, self.dimension, system)
        if value != value or abs(value) == float("inf"):
            raise ValueError(f"{given} is not a finite {self.dimension}")
        if self.above is not None and value <= self.above:
            raise ValueError(f"{given} is not above {self.above:g}")
        if self.least is not None and value < self.least:
            raise Unreadable(f"{given} is below {bound(self.least, self.dimension)}",
                             "Check the number and its unit")
        bare = not isinstance(given, str) or given.strip().lstrip("+-").replace(".", "").isdigit()
        unit = DIMENSIONS[self.dimension][2 if system == "us" else 1]
        if abs(value) > self.most:
            most = bound(self.most, self.dimension)
            if bare:
                raise Unreadable(f"{given} has no unit and is taken as {given} "
                                 f"{unit.replace('**', '')}, which is more than {most}",
                                 "Write it with its unit, such as "
                                 + EXAMPLES[self.dimension][system == "us"])
            raise Unreadable(f"{given} is more than {most}", "Check the number and its unit")
        if bare:
            named = str(info.field_name).replace("_", " ")
            context.setdefault("bare", []).append((named, str(given), unit))
        return value


@dataclass(frozen=True)
class Written:
    """What a field takes, in words of the reference, where its Python kind does not tell."""

    words: str


def _quantity(*figures: Any) -> BeforeValidator:
    return BeforeValidator(Quantity(*figures))


def bound(value: float, dimension: str) -> str:
    """A bound of a quantity, with the unit kept inside."""
    if not value:
        return "0"
    number = f"{value:,.0f}" if value >= 1000 else f"{value:.3g}"
    return f"{number} {DIMENSIONS[dimension][0].replace('**', '')}"


Level = Annotated[float, _quantity("length")]
Length = Annotated[float, _quantity("length", None, 0.0)]
Depth = Annotated[float, _quantity("length", SHALLOWEST_DUG, 0.0, DEEPEST_DUG)]
Bed = Annotated[float, _quantity("length", None, 0.0, WIDEST_BED)]
#: How wide a crown and a pipe are, what a tank holds: bounds that a unit forgotten or mistaken
#: breaks; common practice, no source.
Crown = Annotated[float, _quantity("length", 0.1, 0.0, 60.0)]
Bore = Annotated[float, _quantity("length", 0.005, 0.0, 5.0)]
TankVolume = Annotated[float, _quantity("volume", 0.01, 0.0, 2000.0)]
Span = Annotated[float, _quantity("length", 0.0)]
Rain = Annotated[float, _quantity("rain", 0.0)]
StormDepth = Annotated[float, _quantity("rain", LEAST_STORM, 0.0, MOST_STORM)]
Rate = Annotated[float, _quantity("rate", 0.0)]
Seepage = Annotated[float, _quantity("seepage", 0.0)]
Area = Annotated[float, _quantity("area", 0.0)]
Volume = Annotated[float, _quantity("volume", None, 0.0)]
Use = Annotated[float, _quantity("use", 0.0)]
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
