"""Where each cell sends its water: steepest descent to one of eight neighbours (D8)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.surface.kernels import cut_in_strips, in_strips, kernel
from terrain.surface.neighbours import COLUMN_STEP, LEAVES, PER_DIAGONAL, PIT, ROW_STEP, VOID

#: Straight neighbours before diagonal ones: water on a flat goes square to its rim.
STRAIGHT_FIRST = np.array([0, 2, 4, 6, 1, 3, 5, 7], np.int64)


@kernel
def _descend_at_border(heights: NDArray[np.float32], row: int, column: int) -> np.uint8:
    rows, columns = heights.shape
    here = np.float64(heights[row, column])
    if np.isnan(here):
        return VOID
    best, choice = 0.0, LEAVES
    for k in range(8):
        r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
        if r < 0 or c < 0 or r >= rows or c >= columns:
            continue
        drop = here - np.float64(heights[r, c])
        if k % 2 == 1:
            drop *= PER_DIAGONAL
        if drop > best:
            best, choice = drop, np.uint8(k)
    return choice


@kernel
def descend(heights: NDArray[np.float32], direction: NDArray[np.uint8], first: int, last: int
            ) -> None:
    """The loop over columns holds no branch, so that it compiles to vector instructions."""
    rows, columns = heights.shape
    for row in range(first, last):
        if row == 0 or row == rows - 1 or columns < 3:
            for column in range(columns):
                direction[row, column] = _descend_at_border(heights, row, column)
            continue
        direction[row, 0] = _descend_at_border(heights, row, 0)
        direction[row, columns - 1] = _descend_at_border(heights, row, columns - 1)
        north, level, south = heights[row - 1], heights[row], heights[row + 1]
        out = direction[row]
        for c in range(1, columns - 1):
            here = np.float64(level[c])
            e = here - np.float64(level[c + 1])
            se = (here - np.float64(south[c + 1])) * PER_DIAGONAL
            s = here - np.float64(south[c])
            sw = (here - np.float64(south[c - 1])) * PER_DIAGONAL
            w = here - np.float64(level[c - 1])
            nw = (here - np.float64(north[c - 1])) * PER_DIAGONAL
            n = here - np.float64(north[c])
            ne = (here - np.float64(north[c + 1])) * PER_DIAGONAL
            around = e + se + s + sw + w + nw + n + ne
            k = np.int32(8) if around != around else np.int32(9)  # a void beside it: LEAVES
            k = np.int32(255) if here != here else k
            best = 0.0
            k = np.int32(0) if e > best else k
            best = e if e > best else best
            k = np.int32(1) if se > best else k
            best = se if se > best else best
            k = np.int32(2) if s > best else k
            best = s if s > best else best
            k = np.int32(3) if sw > best else k
            best = sw if sw > best else best
            k = np.int32(4) if w > best else k
            best = w if w > best else best
            k = np.int32(5) if nw > best else k
            best = nw if nw > best else best
            k = np.int32(6) if n > best else k
            best = n if n > best else best
            k = np.int32(7) if ne > best else k
            out[c] = np.uint8(k)


@kernel
def count_code(direction: NDArray[np.uint8], code: np.uint8, first: int, last: int) -> int:
    """Number of cells of a code in rows first to last."""
    count = 0
    for row in range(first, last):
        for column in range(direction.shape[1]):
            count += direction[row, column] == code
    return count


@kernel
def list_code(direction: NDArray[np.uint8], code: np.uint8, first: int, last: int,
              cells: NDArray[np.int32], at: int) -> None:
    """Write the flat indices of those cells into `cells` from `at` on."""
    columns = direction.shape[1]
    for row in range(first, last):
        for column in range(columns):
            if direction[row, column] == code:
                cells[at] = row * columns + column
                at += 1


@kernel
def lead_over_flats(heights: NDArray[np.float32], direction: NDArray[np.uint8],
                    low: NDArray[np.int32]) -> None:
    """Lead the cells `low`, which have no lower neighbour, over their flat to its way out.

    A flat with none keeps one PIT; its other cells lead there.
    """
    columns = heights.shape[1]
    queue = np.empty(low.size, np.int32)
    last = 0
    for i in range(low.size):  # cells on the rim of a flat, beside a cell that goes on
        row, column = low[i] // columns, low[i] % columns
        for n in range(8):
            k = STRAIGHT_FIRST[n]
            r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
            if heights[r, c] == heights[row, column] and direction[r, c] < PIT:
                queue[last] = low[i]
                last += 1
                break
    for i in range(last):
        row, column = queue[i] // columns, queue[i] % columns
        for n in range(8):
            k = STRAIGHT_FIRST[n]
            r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
            if heights[r, c] == heights[row, column] and direction[r, c] < PIT:
                direction[row, column] = np.uint8(k) + np.uint8(16)  # settled after this round
                break
    for i in range(last):
        direction[queue[i] // columns, queue[i] % columns] -= np.uint8(16)
    last = _spread_over_flat(heights, direction, queue, 0, last)
    for i in range(low.size):
        if direction[low[i] // columns, low[i] % columns] == PIT:
            queue[0] = low[i]
            direction[low[i] // columns, low[i] % columns] = LEAVES  # so as not to be led itself
            _spread_over_flat(heights, direction, queue, 0, 1)
            direction[low[i] // columns, low[i] % columns] = PIT


@kernel
def _spread_over_flat(heights: NDArray[np.float32], direction: NDArray[np.uint8],
                      queue: NDArray[np.int32], first: int, last: int) -> int:
    columns = heights.shape[1]
    while first < last:
        row, column = queue[first] // columns, queue[first] % columns
        first += 1
        for n in range(8):
            k = STRAIGHT_FIRST[n]
            r, c = row + ROW_STEP[k], column + COLUMN_STEP[k]
            if r < 0 or c < 0 or r >= heights.shape[0] or c >= columns:
                continue
            if direction[r, c] == PIT and heights[r, c] == heights[row, column]:
                direction[r, c] = np.uint8((k + 4) % 8)
                queue[last] = r * columns + c
                last += 1
    return last


def steepest_descent(heights: NDArray[np.float32]) -> NDArray[np.uint8]:
    """D8 directions on a surface as it is, hollows left in it.

    Parameters
    ----------
    heights : float32, shape (rows, columns)
        NaN where unknown. [m]

    Returns
    -------
    direction : uint8, same shape
        0 to 7 (E, SE, S, SW, W, NW, N, NE) to the neighbour of greatest drop per distance,
        the first of equals; on a flat towards the nearest cell of its rim that goes on;
        LEAVES (8) at the edge of the known ground where no neighbour is lower; PIT (9) at the
        lowest cell of a hollow, one for each hollow; VOID (255) where the height is unknown.
        `drain` in `terrain.surface.depressions` leads the pits on.

    References
    ----------
    .. [1] O'Callaghan & Mark, Computer Vision, Graphics and Image Processing 28 (1984), 323-344.
    """
    heights = np.ascontiguousarray(heights, np.float32)
    strips = cut_in_strips(*heights.shape)
    direction = np.empty(heights.shape, np.uint8)
    in_strips(lambda first, last, _: descend(heights, direction, first, last), strips)
    counts = in_strips(lambda first, last, _: count_code(direction, PIT, first, last), strips)
    starts = np.concatenate([[0], np.cumsum(counts)])
    low = np.empty(starts[-1], np.int32)
    in_strips(lambda first, last, n: list_code(direction, PIT, first, last, low, starts[n]),
              strips)
    lead_over_flats(heights, direction, low)
    return direction

