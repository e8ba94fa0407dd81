"""A raster cut into tiles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

#: Side of a tile. [cells]
SIDE = 2048


@dataclass(frozen=True)
class Window:
    """Rows top to bottom and columns left to right of a raster, the last of each left out."""

    top: int
    bottom: int
    left: int
    right: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.bottom - self.top, self.right - self.left

    def wider(self, by: int, shape: tuple[int, int]) -> Window:
        """A window with so many cells more on each side, where the raster has them."""
        return Window(max(self.top - by, 0), min(self.bottom + by, shape[0]),
                      max(self.left - by, 0), min(self.right + by, shape[1]))

    def within(self, outer: Window) -> tuple[slice, slice]:
        """Where it lies in an array of a window around it."""
        return (slice(self.top - outer.top, self.bottom - outer.top),
                slice(self.left - outer.left, self.right - outer.left))


@dataclass(frozen=True)
class Grid:
    """Tiles of a raster, numbered row by row.

    Attributes
    ----------
    shape : (rows, columns)
        Of the raster.
    row_cuts, column_cuts : tuple of int
        Rising, from 0 to the number of rows and of columns.
    """

    shape: tuple[int, int]
    row_cuts: tuple[int, ...]
    column_cuts: tuple[int, ...]

    def __post_init__(self) -> None:
        for cuts, size in ((self.row_cuts, self.shape[0]), (self.column_cuts, self.shape[1])):
            if cuts[0] != 0 or cuts[-1] != size or any(b <= a for a, b in pairwise(cuts)):
                raise ValueError(f"cuts {cuts} do not rise from 0 to {size}")
        if max(np.diff(self.row_cuts)) * max(np.diff(self.column_cuts)) >= 2**31:
            raise ValueError("a tile has more than 2^31 cells")

    @classmethod
    def square(cls, shape: tuple[int, int], side: int = SIDE) -> Grid:
        """Tiles of so many cells a side; the last row and column of them may be smaller."""
        rows, columns = (_cuts(size, side) for size in shape)
        return cls(shape, tuple(rows), tuple(columns))

    @property
    def across(self) -> int:
        """Tiles in a row of them."""
        return len(self.column_cuts) - 1

    @property
    def count(self) -> int:
        """Tiles in all."""
        return (len(self.row_cuts) - 1) * self.across

    def window(self, number: int) -> Window:
        """The cells of a tile."""
        down, along = divmod(number, self.across)
        return Window(self.row_cuts[down], self.row_cuts[down + 1],
                      self.column_cuts[along], self.column_cuts[along + 1])

    def tiles_of(self, window: Window) -> list[int]:
        """Tiles that share cells with a window."""
        first, last = (int(np.searchsorted(self.row_cuts, row, "right")) - 1
                       for row in (window.top, window.bottom - 1))
        west, east = (int(np.searchsorted(self.column_cuts, column, "right")) - 1
                      for column in (window.left, window.right - 1))
        return [down * self.across + along for down in range(first, last + 1)
                for along in range(west, east + 1)]

    def in_raster(self, number: int, cells: NDArray[np.integer]) -> NDArray[np.int64]:
        """Flat indices in the raster of cells given by their flat indices in a tile."""
        window = self.window(number)
        row, column = np.divmod(cells.astype(np.int64), window.shape[1])
        return (row + window.top) * self.shape[1] + column + window.left

    def in_tile(self, number: int, cells: NDArray[np.int64]) -> NDArray[np.int64]:
        """The other way round."""
        window = self.window(number)
        row, column = np.divmod(cells, self.shape[1])
        return (row - window.top) * window.shape[1] + column - window.left


def _cuts(size: int, side: int) -> Sequence[int]:
    return [*range(0, size, side), size]


def perimeter(shape: tuple[int, int]) -> NDArray[np.int64]:
    """Flat indices of the outermost cells of a tile, rising."""
    rows, columns = shape
    if min(shape) < 3:
        return np.arange(rows * columns)
    sides = np.arange(1, rows - 1) * columns
    return np.concatenate([np.arange(columns), np.stack([sides, sides + columns - 1], 1).ravel(),
                           np.arange((rows - 1) * columns, rows * columns)])
