"""The legend of the site map, and a sheet's title."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Polygon, Rectangle, RegularPolygon
from matplotlib.text import Text
from matplotlib.transforms import Affine2D

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.keep_clear_symbols import samples
from terrain.outputs.drawing.labels import Column

#: What each entry is called where room is short, and the size of that. [pt]
SHORT = {"swale": "swale", "drain": "drain", "basin": "basin", "hollow": "natural hollow",
         "wall": "wall", "pit": "pit", "tree basin": "tree basin", "crescent": "crescent",
         "trench": "trench", "tank": "tank", "sill": "sill", "spill": "way of the spill",
         "furrow": "furrow", "led": "pipe or pump", "catchment": "catchments",
         "drained": "what each drains",
         "way on": "where it goes", "turn-out": "let it go here", "run-on": "run-on",
         "flow": "water gathers", "shed": "sheds here", "bare": "bare ground", "road": "road",
         "culvert": "culvert", "roof": "roof", "breach": "if a bank fails",
         "caution": "grave cautions",
         "boundary": "boundary", "contour": "contours", "keep well": "well",
         "keep septic": "septic field", "keep line": "buried line", "keep tree": "tree that stands",
         "keep edge": "edge", "keep ground": "keep clear"}
SHORT_SIZE = 7.6


class Legend:
    """Symbols and their meaning, for what the map really shows."""

    def __init__(self, column: Column, flow: tuple[str, str], small: bool = False,
                 run_on: str = "") -> None:
        """Write it in a column.

        Parameters
        ----------
        flow : (str, str)
            From what volume on the ways of the water are drawn, in words, and in which storm.
        small : bool
            Closer lines, for a page where room is short.
        run_on : str
            What arrows of run-on tell of all that comes in, in words; "" where they tell it all.
        """
        self.column, self.ax, self.small = column, column.ax, small
        self.flow, self.notes = flow, {"flow": flow[1], "run-on": run_on}

    def draw(self, drawn: set[str]) -> None:
        """Draw an entry for everything that was drawn."""
        self.column.skip(12)
        for key, words, sample in self._entries():
            if key not in drawn:
                continue
            step, size = (14.2, sy.SMALL_SIZE) if self.small else (17.0, sy.TEXT_SIZE)
            y = self.column.y - step / 2
            sample(y)
            self.ax.text(50, y, words, fontsize=size, va="center", ha="left",
                         gid=f"legend:{key}")
            self.column.skip(step)
            if self.notes.get(key):
                self.ax.text(50, self.column.y - 4.5, self.notes[key], fontsize=sy.SMALL_SIZE,
                             color=sy.SOFT_INK, va="center", ha="left", gid="legend note")
                self.column.skip(11.0)

    def draw_short(self, drawn: set[str]) -> None:
        """Draw the same in two columns, in few words."""
        self.column.skip(10)
        entries = [(key, sample) for key, _, sample in self._entries() if key in drawn]
        left = True
        for key, sample in entries:
            before = set(self.ax.get_children())
            y = self.column.y - 7.0
            sample(y)
            across = 0.0 if left else self.column.width / 2
            for artist in self.ax.get_children():
                if artist in before or left:
                    continue
                if isinstance(artist, Text):
                    artist.set_x(artist.get_position()[0] + across)
                else:
                    artist.set_transform(Affine2D().translate(across, 0) + self.ax.transData)
            self.ax.text(across + 45, y, SHORT[key], fontsize=SHORT_SIZE, va="center", ha="left",
                         gid=f"legend:{key}")
            if not left:
                self.column.skip(13.5)
            left = not left
        if not left:
            self.column.skip(13.5)
        if "flow" in drawn:
            self.column.skip(2)
            self.column.text(f"{self.flow[0]} {self.flow[1]}.", SHORT_SIZE, sy.SOFT_INK)
        if "run-on" in drawn and self.notes["run-on"]:
            self.column.text(f"Run-on: {self.notes['run-on']}.", SHORT_SIZE, sy.SOFT_INK)

    def _entries(self) -> list[tuple[str, str, Callable[[float], None]]]:
        return [
            ("swale", "Swale, its berm on the downhill side", self._swale),
            ("drain", "Drain, falling the way it points", self._drain),
            ("basin", "Basin, full to its sill", self._basin),
            ("hollow", "Natural hollow, full to its rim", self._hollow),
            ("wall", "Wall of a basin", self._wall),
            ("pit", "Pit behind a wall", self._pit),
            ("tree basin", "Tree basin", self._tree),
            ("crescent", "Crescent about a tree, bund downhill", self._crescent),
            ("trench", "Trench uphill of its tree", self._trench),
            ("tank", "Tank", self._tank),
            ("sill", "Sill, where a full work spills", self._sill),
            ("spill", "Way of the spill", self._spill),
            ("furrow", "Furrow dug by hand, leads a spill", self._furrow),
            ("led", "Spill led by pipe or pump", self._led),
            ("catchment", "Catchment of a work, tints in turn", self._tints),
            ("drained", "What each place drains, tints in turn", self._tints),
            ("way on", "Where the water goes from there", self._spill),
            ("turn-out", "The road should let its water go here", self._turnout),
            ("run-on", "Run-on from beyond the boundary", self._run_on),
            ("flow", self.flow[0], self._flow),
            ("shed", "A road or bare ground sheds here", self._shed),
            ("bare", "Bare ground", self._bare),
            ("road", "Road", self._road),
            ("culvert", "Culvert or bridge, water passes under", self._culvert),
            ("roof", "Roof", self._roof),
            *samples(self.ax),
            ("breach", "Way of the water if a bank fails", self._breach),
            ("caution", "Grave cautions, how many: read them", self._caution),
            ("boundary", "Boundary", self._boundary),
            ("contour", "Contour, index contour", self._contour)]

    def _line(self, y: float, colour: str, width: float, style: Any = "-", x0: float = 4,
              x1: float = 38, **more: Any) -> None:
        self.ax.add_line(Line2D([x0, x1], [y, y], color=colour, linewidth=width, linestyle=style,
                                **more))

    def _swale(self, y: float) -> None:
        self._line(y + 1.4, sy.WATER, 3.2)
        self._line(y - 2.2, sy.EARTH, 1.6)

    def _drain(self, y: float) -> None:
        self._line(y, sy.WATER, 2.4, solid_capstyle="butt")
        base.arrowhead(self.ax, np.array([25.0, y]), np.array([1.0, 0.0]), 8.5, sy.WATER, 5)

    def _basin(self, y: float) -> None:
        self.ax.add_patch(Rectangle((8, y - 5), 26, 10, facecolor=sy.POOL, edgecolor=sy.WATER,
                                    linewidth=1.1))

    def _hollow(self, y: float) -> None:
        self.ax.add_patch(Rectangle((8, y - 5.5), 26, 11, facecolor=sy.HOLLOW,
                                    edgecolor=sy.WATER, linewidth=1.0))
        for x in np.arange(12.5, 32, 5.7):
            for foot, tip in ((y - 5.5, y - 2.2), (y + 5.5, y + 2.2)):
                self.ax.add_line(Line2D([x, x], [foot, tip], color=sy.WATER, linewidth=1.0))

    def _culvert(self, y: float) -> None:
        self._line(y, sy.WATER, 3.6, solid_capstyle="butt")
        self._line(y, sy.ROAD, 1.8, solid_capstyle="butt")

    def _wall(self, y: float) -> None:
        self._line(y, sy.EARTH, 4.0, solid_capstyle="butt")

    def _pit(self, y: float) -> None:
        self._line(y, sy.WATER, 0.9, (0, (4, 2)))

    def _tree(self, y: float) -> None:
        self.ax.add_patch(Circle((21, y), 5, facecolor=sy.TREE_FILL, edgecolor=sy.TREE,
                                 linewidth=1.2))

    def _crescent(self, y: float) -> None:
        turn = np.linspace(np.pi, 2 * np.pi, 25)
        x, z = 21 + 7 * np.cos(turn), y + 3 + 7 * np.sin(turn)
        self.ax.add_patch(Polygon(np.stack([x, z], 1), facecolor=sy.TREE_FILL, edgecolor="none"))
        self.ax.add_line(Line2D(x, z, color=sy.EARTH, linewidth=2.0))
        self._trunk(21, y + 3)

    def _trench(self, y: float) -> None:
        self.ax.add_patch(Rectangle((13, y + 0.5), 16, 3.6, facecolor=sy.POOL, edgecolor=sy.WATER,
                                    linewidth=0.8))
        self._trunk(21, y - 4)

    def _trunk(self, x: float, y: float) -> None:
        self.ax.add_patch(Circle((x, y), 2.2, facecolor=sy.TREE, edgecolor=sy.PAPER,
                                 linewidth=0.7, zorder=5))

    def _tank(self, y: float) -> None:
        for share, face in ((1.0, sy.PAPER), (0.62, sy.TANK)):
            self.ax.add_patch(Circle((21, y), 4.6 * share, facecolor=face, edgecolor=sy.TANK,
                                     linewidth=1.3))

    def _sill(self, y: float) -> None:
        self.ax.add_patch(Circle((21, y), 2.9, facecolor=sy.PAPER, edgecolor=sy.WATER,
                                 linewidth=1.2))

    def _spill(self, y: float) -> None:
        self._line(y, sy.WATER, 1.2, (0, (4.5, 2.2)))
        base.arrowhead(self.ax, np.array([25.0, y]), np.array([1.0, 0.0]), 8.5, sy.WATER, 5)

    def _furrow(self, y: float) -> None:
        self._line(y, sy.EARTH, 2.8, solid_capstyle="butt")
        self._line(y, sy.POOL, 1.1, solid_capstyle="butt")

    def _led(self, y: float) -> None:
        self._line(y, sy.TANK, 1.3, (0, (1.2, 1.6)))
        base.arrowhead(self.ax, np.array([25.0, y]), np.array([1.0, 0.0]), 8.5, sy.TANK, 5)

    def _tints(self, y: float) -> None:
        for i, tint in enumerate(sy.TINTS[:3]):
            self.ax.add_patch(Rectangle((4 + i * 11.4, y - 5), 11.4, 10, facecolor=tint,
                                        alpha=sy.TINT_ALPHA + 0.08, edgecolor="none"))

    def _run_on(self, y: float) -> None:
        self.ax.add_patch(Polygon([(36, y), (24, y + 6), (24, y + 2.8), (6, y + 2.8),
                                   (6, y - 2.8), (24, y - 2.8), (24, y - 6)], closed=True,
                                  facecolor=sy.PAPER, edgecolor=sy.WATER, linewidth=1.2))

    def _flow(self, y: float) -> None:
        for x0, width in ((4, 0.6), (16, 1.3), (28, 2.2)):
            self._line(y, sy.FLOW, width, "-", x0, x0 + 10)

    def _shed(self, y: float) -> None:
        for x, size in ((12, 4.5), (28, 7.5)):
            self.ax.add_patch(Circle((x, y), size, facecolor=sy.SHED, edgecolor=sy.PAPER,
                                     linewidth=1.0))

    def _bare(self, y: float) -> None:
        self.ax.add_patch(Rectangle((6, y - 5.5), 30, 11, facecolor="none", edgecolor=sy.BARE,
                                    hatch="....", linewidth=0.0, alpha=0.85))

    def _road(self, y: float) -> None:
        self._line(y, sy.ROAD_EDGE, 6.4, solid_capstyle="butt")
        self._line(y, sy.ROAD, 4.8, solid_capstyle="butt")

    def _roof(self, y: float) -> None:
        self.ax.add_patch(Rectangle((13, y - 5), 16, 10, facecolor=sy.ROOF,
                                    edgecolor=sy.ROOF_EDGE, linewidth=1.0))

    def _turnout(self, y: float) -> None:
        self.ax.add_patch(RegularPolygon((21, y), 4, radius=4.2, orientation=0.0,
                                         facecolor=sy.PAPER, edgecolor=sy.INK, linewidth=1.1))

    def _breach(self, y: float) -> None:
        self._line(y, sy.SHED, 4.2, (0, (0.45, 0.8)))

    def _caution(self, y: float) -> None:
        self.ax.text(21, y, "\u26a0", fontsize=sy.TEXT_SIZE, color=sy.SHED, ha="center",
                     va="center", fontweight="bold", gid="legend sample")

    def _boundary(self, y: float) -> None:
        self._line(y, sy.BOUNDARY, 1.7, (0, (9, 2.5, 1.5, 2.5)))

    def _contour(self, y: float) -> None:
        self._line(y + 2.6, sy.CONTOUR, 0.6)
        self._line(y - 2.6, sy.INDEX_CONTOUR, 1.1)


def title(column: Column, name: str, subtitle: str) -> None:
    """Write a sheet's title, as large as the column allows."""
    size = sy.TITLE_SIZE
    while size > 15 and len(column.wrapped(name, size, column.width, "bold")) > 1:
        size -= 1
    column.text(name, size, weight="bold", lead=1.2, gid="title")
    column.skip(1)
    # Printed at another size of dot, letters are a little wider: the rule is not overrun.
    for line in column.wrapped(subtitle, sy.HEAD_SIZE, 0.97 * column.width):
        column.text(line, sy.HEAD_SIZE, sy.SOFT_INK)
    column.skip(9)
    column.rule()
