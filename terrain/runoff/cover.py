"""What covers the ground: published classes, and the curve number of every cell."""

from __future__ import annotations

import csv
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import ArrayLike, NDArray

SOIL_GROUPS = "ABCD"
#: Curve number of roofs and paving: TR-55 (1986), Table 2-2a. [-]
PAVED = 98.0
#: Share of roofs and paving from which figure 2-4 of TR-55 (1986) no longer holds. [%]
UNCONNECTED_UNDER = 30.0
#: How the names of roads among the classes begin.
ROADS = ("paved road", "gravel road", "dirt road")


@dataclass(frozen=True)
class CoverClass:
    """A class of ground cover with its curve numbers on soil groups A to D.

    A curve number is NaN where the table gives none. `bare` is ground without plants; `paved`
    says that roofs or paving are counted in already.
    """

    name: str
    bare: bool
    table: str
    description: str
    curve_numbers: tuple[float, float, float, float]
    paved: bool = False


@lru_cache(maxsize=1)
def published_classes() -> dict[str, CoverClass]:
    """Cover classes of TR-55 (1986), Tables 2-2a to 2-2d, by the name that layers use.

    And open water, whose number is common practice; its `table` is ``none``.
    """
    text = resources.files("terrain.runoff").joinpath("curve_numbers.csv").read_text("utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    classes = {}
    for row in rows:
        numbers = [float(row[group]) if row[group] else float("nan") for group in SOIL_GROUPS]
        said = ", ".join(row[part] for part in ("cover", "treatment", "condition") if row[part])
        classes[row["name"]] = CoverClass(row["name"], row["bare"] == "yes", row["table"], said,
                                          (numbers[0], numbers[1], numbers[2], numbers[3]),
                                          row["paved"] == "yes")
    return classes


def with_impervious(curve_number: ArrayLike, impervious: ArrayLike, unconnected: ArrayLike = 0.0
                    ) -> NDArray[np.float64]:
    """Curve number of ground that is partly roofed or paved.

    Parameters
    ----------
    curve_number : broadcasts with the others
        Of the pervious part, average runoff condition, initial abstraction 0.2 S; NaN where
        unknown. [-]
    impervious : same
        Share of the area that is roof or paving. [%]
    unconnected : same
        Share of the roofs and paving whose water crosses pervious ground first. [%]

    Returns
    -------
    composite : broadcast shape
        Not rounded. [-]

    Raises
    ------
    ValueError
        If a share lies outside 0 to 100, or a curve number outside (0, 98].

    Notes
    -----
    ``CNc = CNp + P/100 (98 - CNp) (1 - 0.5 R)`` with R the unconnected share of P, as long as P
    is under 30 %; from there on all of P counts as connected (R = 0) [1]_.

    Examples
    --------
    >>> float(with_impervious(74, 25, 50))   # TR-55 Example 2-4, read from its chart as 78
    78.5

    References
    ----------
    .. [1] USDA SCS, TR-55, 2nd ed., 1986, figures 2-3 and 2-4.
    """
    pervious = np.asarray(curve_number, np.float64)
    share = np.asarray(impervious, np.float64)
    apart = np.asarray(unconnected, np.float64)
    for name, given in (("impervious", share), ("unconnected", apart)):
        bad = ~((given >= 0) & (given <= 100))
        if bad.any():
            raise ValueError(f"the {name} share {given[bad].flat[0]:g} % is outside 0 to 100 %")
    bad = (pervious <= 0) | (pervious > PAVED)
    if bad.any():
        raise ValueError(f"the curve number {pervious[bad].flat[0]:g} of the pervious part is "
                         f"outside 0 to {PAVED:g}, that of paving")
    ratio = np.where(share < UNCONNECTED_UNDER, apart / 100, 0.0)
    return pervious + share / 100 * (PAVED - pervious) * (1 - 0.5 * ratio)


def is_road(name: str) -> bool:
    """Whether a class of cover is a road, partly paved or not."""
    return name.startswith(ROADS)


def partly_paved(ground: CoverClass, impervious: float, unconnected: float) -> CoverClass:
    """The class of such ground with a share of it roofed or paved; `bare` stays as it is.

    Parameters
    ----------
    impervious, unconnected : float
        As in `with_impervious`. [%]

    Raises
    ------
    ValueError
        If roofs and paving are counted in the class already, or it sheds more than paving.
    """
    if impervious == 0:
        return ground
    if ground.paved:
        raise ValueError(f"the curve numbers of {ground.name} count its roofs, paving or water in "
                         "already")
    a, b, c, d = (float(n) for n in with_impervious(ground.curve_numbers, impervious, unconnected))
    said = f"{impervious:g} % impervious"
    if unconnected and impervious < UNCONNECTED_UNDER:
        said += f", {unconnected:g} % of it unconnected"
    return replace(ground, name=f"{ground.name}, {said}",
                   description=f"{ground.description}, {said} (TR-55 figures 2-3 and 2-4)",
                   curve_numbers=(a, b, c, d), paved=True)


def paver(known: dict[str, CoverClass]) -> Callable[[str, float, float], tuple[str, str]]:
    """What makes classes of ground partly paved, adds them to those known, and names them.

    Called with the name of a known class and the shares of `partly_paved`, whose ValueError it
    raises; returns the new class's name and, where unconnected paving had to be taken as
    connected, the words for that.
    """
    def make(ground: str, impervious: float, unconnected: float) -> tuple[str, str]:
        made = partly_paved(known[ground], impervious, unconnected)
        known[made.name] = made
        return made.name, ("" if not unconnected or impervious < UNCONNECTED_UNDER else
                           "wholly connected, as TR-55 (1986, figure 2-4) credits unconnected "
                           f"roofs and paving only where all of them are under "
                           f"{UNCONNECTED_UNDER:g} %")
    return make


def curve_numbers_of(cover: NDArray[np.int16], classes: Sequence[CoverClass],
                     soil: NDArray[np.int8]) -> NDArray[np.float64]:
    """Curve number of every cell.

    Parameters
    ----------
    cover : int16, any shape
        Position in `classes`; -1 where unknown.
    classes : sequence of CoverClass
    soil : int8, same shape
        0 to 3 for hydrologic soil groups A to D; -1 where unknown.

    Returns
    -------
    curve_number : float64, same shape
        Average runoff condition, initial abstraction 0.2 S; NaN where unknown or where the
        table gives no figure. [-]
    """
    table = np.full((len(classes) + 1, 5), np.nan)
    for index, kind in enumerate(classes):
        table[index, :4] = kind.curve_numbers
    return table[cover, soil]
