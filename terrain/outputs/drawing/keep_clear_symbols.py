"""Symbols of what works are to keep clear of, on the map and in its legend."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Rectangle
from numpy.typing import NDArray

from terrain.inputs.keep_clear import Thing
from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.base_map import View
from terrain.works.setbacks import BURIED, WELLS

FloatArray = NDArray[np.float64]

#: Entry of the legend: its words, by the key that `symbol_of` gives.
WORDS = {"keep well": "Well, to keep clear of", "keep septic": "Septic field, to keep clear of",
         "keep line": "Buried line", "keep tree": "Tree that stands, its drip line",
         "keep edge": "Foundation, wall or edge, to keep clear of",
         "keep ground": "Ground to keep clear of"}


def symbol_of(thing: Thing) -> str:
    """The symbol that a thing is drawn with, a key of `WORDS`."""
    if thing.kind in WELLS:
        return "keep well"
    if thing.kind in BURIED:
        return "keep line"
    return {"septic field": "keep septic", "tree": "keep tree", "rock": "keep ground",
            "wet ground": "keep ground", "unstable ground": "keep ground"}.get(thing.kind,
                                                                               "keep edge")


def draw_keep_clear(ax: Axes, thing: Thing, view: View, lift: float = 0.0) -> None:
    """A thing on the map: a well as a ring with its dot, a septic field hatched, a buried line
    with ticks, a tree as its crown, all in ink without fill; `lift` layers further up."""
    shape, key = thing.shape, symbol_of(thing)
    for part in getattr(shape, "geoms", [shape]):
        if key == "keep well":
            spot = part.representative_point()
            _well(ax, spot.x, spot.y, view.point, 18 + lift)
        elif key == "keep tree" and part.geom_type == "Point":
            _crown(ax, part.x, part.y, (thing.measure or 2 * (thing.distance or 2.0)) / 2,
                   view.point, lift)
        elif part.geom_type == "Point":
            ax.add_patch(Rectangle((part.x - 2.6 * view.point, part.y - 2.6 * view.point),
                                   5.2 * view.point, 5.2 * view.point, facecolor=sy.PAPER,
                                   edgecolor=sy.INK, linewidth=1.0, zorder=18 + lift, gid=key))
        elif part.geom_type == "Polygon":
            base.draw_area(ax, part, facecolor="none", edgecolor=sy.TREE if key == "keep tree" else
                           sy.INK, linewidth=0.9, linestyle=(0, (3.5, 1.8)), zorder=12.5 + lift,
                           gid=key, hatch={"keep septic": "||", "keep ground": "//"}.get(key, ""))
        else:
            _line(ax, np.asarray(part.coords)[:, :2], key, view.point, lift)


def _well(ax: Axes, x: float, y: float, point: float, zorder: float = 18) -> None:
    ax.add_patch(Circle((x, y), 3.8 * point, facecolor=sy.PAPER, edgecolor=sy.INK, linewidth=1.2,
                        zorder=zorder, gid="keep well"))
    ax.add_patch(Circle((x, y), 1.2 * point, facecolor=sy.INK, edgecolor="none",
                        zorder=zorder + 0.1, gid="keep well"))


def _crown(ax: Axes, x: float, y: float, radius: float, point: float, lift: float = 0.0
           ) -> None:
    ax.add_patch(Circle((x, y), radius, facecolor="none", edgecolor=sy.TREE, linewidth=1.0,
                        linestyle=(0, (3.5, 1.8)), zorder=12.5 + lift, gid="keep tree"))
    ax.add_patch(Circle((x, y), 1.5 * point, facecolor=sy.TREE, edgecolor="none",
                        zorder=12.6 + lift,
                        gid="keep tree"))


def _line(ax: Axes, line: FloatArray, key: str, point: float, lift: float = 0.0) -> None:
    """A thin line; of one in the ground, with ticks across it."""
    from shapely.geometry import LineString

    buried = key == "keep line"
    ax.add_line(Line2D(line[:, 0], line[:, 1], color=sy.INK, linewidth=0.9 if buried else 2.0,
                       zorder=12.5 + lift, solid_capstyle="butt", gid=key))
    if not buried:
        return
    shape = LineString(line)
    ticks = []
    for at in np.arange(6 * point, shape.length, 12 * point):
        here, ahead = (np.array(shape.interpolate(s).coords[0]) for s in (at, at + 0.1 * point))
        along = ahead - here
        along /= max(float(np.hypot(*along)), 1e-9)
        side = np.array([-along[1], along[0]]) * 2.6 * point
        ticks.append([here - side, here + side])
    ax.add_collection(LineCollection(ticks, colors=sy.INK, linewidths=0.9, zorder=12.5 + lift,
                                     gid=key), autolim=False)


def samples(ax: Axes, size: float = 1.0) -> list[tuple[str, str, Callable[..., None]]]:
    """Entries of the legend: key, words, and what draws the sample at a height and, where it is
    given, from a left edge on; `size` is that of the samples."""
    def field(hatch: str) -> Callable[..., None]:
        def made(y: float, left: float = 0.0) -> None:
            ax.add_patch(Rectangle((left + 8 * size, y - 5 * size), 26 * size, 10 * size,
                                   facecolor="none", edgecolor=sy.INK, linewidth=0.9,
                                   linestyle=(0, (3.5, 1.8)), hatch=hatch))
        return made

    def line(key: str) -> Callable[..., None]:
        def made(y: float, left: float = 0.0) -> None:
            _line(ax, np.array([[left + 4.0 * size, y], [left + 38.0 * size, y]]), key, size)
        return made

    def well(y: float, left: float = 0.0) -> None:
        _well(ax, left + 21 * size, y, 1.0, 5)

    def tree(y: float, left: float = 0.0) -> None:
        _crown(ax, left + 21 * size, y, 6.0 * size, 1.0)

    drawn = {"keep well": well, "keep septic": field("||"), "keep line": line("keep line"),
             "keep tree": tree, "keep edge": line("keep edge"), "keep ground": field("//")}
    return [(key, words, drawn[key]) for key, words in WORDS.items()]
