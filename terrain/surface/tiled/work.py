"""What every step of a tiled run is given, and how its tasks are run."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from terrain import __version__
from terrain.surface.tiled.grid import Grid, Window
from terrain.surface.tiled.ground import Values
from terrain.surface.tiled.kept_tiles import KeptTiles

#: What a tile hands over: arrays no longer than its perimeter, by name.
Handed = dict[str, NDArray[Any]]
Found = TypeVar("Found")
#: Runs a function on each row of arguments and gives what it returned, in their order.
Run = Callable[[Callable[..., Any], Sequence[tuple[Any, ...]]], list[Any]]


@dataclass(frozen=True)
class Work:
    """A raster cut into tiles, and where finished tiles are kept."""

    ground: Values
    grid: Grid
    tiles: KeptTiles

    def begin(self) -> None:
        """Take the folder for this raster, this cut and this version, or go on there.

        Raises
        ------
        InputError
            If it holds tiles of other ones, or something else, or cannot be written.
        """
        self.tiles.begin({"ground": self.ground.identity(), "made by": __version__,
                          "rows": [*map(int, self.grid.row_cuts)],
                          "columns": [*map(int, self.grid.column_cuts)]})

    def heights(self, window: Window) -> NDArray[np.float32]:
        """Heights of a window, NaN where unknown. [m]"""
        return np.ascontiguousarray(self.ground.read(window), np.float32)

    def handed(self, step: str, number: int, names: Sequence[str]) -> Handed:
        """What a finished tile handed over, in memory."""
        return dict(zip(names, self.tiles.get(step, number, *names), strict=True))

    def laid_out(self, step: str, name: str, window: Window, beyond: Any,
                 kind: type[np.generic]) -> NDArray[Any]:
        """A window of the raster pieced together of finished tiles; `beyond` the raster's edge."""
        laid: NDArray[Any] = np.full(window.shape, beyond, kind)
        rows, columns = self.grid.shape
        inside = Window(max(window.top, 0), min(window.bottom, rows), max(window.left, 0),
                        min(window.right, columns))
        for number in self.grid.tiles_of(inside):
            tile = self.grid.window(number)
            part = Window(max(tile.top, inside.top), min(tile.bottom, inside.bottom),
                          max(tile.left, inside.left), min(tile.right, inside.right))
            laid[part.within(window)] = self.tiles.mapped(step, number, name)[part.within(tile)]
        return laid


def one_by_one(function: Callable[..., Found], rows: Sequence[tuple[Any, ...]]) -> list[Found]:
    """Run tasks one after another in this process."""
    return [function(*row) for row in rows]
