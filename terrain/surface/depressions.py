"""Hollows of a surface: the level each spills at, the way out of it, and what it holds.

Every cell leads down to a pit or off the known ground.  Cells that lead to one pit are a bowl.
The lowest pass between each two bowls that touch makes a graph; its minimum spanning tree, walked
from outside inwards, gives every bowl the level at which it spills and the pass it spills over.
So only the graph is flooded, not the cells.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.surface.flow_direction import count_code, steepest_descent
from terrain.surface.flow_paths import AS_NEXT, hand_up
from terrain.surface.kernels import cut_in_strips, in_strips, kernel, longer
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, PIT, ROW_STEP

#: In `bowl`: ground that drains off the known ground without meeting a pit; unknown height.
OUTSIDE, UNKNOWN = np.int32(0), np.int32(-1)
#: Passes kept at hand while a strip is read; one that is pushed out may be listed twice.
AT_HAND = 8192
LOW_HALF = np.uint64(0xFFFFFFFF)


@kernel
def _number_pits(direction: NDArray[np.uint8], bowl: NDArray[np.int32], first: int, last: int,
                 number: int) -> None:
    for row in range(first, last):
        for column in range(direction.shape[1]):
            k = direction[row, column]
            if k < LEAVES:
                bowl[row, column] = AS_NEXT
            elif k == LEAVES:
                bowl[row, column] = OUTSIDE
            elif k == PIT:
                number += 1
                bowl[row, column] = number
            else:
                bowl[row, column] = UNKNOWN


@kernel
def rank_of_way(way: np.uint8 | np.int64) -> np.int64:
    """Of ways over one cell at one level, that off the known ground comes first."""
    return (np.int64(way) + 1) % 9


@kernel
def list_passes(heights: NDArray[np.float32], bowl: NDArray[np.int32], north: bool, south: bool,
                west: bool, east: bool, first: int, last: int
                ) -> tuple[NDArray[np.uint64], NDArray[np.float32], NDArray[np.int32],
                           NDArray[np.uint8]]:
    """Lowest passes between bowls, from the cells of rows first to last to their neighbours.

    Water leaves over the array's sides for which north to east say so.

    Returns pair (two bowls in 64 bits, the lower number first), level, cell and the neighbour of
    the cell across the pass (LEAVES: off the known ground).
    """
    rows, columns = bowl.shape
    near_pair = np.empty(AT_HAND, np.uint64)
    for i in range(AT_HAND):
        near_pair[i] = 0
    near_level = np.empty(AT_HAND, np.float32)
    near_cell = np.empty(AT_HAND, np.int32)
    near_way = np.empty(AT_HAND, np.uint8)
    room, count = 2 * AT_HAND, 0
    pair, level = np.empty(room, np.uint64), np.empty(room, np.float32)
    cell, way = np.empty(room, np.int32), np.empty(room, np.uint8)
    for row in range(first, last):
        for column in range(columns):
            here = bowl[row, column]
            last_column, last_row = column == columns - 1, row == rows - 1
            border = ((row == 0 and north) or (last_row and south) or (column == 0 and west)
                      or (last_column and east))
            if (not (border or last_row or last_column or column == 0)
                    and here == bowl[row, column + 1] and here == bowl[row + 1, column + 1]
                    and here == bowl[row + 1, column] and here == bowl[row + 1, column - 1]):
                continue
            for k in range(5):  # E, SE, S, SW; the fifth is the way over the raster's border
                height, at, across = heights[row, column], row * columns + column, np.int64(k)
                if k == 4:
                    if not border or here <= 0:
                        continue
                    both, across = np.uint64(here), np.int64(LEAVES)
                else:
                    r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
                    if r >= rows or c < 0 or c >= columns:
                        continue
                    there = bowl[r, c]
                    if here == there or (here <= 0 and there <= 0):
                        continue
                    if there == UNKNOWN:
                        both, across = np.uint64(here), np.int64(LEAVES)
                    elif here == UNKNOWN:
                        both, across = np.uint64(there), np.int64(LEAVES)
                        height, at = heights[r, c], r * columns + c
                    else:
                        height = max(height, heights[r, c])
                        both = ((np.uint64(min(here, there)) << np.uint64(32))
                                | np.uint64(max(here, there)))
                slot = (both + (both >> np.uint64(31)) * np.uint64(3)) & np.uint64(AT_HAND - 1)
                if near_pair[slot] == both:
                    if (height < near_level[slot] or (height == near_level[slot] and (
                            at < near_cell[slot] or (
                                at == near_cell[slot]
                                and rank_of_way(across) < rank_of_way(near_way[slot]))))):
                        near_level[slot], near_cell[slot] = height, at
                        near_way[slot] = across
                    continue
                if near_pair[slot] != 0:
                    if count == room:
                        room *= 2
                        pair, level = longer(pair, room), longer(level, room)
                        cell, way = longer(cell, room), longer(way, room)
                    pair[count], level[count] = near_pair[slot], near_level[slot]
                    cell[count], way[count] = near_cell[slot], near_way[slot]
                    count += 1
                near_pair[slot], near_level[slot] = both, height
                near_cell[slot], near_way[slot] = at, across
    if count + AT_HAND > room:
        room = count + AT_HAND
        pair, level = longer(pair, room), longer(level, room)
        cell, way = longer(cell, room), longer(way, room)
    for i in range(AT_HAND):
        if near_pair[i] != 0:
            pair[count], level[count] = near_pair[i], near_level[i]
            cell[count], way[count] = near_cell[i], near_way[i]
            count += 1
    return pair[:count], level[:count], cell[:count], way[:count]


@kernel
def comes_before(i: np.int32, j: np.int32, level: NDArray[np.float32], cell: NDArray[np.int32],
                 way: NDArray[np.uint8]) -> bool:
    """Whether pass i comes before pass j; equal levels go by place and way: there is no tie."""
    if level[i] != level[j]:
        return bool(level[i] < level[j])
    if cell[i] != cell[j]:
        return bool(cell[i] < cell[j])
    return bool(rank_of_way(way[i]) < rank_of_way(way[j]))


@kernel
def lowest_tree(pair: NDArray[np.uint64], level: NDArray[np.float32], cell: NDArray[np.int32],
                way: NDArray[np.uint8], bowls: int) -> NDArray[np.int32]:
    """Indices of the passes of the minimum spanning tree, by Boruvka's rounds.

    Each round joins every group of bowls to another over its lowest pass.
    """
    count = pair.size
    group, lowest = np.empty(bowls + 1, np.int32), np.empty(bowls + 1, np.int32)
    chosen, taken = np.empty(bowls, np.int32), 0
    number, one, other = (np.empty(count, np.int32), np.empty(count, np.int32),
                          np.empty(count, np.int32))
    for bowl in range(bowls + 1):
        group[bowl] = bowl
    for i in range(count):
        one[i], other[i] = np.int32(pair[i] >> np.uint64(32)), np.int32(pair[i] & LOW_HALF)
        number[i] = i
    while count > 0:
        for bowl in range(bowls + 1):
            lowest[bowl] = -1
        for i in range(count):
            this = number[i]
            for group_of in (one[i], other[i]):
                best = lowest[group_of]
                if best < 0 or comes_before(this, number[best], level, cell, way):
                    lowest[group_of] = i
        for bowl in range(bowls + 1):
            i = lowest[bowl]
            if i < 0:
                continue
            a, b = one[i], other[i]
            while group[a] != a:
                a = group[a]
            while group[b] != b:
                b = group[b]
            if a != b:
                chosen[taken] = number[i]
                taken += 1
                group[max(a, b)] = min(a, b)
        for bowl in range(bowls + 1):  # a group's head has a lower number, so is settled before
            group[bowl] = group[group[bowl]]
        kept = 0
        for i in range(count):
            a, b = group[one[i]], group[other[i]]
            if a != b:
                one[kept], other[kept] = a, b
                number[kept] = number[i]
                kept += 1
        count = kept
    return chosen[:taken]


@kernel
def _walk_inwards(pair: NDArray[np.uint64], level: NDArray[np.float32], cell: NDArray[np.int32],
                  way: NDArray[np.uint8], bowl: NDArray[np.int32], columns: int,
                  spill_level: NDArray[np.float32], pool: NDArray[np.int32],
                  pass_cell: NDArray[np.int32], pass_way: NDArray[np.uint8],
                  spills_to: NDArray[np.int32]) -> None:
    """From outside over the tree: each bowl's spill level, pass and the bowl it spills into."""
    step = ROW_STEP * columns + COLUMN_STEP
    bowls = spill_level.size - 1
    chosen = lowest_tree(pair, level, cell, way, bowls)
    start, at = np.empty(bowls + 2, np.int32), np.empty(bowls + 1, np.int32)
    beside, stack = np.empty(2 * chosen.size, np.int32), np.empty(bowls + 1, np.int32)
    for b in range(bowls + 2):
        start[b] = 0
    for i in chosen:
        start[np.int64(pair[i] >> np.uint64(32)) + 1] += 1
        start[np.int64(pair[i] & LOW_HALF) + 1] += 1
    for b in range(bowls + 1):
        start[b + 1] += start[b]
        at[b] = start[b]
    for i in chosen:
        one, other = np.int64(pair[i] >> np.uint64(32)), np.int64(pair[i] & LOW_HALF)
        beside[at[one]] = i
        beside[at[other]] = i
        at[one] += 1
        at[other] += 1
    for b in range(bowls + 1):
        spill_level[b], pool[b], spills_to[b] = -np.inf, b, -1
        pass_cell[b], pass_way[b] = -1, LEAVES
    waiting = 1
    stack[0] = 0
    while waiting > 0:
        waiting -= 1
        b = stack[waiting]
        for n in range(start[b], start[b + 1]):
            i = beside[n]
            o = np.int64(pair[i] >> np.uint64(32)) + np.int64(pair[i] & LOW_HALF) - b
            if o == spills_to[b]:
                continue
            spills_to[o], spill_level[o] = b, max(spill_level[b], level[i])
            if level[i] < spill_level[b]:  # the pass lies under the other's water
                pool[o] = pool[b]
            here, k = np.int64(cell[i]), np.int64(way[i])
            if k < LEAVES and bowl[here] != o:
                here += step[k]
                k = (k + 4) % 8
            pass_cell[o], pass_way[o] = here, k
            stack[waiting] = o
            waiting += 1


@kernel
def lead_out(height: NDArray[np.float32], way: NDArray[np.uint8], columns: int,
             pass_cell: NDArray[Any], pass_way: NDArray[np.uint8]) -> None:
    """Turn the way from each bowl's pass down to its pit, so that water goes from pit to pass.

    On a flat bottom all cells are led straight to where that way leaves it.
    """
    step = ROW_STEP * columns + COLUMN_STEP
    queue = np.empty(64, np.int64)
    for bowl in range(1, pass_cell.size):
        cell, onward = np.int64(pass_cell[bowl]), np.int64(pass_way[bowl])
        bottom, leave = np.int64(-1), np.int64(-1)
        pit = cell
        while way[pit] < LEAVES:
            pit += step[way[pit]]
        while True:
            before = np.int64(way[cell])
            if bottom < 0 and height[cell] == height[pit]:
                bottom, leave = cell, onward
            way[cell] = onward
            if before == PIT:
                break
            cell += step[before]
            onward = (before + 4) % 8
        flat = False
        for k in range(8):
            flat = flat or height[pit + step[k]] == height[pit]
        if not flat:
            continue
        # Mark the whole bottom, then lead it anew from where the way leaves it.
        way[pit], queue[0], last, first = PIT, pit, 1, 0
        while first < last:
            here = queue[first]
            first += 1
            if last + 8 > queue.size:
                queue = longer(queue, 2 * queue.size)
            for k in range(8):
                there = here + step[k]
                if height[there] == height[pit] and way[there] != PIT:
                    way[there] = PIT
                    queue[last] = there
                    last += 1
        way[bottom], queue[0], last, first = leave, bottom, 1, 0
        while first < last:
            here = queue[first]
            first += 1
            for n in (0, 2, 4, 6, 1, 3, 5, 7):
                there = here + step[n]
                if way[there] == PIT and height[there] == height[pit]:
                    way[there] = (n + 4) % 8
                    queue[last] = there
                    last += 1


@kernel
def raise_to_spill(heights: NDArray[np.float32], bowl: NDArray[np.int32],
                   spill_level: NDArray[np.float32], filled: NDArray[np.float32], first: int,
                   last: int) -> None:
    """Write the rows first to last of the surface with its bowls full."""
    for row in range(first, last):
        for column in range(heights.shape[1]):
            height, b = heights[row, column], bowl[row, column]
            filled[row, column] = (spill_level[b] if b > 0 and spill_level[b] > height else height)


@dataclass(frozen=True)
class Drainage:
    """Where water goes on a surface whose hollows stand full.

    Attributes
    ----------
    direction : uint8, shape (rows, columns)
        D8 directions without a loop: 0 to 7 (E, SE, S, SW, W, NW, N, NE); LEAVES (8) where water
        leaves the known ground; VOID (255).  Within a hollow water goes down to its lowest cell
        and from there the shortest way up to its pass; nowhere does it go to a cell that is
        higher on the filled surface.
    bowl : int32, same shape
        Number of the pit each cell leads down to; 0 where it leads off the known ground; -1 in
        voids.
    spill_level : float32, shape (bowls + 1,)
        Level at which each bowl, full, spills off the known ground at last. [m]
    pool : int32, same shape
        The bowl by whose pass it spills: bowls that stand under one sheet of water when full
        have one pool.
    pass_cell : int32, same shape
        Flat index of the bowl's own cell at its pass; -1 for bowl 0.
    spills_to : int32, same shape
        The bowl beyond that pass.
    """

    direction: NDArray[np.uint8]
    bowl: NDArray[np.int32]
    spill_level: NDArray[np.float32]
    pool: NDArray[np.int32]
    pass_cell: NDArray[np.int32]
    spills_to: NDArray[np.int32]

    def filled(self, heights: NDArray[np.float32]) -> NDArray[np.float32]:
        """The surface with every hollow raised to the lowest level at which it spills. [m]"""
        heights = np.ascontiguousarray(heights, np.float32)
        filled = np.empty(heights.shape, np.float32)
        in_strips(lambda first, last, _: raise_to_spill(heights, self.bowl, self.spill_level,
                                                        filled, first, last),
                  cut_in_strips(*heights.shape))
        return filled


def drain(heights: NDArray[np.float32]) -> Drainage:
    """Give every cell of a surface a way off it, out of hollows too.

    Parameters
    ----------
    heights : float32, shape (rows, columns)
        NaN where unknown; water leaves at the raster's border and beside unknown cells. [m]

    Raises
    ------
    ValueError
        If the raster has more than 2^31 cells.

    References
    ----------
    .. [1] Cordonnier, Bovy & Braun, Earth Surface Dynamics 7 (2019), 549-562 (flow over the graph
       of hollows).
    .. [2] Barnes, Lehman & Mulla, Computers & Geosciences 62 (2014), 117-127 (the filled surface).
    .. [3] Boruvka's rounds: Nesetril, Milkova & Nesetrilova, Discrete Mathematics 233 (2001), 3-36.
    """
    if heights.size >= 2**31:
        raise ValueError(f"{heights.size:,} cells are more than 2^31")
    heights = np.ascontiguousarray(heights, np.float32)
    strips = cut_in_strips(*heights.shape)
    direction = steepest_descent(heights)
    counts = in_strips(lambda first, last, _: count_code(direction, PIT, first, last), strips)
    before = np.concatenate([[0], np.cumsum(counts)])
    bowl = np.empty(heights.shape, np.int32)
    in_strips(lambda first, last, n: _number_pits(direction, bowl, first, last, before[n]), strips)
    hand_up(direction, bowl)
    listed = in_strips(lambda first, last, _: list_passes(heights, bowl, True, True, True, True,
                                                          first, last), strips)
    pair, level, cell, way = (np.concatenate(parts) for parts in zip(*listed, strict=True))
    bowls, columns = int(before[-1]), heights.shape[1]
    spill_level = np.empty(bowls + 1, np.float32)
    pool, pass_cell, spills_to = (np.empty(bowls + 1, np.int32) for _ in range(3))
    pass_way = np.empty(bowls + 1, np.uint8)
    _walk_inwards(pair, level, cell, way, bowl.reshape(-1), columns, spill_level, pool, pass_cell,
                  pass_way, spills_to)
    lead_out(heights.reshape(-1), direction.reshape(-1), columns, pass_cell, pass_way)
    return Drainage(direction, bowl, spill_level, pool, pass_cell, spills_to)


def fill_hollows(heights: NDArray[np.float32]) -> NDArray[np.float32]:
    """The least surface, nowhere below `heights`, from which every cell drains. [m]"""
    return drain(heights).filled(heights)


@dataclass(frozen=True)
class Hollow:
    """A natural hollow: water that comes here stays until it stands at the spill level.

    Attributes
    ----------
    row, column : int
        Its lowest cell.
    spill_row, spill_column : int
        The cell on its rim over which it spills.
    spill_level : float
        Level at which it overflows. [m]
    depth, area, volume : float
        Greatest depth [m], water surface [m2] and water held [m3] at that level.
    """

    row: int
    column: int
    spill_row: int
    spill_column: int
    spill_level: float
    depth: float
    area: float
    volume: float


@kernel
def _measure(heights: NDArray[np.float32], bowl: NDArray[np.int32],
             spill_level: NDArray[np.float32], wet: NDArray[np.int64], depths: NDArray[np.float64],
             deepest: NDArray[np.float32], lowest: NDArray[np.int64]) -> None:
    """Cells under water, sum of their depths, greatest depth and its cell, of each bowl."""
    for row in range(heights.shape[0]):
        for column in range(heights.shape[1]):
            b = bowl[row, column]
            if b > 0 and heights[row, column] < spill_level[b]:
                depth = spill_level[b] - heights[row, column]
                wet[b] += 1
                depths[b] += np.float64(spill_level[b]) - np.float64(heights[row, column])
                if depth > deepest[b]:
                    deepest[b], lowest[b] = depth, row * heights.shape[1] + column


def list_hollows(heights: NDArray[np.float32], drainage: Drainage, cell_area: float,
                 least_volume: float = 0.0) -> list[Hollow]:
    """List hollows that hold more than `least_volume` [m3], the largest first.

    Bowls that stand under one sheet of water when full are one hollow.
    """
    columns = heights.shape[1]
    bowls = drainage.spill_level.size
    wet, depths = np.zeros(bowls, np.int64), np.zeros(bowls)
    deepest, lowest = np.zeros(bowls, np.float32), np.full(bowls, -1, np.int64)
    _measure(heights, drainage.bowl, drainage.spill_level, wet, depths, deepest, lowest)
    pool = drainage.pool
    area = np.bincount(pool, wet, minlength=pool.size) * cell_area
    volume = np.bincount(pool, depths, minlength=pool.size) * cell_area
    order = np.lexsort((lowest, -deepest, pool))
    heads, first = np.unique(pool[order], return_index=True)
    found = []
    for head, deepest_bowl in zip(heads, order[first], strict=True):
        if head == 0 or not volume[head] > least_volume:
            continue
        cell, level = int(lowest[deepest_bowl]), drainage.spill_level[head]
        rim = int(_rim(heights, drainage.direction, cell, level))
        (row, column), (spill_row, spill_column) = divmod(cell, columns), divmod(rim, columns)
        found.append(Hollow(row, column, spill_row, spill_column, float(level),
                            float(deepest[deepest_bowl]), float(area[head]), float(volume[head])))
    return sorted(found, key=lambda hollow: -hollow.volume)


@kernel
def _rim(heights: NDArray[np.float32], direction: NDArray[np.uint8], cell: int, level: np.float32
         ) -> int:
    """The cell where the way out of a hollow first stands at its spill level."""
    columns = heights.shape[1]
    while heights[cell // columns, cell % columns] < level:
        k = direction[cell // columns, cell % columns]
        cell += ROW_STEP[k] * columns + COLUMN_STEP[k]
    return cell

