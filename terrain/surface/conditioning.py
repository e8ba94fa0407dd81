"""The surface that water is led over: culverts cut through banks, shallow hollows cut open.

It stands beside the heights that were read, which stay as they are; each change is counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import LineString

from terrain.inputs.elevation import Dem
from terrain.surface.breaching import Breached, breach_hollows

#: Less than this is the rounding of heights, and not counted as cut. [m]
LEAST_CUT = 0.001


@dataclass(frozen=True)
class Culvert:
    """A pipe or a bridge under which water passes, from where it goes in to where it comes out.

    Attributes
    ----------
    name : str
    line : LineString
        In the working frame; either end may be the lower one. [m]
    diameter : float or None
        Of its pipe, where that is known. [m]
    """

    name: str
    line: LineString
    diameter: float | None = None


@dataclass(frozen=True)
class Conditioning:
    """How the surface is made ready for routing.

    Attributes
    ----------
    breach_depth, breach_length : float
        Hollows are cut open where a channel no deeper and no longer than this does it; at 0 all
        stay, to be filled. [m]
    culverts : tuple of Culvert
    """

    breach_depth: float = 0.0
    breach_length: float = 0.0
    culverts: tuple[Culvert, ...] = ()


@dataclass(frozen=True)
class Conditioned:
    """A surface made ready, and what was changed for it.

    Attributes
    ----------
    heights : float32, shape (rows, columns)
        [m]
    culvert_cells : dict of str to int
        Cells that each culvert lowered.
    breached : Breached
    """

    heights: NDArray[np.float32]
    culvert_cells: dict[str, int]
    breached: Breached

    def notes(self, conditioning: Conditioning) -> list[str]:
        """What was changed, in whole sentences; none where nothing was asked for."""
        said = []
        for name, cells in self.culvert_cells.items():
            said.append(f"Water was led through the culvert \"{name}\"; cells lowered for it: "
                        f"{cells:,}." if cells else
                        f"The culvert \"{name}\" changed nothing: the ground along it already "
                        "falls from end to end.")
        if conditioning.breach_depth > 0:
            done, depth = self.breached, conditioning.breach_depth
            said.append("Hollows cut open in the surface that water is led over: "
                        f"{done.hollows:,}, by channels up to {depth:g} m deep and "
                        f"{conditioning.breach_length:g} m long; cells lowered: {done.cells:,}, "
                        f"by {done.deepest:.2f} m at most.")
        return said


def condition(dem: Dem, conditioning: Conditioning) -> Conditioned:
    """Make the surface of a `Dem` ready for routing; culverts first, then breaches.

    Where nothing is asked for, the surface is the heights themselves, not a copy.
    """
    if conditioning == Conditioning():
        return Conditioned(dem.heights, {}, Breached(0, 0, 0.0, 0.0))
    heights, cut = lead_through(dem, conditioning.culverts)
    opened, breached = breach_hollows(heights, dem.cell, conditioning.breach_depth,
                                      conditioning.breach_length)
    return Conditioned(opened, cut, breached)


def lead_through(dem: Dem, culverts: Sequence[Culvert]
                 ) -> tuple[NDArray[np.float32], dict[str, int]]:
    """Cut a way for water through the bank that each culvert crosses.

    The cells along its line are lowered to the straight grade between the ground at its two
    ends, where they stand above it; it falls all the way, if only by rounding, so that water does
    not leave it at a void.  A level one falls to the end drawn last.

    Returns
    -------
    heights : float32, shape (rows, columns)
        A new surface. [m]
    cut : dict of str to int
        Number of cells that each culvert lowered.

    Raises
    ------
    ValueError
        If an end lies off the known ground; the message names the culvert.
    """
    heights = dem.heights.copy()
    cut: dict[str, int] = {}
    for culvert in culverts:
        cells = cells_along(dem, culvert.line)
        inside = ((cells >= 0) & (cells < np.array(dem.shape))).all(axis=1).all()
        here = heights[cells[:, 0], cells[:, 1]] if inside else np.full(len(cells), np.nan)
        grade, above = grade_through(dem, culvert, cells, here)
        heights[cells[above, 0], cells[above, 1]] = grade[above]
        felt = np.isnan(here) | (here - grade > LEAST_CUT)
        cut[culvert.name] = cut.get(culvert.name, 0) + int(felt.sum())
    return heights, cut


def grade_through(dem: Dem, culvert: Culvert, cells: NDArray[np.int64],
                  here: NDArray[np.floating]) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """The floor of a culvert along its cells, and which of them stand above it.

    Parameters
    ----------
    dem : Dem
        Only its grid is asked for.
    cells : int64, shape (n, 2)
        As `cells_along` gives them.
    here : float32, shape (n,)
        Heights of the cells, NaN where unknown. [m]

    Raises
    ------
    ValueError
        If an end lies off the known ground; the message names the culvert.
    """
    import shapely

    if np.isnan(here[[0, -1]]).any():
        raise ValueError(f"the culvert \"{culvert.name}\" has an end off the known ground")
    x, y = dem.xy(cells[:, 0], cells[:, 1])
    along = shapely.line_locate_point(culvert.line, shapely.points(x, y))
    ends = here[[0, -1]].astype(np.float64)
    straight = ends[0] + (ends[1] - ends[0]) * along / culvert.line.length
    grade = _falling(straight if ends[0] > ends[1] else straight[::-1])
    if not ends[0] > ends[1]:  # level ones fall to the end drawn last
        grade = grade[::-1] if ends[0] < ends[1] else grade
    return grade, np.isnan(here) | (here > grade)


def _falling(grade: NDArray[np.float64]) -> NDArray[np.float32]:
    """The same grade so that each height is below the one before it, by the least that counts."""
    falling = grade.astype(np.float32)
    for i in range(1, falling.size):
        falling[i] = min(falling[i], np.nextafter(falling[i - 1], np.float32(-np.inf)))
    return falling


def cells_along(dem: Dem, line: LineString) -> NDArray[np.int64]:
    """Rows and columns of the cells that a line goes through, in its order, each beside the next.

    Neighbours are straight or diagonal; the cells are those nearest to the line.
    """
    corners = np.asarray(line.coords)
    rows, columns = dem.row_column(corners[:, 0], corners[:, 1])
    parts = []
    for i in range(len(rows) - 1):
        count = int(max(abs(rows[i + 1] - rows[i]), abs(columns[i + 1] - columns[i]), 1))
        part = np.linspace(0, 1, count + 1)
        parts.append(np.stack([np.rint(rows[i] + part * (rows[i + 1] - rows[i])),
                               np.rint(columns[i] + part * (columns[i + 1] - columns[i]))], 1))
    cells = np.concatenate(parts).astype(np.int64)
    new = np.ones(len(cells), bool)
    new[1:] = (np.diff(cells, axis=0) != 0).any(axis=1)
    return cells[new]
