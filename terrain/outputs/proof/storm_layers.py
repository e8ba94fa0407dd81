"""What a moving picture of a storm is put together from: the land, the water at each time, and
what stands over both."""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray
from PIL import Image

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.base_map import View
from terrain.outputs.proof.depth_colours import BLUES, OPAQUE, depth_classes, rgb
from terrain.outputs.proof.flood_map import FloodMap
from terrain.proof.proof import Proof
from terrain.works.designed_ground import Grid

#: The longer side of the land and of what stands over it, on a screen and on a phone. [in], [px]
SCREEN, PHONE, DOTS = 7.6, 5.0, 1440
#: Ground about the property that is shown, as a share of its sides.
ABOUT = 0.06
#: The water has no more cells than this along a side; of a block of smaller ones the deepest
#: counts.
MOST_CELLS = 900


@dataclass(frozen=True)
class StormLayers:
    """The layers of a proof, all of one piece of ground.

    Attributes
    ----------
    proof : Proof
    """

    proof: Proof

    @cached_property
    def window(self) -> tuple[slice, slice]:
        """Rows and columns of the proof's grid that are shown."""
        west, south, east, north = self.proof.plan.inputs.ground.boundary.bounds
        over = ABOUT * max(east - west, north - south)
        return self.proof.ground.grid.window((west - over, south - over, east + over,
                                              north + over))

    @cached_property
    def part(self) -> Grid:
        """That part of the grid."""
        return self.proof.ground.grid.part(*self.window)

    @property
    def size(self) -> tuple[float, float]:
        """Width and height as shares of the longer side."""
        longest = max(self.part.rows, self.part.columns)
        return self.part.columns / longest, self.part.rows / longest

    @cached_property
    def land(self) -> Image.Image:
        """The ground and its roads."""
        return _painted(self._land[0]).convert("RGB")

    @cached_property
    def over(self) -> Image.Image:
        """What stands over the water, clear elsewhere, lettered for a screen."""
        return _painted(self._over[0])

    @cached_property
    def over_phone(self) -> Image.Image:
        """The same lettered for a phone."""
        return _painted(self.draw_over(PHONE)[0])

    @property
    def drawn(self) -> set[str]:
        """What land and screen show, by the names of legends."""
        return self._land[1].drawn | self._over[1].drawn

    @cached_property
    def _land(self) -> tuple[Figure, FloodMap]:
        return self.draw_land()

    @cached_property
    def _over(self) -> tuple[Figure, FloodMap]:
        return self.draw_over(SCREEN)

    @sy.styled
    def draw_land(self) -> tuple[Figure, FloodMap]:
        """The ground and its roads, and what was drawn."""
        figure, drawing = self._paper(SCREEN)
        drawing.land()
        drawing.finish_contours(drawing.contours())
        return figure, drawing

    @sy.styled
    def draw_over(self, inches: float) -> tuple[Figure, FloodMap]:
        """Works, roofs, boundary, names, scale and north, and what was drawn.

        Parameters
        ----------
        inches : float
            Longer side of the paper that it is lettered for: fewer names have room on less.
        """
        figure, drawing = self._paper(inches)
        figure.patch.set_alpha(0.0)
        drawing.ax.patch.set_alpha(0.0)
        drawing.over()
        drawing.roofs()
        drawing.scale_and_north()
        drawing.names(figures=False)
        return figure, drawing

    def _paper(self, inches: float) -> tuple[Figure, FloodMap]:
        wide, high = (inches * share for share in self.size)
        figure = Figure(figsize=(wide, high), dpi=DOTS / inches, facecolor=sy.PAPER)
        ax = figure.add_axes((0, 0, 1, 1))
        part = self.part
        view = View(part.left, part.top - part.rows * part.cell, part.left + part.columns
                    * part.cell, part.top, part.columns * part.cell / (wide * 72))
        view.shown_on(ax)
        ax.set_frame_on(False)
        return figure, FloodMap(self.proof, self.proof.after, ax, view, 30.0)

    @cached_property
    def step(self) -> int:
        """Cells of the grid along a side of one of the picture's."""
        return max(-(-max(self.part.rows, self.part.columns) // MOST_CELLS), 1)

    def water(self, depth: NDArray[Any]) -> Image.Image:
        """The water at a time, a picture of as many colours as depths have; a pixel is a cell.

        Parameters
        ----------
        depth : uint16, shape of the proof's grid
            [mm]
        """
        shown, step = depth[self.window], self.step
        high, wide = -(-shown.shape[0] // step), -(-shown.shape[1] // step)
        whole = np.zeros((high * step, wide * step), shown.dtype)
        whole[:shown.shape[0], :shown.shape[1]] = shown
        deepest = whole.reshape(high, step, wide, step).max((1, 3))
        picture = Image.fromarray(depth_classes(deepest / 1000.0), "P")
        picture.putpalette([255, 255, 255, *(part for colour in rgb() for part in colour)])
        picture.info["transparency"] = bytes([0] + [OPAQUE] * len(BLUES))
        return picture


def _painted(figure: Figure) -> Image.Image:
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=figure.dpi, metadata={"Software": None})
    return Image.open(out).convert("RGBA")
