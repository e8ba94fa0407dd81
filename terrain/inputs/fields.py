"""Fields of the site file: quantities with units, and the part that every block builds on."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo

from terrain.units import DIMENSIONS, read_quantity


def _quantity(dimension: str, least: float | None = None, above: float | None = None
              ) -> BeforeValidator:
    def read(given: Any, info: ValidationInfo) -> float:
        context = info.context or {}
        system = context.get("units", "metric")
        value = read_quantity(given, dimension, system)
        if value != value or abs(value) == float("inf"):
            raise ValueError(f"{given} is not a finite {dimension}")
        if least is not None and value < least:
            raise ValueError(f"{given} is below {least:g}")
        if above is not None and value <= above:
            raise ValueError(f"{given} is not above {above:g}")
        if not isinstance(given, str) or given.strip().lstrip("+-").replace(".", "").isdigit():
            unit = DIMENSIONS[dimension][2 if system == "us" else 1]
            named = str(info.field_name).replace("_", " ")
            context.setdefault("bare", []).append((named, str(given), unit))
        return value
    return BeforeValidator(read)


Level = Annotated[float, _quantity("length")]
Length = Annotated[float, _quantity("length", above=0.0)]
Span = Annotated[float, _quantity("length", least=0.0)]
Rain = Annotated[float, _quantity("rain", least=0.0)]
StormDepth = Annotated[float, _quantity("rain", above=0.0)]
Rate = Annotated[float, _quantity("rate", least=0.0)]
Seepage = Annotated[float, _quantity("seepage", least=0.0)]
Area = Annotated[float, _quantity("area", least=0.0)]
Volume = Annotated[float, _quantity("volume", above=0.0)]
Use = Annotated[float, _quantity("use", least=0.0)]
Hours = Annotated[float, _quantity("time", above=0.0)]
Point = tuple[float, float]
UnitSystem = Literal["metric", "us"]
SoilGroup = Literal["A", "B", "C", "D"]


class Part(BaseModel):
    """Fields are written in the file with blanks where Python has underscores."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False,
        alias_generator=lambda name: name.replace("_", " "))
