"""Transfers and feeds of a run, worked each time that rain is given."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.flood.grid import Grid
from terrain.flood.local_inertia import PIECE
from terrain.flood.transfers import Feed, Transfer

FloatArray = NDArray[np.float64]
#: A transfer takes no more than this share of what stands over its floor at once, so that it does
#: not suck a cell dry that the water beside it would have filled again.
SHARE = 0.5


class Moves:
    """What is moved, and what has been.

    Attributes
    ----------
    moved : float64, shape (transfers + feeds,)
        So far. [m3]
    busy : bool
        Whether anything was moved the last time.
    fed, led_off : float
        Come by feeds; gone by transfers without a target. [m3]

    Raises
    ------
    ValueError
        If a source or target is not ground, or a feed does not start with nothing at 0 s.
    """

    def __init__(self, grid: Grid, transfers: dict[str, Transfer], feeds: dict[str, Feed]) -> None:
        self.grid, self.transfers, self.feeds = grid, transfers, feeds
        for name, part in [*((n, t.source) for n, t in transfers.items()),
                           *((n, t.target) for n, t in transfers.items() if len(t.target)),
                           *((n, f.target) for n, f in feeds.items())]:
            rows, columns = np.asarray(part, np.int64).reshape(-1, 2).T
            if not rows.size or not ((rows >= 0) & (rows < grid.rows) & (columns >= 0)
                                     & (columns < grid.columns)).all() or not (
                                         grid.ground[rows, columns].all()):
                raise ValueError(f"'{name}' takes or brings water where there is no ground")
        for name, feed in feeds.items():
            if not (feed.times[0] == 0 and feed.volumes[0] == 0 and (np.diff(feed.times) > 0).all()
                    and (np.diff(feed.volumes) >= 0).all()):
                raise ValueError(f"feed '{name}' does not start with 0 m3 at 0 s, or its times or "
                                 "volumes fall")
        self.moved = np.zeros(len(transfers) + len(feeds))
        self.fed, self.led_off, self.busy = 0.0, 0.0, False

    def work(self, h: NDArray[Any], bed: FloatArray, metres: Callable[[NDArray[Any]], FloatArray],
             whole: Callable[[FloatArray], NDArray[Any]], begin: float, end: float,
             stirred: NDArray[np.uint8]) -> None:
        """Move what is due between two times. [s]

        Parameters
        ----------
        h : shape (walled cells,)
            Depths as the run keeps them; `metres` and `whole` tell them in metres and back.
        bed : float64, shape (rows, columns)
            [m]
        stirred : uint8, shape (rows, pieces)
            Set where water is given or taken.
        """
        area, before = self.grid.cell**2, self.moved.sum()
        for number, transfer in enumerate(self.transfers.values()):
            rows, columns = transfer.source.T
            at = self.grid.flat(rows, columns)
            levels = bed[rows, columns] + metres(h[at])
            over = np.minimum(np.maximum(levels - transfer.floor, 0.0), metres(h[at]))
            if not over.any():
                continue
            above = float((levels * over).sum() / over.sum())
            below = -np.inf
            if len(transfer.target):
                there = transfer.target.T
                below = float((bed[there[0], there[1]]
                               + metres(h[self.grid.flat(*there)])).min())
            wanted = transfer.way.flow(above, below) * (end - begin) / area
            share = min(wanted / over.sum(), SHARE)
            taken = whole(over * share)
            h[at] -= taken
            self._stir(rows, columns, stirred)
            volume = float(metres(taken).sum()) * area
            self.moved[number] += volume
            if len(transfer.target):
                self._give(h, transfer.target, number, volume, metres, whole, stirred)
            else:
                self.led_off += volume
        for number, feed in enumerate(self.feeds.values(), start=len(self.transfers)):
            due = float(np.interp(end, feed.times, feed.volumes)) - self.moved[number]
            if due <= 0:
                continue
            given = self._give(h, feed.target, number, due, metres, whole, stirred)
            self.moved[number] += given
            self.fed += given
        self.busy = bool(self.moved.sum() > before)

    def _give(self, h: NDArray[Any], target: NDArray[np.int64], number: int, volume: float,
              metres: Callable[[NDArray[Any]], FloatArray],
              whole: Callable[[FloatArray], NDArray[Any]],
              stirred: NDArray[np.uint8]) -> float:
        """Share water out evenly over cells; the volume given. [m3]

        Of a transfer every unit taken is given: the first cells get the units that are over.
        """
        rows, columns = target.T
        at, area = self.grid.flat(rows, columns), self.grid.cell**2
        if h.dtype.kind == "f":
            h[at] += volume / area / len(at)
            given = volume
        else:
            units = int(whole(np.array([volume / area * (1 + 1e-12)]))[0])
            each, over = divmod(units, len(at))
            h[at] += np.int32(each)
            h[at[:over]] += 1
            given = float(metres(np.array([units]))[0]) * area
        self._stir(rows, columns, stirred)
        return given

    def _stir(self, rows: NDArray[np.int64], columns: NDArray[np.int64],
              stirred: NDArray[np.uint8]) -> None:
        stirred[rows, columns // PIECE] = 1
