"""A click or a drag on the map as an entry of the site file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs import site_works as asked
from terrain.inputs.dem import Dem
from terrain.plan.siting.reading import Inputs
from terrain.units import in_both, metres_in
from terrain.works.wall import sill_below

FloatArray = NDArray[np.float64]

#: Places are stated to this many decimals: of metres or feet, and of degrees.
DECIMALS, DEGREE_DECIMALS = 2, 8
#: A swale is this long when it is first laid out, or as long as the contour is fit: in metres, and
#: in feet where the site file counts in them.
SWALE_LENGTHS = ((40.0, 24.0, 14.0, 8.0), (130.0, 80.0, 45.0, 25.0))
#: Water so deep stands against a wall when it is first laid out, or less where the valley does not
#: close. [m]
WALL_WATER = (0.6, 0.4, 0.25)
#: A click near a watercourse means the watercourse. [m]
NEAR_WATER = 4.0
#: No wall reaches further to either side of a click; its ground is read every so far. [m]
WALL_REACH, STEP = 40.0, 0.25
#: A wall's ends stand in ground so much higher than its crest. [m]
TIED_IN = 0.05
#: Directions in which a wall is tried across a valley.
DIRECTIONS = 36
#: A basin is first dug so long along the contour, so wide across it, and so deep. [m], [ft]
DUG = ((10.0, 6.0, 0.8), (32.0, 20.0, 2.5))
#: So many points make its rim.
RIM = 8
#: A tree's crown when it is first set. [m], [ft]
CROWN = ((3.0,), (10.0,))
#: A crest is first set to so much. [m], [ft]
CREST = ((0.01,), (0.1,))
#: A tank's volume when it is first set: 10 m3, 2,500 gal. [m3]
TANK = (10.0, 2500 * 0.003785411784)


class Sketch:
    """Makes entries of a site file from places on its map.

    Parameters
    ----------
    inputs : Inputs
        Of the site; its works do not count.
    """

    def __init__(self, inputs: Inputs) -> None:
        self.inputs = inputs

    @property
    def dem(self) -> Dem:
        """Its ground."""
        return self.inputs.dem

    def _sizes(self, given: tuple[tuple[float, ...], tuple[float, ...]]) -> list[float]:
        """Sizes that are round in the units of the site file. [m]"""
        if self.inputs.site.units != "us":
            return list(given[0])
        with self.inputs.told():
            return [size * metres_in("ft") for size in given[1]]

    def _crest(self, level: float) -> float:
        step, = self._sizes(CREST)
        return round(level / step) * step

    def stated(self, x: float, y: float) -> tuple[float, float]:
        """A point of the working frame as the site file states it."""
        frame = self.dem.frame
        if self.inputs.site.points == "lonlat":
            moved, decimals = frame.to_lonlat(x, y), DEGREE_DECIMALS
            assert moved is not None  # such a site file was refused without a CRS
        else:
            moved = frame.to_source(x, y)
            degrees = frame.source is not None and frame.source.is_geographic
            decimals = DEGREE_DECIMALS if degrees else DECIMALS
        return round(float(moved[0]), decimals), round(float(moved[1]), decimals)

    def working(self, point: tuple[float, float]) -> tuple[float, float]:
        """A point of the site file in the working frame. [m]"""
        frame = self.dem.frame
        move = frame.from_lonlat if self.inputs.site.points == "lonlat" else frame.to_working
        x, y = (float(v) for v in move(*point))
        return x, y

    def ground(self, x: float, y: float) -> float:
        """Height of the ground. [m]

        Raises
        ------
        InputError
            Where it is not known.
        """
        self.dem.cell_of(x, y, "the map")
        return float(self.dem.height_at(x, y))

    def swales(self, name: str, x: float, y: float) -> list[asked.Swale]:
        """Swales on the contour through a place, the longest first, for the first that is fit."""
        self.ground(x, y)
        return [asked.Swale(name=name, kind="swale", through=self.stated(x, y), length=length)
                for length in self._sizes(SWALE_LENGTHS)]

    def wall(self, name: str, x: float, y: float) -> asked.Basin:
        """A basin behind the shortest wall across the valley at a place.

        Raises
        ------
        InputError
            If the ground does not rise on both sides.
        """
        x, y = self._watercourse(x, y)
        low = self.ground(x, y)
        for water in WALL_WATER:
            crest = self._crest(low + water - sill_below(0.0, self.inputs.rules))
            ends = self._across(x, y, crest)
            if ends is not None:
                return asked.Basin(name=name, kind="basin", crest=crest,
                                   wall=[self.stated(*end) for end in ends])
        raise InputError("the map", "the ground does not rise on both sides of "
                         f"{self.dem.named(x, y)} within {in_both(WALL_REACH, 'length', 0)}",
                         "Click in the bed of a gully")

    def wall_between(self, name: str, points: Sequence[tuple[float, float]]) -> asked.Basin:
        """A basin behind a wall drawn from end to end; it holds as much water as its lower end
        allows, no deeper than walls are first laid out."""
        ground = [self.ground(*point) for point in points]
        line = self._along(points[0], points[-1])
        low = float(np.nanmin(line))
        crest = self._crest(min(low + WALL_WATER[0] - sill_below(0.0, self.inputs.rules),
                                ground[0], ground[-1]))
        return asked.Basin(name=name, kind="basin", crest=crest,
                           wall=[self.stated(*point) for point in points])

    def with_crest(self, wall: asked.Basin, crest: float) -> asked.Basin:
        """The same wall with another crest; one of two points is made longer or shorter so that
        its ends stand in ground of that height. [m]"""
        assert wall.wall is not None  # asked for walls alone
        assert wall.crest is not None
        update: dict[str, Any] = {"crest": crest}
        if wall.sill is not None:
            update["sill"] = wall.sill + crest - wall.crest
        if len(wall.wall) == 2:
            first, last = (self.working(point) for point in wall.wall)
            middle = self._lowest(first, last)
            span = self._span(middle, _unit(first, last), crest)
            if span is not None:
                update["wall"] = [self.stated(*end) for end in span]
        return wall.model_copy(update=update)

    def dug(self, name: str, x: float, y: float) -> asked.Basin:
        """A basin dug about a place, twice as long along the contour as across it."""
        self.ground(x, y)
        long, wide, depth = self._sizes(DUG)
        out = self._contour_at(x, y)
        across = np.array([-out[1], out[0]])
        turns = np.arange(RIM) * 2 * np.pi / RIM + np.pi / RIM
        rim = (np.array([x, y]) + np.cos(turns)[:, None] * out * long / 2
               + np.sin(turns)[:, None] * across * wide / 2)
        return asked.Basin(name=name, kind="basin", dug=[self.stated(*p) for p in rim.tolist()],
                           depth=depth)

    def trees(self, name: str, points: Sequence[tuple[float, float]]) -> asked.TreeBasin:
        """Bowls for a tree each."""
        for point in points:
            self.ground(*point)
        return asked.TreeBasin.model_validate({
            "name": name, "kind": "tree basin", "crown": self._sizes(CROWN)[0],
            "at": [list(self.stated(*point)) for point in points]})

    def one_more_tree(self, row: asked.TreeBasin, x: float, y: float) -> asked.TreeBasin:
        """The same bowls and one more."""
        self.ground(x, y)
        return row.model_copy(update={"at": [*(row.at or []), self.stated(x, y)]})

    def drain(self, name: str, start: tuple[float, float], to: str | tuple[float, float]
              ) -> asked.Drain:
        """A drain from a place to a work, or to another place."""
        self.ground(*start)
        goal = to if isinstance(to, str) else self.stated(*to)
        return asked.Drain.model_validate({"name": name, "kind": "drain",
                                           "from": list(self.stated(*start)),
                                           "to": goal if isinstance(goal, str) else list(goal)})

    def tank(self, name: str, x: float, y: float, roofs: Sequence[str]) -> asked.Tank:
        """A tank, fed by roofs."""
        self.ground(x, y)
        return asked.Tank(name=name, kind="tank", at=self.stated(x, y), roofs=list(roofs),
                          volume=TANK[self.inputs.site.units == "us"])

    def piped(self, work: Any, start: tuple[float, float], points: Sequence[tuple[float, float]],
              to: str | None) -> Any:
        """A work with its overflow led in a pipe through places, and into another work."""
        for point in points:
            self.ground(*point)
        return work.model_copy(update={
            "pipe": [self.stated(*start), *(self.stated(*point) for point in points)],
            "spills_to": to})

    def _watercourse(self, x: float, y: float) -> tuple[float, float]:
        """Where most water passes near a place."""
        area = self.inputs.terrain.contributing_area
        row, column = self.dem.cell_of(x, y, "the map")
        reach = max(round(NEAR_WATER / self.dem.cell), 1)
        top, left = max(row - reach, 0), max(column - reach, 0)
        here = np.nan_to_num(area[top:row + reach + 1, left:column + reach + 1])
        r, c = np.unravel_index(int(np.argmax(here)), here.shape)
        found_x, found_y = self.dem.xy(top + int(r), left + int(c))
        return float(found_x), float(found_y)

    def _across(self, x: float, y: float, crest: float
                ) -> tuple[tuple[float, float], tuple[float, float]] | None:
        turns = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
        spans = [self._span((x, y), np.array([np.cos(t), np.sin(t)]), crest) for t in turns]
        found = [span for span in spans if span is not None]
        return min(found, key=lambda span: float(np.hypot(*np.subtract(*span))), default=None)

    def _span(self, middle: tuple[float, float], way: FloatArray, crest: float
              ) -> tuple[tuple[float, float], tuple[float, float]] | None:
        """The nearest places on both sides along a line whose ground stands over a crest."""
        along = np.arange(0.0, WALL_REACH + STEP, STEP)
        ends = []
        for sign in (-1.0, 1.0):
            spots = np.array(middle) + sign * along[:, None] * way
            over = self.dem.height_at(*spots.T) - (crest + TIED_IN)
            high = int(np.argmax(over >= 0)) if (over >= 0).any() else 0
            if not high or np.isnan(over[:high]).any():
                return None
            at = float(np.interp(0.0, over[high - 1:high + 1], along[high - 1:high + 1]))
            ends.append((middle[0] + sign * at * float(way[0]),
                         middle[1] + sign * at * float(way[1])))
        return ends[0], ends[1]

    def _along(self, first: tuple[float, float], last: tuple[float, float]) -> FloatArray:
        """Ground from one place to another. [m]"""
        share = np.linspace(0.0, 1.0, 101)
        return self.dem.height_at(first[0] + share * (last[0] - first[0]),
                                  first[1] + share * (last[1] - first[1]))

    def _lowest(self, first: tuple[float, float], last: tuple[float, float]
                ) -> tuple[float, float]:
        share = float(np.nanargmin(self._along(first, last))) / 100
        return (first[0] + share * (last[0] - first[0]), first[1] + share * (last[1] - first[1]))

    def _contour_at(self, x: float, y: float) -> FloatArray:
        """Unit vector along the contour; west to east where the ground is level."""
        apart = 2 * max(self.dem.cell, 1.0)
        spots = self.dem.height_at([x + apart, x - apart, x, x], [y, y, y + apart, y - apart])
        uphill = np.array([spots[0] - spots[1], spots[2] - spots[3]])
        size = float(np.hypot(*uphill))
        return np.array([1.0, 0.0]) if not size > 0 else np.array([uphill[1], -uphill[0]]) / size


def _unit(first: tuple[float, float], last: tuple[float, float]) -> FloatArray:
    way = np.subtract(last, first)
    return np.asarray(way / np.hypot(*way))
