"""Holes in rasters: small ones filled from their rims, large ones told."""

import numpy as np
import pytest
import rasterio
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from rasterio.transform import Affine, from_origin
from scipy import ndimage

from terrain.inputs.elevation import read_elevation
from terrain.inputs.voids import fill_from_rim, find_voids


def slope(rows=40, columns=50):
    row, column = np.mgrid[0:rows, 0:columns]
    return (200 + 0.5 * column - 0.25 * row).astype(np.float32)  # exact in float32


@given(arrays(bool, st.tuples(st.integers(1, 12), st.integers(1, 12))))
def test_voids_are_those_of_an_independent_labelling(gone):
    """Against scipy.ndimage.label with corners joined."""
    voids = find_voids(np.where(gone, np.nan, 1).astype(np.float32))
    labels, count = ndimage.label(gone, structure=np.ones((3, 3)))
    assert voids.count == count
    assert sorted(voids.cells) == sorted(np.bincount(labels.ravel())[1:])
    sets = {frozenset(zip(*np.nonzero(labels == n), strict=True)) for n in range(1, count + 1)}
    mine = voids.cells_of(np.ones(count, bool)) if count else []
    assert {frozenset(zip(r, c, strict=True)) for r, c in mine} == sets
    rows, columns = gone.shape
    edge = set(labels[[0, -1]].ravel()) | set(labels[:, [0, -1]].ravel())
    assert int(voids.touching((True,) * 4, (rows, columns)).sum()) == len(edge - {0})


def test_a_plane_is_filled_as_a_plane(tmp_path, write_raster):
    # A plane solves Laplace's equation, also in differences: closed form.
    heights = slope()
    heights[10:15, 10:15] = -9999  # 25 cells of 1 m2: just small enough
    heights[20, 20] = -9999
    dem = read_elevation(write_raster(tmp_path / "h.tif", heights, nodata=-9999.0))
    assert np.allclose(dem.heights, slope(), atol=1e-4)
    assert int(dem.filled_holes.sum()) == 26
    assert dem.filled_holes[10:15, 10:15].all()
    assert "26 cells in 2 small holes were filled from their rims." in dem.notes


@pytest.mark.parametrize("size", [9, 20])  # below and above where the system is solved sparsely
def test_a_saddle_is_filled_as_a_saddle(size):
    # x y and x2 - y2 solve Laplace's equation in differences exactly: closed form.
    y, x = np.mgrid[0:30, 0:30].astype(float)
    for surface in (x * y, x ** 2 - y ** 2):
        heights = surface.copy()
        heights[5:5 + size, 5:5 + size] = np.nan
        rows, columns = np.nonzero(np.isnan(heights))
        fill_from_rim(heights, rows, columns)
        assert np.allclose(heights, surface, atol=1e-9)


@given(st.integers(0, 2 ** 32 - 1))
def test_a_filled_hole_has_no_pit_of_its_own(seed):
    rng = np.random.default_rng(seed)
    heights = rng.normal(100, 3, (12, 12))
    heights[3:9, 3:9][rng.random((6, 6)) < 0.7] = np.nan
    voids = find_voids(heights.astype(np.float32))
    for rows, columns in voids.cells_of(np.ones(voids.count, bool)):
        hole = np.zeros(heights.shape, bool)
        hole[rows, columns] = True
        rim = ndimage.binary_dilation(hole) & ~hole
        fill_from_rim(heights, rows, columns)
        assert heights[hole].min() >= heights[rim].min() - 1e-9
        assert heights[hole].max() <= heights[rim].max() + 1e-9


def test_larger_holes_are_left_and_told(tmp_path, write_raster):
    heights = slope()
    heights[10:15, 10:15] = -9999
    heights[15, 15] = -9999  # joined at a corner: 26 m2
    heights[0, 5:8] = -9999  # at the rim
    heights[25:35, 20:40] = -9999
    dem = read_elevation(write_raster(tmp_path / "h.tif", heights, nodata=-9999.0))
    assert np.array_equal(np.isnan(dem.heights), heights == -9999)
    assert not dem.filled_holes.any()
    assert any("3 voids have no heights, 2 of them enclosed by ground and the largest of 200 m² "
               "(2,153 ft²)" in note for note in dem.notes)


@pytest.mark.parametrize(("limit", "filled"), [(0, 0), (3.9, 0), (4, 1), (36, 10)])
def test_the_limit_is_an_area_not_a_number_of_cells(tmp_path, write_raster, limit, filled):
    heights = slope()
    heights[5, 5] = heights[20:23, 20:23] = -9999  # 4 m2 and 36 m2
    path = write_raster(tmp_path / "h.tif", heights, cell=2.0, nodata=-9999.0)
    dem = read_elevation(path, fill_holes=limit)
    assert int(dem.filled_holes.sum()) == filled
    assert int(np.isnan(dem.heights).sum()) == 10 - filled


def test_a_collar_is_never_filled(tmp_path, write_raster):
    heights = slope(12, 12)
    heights[:2] = heights[-2:] = heights[:, :2] = heights[:, -2:] = -9999
    heights[2, 4] = -9999  # a bay of the collar
    dem = read_elevation(write_raster(tmp_path / "h.tif", heights, nodata=-9999.0),
                         fill_holes=1e4)
    assert np.array_equal(np.isnan(dem.heights), heights == -9999)
    assert any("One void" in note and "at the edge" in note for note in dem.notes)


@given(arrays(bool, (9, 11)), arrays(bool, (9, 11)))
def test_voids_beside_other_cells_are_those_of_an_independent_labelling(gone, outside):
    """Against scipy.ndimage.label, each void grown by a cell."""
    gone = gone & ~outside
    voids = find_voids(np.where(gone, np.nan, 1).astype(np.float32))
    labels, count = ndimage.label(gone, structure=np.ones((3, 3)))
    grown = [ndimage.binary_dilation(labels == n, np.ones((3, 3))) for n in range(1, count + 1)]
    sizes = sorted(int((labels == n + 1).sum()) for n in range(count)
                   if (grown[n] & outside).any())
    assert sorted(voids.cells[voids.beside(outside)]) == sizes


@pytest.mark.parametrize("crs", ["EPSG:4326", "turned"])
@pytest.mark.parametrize(("hole", "said"), [
    (None, None), ((slice(20, 30), slice(20, 30)), "One void of"),
    ((slice(0, 10), slice(20, 30)), "at the edge")])
def test_corners_that_a_turn_leaves_empty_are_no_voids(tmp_path, crs, hole, said):
    heights = slope(60, 60)
    if hole is not None:
        heights[hole] = -9999
    step = 1e-5 if crs == "EPSG:4326" else 1.0
    at = (from_origin(19.0, -32.2, step, step) if crs == "EPSG:4326" else
          Affine.translation(512000, 6430000) * Affine.rotation(20) * Affine.scale(1, -1))
    path = tmp_path / "h.tif"
    with rasterio.open(path, "w", driver="GTiff", width=60, height=60, count=1, dtype="float32",
                       crs="EPSG:4326" if crs == "EPSG:4326" else "EPSG:32734", transform=at,
                       nodata=-9999.0) as out:
        out.write(heights, 1)
        out.units = ("metre",)
    dem = read_elevation(path)
    assert np.isnan(dem.heights).any()  # the corners, whatever else
    told = [note for note in dem.notes if "void" in note]
    assert len(told) == (said is not None)
    assert all(said in note for note in told)
    if said == "One void of":
        assert "enclosed by ground" in told[0]
