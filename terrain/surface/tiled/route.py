"""Where water goes on a raster beyond memory: the steps in their order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.surface.tiled import bowls, drained, flats
from terrain.surface.tiled.grid import Window
from terrain.surface.tiled.spill import Answer, solve
from terrain.surface.tiled.work import Run, Work, one_by_one


@dataclass(frozen=True)
class Tiled:
    """Finished tiles of directions and of the filled surface, read window by window.

    Attributes
    ----------
    graph : (nodes, edges)
        Size of the graph over borders that was solved for them.
    """

    work: Work
    graph: tuple[int, int] = (0, 0)

    def direction(self, window: Window) -> NDArray[np.uint8]:
        """D8 directions, as `drain` gives them."""
        return self._laid(window, "direction", np.uint8)

    def filled(self, window: Window) -> NDArray[np.float32]:
        """The surface with every hollow raised to the lowest level at which it spills. [m]"""
        return self._laid(window, "filled", np.float32)

    def _laid(self, window: Window, name: str, kind: Any) -> NDArray[Any]:
        return self.work.laid_out(drained.STEP, name, window, 0, kind)


def route(work: Work, run: Run = one_by_one) -> Tiled:
    """Give every cell of a raster a way off it, as `terrain.surface.depressions.drain` does.

    Directions and the filled surface are those of `drain`, cell for cell.  Tiles that are
    kept already are not made again.

    Parameters
    ----------
    run : callable
        Runs the tasks of a step.

    References
    ----------
    .. [1] Barnes, Computers & Geosciences 96 (2016), 56-68.
    .. [2] Cordonnier, Bovy & Braun, Earth Surface Dynamics 7 (2019), 549-562.
    """
    grid = work.grid
    work.begin()
    first = run(bowls.lie_and_find, [(work, number) for number in range(grid.count)])
    joined = flats.join(grid, [part[0] for part in first])
    groups = flats.batches(joined, np.flatnonzero(joined.open))
    run(flats.lead_flats, [(work, bowls.OPEN_FLATS, batch, [joined.tiles(flat) for flat in group],
                            joined.box[group], None) for batch, group in enumerate(groups)])
    at = flats.batches_by_tile(joined, groups, grid.count)
    across = [number for number in range(grid.count) if first[number][1] is None]
    handed = [part[1] for part in first]
    del first
    closed = np.where(joined.open, -1, np.cumsum(~joined.open) - 1).astype(np.int32)
    found = run(bowls.find_across, [(work, number, closed[joined.flat_of[number]], at[number])
                                    for number in across])
    for number, part in zip(across, found, strict=True):
        handed[number] = part
    which = np.flatnonzero(~joined.open)
    solution = solve(grid, handed, which.size)
    del handed, found
    groups = flats.batches(joined, which)
    entry = np.zeros((joined.open.size, 3), np.int64)
    entry[which] = solution.entries
    run(flats.lead_flats, [(work, drained.CLOSED_FLATS, batch,
                            [joined.tiles(flat) for flat in group], joined.box[group],
                            entry[group]) for batch, group in enumerate(groups)])
    at = flats.batches_by_tile(joined, groups, grid.count)
    answers: list[Answer] = solution.answers
    run(drained.drain_tile, [(work, number, answers[number], at[number])
                             for number in range(grid.count)])
    return Tiled(work, (solution.nodes, solution.edges))
