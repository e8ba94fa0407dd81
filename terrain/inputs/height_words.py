"""What heights mean: their unit, their datum, and whether they come in whole steps."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from terrain.errors import InputError
from terrain.inputs.frame import METRES
from terrain.units import first_system

#: No land lies outside these heights (Dead Sea shore about -440 m, Everest 8,849 m). [m]
LOWEST, HIGHEST = -500.0, 9000.0
#: This share of heights in whole numbers makes a raster one of whole steps; common practice,
#: no source.
WHOLE_SHARE = 0.99
#: Spellings of units in files.
_SPELLINGS = {
    "metre": "m", "meter": "m", "metres": "m", "meters": "m", "m": "m",
    "foot": "ft", "feet": "ft", "ft": "ft", "international foot": "ft", "us survey foot": "us-ft",
    "us-ft": "us-ft", "ftus": "us-ft", "us survey feet": "us-ft", "foot_us": "us-ft",
    "us_survey_foot": "us-ft", "usft": "us-ft", "sft": "us-ft"}
NAMES = {"m": "metres", "ft": "feet", "us-ft": "US survey feet"}


def declared_unit(own: CRS | None, written: str | None) -> str | None:
    """The unit of heights that a file declares, on its band or in its CRS: m, ft, us-ft or None."""
    known = _SPELLINGS.get((written or "").strip().lower())
    if known is None and own is not None and len(own.axis_info) > 2:
        name = own.axis_info[2].unit_name.lower()
        known = "m" if name.startswith("met") else "us-ft" if "survey" in name else "ft"
    return known


def height_unit_of(where: str, own: CRS | None, plan_unit: str | None, declared: str | None,
                   given: str | None) -> tuple[str, str | None]:
    """The unit of heights, and in a sentence how it is known where the file does not say so.

    Raises
    ------
    InputError
        If the plan is in feet and nothing says what the heights are in.
    """
    if given is not None:
        if declared is not None and METRES[declared] != METRES[given]:
            return given, (f"The file says its heights are in {declared}; they were taken in "
                           f"{given} as stated.")
        return given, None if declared else f"Heights were taken in {given} as stated."
    if declared is not None:
        return declared, (None if declared == "m" else
                          f"Heights in {declared} were turned into metres.")
    unit = METRES.get(plan_unit or "m", 1.0) if own is None else (
        1.0 if own.is_geographic else own.axis_info[0].unit_conversion_factor)
    if unit != 1.0:
        raise InputError(where, "its plan is in feet and it does not say whether its heights "
                         "are in feet or metres", "State it (height unit: ft, us-ft or m, "
                         "or --height-unit); State Plane in feet usually has us-ft")
    return "m", "The file does not say the unit of its heights; they were taken in metres."


def height_datum(own: CRS | None) -> str | None:
    """Name of the vertical datum that a CRS declares; None where it declares none."""
    if own is None:
        return None
    vertical = [part for part in own.sub_crs_list if part.is_vertical]
    if vertical:
        return vertical[0].name
    return f"the ellipsoid of {own.name}" if is_ellipsoidal(own) else None


def is_ellipsoidal(own: CRS | None) -> bool:
    """Whether a CRS declares its heights to be above the ellipsoid."""
    if own is None or len(own.axis_info) < 3:
        return False
    vertical = [part for part in own.sub_crs_list if part.is_vertical]
    axis = vertical[0].axis_info[0] if vertical else own.axis_info[2]
    return "ellipsoid" in axis.name.lower()


def datum_notes(own: CRS | None) -> list[str]:
    """What is known of the datum of the heights, in sentences."""
    if is_ellipsoidal(own):
        return ["Heights are above the ellipsoid, which is tens of metres from heights on maps; "
                "they were not moved, so levels from elsewhere do not fit them."]
    datum = height_datum(own)
    return [f"Heights are relative to {datum}." if datum else
            "The file does not say which height datum its heights are on; levels are relative "
            "to the raster itself."]


def whole_steps(heights: NDArray[np.float32], unit: str) -> str | None:
    """The unit, if any, of which at least 99 % of the known heights are whole numbers.

    Parameters
    ----------
    heights : float32, shape (rows, columns)
        NaN where unknown. [m]
    unit : {"m", "ft", "us-ft"}
        The unit the file was in, which is tried first.
    """
    tried = list(dict.fromkeys([unit, "m", "ft", "us-ft"]))
    whole, known = dict.fromkeys(tried, 0), 0
    step = max(1, 500_000 // max(heights.shape[1], 1))
    for row in range(0, heights.shape[0], step):
        block = heights[row:row + step].astype(np.float64)
        known += int(np.isfinite(block).sum())
        for name in list(tried):
            steps = block / METRES[name]
            with np.errstate(invalid="ignore"):
                # 2 mm: what float32 leaves of whole feet on the highest land
                whole[name] += int((np.abs(steps - np.round(steps)) < 0.002).sum())
            if known - whole[name] > (1 - WHOLE_SHARE) * heights.size:
                tried.remove(name)  # cannot be reached any more
        if not tried:
            return None
    return next((name for name in tried if known and whole[name] >= WHOLE_SHARE * known), None)


def terrace_notes(unit: str | None) -> list[str]:
    """What whole steps mean for the reader."""
    if unit is None:
        return []
    half = ("0.5 m" if unit == "m" else "0.5 ft" if first_system() == "us" else "0.5 ft (0.15 m)")
    return [f"The heights are in whole {NAMES[unit]}, so contours and small hollows are terraced; "
            f"take levels as no better than {half}."]
