"""Peak discharge of a catchment by three published methods, side by side."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from terrain.runoff.catchment import Catchment
from terrain.runoff.storms import NESTED, Hyetograph

#: Times of concentration for which the graphical method's coefficients hold. [h]
TIMES = (0.1, 10.0)
#: ft3/s in m3/s; m2 in mi2; mm in in.
_CFS, _MI2, _INCH = 0.3048**3, 1609.344**2, 25.4
#: The rational method is not for larger catchments; ASCE and WPCF, Manual 37, 1969 (200 acres; from
#: memory). [m2]
LARGEST_RATIONAL = 200 * 4046.8564224
#: Types whose ordinates are too far apart for catchments quicker than so many hours; measured
#: against the graphical method.
COARSE, COARSE_BELOW = ("IA", "III"), 1.0
#: A nested storm's blocks are too long beyond this share of the time of concentration; NEH 630 ch.
#: 16 (2007) takes steps of 0.133 of it, TR-55's least time is 0.1 h.
COARSE_BLOCK = 1.0
#: Share of ponds and swamps [%] and the factor it takes; TR-55 (1986), Table 4-2.
_PONDS = ((0.0, 0.2, 1.0, 3.0, 5.0), (1.0, 0.97, 0.87, 0.75, 0.72))


@lru_cache(maxsize=1)
def _unit_peaks() -> dict[str, tuple[NDArray[np.float64], NDArray[np.float64]]]:
    text = resources.files("terrain.runoff").joinpath("unit_peaks.csv").read_text("utf-8")
    rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    kinds = {}
    for kind in dict.fromkeys(row["rainfall_type"] for row in rows):
        own = [row for row in rows if row["rainfall_type"] == kind]
        kinds[kind] = (np.array([float(row["ia_over_p"]) for row in own]),
                       np.array([[float(row[c]) for c in ("c0", "c1", "c2")] for row in own]))
    return kinds


def unit_peak(kind: str, concentration: float, abstraction_share: float) -> float:
    """Unit peak discharge of the graphical method. [ft3/s per mi2 and in]

    Parameters
    ----------
    kind : {"I", "IA", "II", "III"}
        Type of the 24-hour rain.
    concentration : float
        Time of concentration; beyond 0.1 to 10 h the nearer end is taken. [h]
    abstraction_share : float
        Initial abstraction over rain; straight between the table's rows, its ends beyond. [-]

    Raises
    ------
    KeyError
        If the kind is none of the four.

    References
    ----------
    .. [1] USDA SCS, TR-55, 2nd ed., 1986, ch. 4 and Appendix F, Table F-1.
    """
    shares, coefficients = _unit_peaks()[kind]
    time = np.log10(min(max(concentration, TIMES[0]), TIMES[1]))
    each = 10 ** (coefficients @ np.array([1.0, time, time**2]))
    return float(np.interp(abstraction_share, shares, each))


def graphical_peak(kind: str, area: float, runoff: float, concentration: float,
                   abstraction_share: float, ponds: float = 0.0) -> float:
    """Peak discharge by the graphical method, qp = qu A Q Fp. [m3/s]

    Parameters
    ----------
    kind : {"I", "IA", "II", "III"}
    area : float
        [m2]
    runoff : float
        Depth of the storm's runoff. [mm]
    concentration, abstraction_share
        As in `unit_peak`.
    ponds : float
        Share of ponds and swamps spread through the catchment, up to 5. [%]

    References
    ----------
    .. [1] USDA SCS, TR-55, 2nd ed., 1986, eq. 4-1 and Table 4-2.
    """
    factor = float(np.interp(ponds, *_PONDS))
    return (unit_peak(kind, concentration, abstraction_share) * area / _MI2 * runoff / _INCH
            * factor * _CFS)


def rational_peak(coefficient: float, intensity: float, area: float) -> float:
    """Peak discharge by the rational method, Q = C i A. [m3/s]

    Parameters
    ----------
    coefficient : float
        C, 0 to 1. [-]
    intensity : float
        Of the rain over the time of concentration. [mm/h]
    area : float
        [m2]

    Raises
    ------
    ValueError
        If the coefficient lies outside 0 to 1, or another is below 0.

    References
    ----------
    .. [1] ASCE and WPCF, Design and Construction of Sanitary and Storm Sewers, Manual 37, 1969.
    """
    if not 0 <= coefficient <= 1:
        raise ValueError(f"runoff coefficient {coefficient:g} is outside 0 to 1")
    if intensity < 0 or area < 0:
        raise ValueError("intensity and area cannot be below 0")
    return coefficient * intensity / 1000 / 3600 * area


@dataclass(frozen=True)
class Peaks:
    """Peak discharge of one catchment in one storm by each method. [m3/s]

    Attributes
    ----------
    unit_hydrograph : float
        The one that is used: it takes any storm, keeps the volume, and can be led through stores.
    graphical, rational : float or None
        None where the method does not apply.
    notes : tuple of str
        Why one does not apply, or how far it was stretched, in whole sentences.
    """

    unit_hydrograph: float
    graphical: float | None
    rational: float | None
    notes: tuple[str, ...]


def peaks_of(catchment: Catchment, depth: float, shape: Hyetograph, step: float) -> Peaks:
    """Peak discharge of a catchment's own ground by the three methods.

    Parameters
    ----------
    catchment : Catchment
    depth : float
        Of the storm. [mm]
    shape : Hyetograph
    step : float
        Of the unit hydrograph. [h]
    """
    flow = catchment.hydrograph(shape.cumulative(depth, step), step)
    found = float(flow.max(initial=0.0)) / (step * 3600)
    if not catchment.area or depth <= 0:
        return Peaks(found, None, None, ())
    notes: list[str] = []
    if shape.pattern in COARSE and catchment.concentration < COARSE_BELOW:
        notes.append(f"The published ordinates of type {shape.pattern} stand half an hour apart at "
                     "its burst, so for water that arrives within an hour the unit hydrograph "
                     "may give a peak 40 % too low"
                     + (": mind the graphical method's." if shape.duration == 24 else "."))
    block = float(shape.hours[1])
    if shape.pattern == NESTED and block > COARSE_BLOCK * catchment.concentration:
        notes.append(f"The shortest duration of the frequency table, {60 * block:.0f} minutes, is "
                     "long beside the time that the water takes, so the nested storm's peak is too "
                     "low: give a table with shorter durations.")
    return Peaks(found, _graphical(catchment, depth, shape, notes),
                 _rational(catchment, depth, shape, notes), tuple(notes))


def _graphical(catchment: Catchment, depth: float, shape: Hyetograph, notes: list[str]
               ) -> float | None:
    if shape.pattern not in _unit_peaks() or shape.duration != 24:
        notes.append("The graphical method is for 24-hour storms of the NRCS types only.")
        return None
    if catchment.mean_curve_number < 40:
        notes.append("The graphical method is for curve numbers of 40 and more.")
        return None
    time = catchment.concentration
    if time > TIMES[1]:
        notes.append(f"The graphical method holds for times of concentration from {TIMES[0]:g} to "
                     f"{TIMES[1]:g} h; the nearer end was taken.")
    share = float(catchment.rule.starts_at(catchment.mean_curve_number)) / depth
    if share > 0.5:
        notes.append("Initial abstraction is over half the rain, beyond the tables of the "
                     "graphical method; its last row was taken.")
    runoff = catchment.runoff(depth) / catchment.area * 1000
    return graphical_peak(shape.pattern, catchment.area, runoff, time, share)


def _rational(catchment: Catchment, depth: float, shape: Hyetograph, notes: list[str]
              ) -> float | None:
    if not np.isfinite(catchment.rational_c):
        notes.append("The rational method needs cover and soil group of all the ground.")
        return None
    if catchment.area > LARGEST_RATIONAL:
        notes.append("The rational method is for catchments up to 80 ha (200 acres).")
        return None
    time = catchment.concentration
    if time > shape.duration:
        notes.append("The storm is over before all the ground sheds to its outlet at once; the "
                     "rational method spreads its rain over the time of concentration.")
    intensity = depth * shape.greatest_share(time) / time
    return rational_peak(catchment.rational_c, intensity, catchment.area)
