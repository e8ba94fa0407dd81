"""Culverts, breaching, tiles and windows, from the site file and from quick questions."""

import numpy as np
import pytest
from constructed import NORTH, WEST, valley
from shapely.geometry import LineString, Point

import terrain.surface.window as window
from terrain.errors import InputError
from terrain.plan.question import GroundWords, RainWords, RasterWords
from terrain.plan.shed_question import catchment_of_point
from terrain.plan.siting.reading import read_inputs
from terrain.plan.survey import survey

CN = GroundWords(curve_number=80.0)


def banked(bank=1.5):
    """The valley with a road bank of four rows across it, 100 rows down."""
    heights = valley()
    heights[100:104] = np.maximum(heights[100:104], heights[100, 60] + np.float32(bank))
    return heights


def at(row, column):
    return WEST + column + 0.5, NORTH - row - 0.5


@pytest.fixture
def culvert(tmp_path, write_layer):
    return write_layer(tmp_path / "culverts.geojson", [
        {"name": "big pipe", "geometry": LineString([at(98, 60), at(105, 60)])}])


def test_a_culvert_of_a_quick_question_drains_the_pond_behind_the_bank(tmp_path, culvert,
                                                                       write_raster):
    path = write_raster(tmp_path / "ground.tif", banked())
    before = survey(path, RasterWords())
    assert before.hollows[0].depth == pytest.approx(1.5, abs=0.05)
    found = survey(path, RasterWords(culverts=culvert))
    assert found.hollows == []
    assert any("\"big pipe\"" in note for note in found.question.dem.notes)
    assert np.array_equal(found.question.dem.heights, banked())  # what was read stays


def test_breaching_opens_a_low_bank_and_leaves_a_high_one(tmp_path, write_raster):
    low = write_raster(tmp_path / "low.tif", banked(0.3))
    high = write_raster(tmp_path / "high.tif", banked(1.5))
    words = RasterWords(breach_depth=0.5, breach_length=10.0)
    assert survey(low, words).hollows == []
    assert survey(high, words).hollows[0].depth == pytest.approx(1.5, abs=0.05)
    assert survey(low, RasterWords()).hollows[0].depth == pytest.approx(0.3, abs=0.05)


def test_breaching_needs_both_bounds(tmp_path, write_raster):
    path = write_raster(tmp_path / "ground.tif", banked())
    with pytest.raises(InputError, match="both a depth and a length"):
        survey(path, RasterWords(breach_depth=0.5))


@pytest.mark.parametrize(("shape", "says"), [
    (Point(at(98, 60)), "this is a Point"),
    (LineString([at(98, 60), (WEST - 500, NORTH)]), "lies 500 m west of ground.tif")])
def test_a_culvert_that_cannot_be_is_refused(tmp_path, shape, says, write_raster, write_layer):
    path = write_raster(tmp_path / "ground.tif", banked())
    layer = write_layer(tmp_path / "c.geojson", [{"name": "pipe", "geometry": shape}])
    with pytest.raises(InputError, match=says):
        survey(path, RasterWords(culverts=layer))


def test_culverts_and_breaching_of_a_site_file(small_site, write_raster, write_layer):
    heights = valley()
    heights[60:64] = np.maximum(heights[60:64], heights[60, 60] + np.float32(1.5))
    heights[120, 40] -= 0.4  # a pit
    write_raster(small_site.parent / "ground.tif", heights)
    write_layer(small_site.parent / "culverts.geojson", [
        {"geometry": LineString([at(58, 60), at(65, 60)])}])
    assert len(read_inputs(small_site).terrain.hollows) == 2
    text = small_site.read_text()
    small_site.write_text(text.replace(
        "  file: ground.tif\n", "  file: ground.tif\n  breach depth: 0.3 m\n"
        "  breach length: 5 m\n").replace(
        "roads:\n", "culverts:\n  file: culverts.geojson\nroads:\n"))
    inputs = read_inputs(small_site)
    assert inputs.terrain.hollows == []
    said = " ".join(inputs.dem.notes)
    assert "\"culvert 1\"; cells lowered for it: 4" in said
    assert "Hollows cut open in the surface that water is led over: 1" in said


def test_one_bound_of_breaching_in_a_site_file_is_refused_with_its_line(small_site):
    small_site.write_text(small_site.read_text().replace(
        "  file: ground.tif\n", "  file: ground.tif\n  breach depth: 0.3 m\n"))
    with pytest.raises(InputError, match=r"line 2.*both a breach depth and a breach length"):
        read_inputs(small_site)


@pytest.fixture
def wide_valley(tmp_path, write_raster):
    """A valley far larger than what is asked about, in two tiles."""
    heights = valley(400, 500)
    write_raster(tmp_path / "whole.tif", heights)
    write_raster(tmp_path / "tile_1.tif", heights[:, :260])
    import rasterio
    from rasterio.transform import from_origin

    with rasterio.open(tmp_path / "tile_2.tif", "w", driver="GTiff", height=400, width=250, count=1,
                       dtype="float32", crs="EPSG:32734",
                       transform=from_origin(WEST + 250, NORTH, 1, 1)) as out:
        out.write(heights[:, 250:], 1)
        out.units = ("metre",)
    return tmp_path


def test_a_question_reads_no_more_of_a_large_raster_than_it_needs(wide_valley, monkeypatch):
    place = at(60, 200)
    rain = RainWords((30.0,))
    whole = catchment_of_point(wide_valley / "whole.tif", place, rain, CN, RasterWords())
    monkeypatch.setattr(window, "WHOLE_UP_TO", 10_000)
    monkeypatch.setattr(window, "FIRST_MARGIN", 20.0)
    for files in ("whole.tif", "tile_*.tif"):
        part = catchment_of_point(wide_valley / files, place, rain, CN, RasterWords())
        assert part.question.dem.heights.size < 60_000
        assert part.catchment.area == whole.catchment.area
        assert part.storms == whole.storms
        assert part.longest_path == whole.longest_path
        assert part.catchment.touches_edge == whole.catchment.touches_edge
        assert part.outline.equals(whole.outline)


def test_a_site_reads_no_more_of_a_large_raster_than_drains_to_it(small_site, monkeypatch):
    """The site's valley with 300 m of other ground round it, beyond ridges."""
    inner = valley()
    heights = np.pad(inner, 300, constant_values=300.0)
    row, column = np.indices(heights.shape)
    away = np.maximum(np.maximum(300 - row, row - 459), np.maximum(300 - column, column - 419))
    heights = np.where(away > 0, 300 - 0.5 * away, heights).astype(np.float32)
    heights[460:, 330:390] = inner[-1, 30:90] - 0.04 * (np.arange(300)[:, None] + 1)  # way out
    import rasterio
    from rasterio.transform import from_origin

    def write():
        with rasterio.open(small_site.parent / "ground.tif", "w", driver="GTiff", count=1,
                           height=heights.shape[0], width=heights.shape[1], dtype="float32",
                           crs="EPSG:32734",
                           transform=from_origin(WEST - 300, NORTH + 300, 1, 1)) as out:
            out.write(heights, 1)
            out.units = ("metre",)
    write()
    whole = read_inputs(small_site)
    monkeypatch.setattr(window, "WHOLE_UP_TO", 10_000)
    monkeypatch.setattr(window, "FIRST_MARGIN", 30.0)
    part = read_inputs(small_site)
    assert part.dem.heights.size < 0.5 * whole.dem.heights.size
    for inputs in (whole, part):
        assert not inputs.terrain.touches_edge(inputs.terrain.catchment(inputs.ground.inside))
    assert (part.terrain.catchment(part.ground.inside).sum()
            == whole.terrain.catchment(whole.ground.inside).sum())
    assert any("about the place asked for were read" in note for note in part.dem.notes)


def test_a_culvert_whose_water_leaves_it_sideways_is_told(tmp_path, write_raster, write_layer):
    """A pipe drawn straight over a dip: water would have to run in the air."""
    row, column = np.indices((40, 60)).astype(float)
    heights = (50 - 0.1 * column).astype(np.float32)
    heights[:, 30:] = (40 + 0.2 * column)[:, 30:]  # beyond column 30 it rises again
    heights[10:30, 25:36] = 30.0 + np.abs(row - 20)[10:30, 25:36] * 0.1  # a ditch that leaves north
    heights[:11, 25:36] = 29.0 + 0.05 * row[:11, 25:36]
    path = write_raster(tmp_path / "ground.tif", heights)
    layer = write_layer(tmp_path / "c.geojson", [
        {"name": "over the dip", "geometry": LineString([at(20, 10), at(20, 41)])}])
    notes = " ".join(survey(path, RasterWords(culverts=layer)).question.dem.notes)
    assert "\"over the dip\" does not come out of it" in notes


def test_a_road_does_not_shed_what_passes_under_it(small_site, write_raster, write_layer):
    """The valley's water crosses the track in a culvert: the track's own rain is shed, no more."""
    from terrain.plan.plan import find_sheds

    heights = valley()
    heights[40:45] += np.float32(1.5)  # the track's bank
    write_raster(small_site.parent / "ground.tif", heights)
    before = find_sheds(read_inputs(small_site), [])[0]
    write_layer(small_site.parent / "culverts.geojson", [
        {"name": "pipe", "geometry": LineString([at(36, 60), at(50, 60)])}])
    small_site.write_text(small_site.read_text().replace(
        "roads:\n", "culverts:\n  file: culverts.geojson\nroads:\n"))
    after = find_sheds(read_inputs(small_site), [])[0]
    passes = [max(point.volumes[-1] for point in shed.points) for shed in (before, after)]
    assert passes[1] < 0.2 * passes[0]
