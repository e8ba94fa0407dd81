"""Where walls could stand: valleys and outlets of hollows, square to the way the water takes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, box, convex_hull, distance, multipoints, points, union_all

from terrain.inputs.dem import Dem
from terrain.inputs.layers import rasterized
from terrain.inputs.site_works import Basin
from terrain.plan.earth.cost import loose_per_bank
from terrain.suggest.candidate import Candidate
from terrain.suggest.look import Look
from terrain.surface.kernels import kernel
from terrain.surface.neighbours import COLUMN_STEP, ROW_STEP
from terrain.units import in_both
from terrain.works.pool import DRY, FINE_CELL
from terrain.works.rules import Rulebook
from terrain.works.wall import sill_below
from terrain.works.wall_profile import WallProfile, wall_profile

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

#: Ways of the water are walked from so much ground on; common practice, no source. [m2]
GATHERS = 1000.0
#: On them a wall is tried every so far. [m]
APART = 4.0
#: The way of the water at a place is that over so much of it each way. [m]
WAY = 5.0
#: Walls are turned so far about square to it, the shortest is taken. [deg]
TURNS = (0.0, -15.0, 15.0, -30.0, 30.0)
#: Depths of water at a wall that are tried, then deeper by the step up to the limit. [m]
DEPTHS, DEEPER = (0.4, 0.6, 0.8), 0.3
#: Water stays so much below a limit. [m]
BELOW = 0.02
#: Less water at a wall is not worth a bank, nor is a pool of less; common practice, no source.
#: [m], [m3]
SHALLOWEST, LEAST = 0.2, 2.0
#: Nor is a bank that holds back less than this for each m3 of its earth; common practice, no
#: source. [-]
WORTH = 0.1
#: No wall is longer, and no pool larger; common practice, no source. [m], [m2]
LONGEST, WIDEST = 60.0, 20_000.0
#: A wall's ends stand in ground that is so much higher than its crest. [m]
TIED_IN = 0.05
#: Its ground is read every so far. [m]
STEP = 0.25
#: Water is to soak away in so much of the time that it may take: the plan sums it in steps. [-]
WELL_WITHIN = 0.98
#: Walls whose places lie in one square of this side are like each other. [m]
NEIGHBOURHOOD = 20.0
#: A valley narrows where a wall is so long, times the middle one of those in its neighbourhood that
#: hold water as deep within so much; common practice, no source. [-], [m]
NARROW, ALIKE = 0.85, 0.1
#: A spillway is followed no further past its sill, its foot lies within so much of the shortest
#: way, and it is summed over cells of this side. [m]
SPILLWAY, FOOT, DUG_CELL = 40.0, 2.0, 0.7
#: The finely read ground has no more cells.
MOST_FINE = 16_000_000

#: What a flood ends in where the wall holds no water back.
GETS_ROUND, RUNS_ON, SHUT = -1, -2, -3


@dataclass(frozen=True)
class _Place:
    """A place on the way of the water: where, and the unit vector that it comes from. [m]"""

    at: FloatArray
    up: FloatArray
    cell: tuple[int, int]
    hollow: bool


@dataclass(frozen=True)
class _Wall:
    """A wall at a place.

    Attributes
    ----------
    ends : float64, shape (2, 2)
        [m]
    out, up : float64, shape (2,)
        Unit vectors from the first end to the last, and square to that where water comes from.
    level, depth : float
        Of its sill; of the water against it. [m]
    profile : WallProfile
    """

    place: _Place
    ends: FloatArray
    out: FloatArray
    up: FloatArray
    level: float
    depth: float
    profile: WallProfile

    @property
    def reaches(self) -> tuple[FloatArray, FloatArray]:
        """How far its wet and its dry foot lie off its line, as built, at each station. [m]"""
        made = self.profile
        high = made.heights * (1 + made.settlement)
        wet, dry = (np.where(high > 0, made.top / 2 + slope * high, 0.0)
                    for slope in (made.wet_slope, made.dry_slope))
        return wet, dry

    @cached_property
    def spots(self) -> FloatArray:
        """Places all over the ground under it, shape (n, 2). [m]"""
        wet, dry = (reach[::2] for reach in self.reaches)
        off = -dry + np.linspace(0.0, 1.0, 9)[:, None] * (wet + dry)
        on = self.ends[0] + self.profile.stations[::2, None] * self.out
        return np.asarray((on + off[..., None] * self.up).reshape(-1, 2))

    @cached_property
    def bank(self) -> Any:
        """Ground under it from foot to foot. [m]"""
        wet, dry = self.reaches
        on = self.ends[0] + self.profile.stations[:, None] * self.out
        return Polygon(np.concatenate([on + wet[:, None] * self.up,
                                       (on - dry[:, None] * self.up)[::-1]])).buffer(0)


@dataclass(frozen=True)
class _Held:
    """A wall and the water behind it: net of its bank [m3], [m2], deepest [m]; its fine cells."""

    wall: _Wall
    storage: float
    area: float
    deepest: float
    cells: NDArray[np.int64]
    rate: float
    pond: bool = False

    @cached_property
    def worth(self) -> float:
        """Water for each m3 of earth in the bank. [-]"""
        return self.storage / self.wall.profile.fill


def wall_places(look: Look, most: int) -> list[Candidate]:
    """Basins behind walls across valleys and below hollows, the most water for their earth first.

    Parameters
    ----------
    most : int
        So many at most, spread over the site: first the best of each neighbourhood, then the
        second best, and so on.

    Notes
    -----
    A wall is a straight line square to the way of the water; its pool is flooded on cells as
    fine as those of `terrain.works.pool`, and holds what the bank leaves.  Nothing deeper than
    soaks in within the rule "standing water" is kept, but for a pond deeper than "fish depth".
    """
    if not (look.room > 0).any():
        return []
    pools = _Pools(look)
    found = [held for place in _places(look) for held in _held_at(look, place, pools)]
    narrow = _narrow(found)
    chosen: list[tuple[_Held, Candidate]] = []
    for held in _spread(found):
        if len(chosen) >= most:
            break
        made = _candidate(look, held, pools, narrow(held), f"wall {len(chosen) + 1}")
        if made is not None:
            chosen.append((held, made))
    chosen.sort(key=lambda pair: -pair[0].worth)
    return [replace(made, name=f"wall {i}",
                    works=(made.works[0].model_copy(update={"name": f"wall {i}"}),))
            for i, (_, made) in enumerate(chosen, 1)]


def window_about(dem: Dem, shape: Any, beyond: float = 0.0) -> tuple[Dem, int, int]:
    """The part of a raster about a shape, and the row and column of its corner.

    Parameters
    ----------
    beyond : float
        So much about it too. [m]
    """
    west, south, east, north = shape.bounds
    top, left = (int(i) for i in dem.row_column(west - beyond, north + beyond))
    bottom, right = (int(i) for i in dem.row_column(east + beyond, south - beyond))
    rows, columns = dem.shape
    top, left = min(max(top, 0), rows - 1), min(max(left, 0), columns - 1)
    bottom, right = min(max(bottom, top), rows - 1), min(max(right, left), columns - 1)
    return Dem(dem.heights[top:bottom + 1, left:right + 1], dem.left + left * dem.cell,
               dem.top - top * dem.cell, dem.cell, dem.frame), top, left


def cells_touched(dem: Dem, shape: Any) -> IntArray:
    """Rows and columns of the cells that a shape touches, shape (n, 2)."""
    near, top, left = window_about(dem, shape, dem.cell)
    mask = rasterized([(shape, 1)], near, 0, np.uint8, all_touched=True)
    return np.argwhere(mask) + np.array([top, left])


def below(look: Look, start: tuple[int, int], own: IntArray) -> tuple[int, int] | None:
    """The first cell on the way down from a cell past the last that is a work's own; None where
    the way ends in them."""
    path = look.inputs.terrain.path(*start)
    columns = look.inputs.dem.shape[1]
    mine = np.flatnonzero(np.isin(path[:, 0] * columns + path[:, 1],
                                  own[:, 0] * columns + own[:, 1]))
    past = int(mine[-1]) + 1 if mine.size else 0
    return (int(path[past, 0]), int(path[past, 1])) if past < len(path) else None


def depth_of_soaking(look: Look, rate: float) -> float:
    """Water that a floor takes in well within the rule "standing water". [m]

    Parameters
    ----------
    rate : float
        [mm/h]
    """
    return WELL_WITHIN * look.inputs.rules["standing water"] * rate / 1000


def _places(look: Look) -> list[_Place]:
    """Places along the ways of the water, and at the outlets of hollows."""
    terrain, dem = look.inputs.terrain, look.inputs.dem
    area = np.nan_to_num(terrain.contributing_area)
    rows, columns = np.nonzero((area >= GATHERS) & (look.room > 0))
    block = max(round(APART / dem.cell), 1)
    order = np.argsort(-area[rows, columns], kind="stable")
    rows, columns = rows[order], columns[order]
    _, first = np.unique(np.stack([rows // block, columns // block]), axis=1, return_index=True)
    first = np.sort(first)
    spills = [(h.spill_row, h.spill_column) for h in terrain.hollows
              if look.room[h.spill_row, h.spill_column] > 0]
    cells = np.concatenate([np.stack([rows[first], columns[first]], 1),
                            np.array(spills, np.int64).reshape(-1, 2)])
    steps = max(round(WAY / dem.cell), 1)
    down, up = _followed(terrain.direction, cells, steps), _climbed(terrain.direction, area, cells,
                                                                     steps)
    way = np.stack([up[:, 1] - down[:, 1], down[:, 0] - up[:, 0]], 1).astype(np.float64)
    length = np.hypot(*way.T)
    at = np.stack(dem.xy(cells[:, 0], cells[:, 1]), 1)
    return [_Place(at[i], way[i] / length[i], (int(cells[i, 0]), int(cells[i, 1])),
                   i >= first.size)
            for i in range(len(cells)) if length[i] > 0]


def _followed(direction: NDArray[np.uint8], cells: IntArray, steps: int) -> IntArray:
    """Cells so many steps down the water's way."""
    at = cells.copy()
    for _ in range(steps):
        way = direction[at[:, 0], at[:, 1]]
        on = way < 8
        at[on] += np.stack([ROW_STEP[way[on]], COLUMN_STEP[way[on]]], 1)
    return at


def _climbed(direction: NDArray[np.uint8], area: FloatArray, cells: IntArray, steps: int
             ) -> IntArray:
    """Cells so many steps up it, each time where most water comes from."""
    at, size = cells.copy(), np.array(direction.shape)
    for _ in range(steps):
        best, most = at.copy(), np.zeros(len(at))
        for k in range(8):
            there = at - np.array([ROW_STEP[k], COLUMN_STEP[k]])
            safe = np.clip(there, 0, size - 1)
            gathers = np.where((there == safe).all(axis=1)
                               & (direction[safe[:, 0], safe[:, 1]] == k),
                               area[safe[:, 0], safe[:, 1]], 0.0)
            better = gathers > most
            best[better], most = there[better], np.maximum(most, gathers)
        at = best
    return at


def _held_at(look: Look, place: _Place, pools: _Pools) -> list[_Held]:
    """Walls at one place, one for each depth of water that it may hold."""
    rules = look.inputs.rules
    lines = _Lines(look, place)
    rate = look.soaks(np.array([place.cell])).rate
    soaked, fish = depth_of_soaking(look, rate), rules["fish depth"]
    found, fitted = [], False
    for depth in _depths(look):
        wall = lines.wall(depth)
        held = None if wall is None else pools.behind(wall, rate)
        if held is not None and held.deepest > soaked:
            if held.deepest > fish:
                held = replace(held, pond=True)
            elif not fitted:  # more than soaks away in time: so much less, once
                fitted = True
                held = _fitted(lines, pools, depth - (held.deepest - soaked), rate, soaked)
            else:
                held = None
        if held is not None and held.storage >= LEAST and held.worth >= WORTH \
                and pools.stays(held.wall):
            found.append(held)
    return found


def _depths(look: Look) -> list[float]:
    """Depths of water at a wall that are tried. [m]"""
    asked = look.asked.water_at_bank
    limit = (asked or look.inputs.rules["embankment water"]) - BELOW
    deeper = [] if asked is None else np.arange(DEPTHS[-1] + DEEPER, limit, DEEPER).tolist()
    return sorted({*(depth for depth in (*DEPTHS, *deeper) if depth < limit), limit})


def _fitted(lines: _Lines, pools: _Pools, depth: float, rate: float, soaked: float
            ) -> _Held | None:
    """The deepest water at a wall, from `depth` on down, that soaks away in time. [m]"""
    for _ in range(3):
        wall = lines.wall(depth - BELOW / 2) if depth > SHALLOWEST else None
        held = None if wall is None else pools.behind(wall, rate)
        if held is None or held.deepest <= soaked:
            return held
        depth -= held.deepest - soaked + BELOW / 2
    return None


class _Lines:
    """The ground along lines across a place."""

    def __init__(self, look: Look, place: _Place) -> None:
        self.look, self.place = look, place
        self.middle = int(LONGEST / STEP)
        self.along: FloatArray = np.arange(-self.middle, self.middle + 1, dtype=np.float64) * STEP
        turns = np.radians(TURNS)
        x, y = place.up
        self.ups = np.stack([x * np.cos(turns) - y * np.sin(turns),
                             x * np.sin(turns) + y * np.cos(turns)], 1)
        self.outs = np.stack([self.ups[:, 1], -self.ups[:, 0]], 1)
        spots = place.at + self.along[None, :, None] * self.outs[:, None, :]
        self.ground = look.inputs.dem.height_at(spots[..., 0], spots[..., 1])

    def wall(self, depth: float) -> _Wall | None:
        """The shortest wall that has water of a depth against it, and room; None if none. [m]"""
        found = [(self._span(i, depth), i) for i in range(len(self.outs))]
        spans = sorted((span[1] - span[0], i, span) for span, i in found if span is not None)
        for _, i, span in spans:
            wall = self._made(i, *span, depth)
            if wall is not None and _has_room(self.look, wall):
                return wall
        return None

    def _span(self, i: int, depth: float) -> tuple[float, float, float] | None:
        """Where a wall begins and ends along a line, and its crest. [m]"""
        rules, ground = self.look.inputs.rules, self.ground[i]
        over = depth - sill_below(0.0, rules)
        low = float(ground[self.middle])
        for _ in range(4):
            crest = round(low + over, 2)
            stop = ~(ground < crest + TIED_IN)  # unknown ground stops it too
            ends = np.flatnonzero(stop[:self.middle]), np.flatnonzero(stop[self.middle + 1:])
            if not ends[0].size or not ends[1].size:
                return None
            first, last = int(ends[0][-1]), int(ends[1][0]) + self.middle + 1
            if (last - first) * STEP > LONGEST or not np.isfinite(ground[[first, last]]).all():
                return None
            lowest = float(ground[first:last + 1].min())
            if lowest > low - 1e-3:
                return float(self.along[first]), float(self.along[last]), crest
            low = lowest
        return None

    def _made(self, i: int, start: float, end: float, crest: float, depth: float) -> _Wall | None:
        rules = self.look.inputs.rules
        first = self.middle + round(start / STEP)
        last = self.middle + round(end / STEP)
        ground = self.ground[i, first:last + 1]
        level = round(sill_below(crest, rules), 4)
        deep = level - float(ground.min())
        if deep < SHALLOWEST:
            return None
        profile = wall_profile(self.along[first:last + 1] - start, ground, crest, rules)
        ends = self.place.at + np.array([[start], [end]]) * self.outs[i]
        return _Wall(self.place, ends, self.outs[i], self.ups[i], level, deep, profile)


def _has_room(look: Look, wall: _Wall) -> bool:
    """Whether earth may be moved in places all over a bank; `_candidate` looks at every cell."""
    dem, room = look.inputs.dem, look.room
    row, column = dem.row_column(*wall.spots.T)
    rows, columns = dem.shape
    if row.min() < 0 or column.min() < 0 or row.max() >= rows or column.max() >= columns:
        return False
    return bool((room[row, column] > 0).all())


def _is_open(look: Look, shape: Any) -> bool:
    """Whether earth may be moved on every cell that a shape touches."""
    near, top, left = window_about(look.inputs.dem, shape, look.inputs.dem.cell)
    rows, columns = near.shape
    shut = ~(look.room[top:top + rows, left:left + columns] > 0)
    if not shut.any():
        return True
    return not shut[tuple((cells_touched(near, shape)).T)].any()


class _Pools:
    """Floods behind walls, on the ground read as finely as the plan reads it."""

    def __init__(self, look: Look) -> None:
        self.look, dem = look, look.inputs.dem
        rows, columns = np.nonzero(look.room > 0)
        margin = int(LONGEST / dem.cell)
        self.top, self.left = (max(int(i.min()) - margin, 0) for i in (rows, columns))
        bottom, right = (min(int(i.max()) + margin, size - 1)
                         for i, size in zip((rows, columns), dem.shape, strict=True))
        tall, wide = bottom - self.top + 1, right - self.left + 1
        factor = max(int(np.ceil(dem.cell / FINE_CELL)), 2)
        while factor > 1 and tall * wide * factor * factor > MOST_FINE:
            factor -= 1
        self.factor, cell = factor, dem.cell / factor
        left, top = dem.left + self.left * dem.cell, dem.top - self.top * dem.cell
        x = left + (np.arange(wide * factor) + 0.5) * cell
        y = top - (np.arange(tall * factor) + 0.5) * cell
        heights = dem.height_at(*np.meshgrid(x, y)).astype(np.float32)
        self.fine = Dem(heights, left, top, cell, dem.frame)
        self.room = np.ascontiguousarray(look.room[self.top:bottom + 1, self.left:right + 1])
        self.mark = np.zeros(heights.shape, np.int32)
        self.queue = np.empty(int(WIDEST / (cell * cell)) + 16, np.int64)
        self.count = 0

    def behind(self, wall: _Wall, rate: float) -> _Held | None:
        """What a wall holds up to its sill; None where it holds nothing, or water would come on
        shut ground.

        Parameters
        ----------
        rate : float
            That its floor takes. [mm/h]
        """
        found = self._flood(wall, wall.level, True)
        if found is None:
            return None
        storage, area, deepest, cells = found
        return _Held(wall, storage, area, deepest, cells.copy(), rate)

    def stays(self, wall: _Wall) -> bool:
        """Whether water up to its crest stays behind a wall."""
        return self._flood(wall, wall.profile.crest, False) is not None

    def _flood(self, wall: _Wall, level: float, keep: bool
               ) -> tuple[float, float, float, IntArray] | None:
        fine, made = self.fine, wall.profile
        self.count += 1
        ends = np.stack([(wall.ends[:, 0] - fine.left) / fine.cell,
                         (fine.top - wall.ends[:, 1]) / fine.cell], 1)
        first, last = made.stands
        sums = np.zeros(3)
        count = _fill(fine.heights, self.room, self.factor, self.mark, self.count, self.queue,
                      ends[0, 0], ends[0, 1], ends[1, 0], ends[1, 1], wall.up[0], -wall.up[1],
                      level, made.crest, made.top / 2, made.wet_slope, first, last, fine.cell,
                      keep, sums)
        if count <= 0:
            return None
        area = fine.cell_area
        return float(sums[0]) * area, float(sums[1]) * area, float(sums[2]), self.queue[:count]

    def ground_of(self, cells: IntArray) -> tuple[IntArray, Any]:
        """The raster's cells that hold some fine ones, and their outline."""
        fine = self.fine
        row, column = np.divmod(np.sort(cells), fine.shape[1])
        ends = np.flatnonzero((np.diff(row) != 0) | (np.diff(column) != 1))
        first, last = np.concatenate([[0], ends + 1]), np.concatenate([ends, [row.size - 1]])
        west, south = fine.left + column[first] * fine.cell, fine.top - (row[first] + 1) * fine.cell
        runs = box(west, south, fine.left + (column[last] + 1) * fine.cell, south + fine.cell)
        whole = np.unique((row // self.factor + self.top) * self.look.inputs.dem.shape[1]
                          + column // self.factor + self.left)
        return np.stack(np.divmod(whole, self.look.inputs.dem.shape[1]), 1), union_all(runs)


@kernel
def _fill(heights, room, factor, mark, stamp, queue, ax, ay, bx, by, nx, ny, level, crest, half,
          slope, first, last, cell, keep, sums):
    """Fill the ground behind a straight wall up to a level.

    Parameters
    ----------
    heights : float32, shape (rows, columns)
        Fine ground. [m]
    room : float32
        Of the raster's cells, `factor` fine ones wide; only where `keep` must it be above 0.
    mark, stamp : int32
        What this flood marks the cells with that it has met.
    queue : int64
        Takes the cells that it covers.
    ax, ay, bx, by : float
        The wall's ends, in fine cells.
    nx, ny : float
        Unit vector to the side that water comes from, y down.
    first, last : float
        Between which the bank stands along its line. [m]
    sums : float64, shape (3,)
        Takes the sum of net depths, the number of net cells and the greatest net depth.

    Returns
    -------
    count : int
        Of cells covered, or why there are none.
    """
    rows, columns = heights.shape
    length = np.sqrt((bx - ax) ** 2 + (by - ay) ** 2)
    dx, dy = (bx - ax) / length, (by - ay) / length
    thick = 0.5 * (abs(nx) + abs(ny)) + 1e-9
    least_x, most_x = min(ax, bx) - 0.5, max(ax, bx) + 0.5
    least_y, most_y = min(ay, by) - 0.5, max(ay, by) + 0.5
    count = 0
    for k in range(int(length * 1.5) + 1):  # from just above the wall
        at = k / 1.5
        column = int(np.floor(ax + at * dx + (thick + 0.6) * nx))
        row = int(np.floor(ay + at * dy + (thick + 0.6) * ny))
        if row < 0 or column < 0 or row >= rows or column >= columns:
            return RUNS_ON
        off = (column + 0.5 - ax) * nx + (row + 0.5 - ay) * ny
        if off <= thick or mark[row, column] == stamp or not heights[row, column] < level:
            continue
        mark[row, column] = stamp
        queue[count] = row * columns + column
        count += 1
    taken = 0
    while taken < count:
        place = queue[taken]
        taken += 1
        row, column = place // columns, place % columns
        px, py = column + 0.5 - ax, row + 0.5 - ay
        off, along = px * nx + py * ny, px * dx + py * dy
        if off < -thick and 0.0 <= along <= length and off > -40.0:
            return GETS_ROUND
        if row == 0 or column == 0 or row == rows - 1 or column == columns - 1:
            return RUNS_ON
        if keep:
            if not room[row // factor, column // factor] > 0:
                return SHUT
            ground = heights[row, column]
            depth = level - ground
            if first <= along * cell <= last:
                bank = crest - max(abs(off) * cell - half, 0.0) / slope
                if bank > ground:
                    depth = min(depth, level - bank)
            if depth > DRY:
                sums[0] += depth
                sums[1] += 1.0
                sums[2] = max(sums[2], depth)
        under = (abs(off) <= thick and least_x <= column + 0.5 <= most_x
                 and least_y <= row + 0.5 <= most_y)
        if under:  # covered, but no water passes
            continue
        for k in range(0, 8, 2):
            r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
            if mark[r, c] == stamp:
                continue
            if heights[r, c] != heights[r, c]:
                return RUNS_ON
            if not heights[r, c] < level:
                continue
            off = (c + 0.5 - ax) * nx + (r + 0.5 - ay) * ny
            if (abs(off) <= thick and off < 0.0 and least_x <= c + 0.5 <= most_x
                    and least_y <= r + 0.5 <= most_y):
                continue  # under the wall, on its far side
            if count == queue.size:
                return RUNS_ON
            mark[r, c] = stamp
            queue[count] = r * columns + c
            count += 1
    return count


def _spread(found: Sequence[_Held]) -> list[_Held]:
    """The best of each neighbourhood by falling worth, then the second best of each, and so on."""
    order = sorted(range(len(found)), key=lambda i: (-found[i].worth, i))
    seen: dict[tuple[int, int], int] = {}
    ranked: list[tuple[int, int, int]] = []
    for i in order:
        x, y = found[i].wall.place.at
        here = int(x // NEIGHBOURHOOD), int(y // NEIGHBOURHOOD)
        seen[here] = seen.get(here, 0) + 1
        ranked.append((seen[here], len(ranked), i))
    return [found[i] for _, _, i in sorted(ranked)]


def _candidate(look: Look, held: _Held, pools: _Pools, narrow: bool, name: str
               ) -> Candidate | None:
    """A wall as a candidate; None where its earth or its sill would come on shut ground."""
    dem, rules, wall = look.inputs.dem, look.inputs.rules, held.wall
    made = wall.profile
    cells, pool = pools.ground_of(held.cells)
    row, column = np.divmod(held.cells, pools.fine.shape[1])
    sill = _Spillway(look, wall, np.stack(pools.fine.xy(row, column), 1), pools.fine.cell)
    body = wall.bank.union(sill.floor)
    if sill.endless or not _is_open(look, body):
        return None
    soaks = look.soaks(cells)
    if abs(soaks.rate - held.rate) > 1e-9 and not held.pond and (
            held.deepest > depth_of_soaking(look, soaks.rate)):
        return None
    own = np.concatenate([cells, np.stack(dem.row_column(*wall.spots.T), 1)])
    spill = below(look, sill.start, own)
    if spill is None:
        return None
    soil = look.soil_of(cells)
    topsoil = made.topsoil + min(made.strip * sill.opened, sill.cut)
    cut = made.cutoff + made.topsoil + sill.cut
    cost = look.cost(cut, made.fill, soil, topsoil,
                     seeded=_to_seed(wall, cut, topsoil, soil, rules))
    entry = {"name": name, "kind": "basin", "wall": [look.stated(*end) for end in wall.ends],
             "crest": made.crest, "sill": wall.level}
    if look.asked.infiltration is not None:
        entry["infiltration"] = look.asked.infiltration
    if held.pond:
        entry["holds water"] = True
    footprint = pool.union(body)
    return Candidate(name, "wall", (Basin.model_validate(entry),), cells, spill, footprint,
                     held.storage, held.area, soaks.rate, cost, wall.depth,
                     said=_said(held, narrow))


def _to_seed(wall: _Wall, cut: float, topsoil: float, soil: str, rules: Rulebook) -> float:
    """Crest and dry side of a bank, and the earth that is left over, spread. [m2]"""
    made = wall.profile
    high = made.heights * (1 + made.settlement)
    wide = np.where(high > 0, made.top + np.hypot(1.0, made.dry_slope) * high, 0.0)
    surface = float(np.trapezoid(wide, made.stations))
    packed = rules["compacted per bank"]
    left = (max(cut - topsoil - made.fill / packed, 0.0)
            + max(topsoil - rules["topsoil on banks"] * surface / packed, 0.0))
    return surface + left * loose_per_bank(soil, rules) / rules["spoil thickness"]


def _said(held: _Held, narrow: bool) -> tuple[str, ...]:
    length = float(np.subtract(*held.wall.profile.stands[::-1]))
    what = ("Below the outlet of a hollow" if held.wall.place.hollow else
            "The valley narrows here:" if narrow else "Across the way of much water here,")
    return (f"{what} {in_both(length, 'length')} of bank hold {in_both(held.storage, 'volume')}, "
            f"{held.worth:.1f} m³ of water for each m³ of earth.",)


def _narrow(found: Sequence[_Held]) -> Callable[[_Held], bool]:
    """Tells whether a wall is short beside those about it that hold about as deep water."""
    at = np.array([held.wall.place.at for held in found]).reshape(-1, 2)
    depth = np.array([held.wall.depth for held in found])
    length = np.array([held.wall.profile.stations[-1] for held in found])

    def narrow(held: _Held) -> bool:
        near = ((np.hypot(*(at - held.wall.place.at).T) <= NEIGHBOURHOOD)
                & (np.abs(depth - held.wall.depth) <= ALIKE))
        return bool(held.wall.profile.stations[-1] <= NARROW * np.median(length[near]))
    return narrow


class _Spillway:
    """A spillway beside a wall, for the shortest sill, as `terrain.works.ground_of_bank` lays it.

    Attributes
    ----------
    cut, opened : float
        Earth that it takes [m3] and ground that it opens [m2].
    start : (int, int)
        A cell at its foot, where its water comes out.
    floor : shapely geometry
        Its level floor. [m]
    endless : bool
        The ground past its sill does not fall away.
    """

    def __init__(self, look: Look, wall: _Wall, pool: FloatArray, cell: float) -> None:
        dem, rules, made = look.inputs.dem, look.inputs.rules, wall.profile
        self.wall, self.dem = wall, dem
        long = max(rules["sill shortest"], look.asked.sill_at_least or 0.0)
        ends = made.ends(wall.ends)
        past = made.top / 2 + np.linspace(0.0, rules["sill shortest"], 9)
        means = [float(dem.height_at(*(end + past[:, None] * way).T).mean()) for end, way in ends]
        end, way = ends[int(means[1] < means[0] - 1e-3 or np.isnan(means[0]))]
        lip = end + np.array([[made.top / 2], [made.top / 2 + long]]) * way
        clear = pool[~self._in_bank(pool)]
        away = np.hypot(*(clear - lip[0]).T)
        corners = cell / 2 * np.array([[-1, -1], [-1, 1], [1, -1], [1, 1]])
        edge = (clear[away <= away.min() + long / 2][:, None] + corners).reshape(-1, 2)
        foot = self._foot(lip)
        self.floor = union_all(convex_hull([multipoints(np.concatenate([lip, edge])),
                                            multipoints(np.concatenate([lip, foot]))]))
        self.cut, self.opened = self._dug()
        row, column = (int(i) for i in dem.row_column(*foot.mean(axis=0)))
        self.start = (min(max(row, 0), dem.shape[0] - 1), min(max(column, 0), dem.shape[1] - 1))

    def _foot(self, lip: FloatArray) -> FloatArray:
        """Where the ground past the sill first lies below it. [m]"""
        out = np.arange(0.0, SPILLWAY, STEP)
        starts = lip[0] + np.linspace(0.0, 1.0, 17)[:, None] * (lip[1] - lip[0])
        spots = starts[:, None, :] - out[None, :, None] * self.wall.up
        low = np.nan_to_num(self.dem.height_at(spots[..., 0], spots[..., 1]),
                            nan=-np.inf) <= self.wall.level
        reach = np.where(low.any(axis=1), out[np.argmax(low, axis=1)], SPILLWAY)
        self.endless = not low.any()
        first = reach <= reach.min() + FOOT
        return np.asarray(starts[first] - (reach[first, None] + 0.5) * self.wall.up)

    def _in_bank(self, spots: FloatArray) -> NDArray[np.bool_]:
        """Whether places lie under the bank, its flatter side taken for both."""
        made = self.wall.profile
        place = spots - self.wall.ends[0]
        along, off = place @ self.wall.out, np.abs(place @ self.wall.up)
        first, last = made.stands
        high = np.interp(along, made.stations, made.heights * (1 + made.settlement))
        past = np.maximum(np.maximum(first - along, along - last), 0.0)
        steep = max(made.wet_slope, made.dry_slope)
        return np.asarray(np.hypot(off, past) <= made.top / 2 + steep * high)

    def _dug(self) -> tuple[float, float]:
        made = self.wall.profile
        batter = min(made.wet_slope, made.dry_slope)
        west, south, east, north = self.floor.bounds
        ring = np.asarray(self.floor.exterior.coords)
        tall = float(np.nanmax(self.dem.height_at(*ring.T))) - self.wall.level
        beyond = 2 * batter * max(tall, 0.0) + 0.5
        x, y = np.meshgrid(np.arange(west - beyond, east + beyond, DUG_CELL),
                           np.arange(south - beyond, north + beyond, DUG_CELL))
        over = np.nan_to_num(self.dem.height_at(x, y) - self.wall.level)
        high = over > 0
        spots = np.stack([x[high], y[high]], 1)
        deep = over[high] - distance(self.floor, points(spots)) / batter
        dug = (deep > 0) & ~self._in_bank(spots)
        return float(deep[dug].sum()) * DUG_CELL**2, float(dug.sum()) * DUG_CELL**2
