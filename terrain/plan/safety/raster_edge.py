"""What it means that a catchment reaches the edge of the known ground."""

from __future__ import annotations

from collections.abc import Iterable

from terrain.inputs.dem import Dem
from terrain.runoff.catchment import Catchment
from terrain.units import in_both

#: Water that comes along the edge is told from this share of a catchment on: less is lost in the
#: roughness of the ground. Common practice, no source. [-]
TOLD_ALONG = 0.01


def reaches_edge(catchment: Catchment, dem: Dem, whose: str = "The") -> str:
    """What it means that a catchment reaches the edge of the known ground."""
    what = "a hole in" if catchment.cut_by_hole else "the edge of"
    reaches = f"{whose} catchment reaches {what} {dem.source}, and "
    beyond = f"water from beyond would cross {_ground(catchment.at_risk)} of it"
    if led_along(catchment):
        return (f"{reaches}{_ground(catchment.along_edge)} of it came along that edge, "
                "where ground beyond is not known and may take its water; "
                f"{beyond}: figures of runoff may be far too high, or too low; give a raster that "
                "reaches further.")
    return (f"{reaches}{beyond}: read every figure of runoff as \"at least\"; a raster that "
            "reaches further decides.")


def _ground(area: float) -> str:
    """An area as land, or as an area where that would print as nothing."""
    return in_both(area, "area" if in_both(area, "land") == in_both(0.0, "land") else "land")


def led_along(catchment: Catchment) -> bool:
    """Whether ground beyond the edge may take so much of its water that "at least" is untrue."""
    return catchment.along_edge > TOLD_ALONG * catchment.area


def beyond_matters(catchment: Catchment) -> bool:
    """Whether the ground that water from beyond would cross is more than nothing as printed, or
    ground beyond may take some of its own."""
    return (in_both(catchment.at_risk, "land") != in_both(0.0, "land")) or led_along(catchment)


def bound_of(catchments: Iterable[Catchment]) -> str:
    """What stands before a figure of catchments together: "at least " where the raster's edge
    cuts one off, "about " where it may take from one as well, else nothing."""
    cut_off = [one for one in catchments if one.touches_edge and one.area]
    if any(led_along(one) for one in cut_off):
        return "about "
    return "at least " if cut_off else ""
