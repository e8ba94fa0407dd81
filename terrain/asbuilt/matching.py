"""Which line of which work each surveyed point belongs to."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from shapely import Point

from terrain.asbuilt.designed_lines import NO_LEVEL, DesignedLine
from terrain.asbuilt.misplaced import remedy_of_place
from terrain.errors import InputError
from terrain.inputs.asbuilt_points import SurveyedPoint, SurveyFile
from terrain.plan.planned import Plan
from terrain.units import in_both

#: A point that names no work belongs to a line no further away than this. [m]
UNNAMED = 1.5
#: It belongs to none of two whose distances differ by less than this. [m]
EITHER = 0.3
#: What else people call the marks.
CALLED = {"lip": ("line", "end"), "crest": ("berm", "wall", "bund"), "bottom": ("bed", "floor"),
          "spillway": ("sill",), "top": ("berm", "wall", "bund"), "invert": ("bed",)}

#: Where a line has nothing to be made.
LEFT_OUT = {"berm": "there the berm is left out for the sill",
            "wall": "there the crest runs into natural ground",
            "cut-off": "there the crest runs into natural ground"}


class Stake(Protocol):
    """A stake of the setting-out table, as far as a survey asks for it."""

    @property
    def work(self) -> str:
        """Whose it is."""

    @property
    def mark(self) -> str:
        """What it marks."""

    @property
    def x(self) -> float:
        """East. [m]"""

    @property
    def y(self) -> float:
        """North. [m]"""


@dataclass(frozen=True)
class Measured:
    """A surveyed point on its line.

    Attributes
    ----------
    point : SurveyedPoint
    x, y : float
        [m]
    station, off : float
        Along the line, and from it. [m]
    designed, surveyed : float
        Level to be made there, and level found. [m]
    """

    point: SurveyedPoint
    x: float
    y: float
    station: float
    off: float
    designed: float
    surveyed: float

    @property
    def difference(self) -> float:
        """How far it lies too high; too low below 0. [m]"""
        return self.surveyed - self.designed


@dataclass(frozen=True)
class Matched:
    """The points of every line that was surveyed.

    Attributes
    ----------
    lines : tuple of (DesignedLine, tuple of Measured)
        Points in order along their line.
    notes : tuple of str
    """

    lines: tuple[tuple[DesignedLine, tuple[Measured, ...]], ...]
    notes: tuple[str, ...]


def matched(plan: Plan, lines: Sequence[DesignedLine], survey: SurveyFile,
            levels: Sequence[float], stakes: Sequence[Stake]) -> Matched:
    """Give each surveyed point its line.

    Parameters
    ----------
    levels : sequence of float
        Of each point. [m]
    stakes : sequence of Stake
        Of the setting-out table, number 1 first.

    Raises
    ------
    InputError
        Where a point's work, mark, stake or place is not known, it lies too far off, or it may
        belong to two lines.
    """
    book = _Book(plan, lines, stakes)
    found: dict[int, list[Measured]] = {}
    for point, level in zip(survey.points, levels, strict=True):
        taken = book.place(point, level)
        if taken is not None:
            found.setdefault(taken[0], []).append(taken[1])
    return Matched(tuple((lines[i], tuple(sorted(
        found[i], key=lambda m: (m.station, m.surveyed, m.x, m.y)))) for i in sorted(found)),
        tuple(book.notes()))


class _Book:
    def __init__(self, plan: Plan, lines: Sequence[DesignedLine], stakes: Sequence[Stake]) -> None:
        self.plan, self.lines, self.stakes = plan, lines, stakes
        self.frame, self.dem = plan.inputs.dem.frame, plan.inputs.dem
        self.far = plan.inputs.rules["surveyed off its line"]
        self.shapes = [line.counted for line in lines]
        self.names = {store.store.name for store in plan.stores}
        self.left: dict[str, int] = {}

    def notes(self) -> list[str]:
        """What was left out, and why."""
        return [f"{count} point{' was' if count == 1 else 's were'} left out: {why}."
                for why, count in self.left.items()]

    def leave(self, why: str) -> None:
        self.left[why] = self.left.get(why, 0) + 1

    def place(self, point: SurveyedPoint, level: float) -> tuple[int, Measured] | None:
        """The line a point belongs to, and the point on it; None where it is left out."""
        work, mark, at = point.work, point.mark.lower(), None
        if point.stake is not None:
            if not 1 <= point.stake <= len(self.stakes):
                raise InputError(point.place, f"there is no stake {point.stake}: setting_out.csv "
                                 f"of this plan ends at {len(self.stakes)}",
                                 "Take the number from the setting-out table of the plan as it is")
            stake = self.stakes[point.stake - 1]
            if (work and work != stake.work) or (mark and mark != stake.mark):
                raise InputError(point.place, f"stake {point.stake} is {stake.work}, {stake.mark} "
                                 f"and not {work or stake.work}, {mark or stake.mark}",
                                 "Correct the row, or plan again so that the table is the plan's")
            work, mark, at = stake.work, stake.mark, (stake.x, stake.y)
        if point.at is not None:
            way = self.frame.from_lonlat if point.lonlat else self.frame.to_working
            x, y = way(point.at[0], point.at[1])
            if at is not None and not np.hypot(at[0] - x, at[1] - y) <= self.far:
                apart = float(np.hypot(at[0] - x, at[1] - y))
                raise InputError(point.place, f"stake {point.stake} of the plan as it is stands "
                                 f"{in_both(apart, 'length')} from where the row has it",
                                 "Use the setting-out table of this very plan, or leave the "
                                 "stake's number out")
            at = float(x), float(y)
        chosen = self._named(point, work, mark)
        if not chosen:
            self.leave(NO_LEVEL[mark])
            return None
        if at is None:
            return self._by_station(point, chosen, level)
        return self._nearest(point, chosen, at, level, bool(work), bool(mark))

    def _named(self, point: SurveyedPoint, work: str, mark: str) -> list[int]:
        """Lines that a row's words allow; none where its mark holds no level."""
        if work and work not in self.names:
            near = difflib.get_close_matches(work, self.names, 1, 0.0)
            raise InputError(f"{point.place}, column work", f"the plan has no work '{work}'",
                             f"The nearest is '{near[0]}'" if near else "Take it from the plan")
        of_work = [i for i, line in enumerate(self.lines) if not work or line.work == work]
        if work and not of_work:
            raise InputError(f"{point.place}, column work", f"'{work}' has nothing to survey: "
                             "nothing is dug or heaped for it", "Take the row out")
        if not mark:
            return of_work
        wanted = CALLED.get(mark, (mark,))
        found = [i for i in of_work if set(wanted) & set(self.lines[i].marks)]
        if {"line", "end"} & set(wanted):  # a swale's sill lies on its lip's line
            found += [i for i in of_work if self.lines[i].name == "sill" and any(
                self.lines[j].name == "lip" and self.lines[j].store == self.lines[i].store
                for j in of_work)]
        if found or mark in NO_LEVEL:
            return found
        known = sorted({m for i in of_work for m in self.lines[i].marks})
        raise InputError(f"{point.place}, column mark", f"{work or 'no work'} has "
                         f"{'no' if work else 'a'} mark '{mark}'",
                         f"Use one of {', '.join(known)}")

    def _by_station(self, point: SurveyedPoint, chosen: list[int], level: float
                    ) -> tuple[int, Measured] | None:
        if point.station is None:
            raise InputError(point.place, "nothing says where it was surveyed",
                             "Give easting and northing, lon and lat, the stake's number, or a "
                             "station with work and mark")
        if len({self.lines[i].work for i in chosen}) > 1 or not point.mark:
            raise InputError(point.place, "a station without work and mark names no place",
                             "Fill in work and mark")
        station = point.station
        on = [i for i in chosen if self.lines[i].counts(station)] or chosen
        line = self.lines[on[0]]
        if not -0.05 <= station <= line.shape.length + 0.05:
            raise InputError(point.place, f"station {in_both(station, 'length')} lies beyond the "
                             f"end of the {line.name}, {in_both(line.shape.length, 'length')} long",
                             "Correct it")
        at = line.shape.interpolate(station)
        if self._left_out(line, station):
            return None
        return on[0], Measured(point, at.x, at.y, station, 0.0, float(line.level_at(station)),
                               level)

    def _nearest(self, point: SurveyedPoint, chosen: list[int], at: tuple[float, float],
                 level: float, has_work: bool, has_mark: bool) -> tuple[int, Measured] | None:
        spot = Point(*at)
        named = has_work and has_mark
        away = {i: float((self.lines[i].shape if named and self.lines[i].area is None else
                          self.shapes[i]).distance(spot)) for i in chosen}
        counted = {i: float(self.shapes[i].distance(spot)) for i in chosen}
        # To the centimetre: a sill's end is on the lip's line too, and the sill is the stricter.
        ranked = sorted(chosen, key=lambda i: (round(away[i], 2), round(counted[i], 2),
                                               self.lines[i].role != "sill"))
        best = ranked[0]
        line, limit = self.lines[best], self.far if named else UNNAMED
        if not away[best] <= limit:
            raise InputError(point.place, f"it lies {in_both(away[best], 'length')} from the "
                             f"nearest line of {line.work if has_work else 'any work'}"
                             f"{' with that mark' if has_mark else ''}, and "
                             f"{in_both(limit, 'length')} is the most",
                             remedy_of_place(point, self.frame, lambda place: min(
                                 float(self.shapes[i].distance(Point(*place))) for i in chosen)))
        if not named:
            rivals = [i for i in ranked[1:] if away[i] < away[best] + EITHER and not (
                self.lines[i].store == line.store
                and {self.lines[i].name, line.name} in ({"sill", "lip"}, {"bed", "check"},
                                                        {"rim", "sill"}, {"wall", "cut-off"}))]
            if rivals:
                other = self.lines[rivals[0]]
                raise InputError(point.place, f"it may be of {line.work}, {line.name} or of "
                                 f"{other.work}, {other.name}", "Fill in work and mark")
            if line.name == "check":  # the bed's line carries on past a check
                bed = [i for i in ranked if self.lines[i].name == "bed"
                       and self.lines[i].store == line.store]
                best = bed[0] if bed else best
                line = self.lines[best]
            if line.name == "cut-off":
                wall = [i for i in ranked if self.lines[i].name == "wall"
                        and self.lines[i].store == line.store]
                best = wall[0] if wall else best
                line = self.lines[best]
        station = float(line.shape.project(spot))
        if self._left_out(line, station):
            return None
        return best, Measured(point, spot.x, spot.y, station, away[best],
                              float(line.level_at(station)), level)

    def _left_out(self, line: DesignedLine, station: float) -> bool:
        """Whether a station lies where its line has nothing to be made."""
        why = LEFT_OUT.get(line.name)
        if line.area is not None or why is None or line.counts(station):
            return False
        self.leave(why)
        return True
