"""Fields of the site file about rain and weather."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal

from pydantic import Field, field_validator, model_validator

from terrain.inputs.fields import Hours, Mast, Part, StormDepth


class Storm(Part):
    """A depth of rain over a duration with a time pattern.

    A depth left out in the file is taken from the frequency table on reading.
    """

    name: str
    depth: StormDepth = 0.0
    duration: Hours = 24.0
    pattern: Literal["even", "I", "IA", "II", "III", "nested"] = "II"
    return_period: float | None = Field(default=None, gt=0)


class DailyRain(Part):
    """A daily rain record, and whether its gaps are filled."""

    file: Path
    unit: Literal["mm", "in", "0.1 mm"] | None = None
    fill_gaps: Literal["dry"] | None = None
    fill_gaps_from: Path | None = None


class Frequency(Part):
    """A table of depths by duration and return period."""

    file: Path
    unit: Literal["mm", "in"] | None = None


class Weather(Part):
    """A daily record of temperatures, and of humidity, wind and sun where there are any."""

    file: Path
    temperature_unit: Literal["C", "F", "0.1 C"] | None = None
    method: Literal["penman-monteith", "hargreaves"] | None = None
    wind_height: Mast = 2.0


class RainInputs(Part):
    """The storms to plan for and the daily record to live through."""

    storms: list[Storm] = Field(min_length=1)
    design_storm: str | None = None
    start_month: int = Field(default=1, ge=1, le=12)
    daily: DailyRain | None = None
    frequency: Frequency | None = None
    climate_factor: float = Field(default=1.0, ge=0.5, le=3)
    two_year_day: StormDepth | None = None

    @field_validator("frequency", mode="before")
    @classmethod
    def _file_alone(cls, given: Any) -> Any:
        return {"file": given} if isinstance(given, str) else given

    @model_validator(mode="after")
    def _known(self) -> RainInputs:
        for storm in self.storms:
            if not storm.depth and (self.frequency is None or storm.return_period is None):
                lacks = ("no return period to look one up by" if storm.return_period is None else
                         "there is no frequency table to look one up in")
                raise ValueError(f"the storm \"{storm.name}\" has no depth, and {lacks}")
            if storm.pattern == "nested" and self.frequency is None:
                raise ValueError(f"the storm \"{storm.name}\" is nested, which takes its shape "
                                 "from a frequency table, and there is none")
        names = [storm.name for storm in self.storms]
        twice = {name for name in names if names.count(name) > 1}
        if twice:
            raise ValueError(f"two storms are called \"{min(twice)}\"")
        if self.design_storm is not None and self.design_storm not in names:
            raise ValueError(f"the design storm \"{self.design_storm}\" is not among the storms "
                             + ", ".join(names))
        return self

    @property
    def sizing(self) -> list[Storm]:
        """The storms that sills are sized for: the design storm, and those no rarer than it."""
        design = self.design
        rare = design.return_period
        return [design] + [s for s in self.storms if s is not design and rare is not None
                           and s.return_period is not None and s.return_period <= rare]

    @property
    def design(self) -> Storm:
        """The storm that works are sized for.

        The one named; else the least with a return period of 10 years or more, of several the
        longest, then the deepest; else the deepest.
        """
        if self.design_storm is not None:
            return next(s for s in self.storms if s.name == self.design_storm)
        rare = [s for s in self.storms if (s.return_period or 0) >= 10]
        if rare:
            return min(rare, key=lambda s: (s.return_period or 0, -s.duration, -s.depth))
        return max(self.storms, key=lambda s: s.depth)
