"""The line of a drain: from where it begins to the store or point that it leads to."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point

from terrain.errors import InputError
from terrain.inputs import site_works as asked
from terrain.runoff.ground import Ground
from terrain.surface.graded_walk import (
    ARRIVED,
    EDGE,
    TOO_HIGH,
    TOO_LONG,
    TOO_LOW,
    Walk,
    graded_walk,
)
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works.drain import DrainLine, describe
from terrain.works.rules import Rulebook

if TYPE_CHECKING:
    from terrain.plan.siting.layout import Placed

#: A line that passes a point no further off than this has come to it. [m]
CLOSE = 2.0
#: Shares of the rules' usual range of grades that are tried for a grade left open.
TRIED = np.linspace(0.0, 1.0, 7)
#: So many steeper ones are tried after them.
STEEPER = 16


class _Goal:
    """What a drain is to come to, and what it must not run into."""

    def __init__(self, name: str, point: tuple[float, float] | None, shape: Any, level: float,
                 terrain: Terrain, ground: Ground, placed: list[Placed], target: int | None,
                 longest: float) -> None:
        """`shape` is what to come to, and `level` that at which it takes water. [m]"""
        from scipy import ndimage

        self.name, self.point, self.shape, self.level = name, point, shape, level
        self.longest = longest
        self.met = {EDGE: "comes to the edge of the known ground",
                    TOO_HIGH: "comes to ground that does not fall so fast",
                    TOO_LOW: "comes to where all ground lies lower",
                    TOO_LONG: f"is {in_both(longest, 'length', 0)} long, the longest allowed"}
        self.codes = np.zeros(terrain.dem.shape, np.int32)
        self._forbid(ndimage.binary_dilation(~ground.inside, np.ones((3, 3))),
                     "leaves the property")
        for roof in ground.roofs:
            # One cell clear of the wall, which may cut through cells.
            self._forbid(ndimage.binary_dilation(roof.cells, np.ones((3, 3))),
                         f"meets the building \"{roof.name}\"")
        for index, place in enumerate(placed):
            if index != target and len(place.cells):
                cells = np.zeros(terrain.dem.shape, bool)
                cells[place.cells[:, 0], place.cells[:, 1]] = True
                self._forbid(cells, f"runs into \"{place.name}\"")
        if target is not None:
            cells = placed[target].cells
            self.codes[cells[:, 0], cells[:, 1]] = ARRIVED

    def _forbid(self, cells: NDArray[np.bool_], why: str) -> None:
        code = len(self.met) + 2
        self.met[code] = why
        self.codes[cells] = code

    def nearest(self, way: Walk) -> float:
        """How near a way comes. [m]"""
        return float(shapely.distance(shapely.points(way.line), self.shape).min())


def lead_drain(work: asked.Drain, where: str, start: tuple[float, float],
               goal: tuple[float, float] | None, terrain: Terrain, soft: Any, ground: Ground,
               rules: Rulebook, placed: list[Placed]) -> DrainLine:
    """Find the line of a drain on the ground.

    Parameters
    ----------
    start, goal : (float, float)
        In the working frame; the goal is None where `work.to` names a work. [m]
    soft : Dem
        The ground as lines are traced on it.
    placed : list of Placed
        All works that stand already.

    Notes
    -----
    A grade left open is the rules' usual one if the line then arrives, else the one nearest to it
    in their usual range that does, else the first steeper one. Of the two ways round, higher
    ground on the left or on the right, the shorter counts.

    Raises
    ------
    InputError
        If it would have to climb, is too flat or too steep, or cannot come to its goal.
    """
    if not ground.boundary.covers(Point(start)):
        raise InputError(f"{where}, from", "the point lies outside the boundary",
                         "Move it onto the property")
    start_level = float(soft.height_at(*start))
    aim = _goal(work, where, goal, terrain, soft, ground, placed, rules["drain longest"])
    if aim.level > start_level + (rules["level tolerance"] if goal is None else 0.0):
        what = (f"\"{aim.name}\" takes water at" if goal is None else "that point stands at")
        raise InputError(f"{where}, to", f"{what} {in_both(aim.level, 'level')}, above the "
                         f"{in_both(start_level, 'level')} where the drain begins",
                         "A drain cannot climb: begin it higher, or lead it to lower ground")
    row, column = terrain.dem.cell_of(*start, f"{where}, from")
    if aim.codes[row, column] == ARRIVED or (goal is not None and Point(start).distance(aim.shape)
                                             <= CLOSE):
        raise InputError(f"{where}, from", f"it begins in {_called(aim)} already" if aim.name else
                         "it begins at the point that it leads to",
                         "Begin it further off, or leave it out")
    if work.grade is not None and work.grade > rules["drain steepest"]:
        raise InputError(f"{where}, grade", f"{work.grade:.1%} is steeper than the "
                         f"{rules['drain steepest']:.0%} at which a drain becomes a chute (drain "
                         f"steepest, {rules.source('drain steepest')})",
                         "Use 0.2 to 0.5 %, or a pipe")

    def ways(grade: float) -> list[Walk]:
        return [graded_walk(soft, aim.codes, start, grade, side, aim.longest, aim.point)
                for side in (1, -1)]

    if work.grade is not None:
        grade: float | None = work.grade
        tried = ways(work.grade)
        if not any(_arrives(way, aim) for way in tried):
            grade = None
    else:
        grade, tried = _open_grade(ways, aim, rules)
    if grade is None:
        raise _lost(work, where, aim, tried, ways, rules, terrain)
    way = min((way for way in tried if _arrives(way, aim)), key=lambda way: way.length)
    line = way.line
    if goal is not None and way.ended != ARRIVED:
        line = _cut_at(line, goal)
    simple = np.asarray(LineString(line).simplify(min(terrain.dem.cell / 8, 0.05)).coords)
    return describe(terrain.dem, simple, start_level, grade, aim.name)


def _goal(work: asked.Drain, where: str, goal: tuple[float, float] | None, terrain: Terrain,
          soft: Any, ground: Ground, placed: list[Placed], longest: float) -> _Goal:
    if goal is not None:
        if not ground.boundary.covers(Point(goal)):
            raise InputError(f"{where}, to", "the point lies outside the boundary",
                             "Lead the water to a place on the property")
        return _Goal("", goal, Point(goal), float(soft.height_at(*goal)), terrain, ground, placed,
                     None, longest)
    here = [i for i, place in enumerate(placed)
            if work.to in (place.work.name, place.name)]
    if not here:
        there = ", ".join(f'"{place.work.name}"' for place in placed) or "none"
        raise InputError(f"{where}, to", f"there is no work \"{work.to}\" (there are: {there})",
                         "Name one of them, or give a point")
    place = placed[here[0]]  # of a group of tree basins the first takes the water
    if place.kind == "tank":
        raise InputError(f"{where}, to", f"\"{place.name}\" is a tank, and runoff of the ground is "
                         "not fit for one", "Lead it to a work on the ground")
    return _Goal(place.name, None, place.outline, place.sill_level, terrain, ground, placed,
                 here[0], longest)


def _arrives(way: Walk, aim: _Goal) -> bool:
    return way.ended == ARRIVED or (aim.point is not None and aim.nearest(way) <= CLOSE)


def _open_grade(ways: Callable[[float], list[Walk]], aim: _Goal, rules: Rulebook
                ) -> tuple[float | None, list[Walk]]:
    """A grade at which one of the ways arrives, and both ways; None, and those of the usual grade,
    where none does."""
    from scipy.optimize import minimize_scalar

    usual, low, high, most = (rules[f"drain {name}"]
                              for name in ("grade", "flattest", "steep", "steepest"))
    usually = sorted((low + share * (high - low) for share in TRIED),
                     key=lambda grade: abs(grade - usual))
    steeper = np.geomspace(max(high, usual), most, STEEPER)[1:] if most > max(high, usual) else ()
    done: dict[float, list[Walk]] = {}

    def gap(grade: float) -> float:
        done[grade] = ways(grade)
        return min(aim.nearest(way) for way in done[grade])

    def arrived(grade: float) -> bool:
        return any(_arrives(way, aim) for way in done[grade])

    grades = [usual, *usually, *(float(grade) for grade in steeper)]
    gaps = []
    for grade in grades:
        gaps.append(gap(grade))
        if arrived(grade):
            return grade, done[grade]
    # Between the grades tried one may still arrive: about the one that came nearest.
    ordered = sorted(set(grades))
    at = ordered.index(grades[int(np.argmin(gaps))])
    bounds = ordered[max(at - 1, 0)], ordered[min(at + 1, len(ordered) - 1)]
    if bounds[0] < bounds[1]:
        minimize_scalar(gap, bounds=bounds, method="bounded",
                        options={"xatol": 1e-5, "maxiter": 16})
    found = sorted((grade for grade in done if arrived(grade)), key=lambda g: abs(g - usual))
    return (found[0], done[found[0]]) if found else (None, done[usual])


def _lost(work: asked.Drain, where: str, aim: _Goal, tried: list[Walk],
          ways: Callable[[float], list[Walk]], rules: Rulebook, terrain: Terrain) -> InputError:
    """That neither way round arrives, where each ends, and what might help."""
    said = []
    for way, side in zip(tried, ("left", "right"), strict=True):
        gap = aim.nearest(way)
        x, y = (float(v) for v in way.line[-1])
        said.append(f"with higher ground on its {side} it {aim.met[way.ended]} at "
                    f"{terrain.dem.named(x, y)}, after {in_both(way.length, 'length', 0)}, and "
                    f"comes no nearer than {in_both(gap, 'length', 0)}")
    helps = "Move where it begins, or lead it to something nearer"
    if work.grade is not None:
        other, _ = _open_grade(ways, aim, rules)
        if other is not None:
            helps = f"A grade of {other:.2%} arrives; or move where it begins"
    grade = rules["drain grade"] if work.grade is None else work.grade
    return InputError(f"{where}, to", f"a drain that falls by {grade:.2%} does not come to "
                      f"{_called(aim)}: {'; '.join(said)}", helps)


def _called(aim: _Goal) -> str:
    return f"\"{aim.name}\"" if aim.name else "that point"


def _cut_at(line: NDArray[np.float64], goal: tuple[float, float]) -> NDArray[np.float64]:
    """The line up to where it is nearest to a point."""
    from shapely.ops import substring

    shape = LineString(line)
    return np.asarray(substring(shape, 0.0, shape.project(Point(goal))).coords)
