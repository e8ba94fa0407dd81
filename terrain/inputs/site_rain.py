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
    """What it is called."""
    depth: StormDepth = 0.0
    """Depth of its rain.
    Left out: looked up in the `frequency` table by its return period."""
    duration: Hours = 24.0
    """How long it lasts."""
    pattern: Literal["even", "I", "IA", "II", "III", "nested"] = "II"
    """How the rain falls over the duration: an NRCS type, evenly, or `nested`: built from the
    frequency table's depths at its return period, or at the one whose depth is nearest."""
    return_period: float | None = Field(default=None, gt=0)
    """Once in how many years.
    Left out: not known."""


class DailyRain(Part):
    """A daily rain record, and whether its gaps are filled."""

    file: Path
    """A record of a year or more: a plain table (`date,rain_mm`), a weather station's export, a
    gridded daily pixel or a gauge's log. Days without a reading are counted, and filled only on
    request."""
    unit: Literal["mm", "in", "0.1 mm"] | None = None
    """Its unit.
    Left out: what the file says."""
    fill_gaps: Literal["dry"] | None = None
    """Takes days without a reading as without rain; with `fill gaps from`, those that the neighbour
    lacks too.
    Left out: they stay unknown."""
    fill_gaps_from: Path | None = None
    """A neighbour's record, in any of these layouts, that is scaled by the ratio of the two over
    the days both have."""


class Frequency(Part):
    """A table of depths by duration and return period."""

    file: Path
    """Either a point precipitation-frequency text (`by duration for ARI (years):`, or AEP) as
    public services hand it out, or a simple table: heads `duration,2 yr mm,10 yr mm,100 yr mm`,
    rows such as `30 min,12,19,30` or `2 days,44,66,110`; blank lines and lines that start with `#`
    are passed over. Intensities (`mm/h`, `in/h`) are multiplied by their duration. Depths must
    rise, or stay, with duration and with rarity."""
    unit: Literal["mm", "in"] | None = None
    """Its unit.
    Left out: what the file says."""


class Weather(Part):
    """A daily record of temperatures, and of humidity, wind and sun where there are any."""

    file: Path
    """A daily record with the highest and lowest temperature of each day, and humidity, wind and
    sun where there are any: a plain table, a weather station's export, or a gridded daily pixel."""
    temperature_unit: Literal["C", "F", "0.1 C"] | None = None
    """Its unit.
    Left out: what the file says."""
    method: Literal["penman-monteith", "hargreaves"] | None = None
    """How evapotranspiration is reckoned.
    Left out: the first where there are humidity and sun on at least half of the days, else the
    second."""
    wind_height: Mast = 2.0
    """Height of the wind gauge above the ground."""


class RainInputs(Part):
    """The storms to plan for and the daily record to live through."""

    storms: list[Storm] = Field(min_length=1)
    """What the plan is run for."""
    design_storm: str | None = None
    """Name of the storm that works are sized for. Sills and spillways are sized for it and for
    every other storm of the list that is no rarer.
    Left out: the commonest storm of 10 years or rarer (of several the longest, then the deepest),
    else the deepest."""
    start_month: int = Field(default=1, ge=1, le=12)
    """Month with which a year of the record begins, in every table and account; best in the dry
    season, so that no wet season is cut in two."""
    daily: DailyRain | None = None
    """A record of daily rain; gives the account of an average year."""
    frequency: Frequency | None = None
    """A table of depths by duration and return period: its fields, or the file's name alone."""
    climate_factor: float = Field(default=1.0, ge=0.5, le=3)
    """Depths looked up in that table, the 2-year rain included, are multiplied by it."""
    two_year_day: StormDepth | None = None
    """Depth of the 2-year 24-hour rain, which the travel time of sheet flow needs.
    Left out: looked up in the frequency table or among the storms."""

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
