"""Fields of the site file about doubt: how far what the plan rests on may be off."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from terrain.inputs.fields import Length, Part, Span

#: Fewer runs tell no 10 and 90 %; common practice, no source.
LEAST_RUNS = 20
MOST_RUNS = 100_000


class Doubts(Part):
    """What is drawn again in every run of the doubt, and how widely; what is left out is taken
    from the rules."""

    runs: int = Field(default=1000, ge=LEAST_RUNS, le=MOST_RUNS)
    seed: int = Field(default=1, ge=0, lt=2**63)
    antecedent: bool = True
    curve_number: float | None = Field(default=None, ge=0, le=20)
    tested_rate: float | None = Field(default=None, ge=1, le=10)
    untested_rate: float | None = Field(default=None, ge=1, le=10)
    rain_years: bool = True
    storm_depth: float | None = Field(default=None, ge=0, le=1)
    raster: Literal["lidar", "drone", "survey", "national", "global"] | None = None
    elevation_error: Span | None = None
    elevation_reach: Length | None = None
