"""Culverts on tiles: the same cells at the same heights as on the whole raster."""

import numpy as np
import pytest
from constructed import dem_of
from shapely import LineString

from terrain.inputs.dem import Dem
from terrain.surface.conditioning import Conditioning, Culvert
from terrain.surface.terrain import Terrain
from terrain.surface.tiled.culverts import lead_through
from terrain.surface.tiled.grid import Grid, Window
from terrain.surface.tiled.ground import ArrayValues
from terrain.surface.tiled.kept_tiles import KeptTiles
from terrain.surface.tiled.route import route
from terrain.surface.tiled.work import Work


def lattice_of(dem):
    """The same grid without heights."""
    return Dem(np.broadcast_to(np.float32(np.nan), dem.shape), dem.left, dem.top, dem.cell,
               dem.frame)


@pytest.fixture
def banked():
    """Ground that falls to the south, with two banks across it and a void within one."""
    row, column = np.indices((60, 50))
    heights = 100 - 0.1 * row + 0.02 * abs(column - 25)
    heights[20:24] += 3.0
    heights[40:43] += 3.0
    heights[41, 30] = np.nan
    return dem_of(heights, 2.0, 500.3, 812.7)


def line(dem, *cells):
    return LineString([tuple(float(v) for v in dem.xy(*cell)) for cell in cells])


def test_water_goes_through_the_same_culverts(tmp_path, banked):
    culverts = (Culvert("one", line(banked, (18, 25), (26, 27))),
                Culvert("over it", line(banked, (26, 22), (18, 28))),
                Culvert("under the void", line(banked, (38, 30), (45, 30))))
    terrain = Terrain(banked, Conditioning(culverts=culverts))
    ground = lead_through(ArrayValues(banked.heights), lattice_of(banked), culverts)
    whole = Window(0, 60, 0, 50)
    assert (terrain.ground != banked.heights).sum() >= 10
    assert np.array_equal(ground.read(whole), terrain.ground, equal_nan=True)
    tiled = route(Work(ground, Grid.square(banked.shape, 11), KeptTiles(tmp_path / "tiles")))
    assert np.array_equal(tiled.direction(whole), terrain.direction)
    assert np.array_equal(tiled.filled(whole), terrain.filled, equal_nan=True)
    assert ground.identity() != ArrayValues(banked.heights).identity()


def test_an_end_off_the_ground_is_refused_by_name(banked):
    culvert = Culvert("long one", line(banked, (18, 25), (70, 25)))
    with pytest.raises(ValueError, match="long one"):
        lead_through(ArrayValues(banked.heights), lattice_of(banked), [culvert])
