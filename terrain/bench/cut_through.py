"""A section through a work as shapes and lines, the same as is printed on its sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.bench.laid import Laid
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.sheets.basin_sections import basin_section
from terrain.outputs.sheets.drain_sections import drain_section
from terrain.outputs.sheets.sections import KEY, SAME, Level
from terrain.outputs.sheets.swale_sections import swale_section
from terrain.outputs.sheets.tree_sections import tree_section

FloatArray = NDArray[np.float64]


@dataclass
class CutThrough:
    """What the printed sections' drawing draws, without its lettering.

    It takes the calls of `terrain.outputs.sheets.sections.Section`, and keeps shapes, lines and
    levels instead of putting them on paper.

    Attributes
    ----------
    shapes : list of (points, face, edge)
        From the back to the front; points float64, shape (n, 2). [m]
    lines : list of (points, colour, width, dashed)
    levels_said : list of Level
    heading : str
    key_said : list of (words, face, edge)
    extent : (west, east, low, high)
        [m]
    """

    point: float = 0.02
    heading: str = ""
    extent: tuple[float, float, float, float] = (0.0, 1.0, 0.0, 1.0)
    levels_said: list[Level] = field(default_factory=list)
    key_said: list[tuple[str, str, str]] = field(default_factory=list)
    _shapes: list[tuple[float, FloatArray, str, str]] = field(default_factory=list)
    _lines: list[tuple[float, FloatArray, str, float, bool]] = field(default_factory=list)

    @property
    def shapes(self) -> list[tuple[FloatArray, str, str]]:
        """Shapes from the back to the front."""
        return [(points, face, edge) for _, points, face, edge in
                sorted(self._shapes, key=lambda shape: shape[0])]

    @property
    def lines(self) -> list[tuple[FloatArray, str, float, bool]]:
        """Lines from the back to the front."""
        return [(points, colour, width, dashed) for _, points, colour, width, dashed in
                sorted(self._lines, key=lambda line: line[0])]

    def head(self, words: str) -> None:
        """Its heading."""
        self.heading = words

    def room(self, words: Sequence[str]) -> float:
        """Levels stand beside the picture, not in it."""
        return 0.0

    def frame(self, west: float, east: float, low: float, high: float, *given: Any,
              **named: Any) -> float:
        """What of it is shown; its lower edge."""
        self.extent = west, east, low, high
        self.point = (east - west) / 400
        return low

    def fill(self, points: Any, face: str, edge: str = "none", zorder: float = 2,
             gid: str | None = None, alpha: float = 1.0, hatch: str | None = None) -> None:
        """A shape."""
        self._shapes.append((zorder, np.asarray(points, float), face, edge))

    def between(self, x: FloatArray, low: FloatArray, high: FloatArray, face: str,
                edge: str = "none", zorder: float = 2, gid: str | None = None) -> None:
        """What lies between two lines over the same x, where the second is higher."""
        on = np.flatnonzero(high > low + 1e-9)
        for run in np.split(on, np.flatnonzero(np.diff(on) > 1) + 1):
            if run.size:
                run = np.arange(max(run[0] - 1, 0), min(run[-1] + 2, x.size))
                top = np.maximum(high[run], low[run])
                self.fill(np.concatenate([np.stack([x[run], low[run]], 1),
                                          np.stack([x[run], top], 1)[::-1]]), face, edge, zorder)

    def line(self, points: Any, colour: str, width: float = 1.2, style: Any = "-",
             zorder: float = 4, gid: str | None = None) -> None:
        """A line."""
        self._lines.append((zorder, np.asarray(points, float), colour, width, style != "-"))

    def surface(self, x: FloatArray, finished: FloatArray, ground: FloatArray) -> None:
        """The finished ground, and where it was another the ground as it is now, dashed."""
        self.line(np.stack([x, finished], 1), sy.INK, 1.3, zorder=5)
        if (np.abs(finished - ground) > SAME).any():
            self.ground(np.stack([x, ground], 1))

    def ground(self, points: Any) -> None:
        """The ground as it is now, dashed."""
        self.line(points, sy.SOFT_INK, 1.0, "--", 5.5)

    def levels(self, given: Sequence[Level], right: bool = True) -> None:
        """Levels to be written."""
        self.levels_said += given

    def key(self, names: Sequence[str]) -> None:
        """What the tints stand for."""
        self.key_said = [KEY[name][:3] for name in names]

    def across(self, *given: Any, **named: Any) -> None:
        """Dimensions stand in the table beside the picture."""

    up = note = slope = water_mark = across


def cut_through(laid: Laid, name: str, system: str) -> CutThrough | None:
    """The section of a work as its sheet shows it; None of a tank or a hollow."""
    index = laid.nodes_of(name)[0]
    built, made = laid.built[index], CutThrough()
    paper: Any = made  # it takes the same calls
    dem = laid.inputs.dem
    if built.swale is not None:
        swale_section(paper, built.swale, system)
    elif built.basin is not None:
        basin_section(paper, built.basin, dem, system)
    elif built.drain is not None:
        deepest = int(np.argmax(built.drain.route.above))
        drain_section(paper, built.drain, deepest, system)
    elif built.placed.tree is not None:
        tree_section(paper, built.placed.tree, built.placed.name, dem, laid.inputs.rules, system,
                     built.over_sill)
    else:
        return None
    return made
