"""How long, deep or wide a swale must be to hold the runoff of its catchment."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.surface.catchments import first_met
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works.cross_section import Section, section_of
from terrain.works.rules import Rulebook
from terrain.works.swale import SwaleLine, along_of, line_cells, window
from terrain.works.swale_checks import checks_of, swale_curve

#: What a size left open is found for.
COUNTED = ("that the storm to hold makes run over the ground to its line, as if there were no "
           "other works and no rain on its own water")
#: Steps in which a depth, a width and a length are sought. [m]
STEPS = {"depth": 0.05, "width": 0.1, "length": 2.0}


@dataclass(frozen=True)
class Wanted:
    """What is fixed of a swale before it is sized; None where it is left open.

    Attributes
    ----------
    length, depth, width : float or None
        [m]
    side_slope : float or None
        H:V.
    shape : str
        One of `cross_section.SHAPES`.
    solve : str or None
        `depth`, `width` or `length`: the one to find; the others then have the rules' usual
        sizes where they are left open.
    checks : float or None
        As `checks_of` takes it. [m]
    """

    length: float | None = None
    depth: float | None = None
    width: float | None = None
    side_slope: float | None = None
    shape: str = "trapezoid"
    solve: str | None = None
    checks: float | None = None


    @property
    def contradiction(self) -> str | None:
        """Why no swale can be all of this at once; None where one can."""
        if self.shape == "vee" and (self.width is not None or self.solve == "width"):
            return "a vee has no bed, so it takes no width"
        if self.shape == "parabola" and None not in (self.width, self.side_slope):
            return ("the sides of a parabola follow from its depth and width, so it takes no side "
                    "slope beside a width")
        if self.solve is not None and getattr(self, self.solve) is not None:
            return f"its {self.solve} is both given and to be solved for"
        return None


@dataclass(frozen=True)
class Size:
    """The stretch of a contour to dig, from its start [m], its section, and what decided them."""

    start: float
    end: float
    section: Section
    notes: tuple[str, ...] = ()


def size_swale(terrain: Terrain, route: SwaleLine, along: float, rules: Rulebook,
               runoff: NDArray[np.float64] | None, wanted: Wanted) -> Size:
    """Size a swale for the runoff of its catchment in a storm.

    Parameters
    ----------
    route, along : SwaleLine, float
        A contour line and where on it the wanted point lies. [m]
    runoff : float64, shape (rows, columns), optional
        Runoff of each cell in the storm to hold; None if there is none to size for. [m3]

    Raises
    ------
    ValueError
        If what is asked for makes no section, or its checks would fill it.

    Notes
    -----
    A depth left open becomes what holds the storm, in steps of 5 cm between the rules'
    shallowest and deepest.  A length left open is the rules' usual one, or the first longer one
    that holds the storm; where none does the usual one stays, and the rest spills.  A width is
    sought only where `solve` says so, in steps of 10 cm between the rules' narrowest and widest
    bed (for a parabola, of the water above such a bed).
    """
    usual = wanted.length or rules["swale length"]
    start, end = window(route.length, along, usual)

    def made(depth: float, width: float | None) -> Section:
        return section_of(wanted.shape, depth, width, wanted.side_slope
                          or rules["swale side slope"], rules["swale width"])

    first = made(wanted.depth or rules["swale depth"], wanted.width)
    if runoff is None:
        return Size(start, end, first)
    brings, at = _arrivals(terrain, route, runoff)

    def coming(first: float, last: float) -> float:
        return float(brings[(at >= first) & (at <= last)].sum())

    def holds(section: Section, length: float) -> float:
        checks, _ = checks_of(_as_long(route, length), section, rules, wanted.checks)
        return swale_curve(route.level, section, length, checks, 1).capacity

    want, notes = coming(start, end), []
    depth, width = wanted.depth, wanted.width
    if depth is None and wanted.solve in (None, "depth"):
        steps = _steps(rules["swale shallowest"], rules["swale deepest"], STEPS["depth"])
        depth, said = _least(steps, lambda d: holds(made(d, width), end - start), want, "Depth",
                             ("swale shallowest", "swale deepest"), rules)
        notes.append(said)
    depth = depth or rules["swale depth"]
    if wanted.solve == "width":
        spread = 2 * first.side_slope * depth if wanted.shape == "parabola" else 0.0
        steps = _steps(rules["swale narrowest"] + spread, rules["swale widest"] + spread,
                       STEPS["width"])
        width, said = _least(steps, lambda w: holds(made(depth, w), end - start), want,
                             "Width", ("swale narrowest", "swale widest"), rules)
        notes.append(said)
    section = made(depth, width)
    if wanted.length is None and wanted.solve in (None, "length"):
        for longer in np.arange(usual, route.length, STEPS["length"]):
            here = window(route.length, along, float(longer))
            if holds(section, here[1] - here[0]) >= coming(*here):
                start, end = here
                break
        notes += _of_length(start, end, usual, coming(start, end),
                            holds(section, end - start), rules)
    return Size(start, end, section, tuple(notes))


def _as_long(route: SwaleLine, length: float) -> SwaleLine:
    """A line of a length and with a route's deviation, which is all that checks go by."""
    return SwaleLine(np.array([[0.0, 0.0], [length, 0.0]]), route.level, route.deviation,
                     route.cross_slope, route.steepest)


def _steps(least: float, most: float, step: float) -> list[float]:
    between = np.arange(np.floor(least / step + 1e-9) + 1, np.ceil(most / step - 1e-9)) * step
    return [least, *(float(round(v, 9)) for v in between), most]


def _least(steps: list[float], holds: Callable[[float], float], want: float, what: str,
           bounds: tuple[str, str], rules: Rulebook) -> tuple[float, str]:
    """The first of some sizes that holds what comes, the last if none does; and why."""
    found = next((size for size in steps if holds(size) >= want - 1e-9), steps[-1])
    held, comes = in_both(holds(found), "volume"), in_both(want, "volume")
    size = in_both(found, "size")
    if holds(found) < want - 1e-9:
        return found, (f"{what} {size}, the most that is dug ({bounds[1]}, "
                       f"{rules.source(bounds[1])}): it holds {held} of the {comes} {COUNTED}.")
    if found == steps[0]:
        return found, (f"{what} {size}, the least that is dug ({bounds[0]}, "
                       f"{rules.source(bounds[0])}): it holds {held}, more than the {comes} "
                       f"{COUNTED}.")
    return found, (f"{what} {size}, the first step that holds the {comes} {COUNTED}: it "
                   f"holds {held}.")


def _of_length(start: float, end: float, usual: float, comes: float, held: float,
               rules: Rulebook) -> list[str]:
    length = in_both(end - start, "length")
    if end - start > usual + 1e-9:
        return [f"Length {length}, the first beyond the usual {in_both(usual, 'length')} (swale "
                f"length, {rules.source('swale length')}) that holds the "
                f"{in_both(comes, 'volume')} {COUNTED}."]
    less = "" if held >= comes - 1e-9 else (
        f"; no longer stretch holds all, and it holds {in_both(held, 'volume')} of the "
        f"{in_both(comes, 'volume')} {COUNTED}")
    why = ("the usual one" if end - start > usual - 0.5 else
           "all of the contour there that is fit, short of the usual")
    return [f"Length {length}, {why} (swale length, {rules.source('swale length')}){less}."]


def _arrivals(terrain: Terrain, route: SwaleLine, runoff: NDArray[np.float64]
              ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Runoff that first meets each cell of a line, and how far along the line it lies."""
    cells = line_cells(terrain.dem, route.line)
    marks = np.zeros(terrain.dem.shape, np.int32)
    marks[cells[:, 0], cells[:, 1]] = np.arange(1, len(cells) + 1)
    brings = first_met(terrain.labels(marks), runoff, len(cells))
    return brings, along_of(terrain.dem, route.line, cells)
