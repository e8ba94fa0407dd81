"""A page with a map at its left and a column of words at its right, the same for all that have."""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import Column


@dataclass(frozen=True)
class Frame:
    """How a page with a map is divided.

    Attributes
    ----------
    margin, panel, gutter : float
        Of the page, the column's width, and the gap between map and column. [in]
    """

    margin: float
    panel: float
    gutter: float

    def room(self, paper: tuple[float, float], below: float = 0.0) -> tuple[float, float]:
        """Width and height of the map on paper of a size, something drawn below it. [in]"""
        across, up = paper
        return across - 2 * self.margin - self.panel - self.gutter, up - 2 * self.margin - below

    def begun(self, paper: tuple[float, float], below: float = 0.0) -> tuple[Figure, Axes]:
        """A figure on paper of a size [in], and the axes of its map."""
        across, up = paper
        figure = Figure(figsize=paper, dpi=sy.DPI, facecolor=sy.PAPER)
        wide, high = self.room(paper, below)
        return figure, figure.add_axes((self.margin / across, (self.margin + below) / up,
                                        wide / across, high / up))

    def column(self, figure: Figure) -> Column:
        """The column of a figure."""
        across, up = (float(side) for side in figure.get_size_inches())
        return Column(figure, across - self.margin - self.panel, self.margin, self.panel,
                      up - 2 * self.margin)
