"""Roads as areas over the middles of just those cells that are road on the whole ground."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import geopandas
import numpy as np
import shapely

from terrain.district.copies import numbered, words_of
from terrain.inputs.dem import Dem
from terrain.inputs.layers import rasterized
from terrain.inputs.site import Roads
from terrain.runoff.ground import Road
from terrain.surface.tiled.grid import Window
from terrain.surface.tiled.ground import ElevationValues

#: Side of a block in which a shape's cells are looked for. [cells]
BLOCK = 1024


def road_areas(layer: geopandas.GeoDataFrame, spec: Roads, roads: Sequence[Road],
               values: ElevationValues) -> geopandas.GeoDataFrame:
    """Roads as areas over the middles of just those cells that `read_ground` makes road of on the
    whole ground, in the order in which it lays them: later ones over earlier.

    Parameters
    ----------
    layer : GeoDataFrame
        Lines. [m]
    roads : sequence of Road
        What `read_ground` made of them one by one; names end in their numbers from 1.

    Returns
    -------
    areas : GeoDataFrame
        With `cover`, the class of each.
    """
    names = words_of(layer, spec.name_field)
    rows = []
    first: dict[tuple[str, str], int] = {}
    for road in roads:
        number = int(road.name.rpartition(" ")[2]) - 1
        name = names[number] or road.name
        area = (road.surface if _covers_a_middle(road.surface, values)
                else _touched(layer.geometry.iloc[number], values))
        rows.append((first.setdefault((name, road.cover), number), number, area, road.cover))
    rows = sorted((row for row in rows if row[2] is not None), key=lambda row: row[:2])
    return numbered([row[2] for row in rows], cover=np.array([row[3] for row in rows], object))


def _blocks(shape: Any, values: ElevationValues) -> Iterator[Dem]:
    """Parts of the whole grid that a shape touches, a block at a time."""
    west, _, _, north = values.files.bounds
    cell = values.files.cell
    x0, y0, x1, y1 = shape.bounds
    rows, columns = values.shape
    top, bottom = max(int((north - y1) // cell) - 1, 0), min(int((north - y0) // cell) + 2, rows)
    left, right = max(int((x0 - west) // cell) - 1, 0), min(int((x1 - west) // cell) + 2, columns)
    for row in range(top, bottom, BLOCK):
        for column_ in range(left, right, BLOCK):
            part = values.lattice(Window(row, min(row + BLOCK, bottom), column_,
                                         min(column_ + BLOCK, right)))
            if shape.intersects(shapely.box(*part.bounds)):
                yield part


def _covers_a_middle(area: Any, values: ElevationValues) -> bool:
    """Whether some cell of the whole grid has its middle in an area."""
    inside = area.intersection(shapely.box(*values.files.bounds))
    # Any disc of half a cell's diagonal holds the middle of the cell that it is centred in.
    if not inside.buffer(-0.7072 * values.files.cell).is_empty:
        return True
    return any(rasterized([(area, 1)], part, 0, np.uint8).any()
               for part in _blocks(area, values))


def _touched(shape: Any, values: ElevationValues) -> Any:
    """Squares about the middles of the cells that a shape touches; None where there are none."""
    quarter = values.files.cell / 4
    squares: list[Any] = []
    for part in _blocks(shape, values):
        cells = rasterized([(shape, 1)], part, 0, np.uint8, all_touched=True)
        x, y = part.xy(*np.nonzero(cells))
        squares += shapely.box(x - quarter, y - quarter, x + quarter, y + quarter).tolist()
    return shapely.MultiPolygon(squares) if squares else None
