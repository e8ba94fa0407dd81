"""The eight neighbours of a cell, and the codes of where water goes."""

from __future__ import annotations

import numpy as np

#: Row and column steps to the eight neighbours: E, SE, S, SW, W, NW, N, NE.
ROW_STEP = np.array([0, 1, 1, 1, 0, -1, -1, -1], np.int64)
COLUMN_STEP = np.array([1, 1, 0, -1, -1, -1, 0, 1], np.int64)
#: A cell at the edge of the known ground with no lower neighbour: water leaves it there.
LEAVES = np.uint8(8)
#: The lowest cell of a hollow, before the hollow is given a way out.
PIT = np.uint8(9)
#: A cell of unknown height.
VOID = np.uint8(255)
#: One over the square root of two: drop along a diagonal to drop per cell side.
PER_DIAGONAL = 0.5**0.5
