"""How the cover of the ground slows water down, and its coefficient in the rational method."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

#: Stands for cover that is not known, or of the user's own naming.
UNKNOWN = "herbaceous range"


@dataclass(frozen=True)
class Resistance:
    """A family of cover.

    Attributes
    ----------
    family : str
        What stands before the comma in the name of its classes.
    sheet, sheet_n : str, float
        Surface and Manning's n of TR-55 (1986), Table 3-1. [s/m^(1/3)]
    shallow, shallow_k : str, float
        Surface and velocity factor of NEH 630 ch. 15 (2010), Table 15-3. [ft/s]
    rational : str
        Kind of ground in `rational_coefficient`.
    """

    family: str
    sheet: str
    sheet_n: float
    shallow: str
    shallow_k: float
    rational: str


@lru_cache(maxsize=1)
def families() -> dict[str, Resistance]:
    """Every family of the published classes of cover, by name."""
    return {row["family"]: Resistance(row["family"], row["sheet"], float(row["n"]),
                                      row["shallow"], float(row["k_ft_s"]), row["rational"])
            for row in _rows("flow_resistance.csv")}


def resistance_of(class_name: str | None) -> Resistance:
    """The family that a class of cover belongs to; `UNKNOWN` for None or a name of the user's."""
    known = families()
    if class_name is None:
        return known[UNKNOWN]
    return known.get(class_name.partition(",")[0].strip(), known[UNKNOWN])


@lru_cache(maxsize=1)
def _coefficients() -> dict[tuple[str, str], dict[str, float]]:
    return {(row["kind"], row["slope"]): {group: float(row[group]) for group in "ABCD"}
            for row in _rows("rational_coefficients.csv")}


def rational_coefficient(kind: str, group: str, slope: float) -> float:
    """Runoff coefficient C of a kind of ground. [-]

    Parameters
    ----------
    kind : str
        `Resistance.rational`.
    group : {"A", "B", "C", "D"}
        Hydrologic soil group.
    slope : float
        Of the ground: flat to 0.05, rolling to 0.10, hilly beyond. [m/m]

    Raises
    ------
    KeyError
        If the kind or group is not in the tables.

    References
    ----------
    .. [1] USDA NRCS, Hydrology Training Series, Module 206 D, Table 2; ASCE and WPCF, Manual 37,
       1969.
    """
    table = _coefficients()
    steepness = "flat" if slope <= 0.05 else "rolling" if slope <= 0.10 else "hilly"
    row = table.get((kind, "any")) or table[(kind, steepness)]
    return row[group]


def _rows(name: str) -> list[dict[str, str]]:
    text = resources.files("terrain.runoff").joinpath(name).read_text("utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
