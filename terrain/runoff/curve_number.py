"""Direct runoff from a storm by the curve-number method."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: Added where 0 would be divided by 0: nothing in any other sum.
NEXT_TO_NOTHING = 1e-300
#: Cells reckoned at a time, so that what lies in between stays in the processor's cache.
CACHED = 16384
Condition = Literal["I", "II", "III"]


def potential_retention(curve_number: ArrayLike) -> NDArray[np.float64]:
    """Potential maximum retention S after runoff begins. [mm]

    Raises
    ------
    ValueError
        If a curve number lies outside (0, 100].
    """
    cn = np.asarray(curve_number, dtype=np.float64)
    if cn.size and (np.fmin.reduce(cn, axis=None) <= 0 or np.fmax.reduce(cn, axis=None) > 100):
        bad = cn[(cn <= 0) | (cn > 100)]
        raise ValueError(f"curve number {bad.flat[0]:g} is outside 0 to 100")
    return np.asarray(25.4 * (1000.0 / cn - 10.0))


def runoff_from_retention(rain: ArrayLike, retention: ArrayLike, abstraction_ratio: float = 0.2
                          ) -> NDArray[np.float64]:
    """Depth of direct runoff from one storm on ground of retention S. [mm]

    Parameters
    ----------
    rain : broadcasts with `retention`
        [mm]
    retention : any shape
        S, for the same abstraction ratio; NaN where unknown. [mm]
    abstraction_ratio : float
        Initial abstraction over S. [-]

    Returns
    -------
    runoff : broadcast shape
        NaN where the retention is unknown.  Reckoned in blocks of `CACHED` cells.

    Raises
    ------
    ValueError
        If rain is negative.
    """
    depth = np.asarray(rain, dtype=np.float64)
    if (depth < 0).any():
        raise ValueError(f"storm depth {np.nanmin(depth):g} mm is below 0")
    blocks = np.nditer([depth, np.asarray(retention, dtype=np.float64), None],
                       ["external_loop", "buffered", "zerosize_ok"],
                       [["readonly"], ["readonly"], ["writeonly", "allocate"]],
                       buffersize=CACHED)
    with blocks, np.errstate(invalid="ignore"):  # unknown ground is compared too
        for fallen, kept, runs in blocks:
            np.multiply(kept, -abstraction_ratio, out=runs)
            runs += fallen
            np.maximum(runs, 0.0, out=runs)
            taken = runs + kept
            taken += NEXT_TO_NOTHING
            runs *= runs
            runs /= taken
        return np.asarray(blocks.operands[2])


def runoff_depth(rain: ArrayLike, curve_number: ArrayLike,
                 abstraction_ratio: float = 0.2) -> NDArray[np.float64]:
    """Depth of direct runoff from one storm. [mm]

    Parameters
    ----------
    rain : broadcasts with `curve_number`
        Storm depth, 0 or more. [mm]
    curve_number : any shape, e.g. (rows, columns)
        For the same abstraction ratio; NaN where unknown. [-]
    abstraction_ratio : float
        Initial abstraction over S; no runoff below it. TR-55: 0.2. [-]

    Returns
    -------
    runoff : broadcast shape
        NaN where the curve number is unknown. [mm]

    Raises
    ------
    ValueError
        If rain is negative or a curve number lies outside (0, 100].

    Notes
    -----
    For a whole storm: within one, apply to cumulative rain and difference.
    Sum over cells; a mean curve number misses most in small storms.

    Examples
    --------
    >>> round(float(runoff_depth(152.4, 70)), 1)   # 6 in on CN 70
    71.3

    References
    ----------
    .. [1] USDA SCS, TR-55, 2nd ed., 1986, eq. 2-1 to 2-4 (in inches).
    """
    return runoff_from_retention(rain, potential_retention(curve_number), abstraction_ratio)


@lru_cache(maxsize=1)
def _conditions() -> dict[str, NDArray[np.float64]]:
    text = resources.files("terrain.runoff").joinpath("runoff_conditions.csv").read_text("utf-8")
    rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    return {column: np.array([float(row[f"cn_{column.lower()}"]) for row in reversed(rows)])
            for column in ("I", "II", "III")}


def under_condition(curve_number: ArrayLike, condition: Condition) -> NDArray[np.float64]:
    """Curve number under another antecedent runoff condition. [-]

    Parameters
    ----------
    curve_number : any shape
        For the average condition, II. [-]
    condition : {"I", "II", "III"}
        Dry, average, wet.

    References
    ----------
    .. [1] USDA NRCS, National Engineering Handbook Part 630, ch. 10, 2004, Table 10-1; straight
       between its whole numbers.
    """
    cn = np.asarray(curve_number, np.float64)
    if condition == "II":
        return cn
    table = _conditions()
    return np.asarray(np.interp(cn, table["II"], table[condition]))


@dataclass(frozen=True)
class RunoffRule:
    """How published curve numbers, for average wetness and 0.2 S, become runoff.

    Attributes
    ----------
    condition : {"I", "II", "III"}
        Antecedent runoff condition.
    abstraction_ratio : {0.2, 0.05}
        Initial abstraction over S.
    """

    condition: Condition = "II"
    abstraction_ratio: float = 0.2

    def retention(self, curve_number: ArrayLike, condition: Condition | None = None
                  ) -> NDArray[np.float64]:
        """Retention S that goes with the ratio, of curve numbers for II and 0.2 S. [mm]

        For another condition than the rule's own where one is given.

        Raises
        ------
        ValueError
            If a curve number lies outside (0, 100], or the ratio is neither 0.2 nor 0.05.

        References
        ----------
        .. [1] Hawkins, Ward, Woodward & Van Mullem (eds.), Curve Number Hydrology: State of the
           Practice, ASCE, 2009: S(0.05) = 1.33 S(0.20)^1.15, in inches.
        """
        spread = potential_retention(
            under_condition(curve_number, condition or self.condition))
        if self.abstraction_ratio == 0.2:
            return spread
        if self.abstraction_ratio != 0.05:
            raise ValueError(f"the ratio {self.abstraction_ratio:g} is neither 0.2 nor 0.05, for "
                             "which curve numbers are published")
        return np.asarray(25.4 * 1.33 * (spread / 25.4) ** 1.15)

    def runoff(self, rain: ArrayLike, curve_number: ArrayLike) -> NDArray[np.float64]:
        """Depth of direct runoff, as `runoff_depth`. [mm]"""
        return runoff_from_retention(rain, self.retention(curve_number), self.abstraction_ratio)

    def starts_at(self, curve_number: ArrayLike) -> NDArray[np.float64]:
        """Rain below which nothing runs off. [mm]"""
        return self.abstraction_ratio * self.retention(curve_number)

    @property
    def said(self) -> str:
        """In words, for notes."""
        wetness = {"I": "dry (I)", "II": "average (II)", "III": "wet (III)"}[self.condition]
        converted = ("" if self.abstraction_ratio == 0.2 else
                     ", curve numbers converted from 0.2 S (Hawkins and others, ASCE, 2009)")
        table = "" if self.condition == "II" else " by NEH 630 ch. 10 (2004), Table 10-1"
        return (f"antecedent runoff condition {wetness}{table}; initial abstraction "
                f"{self.abstraction_ratio:g} S{converted}")


#: Average wetness and 0.2 S: the published numbers as they stand.
AS_PUBLISHED = RunoffRule()
