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
    """How many runs."""
    seed: int = Field(default=1, ge=0, lt=2**63)
    """Of the random numbers: the same seed gives the same answer."""
    antecedent: bool = True
    """`true`: before the design storm the ground is between antecedent condition I and III in eight
    runs of ten; `false`: as `runoff` says."""
    curve_number: float | None = Field(default=None, ge=0, le=20)
    """How far the table's curve numbers may be off: standard deviation at a number of 75; `0` for
    not at all.
    Left out: the rule `curve number doubt`, 5."""
    tested_rate: float | None = Field(default=None, ge=1, le=10)
    """Factor by which rates of soaking may be off where the site file states one; `1` for not at
    all.
    Left out: the rule `tested rate doubt`, 2."""
    untested_rate: float | None = Field(default=None, ge=1, le=10)
    """The same where the rate comes from a texture or the soil group.
    Left out: the rule `untested rate doubt`, 3."""
    rain_years: bool = True
    """`true`: the average year is that of years drawn from the record with replacement."""
    storm_depth: float | None = Field(default=None, ge=0, le=1)
    """How far the design storm's depth may be off, as a share (`0.15`; coefficient of variation);
    `0` for not at all.
    Left out: by the curve fitted to the record."""
    raster: Literal["lidar", "drone", "survey", "national", "global"] | None = None
    """How the heights were surveyed.
    Left out: by the cells: up to 2 m lidar, up to 15 m national, else global; points count as
    survey."""
    elevation_error: Span | None = None
    """Standard deviation of the heights; `0 m` for not at all.
    Left out: by the kind of raster, in the order listed there, 0.10, 0.10, 0.05, 0.82 or 5 m."""
    elevation_reach: Length | None = None
    """Distance at which the errors of two places have little in common, 5 %.
    Left out: 30 m, or three cells."""
