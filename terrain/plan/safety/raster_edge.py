"""What it means that a catchment reaches the edge of the known ground."""

from __future__ import annotations

from terrain.inputs.dem import Dem
from terrain.runoff.catchment import Catchment
from terrain.units import in_both


def reaches_edge(catchment: Catchment, dem: Dem, whose: str = "The") -> str:
    """What it means that a catchment reaches the edge of the known ground."""
    what = "a hole in" if catchment.cut_by_hole else "the edge of"
    return (f"{whose} catchment reaches {what} {dem.source}, and water from beyond would cross "
            f"{in_both(catchment.at_risk, 'land')} of it: read every figure of runoff as \"at "
            "least\"; a raster that reaches further decides.")


def beyond_matters(catchment: Catchment) -> bool:
    """Whether the ground that water from beyond would cross is more than nothing as printed."""
    return in_both(catchment.at_risk, "land") != in_both(0.0, "land")
