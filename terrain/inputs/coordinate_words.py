"""The coordinate system of an elevation file, from what it says and what the person says."""

from __future__ import annotations

from typing import Any

from pyproj import CRS

from terrain.errors import InputError
from terrain.inputs.frame import METRES, Frame, in_metres, plane_near

#: Wider than this in degrees of longitude, one metric plane is too bent; common practice, no
#: source (a UTM zone is 6 degrees wide).
WIDEST = 9.0


def crs_of(where: str, stated: Any, given: str | None, plan_unit: str | None) -> CRS | None:
    """The CRS that a file states, or else the one given; None where only the plan unit is known.

    Raises
    ------
    InputError
        If neither is there, if the one given is not known, or if the two differ.
    """
    if stated is None and given is None:
        if plan_unit is None:
            raise InputError(where, "it has no coordinate system, so the size of its cells is "
                             "not known", "State its CRS (crs: EPSG:..., or --crs), or the unit of "
                             "its plan (plan unit: m, or --plan-unit m)")
        return None
    try:
        wanted = CRS.from_user_input(given) if given is not None else None
    except Exception:
        raise InputError(where, f"the stated CRS '{given}' is not known",
                         "Give one such as EPSG:32734") from None
    if stated is None:
        own = wanted
    else:
        own = CRS.from_user_input(stated)
        if wanted is not None and not own.to_2d().equals(wanted.to_2d(), ignore_axis_order=True):
            raise InputError(where, f"the file says its CRS is {own.name}, but {wanted.name} was "
                             "stated", "Leave the CRS out, or correct the file")
        if wanted is not None and len(wanted.axis_info) > len(own.axis_info):
            own = wanted  # the same plan, and the person knows the heights too
    if own is not None and not (own.is_geographic or own.is_projected):
        raise InputError(where, f"its coordinate system {own.name} is no map of the ground",
                         "Give the file in a projected system such as UTM, or state its CRS")
    return own


def frame_of(where: str, own: CRS | None, plan_unit: str | None, middle: tuple[float, float],
             width: float, heights_in: str = "m") -> tuple[Frame, float, str | None]:
    """The working frame, metres per unit of the plan, and in a sentence what was done.

    Parameters
    ----------
    where : str
        The file, for messages.
    own : CRS or None
    plan_unit : {"m", "ft", "us-ft"} or None
    middle : (x, y)
        Middle of the data in its own coordinates.
    width : float
        How far the data reach from west to east in their own coordinates.
    heights_in : {"m", "ft", "us-ft"}
        The unit of their heights.

    Raises
    ------
    InputError
        If data in degrees lie nowhere on Earth, or reach too far for one plane.
    """
    if own is None:
        unit = METRES[plan_unit or "m"]
        return Frame(None, None, unit, heights_in), unit, (
            f"The file has no CRS; its plan is taken in {plan_unit} as stated.")
    if own.is_geographic:
        if not (-360 <= middle[0] <= 360 and -80 <= middle[1] <= 84):
            raise InputError(where, f"its middle would lie at {middle[0]:g} degrees of longitude "
                             f"and {middle[1]:g} of latitude", "Check its coordinate system")
        if width > WIDEST:
            raise InputError(where, f"it is {width:.0f} degrees wide, too much for one plane in "
                             "metres", "Cut it to the property and the slopes above it")
        return Frame(own, plane_near(own, *middle), heights_in=heights_in), 1.0, None
    unit = own.axis_info[0].unit_conversion_factor
    return Frame(own, in_metres(own), heights_in=heights_in), unit, None if unit == 1.0 else (
        f"The plan is in {own.axis_info[0].unit_name}; it is worked in metres.")
