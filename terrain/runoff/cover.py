"""What covers the ground: published classes, and the curve number of every cell."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

SOIL_GROUPS = "ABCD"


@dataclass(frozen=True)
class CoverClass:
    """A class of ground cover with its curve numbers on soil groups A to D.

    A curve number is NaN where the published table gives none.
    """

    name: str
    bare: bool
    table: str
    description: str
    curve_numbers: tuple[float, float, float, float]


@lru_cache(maxsize=1)
def published_classes() -> dict[str, CoverClass]:
    """Cover classes of TR-55 (1986), Tables 2-2a to 2-2d, by the name that layers use."""
    text = resources.files("terrain.runoff").joinpath("curve_numbers.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    classes = {}
    for row in rows:
        numbers = [float(row[group]) if row[group] else float("nan") for group in SOIL_GROUPS]
        said = ", ".join(row[part] for part in ("cover", "treatment", "condition") if row[part])
        classes[row["name"]] = CoverClass(row["name"], row["bare"] == "yes", row["table"], said,
                                          (numbers[0], numbers[1], numbers[2], numbers[3]))
    return classes


def curve_numbers_of(cover: NDArray[np.int16], names: list[str], soil: NDArray[np.int8]
                     ) -> NDArray[np.float64]:
    """Curve number of every cell.

    Parameters
    ----------
    cover : int16, any shape
        Index into `names`; -1 where unknown.
    names : list of str
        Classes of `published_classes`.
    soil : int8, same shape
        0 to 3 for hydrologic soil groups A to D; -1 where unknown.

    Returns
    -------
    curve_number : float64, same shape
        Average runoff condition, initial abstraction 0.2 S; NaN where unknown or where the
        published table gives no figure. [-]
    """
    classes = published_classes()
    table = np.full((len(names) + 1, 5), np.nan)
    for index, name in enumerate(names):
        table[index, :4] = classes[name].curve_numbers
    return table[cover, soil]
