"""The way of water from cell to cell as a smooth line, its length and its fall."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem

#: No point moves further than this from its cell's centre, in cell sides.  Pieces of a path that
#: do not meet are half a cell's diagonal or more apart, so twice this must stay below 0.707.
MOST_MOVED = 0.35
#: How many times neighbours are averaged: over about 3 cells to each side, which is longer than
#: the steps of a path between two of the eight directions.
PASSES = 16


@dataclass(frozen=True)
class FlowLine:
    """The way that water takes over the ground.

    Attributes
    ----------
    line : float64, shape (points, 2)
        A point for each cell of the path, in the working frame. [m]
    along : float64, shape (points,)
        Distance in plan of each from the start. [m]
    fall : float
        From the start to the end, 0 or more on filled ground. [m]
    """

    line: NDArray[np.float64]
    along: NDArray[np.float64]
    fall: float

    @property
    def length(self) -> float:
        """In plan. [m]"""
        return float(self.along[-1])

    @property
    def slope(self) -> float:
        """Fall over length; 0 for a way without length. [m/m]"""
        return self.fall / self.length if self.length > 0 else 0.0


def flow_line(dem: Dem, path: NDArray[np.int64], filled: NDArray[np.float32]) -> FlowLine:
    """A path of cells as a line without its zigzag.

    Parameters
    ----------
    path : int64, shape (cells, 2)
        Rows and columns, each beside the one before, as `trace_downslope` gives them.
    filled : float32, shape (rows, columns)
        Heights that the fall is taken from: the ground with its hollows filled. [m]

    Returns
    -------
    flow_line : FlowLine
        From the first cell's centre to the last's.  Its points are about a cell side apart, and
        it lies within `MOST_MOVED` cell sides of the straight way from centre to centre, and
        that of it: everywhere less than half a cell side.  It crosses itself only where the
        path does.

    Raises
    ------
    ValueError
        If the path is empty.

    Notes
    -----
    Each centre moves to the mean of itself and of its neighbours' middle, `PASSES` times [1]_,
    and after each is brought back to within `MOST_MOVED` of where it was, so that bends do not
    shrink without end.  Corner cutting (Chaikin, 1974) would leave half of the zigzag's length.

    A path made of the eight directions only is up to 8 % longer than the way it stands for.
    Averaging takes out what goes to and fro; it cannot know that water was led wrong: on an
    even slope between two directions, D8 goes straight in one of them.

    References
    ----------
    .. [1] Taubin, G., 1995: A signal processing approach to fair surface design. SIGGRAPH 95,
       351-358 (repeated averaging of neighbours: "Gaussian smoothing").
    """
    if not len(path):
        raise ValueError("a path of no cells makes no line")
    centres = np.stack(dem.xy(path[:, 0], path[:, 1]), 1)
    line = centres.copy()
    most = MOST_MOVED * dem.cell
    for _ in range(PASSES):
        line[1:-1] = line[1:-1] / 2 + (line[:-2] + line[2:]) / 4
        moved = line - centres
        line = centres + moved * (most / np.maximum(np.hypot(*moved.T), most))[:, None]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    start, end = (float(filled[row, column]) for row, column in (path[0], path[-1]))
    return FlowLine(line, along, start - end)
