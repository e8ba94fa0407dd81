"""Shapes of the report's live map, in units of which the map is 1000 wide."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from terrain.inputs.elevation import Dem
from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.base_map import View
from terrain.surface.catchments import outline

FloatArray = NDArray[np.float64]

#: Width of the map in its own units, a pixel each on a wide screen before it is zoomed.
WIDE = 1000
#: Height over width lies between these.
FLATTEST, TALLEST = 0.6, 0.95
#: Lines are simplified within this many units.
WITHIN = 0.25
#: Width of the shaded ground. [pixels]
SHADE_PIXELS = 1500


@dataclass(frozen=True)
class Paper:
    """The map's own frame: x to the right, y down, from its north-west corner."""

    view: View

    @property
    def metres(self) -> float:
        """Metres in a unit."""
        return (self.view.east - self.view.west) / WIDE

    @property
    def high(self) -> float:
        """Height in units."""
        return (self.view.north - self.view.south) / self.metres

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Where a point of the working frame lies."""
        return (round((x - self.view.west) / self.metres, 1),
                round((self.view.north - y) / self.metres, 1))

    def path(self, shape: Any) -> str:
        """A shapely line or area as the `d` of an SVG path, cut to the map."""
        part = shape.intersection(self.view.box()).simplify(WITHIN * self.metres)
        said = []
        for piece in getattr(part, "geoms", [part]):
            if piece.is_empty or piece.geom_type not in ("Polygon", "LineString"):
                continue
            rings = ([piece.exterior, *piece.interiors] if piece.geom_type == "Polygon" else
                     [piece])
            for ring in rings:
                said.append(self._line(np.asarray(ring.coords)[:, :2])
                            + ("Z" if piece.geom_type == "Polygon" else ""))
        return "".join(said)

    def _line(self, points: FloatArray) -> str:
        x = (points[:, 0] - self.view.west) / self.metres
        y = (self.view.north - points[:, 1]) / self.metres
        return "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x, y, strict=True))


def paper_of(bounds: tuple[float, float, float, float]) -> Paper:
    """The map about a piece of ground, no flatter and no taller than suits a screen."""
    west, south, east, north = bounds
    tall = float(np.clip((north - south) / max(east - west, 1e-6), FLATTEST, TALLEST))
    return Paper(base.view_of(bounds, WIDE, WIDE * tall))


@sy.styled
def shaded(dem: Dem, view: View) -> str:
    """The shaded ground as the address of an embedded picture."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from PIL import Image

    tall = (view.north - view.south) / (view.east - view.west)
    figure = Figure(figsize=(SHADE_PIXELS / 100, SHADE_PIXELS * tall / 100), dpi=100,
                    facecolor=sy.PAPER)
    ax = figure.add_axes((0, 0, 1, 1))
    ax.set_axis_off()
    view.shown_on(ax)
    base.draw_shade(ax, dem)
    canvas: Any = FigureCanvasAgg(figure)
    out = io.BytesIO()
    canvas.draw()
    Image.fromarray(np.asarray(canvas.buffer_rgba())).convert("RGB").save(out, "WEBP", quality=72,
                                                                         method=4)
    return "data:image/webp;base64," + base64.b64encode(out.getvalue()).decode()


def region(mask: NDArray[np.bool_], dem: Dem) -> Any:
    """A set of cells as a shapely area with smooth edges; along the cells where it is narrow."""
    from contourpy import FillType, contour_generator
    from scipy.ndimage import gaussian_filter
    from shapely import Polygon, unary_union

    rows, columns = mask.shape
    x, _ = dem.xy(0, np.arange(-2, columns + 2))
    _, y = dem.xy(np.arange(-2, rows + 2), 0)
    soft = gaussian_filter(np.pad(mask.astype(np.float64), 2, mode="edge"), 0.9, mode="nearest")
    made: Any = contour_generator(x, y, soft, fill_type=FillType.OuterOffset).filled(0.5, 2.0)
    pieces = []
    for points, ends in zip(*made, strict=True):
        rings = [points[a:b] for a, b in pairwise(ends.tolist())]
        pieces.append(Polygon(rings[0], rings[1:]).buffer(0))
    shape = unary_union(pieces)
    if shape.area < 0.6 * mask.sum() * dem.cell_area:  # a strip of one cell would be lost
        return outline(mask, dem.transform)
    return shape


def thinned(cells: NDArray[Any], dem: Dem, view: View, crop: Dem) -> NDArray[Any]:
    """The part of a raster of cells that `base_map.cropped` shows of a view, thinned alike."""
    rows, columns = base.window(dem, view)
    step = base.stride_of(rows, columns)
    high, wide = crop.shape
    return cells[rows, columns][step // 2::step, step // 2::step][:high, :wide]
