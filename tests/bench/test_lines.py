"""Lines of the ground beside contourpy, shapely, scipy and closed forms."""

from dataclasses import replace

import contourpy
import numpy as np
import pytest
import shapely
from constructed import dem_of, formula_dem
from hypothesis import given
from hypothesis import strategies as st
from scipy import ndimage

from terrain.bench.layers import lines
from terrain.bench.layers.lines import contours, flow_ways, width_of
from terrain.bench.layers.outlines import outlines
from terrain.bench.layers.patches import catchment_patch, catchments_patch
from terrain.bench.layers.thinned import thinned
from terrain.inputs.elevation import read_elevation
from terrain.plan.siting.reading import read_inputs
from terrain.surface.terrain import Terrain
from terrain.works.swale import smoothed

FOOT = 0.3048


def cone(cell=1.0, steep=0.1, side=200.0):
    """A cone whose contours are circles about the middle. [m]"""
    return formula_dem(lambda x, y: 130 - steep * np.hypot(x - side / 2, y - side / 2), side, side,
                       cell)


@pytest.fixture(scope="module")
def inputs(tmp_path_factory, small_site_folder):
    return read_inputs(small_site_folder(tmp_path_factory.mktemp("lined")))


@pytest.fixture(scope="module")
def demo(demo_site):
    return read_elevation(demo_site.with_name("ground.tif"))


# -- contours


def test_contours_of_a_cone_are_circles():
    found = contours(cone(), "metric")
    for line, level in [*zip(found.thin, found.levels, strict=True),
                        *zip(found.heavy, found.heavy_levels, strict=True)]:
        away = np.hypot(line[:, 0] - 100, line[:, 1] - 100)
        if away.max() > 5:  # its point is smoothed away
            # Half a cell for points left out, and what smoothing flattens a cone: s2/2r.
            assert away == pytest.approx((130 - level) / 0.1, abs=0.5 + 2 / away.min())


@pytest.mark.parametrize(("system", "unit"), [("metric", 1.0), ("us", FOOT)])
def test_the_interval_is_round_and_every_fifth_line_is_heavy(demo, system, unit):
    found = contours(demo, system)
    step = found.interval / unit
    assert step == pytest.approx(min((1, 2, 5, 10), key=lambda s: abs(s - step)), abs=1e-9)
    assert found.words == f"Contours every {step:g} {'ft' if system == 'us' else 'm'}"
    number = np.array(found.levels) / found.interval
    assert number == pytest.approx(np.rint(number), abs=1e-6)
    assert (np.rint(number).astype(int) % 5 != 0).all()
    number = np.array(found.heavy_levels) / found.interval
    assert number == pytest.approx(np.rint(number), abs=1e-6)
    assert (np.rint(number).astype(int) % 5 == 0).all()
    assert len(found.heavy) > 5
    assert len(found.thin) > 20


def test_lines_keep_to_those_of_contourpy(demo):
    """Within half a cell either way, but for the short ones that are left out."""
    found = contours(demo, "metric")
    ground = smoothed(demo)
    x, _ = ground.xy(0, np.arange(ground.shape[1]))
    _, y = ground.xy(np.arange(ground.shape[0]), 0)
    made = contourpy.contour_generator(x, y, np.ma.masked_invalid(ground.heights.astype(float)))
    shown = {}
    for line, level in zip([*found.thin, *found.heavy], [*found.levels, *found.heavy_levels],
                           strict=True):
        shown.setdefault(round(level, 6), []).append(shapely.LineString(line))
    point = 640 / lines.ACROSS
    for level in np.arange(np.ceil(np.nanmin(ground.heights)), np.nanmax(ground.heights),
                           found.interval):
        want = [shapely.LineString(line) for line in made.lines(level)]
        long = shapely.MultiLineString([line for line in want
                                        if line.length > 1.2 * lines.SHORTEST * point])
        ours = shapely.MultiLineString(shown.get(round(float(level), 6), []))
        if ours.is_empty:
            assert long.is_empty
            continue
        assert not shapely.difference(ours, shapely.MultiLineString(want).buffer(0.55)).length
        assert not shapely.difference(long, ours.buffer(0.55)).length


def test_a_screen_is_given_no_more_points_than_it_can_draw(monkeypatch):
    _y, x = np.mgrid[0:2600, 0:2600].astype(np.float32)
    rng = np.random.default_rng(5)
    rough = ndimage.gaussian_filter(rng.standard_normal(x.shape).astype(np.float32), 4) * 60
    dem = dem_of((x * np.float32(0.02) + rough).astype(np.float32))
    found = contours(dem, "metric")
    assert 0 < found.points <= 200_000
    monkeypatch.setattr(lines, "MOST_POINTS", found.points // 4)
    fewer = contours(dem, "metric")
    assert 0 < fewer.points <= found.points // 4
    assert fewer.interval >= found.interval


def test_a_part_that_is_zoomed_to_has_finer_contours(demo):
    west, south, east, north = demo.bounds
    box = (west + 300, south + 300, west + 400, south + 400)
    near, far = contours(demo, "metric", box), contours(demo, "metric")
    assert near.interval < far.interval
    shape = shapely.MultiLineString([*near.thin, *near.heavy])
    left, bottom, right, top = shape.bounds
    assert left > box[0] - 6
    assert bottom > box[1] - 6
    assert right < box[2] + 6
    assert top < box[3] + 6
    with pytest.raises(ValueError, match="no ground"):
        contours(demo, "metric", (east + 100, south, east + 200, north))


def test_levels_are_written_along_their_lines_and_not_upside_down(demo):
    for system, unit in (("metric", 1.0), ("us", FOOT)):
        found = contours(demo, system)
        by_level = {}
        for line, level in zip(found.heavy, found.heavy_levels, strict=True):
            by_level.setdefault(round(level / unit), []).append(shapely.LineString(line))
        assert len(found.labels) >= 10
        for label in found.labels:
            level = round(float(label.words.replace(",", "")))
            place = shapely.Point(label.x, label.y)
            line = min(by_level[level], key=place.distance)
            assert place.distance(line) < 1e-6
            assert -np.pi / 2 - 1e-9 <= label.angle <= np.pi / 2 + 1e-9
            along = line.project(place)
            a, b = (line.interpolate(along + d) for d in (-8.0, 8.0))
            way = np.arctan2(b.y - a.y, b.x - a.x)
            assert abs(np.sin(way - label.angle)) < 0.5


def test_ground_that_is_level_or_unknown_has_no_contours():
    flat = contours(dem_of(np.full((30, 30), 12.3)), "metric")
    assert flat.points == 0
    assert flat.labels == []
    assert contours(dem_of(np.full((30, 30), np.nan)), "metric").points == 0
    assert contours(dem_of(np.ones((1, 30))), "metric").points == 0


def test_thinned_ground_holds_the_means_of_its_cells():
    rng = np.random.default_rng(1)
    heights = rng.normal(100, 1, (40, 61)).astype(np.float32)
    heights[3, 4] = np.nan
    thin = thinned(dem_of(heights), 30)
    assert (thin.cell, thin.left, thin.top) == (3.0, 0.0, 40.0)
    assert thin.shape == (13, 20)
    blocks = heights[:39, :60].reshape(13, 3, 20, 3)
    assert thin.heights == pytest.approx(np.nanmean(blocks, axis=(1, 3)), abs=1e-4)


# -- ways of the water


def test_a_valley_has_one_way_that_gathers_what_lies_above_it():
    """A V falls south at 4 % and to its floor at 8 %: its sides fall most along the diagonal, so a
    cell reaches the floor as many rows further south as it lies columns aside, or leaves before."""
    dem = formula_dem(lambda x, y: 200 + 0.04 * y + 0.08 * abs(x - 60.5), 121, 160, 1.0)
    found = flow_ways(Terrain(dem), "metric")
    floor = max(found.ways, key=lambda way: way.area)
    assert floor.line[:, 0] == pytest.approx(60.5, abs=0.6)
    assert floor.line[0, 1] > floor.line[-1, 1]  # downhill
    lost = 2 * sum(range(1, 61))
    assert floor.area == 121 * 160 - lost - 121  # what enters the last cell, beside its own row
    assert floor.width == max(way.width for way in found.ways)
    assert all(way.area >= found.least for way in found.ways)


@pytest.mark.parametrize(("system", "unit", "words"), [("metric", 1e4, "ha"),
                                                       ("us", 4046.8564, "acre")])
def test_ways_begin_at_a_round_piece_of_ground(inputs, system, unit, words):
    found = flow_ways(inputs.terrain, system)
    digits = f"{found.least / unit:.5g}".strip("0.")
    assert digits in ("1", "2", "5")
    assert words in found.words
    assert len(found.ways) >= 1


def test_ways_lie_in_cells_that_gather_as_much(demo):
    terrain = Terrain(demo)
    found = flow_ways(terrain, "metric")
    gathered = ndimage.maximum_filter(terrain.contributing_area, 3)
    for way in found.ways:
        row, column = demo.row_column(way.line[:, 0], way.line[:, 1])
        assert (gathered[row, column] >= found.least).all()


def test_ways_are_wider_with_what_they_gather():
    areas = np.array([1.0, 3.0, 10.0, 1000.0]) * 500
    widths = [width_of(float(area), 500.0) for area in areas]
    assert widths == sorted(widths)
    assert len(set(widths)) == 4
    assert width_of(400.0, 500.0) == widths[0]


def test_many_wet_cells_raise_what_ways_begin_at(demo, monkeypatch):
    terrain = Terrain(demo)
    usual = flow_ways(terrain, "metric")
    monkeypatch.setattr(lines, "MOST_WET", 1500)
    fewer = flow_ways(terrain, "metric")
    assert fewer.least > usual.least
    assert (terrain.contributing_area >= fewer.least).sum() <= 1500


# -- outlines


def test_outlines_are_those_of_the_layers(inputs):
    found = {(one.kind, one.name): one for one in outlines(inputs)}
    ring, = found["boundary", "Small valley"].areas[0]
    assert shapely.Polygon(ring).equals(shapely.box(500010, 6399850, 500110, 6399980))
    ring, = found["roof", "barn"].areas[0]
    assert shapely.Polygon(ring).equals(shapely.box(500095, 6399890, 500105, 6399898))
    ring, = found["road", "track"].areas[0]
    line = shapely.LineString([(500012, 6399960), (500108, 6399955)])
    assert shapely.Polygon(ring).area == pytest.approx(4 * line.length, rel=0.01)
    assert list(found)[-1][0] == "boundary"  # drawn last


def test_holes_points_and_lines_of_outlines(inputs):
    from terrain.inputs.keep_clear import Thing

    ring = shapely.box(0, 0, 30, 30).difference(shapely.box(10, 10, 20, 20))
    two = shapely.MultiPolygon([ring, shapely.box(50, 50, 60, 60)])
    ground = replace(inputs.ground, boundary=two, keep_clear=(
        Thing("tree", "oak", shapely.Point(5, 6), None, 8.0),
        Thing("private well", "old well", shapely.Point(7, 8)),
        Thing("buried water line", "pipe", shapely.LineString([(0, 0), (9, 9)]))))
    found = {one.name: one for one in outlines(replace(inputs, ground=ground))}
    assert [len(area) for area in found["Small valley"].areas] == [2, 1]
    rebuilt = shapely.MultiPolygon([shapely.Polygon(a[0], a[1:])
                                    for a in found["Small valley"].areas])
    assert rebuilt.equals(two)
    assert found["oak"].points.tolist() == [[5, 6]]
    assert found["oak"].radius == 4.0
    assert found["old well"].kind == "keep well"
    assert found["old well"].radius == 0.0
    assert found["pipe"].lines[0].tolist() == [[0, 0], [9, 9]]


# -- patches


def cells_under(patch, dem, shape):
    """A patch laid back on the raster: for each cell's centre the patch's number there."""
    x, _ = dem.xy(0, np.arange(shape[1]))
    _, y = dem.xy(np.arange(shape[0]), 0)
    left, bottom, right, top = patch.extent
    high, wide = patch.cells.shape
    column = np.floor((x - left) / (right - left) * wide).astype(int)
    row = np.floor((y - bottom) / (top - bottom) * high).astype(int)
    laid = np.zeros(shape, int)
    inside = np.ix_((row >= 0) & (row < high), (column >= 0) & (column < wide))
    laid[inside] = patch.cells[np.ix_(row[(row >= 0) & (row < high)],
                                      column[(column >= 0) & (column < wide)])]
    return laid


@given(st.integers(1, 40), st.integers(1, 50), st.integers(0, 10_000), st.floats(0.01, 0.6))
def test_a_patch_laid_back_is_the_catchment(rows, columns, seed, share):
    cells = np.random.default_rng(seed).random((rows, columns)) < share
    dem = dem_of(np.zeros((rows, columns)), 0.5, 1000.25, 2000.75)
    patch = catchment_patch(dem, cells)
    if patch is None:
        assert not cells.any()
        return
    assert patch.cells.dtype == np.uint8
    assert np.array_equal(cells_under(patch, dem, cells.shape), cells)
    assert patch.cells[0].any()
    assert patch.cells[-1].any()
    assert patch.cells[:, 0].any()
    assert patch.cells[:, -1].any()


@given(st.integers(20, 70), st.integers(20, 70), st.integers(0, 10_000))
def test_a_thinned_patch_covers_every_cell_and_little_more(rows, columns, seed):
    cells = np.random.default_rng(seed).random((rows, columns)) < 0.05
    cells[rows // 2] = True  # a strip of single cells
    dem = dem_of(np.zeros((rows, columns)))
    patch = catchment_patch(dem, cells, most=16)
    assert max(patch.cells.shape) <= 16
    laid = cells_under(patch, dem, cells.shape) > 0
    assert (laid | ~cells).all()
    step = round((patch.extent[2] - patch.extent[0]) / patch.cells.shape[1])
    near = ndimage.maximum_filter(cells, 2 * step - 1)
    assert (near | ~laid).all()


def test_all_catchments_are_one_raster_of_their_numbers(inputs):
    dem = inputs.dem
    marks = np.zeros(dem.shape, np.int32)
    marks[80, 60], marks[120, 60], marks[150, 20] = 1, 2, 3
    labels = inputs.terrain.labels(marks)
    patch = catchments_patch(dem, labels)
    assert patch.cells.dtype == np.uint8
    assert patch.extent == dem.bounds
    assert np.array_equal(cells_under(patch, dem, dem.shape), labels)
    many = np.where(labels == 2, 300, labels).astype(np.int32)
    assert catchments_patch(dem, many).cells.dtype == np.uint16
    assert catchments_patch(dem, many).cells.max() == 300
    for bad in (70_000, -1):
        with pytest.raises(ValueError, match="catchment"):
            catchments_patch(dem, np.full(dem.shape, bad, np.int32))
