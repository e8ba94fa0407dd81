import functools
import re

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from shapely import Polygon

from terrain.outputs.sheets.sheet import left_out
from terrain.outputs.sheets.work_sheets import draw_basin, draw_shed, draw_survey, draw_swale
from terrain.plan.basin_question import basin_of
from terrain.plan.question import GroundWords, RainWords, RasterWords
from terrain.plan.shed_question import catchment_of_point
from terrain.plan.survey import survey
from terrain.plan.swale_question import SwaleWords, swale_of
from terrain.works.cross_section import area_on_slope, width_on_slope
from terrain.works.swale_size import Wanted

pytestmark = pytest.mark.long

STORMS = RainWords((12.0, 28.0, 62.0,))
GROUND, WORDS = GroundWords(curve_number=82), RasterWords()


def tilted(path, heights, cell=1.0, void=None):
    heights = np.asarray(heights, np.float32)
    if void is not None:
        heights[void] = -9999
    with rasterio.open(path, "w", driver="GTiff", width=heights.shape[1], height=heights.shape[0],
                       count=1, dtype="float32", crs="EPSG:32734", nodata=-9999,
                       transform=rasterio.transform.from_origin(500000, 6000000, cell, cell)
                       ) as made:
        made.write(heights, 1)
    return path


@pytest.fixture(scope="module")
def valley(tmp_path_factory):
    """A valley that falls south, so that walls, pits and swales have a place."""
    row, column = np.mgrid[0:140, 0:120]
    heights = 120 - 0.05 * row + 0.0025 * (column - 60.0) ** 2
    return tilted(tmp_path_factory.mktemp("valley") / "valley.tif", heights)


@pytest.fixture(scope="module")
def answers(valley):
    shape = Polygon([(500050, 5999930), (500070, 5999930), (500070, 5999915), (500050, 5999915)])
    pit = valley.parent / "pit.gpkg"
    gpd.GeoDataFrame(geometry=[shape], crs=32734).to_file(pit)
    return {
        "swale": swale_of(valley, SwaleWords((500040, 5999920), wanted=Wanted(40)), STORMS, GROUND,
                          WORDS, rates=(420, 560)),
        "wall": basin_of(valley, STORMS, GROUND, WORDS,
                         wall=[(500030, 5999900), (500090, 5999900)], crest=116.9),
        "dug": basin_of(valley, STORMS, GROUND, WORDS, dug=pit, depth=0.9, batter=3.0),
        "both": basin_of(valley, STORMS, GROUND, WORDS, dug=pit, depth=0.9, batter=2.0, crest=116.9,
                         wall=[(500030, 5999900), (500090, 5999900)]),
        "shed": catchment_of_point(valley, (500060.5, 5999900.5), STORMS, GROUND, WORDS),
        "survey": survey(valley, WORDS)}


DRAW = {"swale": draw_swale, "wall": draw_basin, "dug": draw_basin, "both": draw_basin,
        "shed": draw_shed,
        "survey": draw_survey}


#: Kinds whose sheets are made alike to one that is tried here: among the slow tests.
ALIKE = {"wall", "dug"}
BOTH = [pytest.param(kind, system, marks=pytest.mark.slow if kind in ALIKE or (
    system == "us" and kind not in ("swale", "survey")) else ())
    for kind in DRAW for system in ("metric", "us")]
#: Sheets that are drawn a second time, and painted twice.
TWICE = [pytest.param(kind, marks=() if kind == "swale" else pytest.mark.slow) for kind in DRAW]


@pytest.fixture(scope="module")
def sheet(answers):
    """Each sheet, drawn once."""
    return functools.cache(lambda kind, system="metric": DRAW[kind](answers[kind], system))


@pytest.mark.parametrize(("kind", "system"), BOTH)
def test_lettering_keeps_apart_and_inside(kind, system, answers, seen, sheet):
    figure = sheet(kind, system)
    assert len(seen.texts(figure)) > 15
    assert seen.overlaps(figure) == []
    assert seen.outside(figure) == []


@pytest.mark.parametrize("kind", [
    pytest.param(kind, marks=() if kind in ("swale", "survey") else pytest.mark.slow)
    for kind in DRAW])
def test_units_print(kind, answers, seen, sheet):
    # What stands under "Take care" was written elsewhere, in both systems.
    words = seen.words(sheet(kind, "us")).split("Take care")[0]
    assert re.search(r"\d ft\b", words)
    assert not re.search(r"\d (m|m²|m³|mm|ha)\b", words)
    words = seen.words(sheet(kind)).split("Take care")[0]
    assert re.search(r"\d m\b", words)
    assert not re.search(r"\d (ft|ft²|gal|in|acre|yd³)\b", words)


@pytest.mark.parametrize("kind", TWICE)
def test_same_answer_same_bytes(kind, answers, seen, sheet):
    assert seen.bytes_of(DRAW[kind](answers[kind], "metric")) == seen.bytes_of(sheet(kind))


@pytest.mark.parametrize(("kind", "system"), BOTH)
def test_scale_bar_is_true(kind, system, answers, sheet):
    ax = sheet(kind, system).axes[0]
    parts = [p for p in ax.patches if p.get_gid() == "scale bar"]
    length = max(p.get_x() + p.get_width() for p in parts) - min(p.get_x() for p in parts)
    number, unit = [t.get_text() for t in ax.texts
                    if t.get_gid() == "scale bar words"][1].split()
    assert length == pytest.approx(float(number) * {"m": 1.0, "km": 1000.0, "ft": 0.3048}[unit])


def area(points):
    x, z = np.asarray(points, float).T
    return 0.5 * abs(float(x @ np.roll(z, -1) - np.roll(x, -1) @ z))


@pytest.mark.parametrize("kind", ["swale", "wall", "dug"])
def test_sections_have_one_scale(kind, answers, sheet):
    figure = sheet(kind)
    ax = figure.axes[2]
    (x0, z0), (x1, z1) = ax.transData.transform([(0, 0), (1, 1)])
    assert x1 - x0 == pytest.approx(z1 - z0)


def test_the_swale_drawn_is_the_swale_counted(answers, sheet):
    answer = answers["swale"]
    swale = answer.swale
    ax = sheet("swale").axes[2]
    shapes = {p.get_gid(): p.get_xy() for p in ax.patches if p.get_gid()}
    length = swale.route.length
    assert area(shapes["water"]) * length == pytest.approx(answer.storage, rel=1e-6)
    slope = swale.route.cross_slope  # the section drawn is that of the median slope
    assert area(shapes["berm"]) == pytest.approx(area_on_slope(
        swale.berm_height_built, swale.berm_top, swale.berm_side_slope, slope), rel=1e-6)
    line, = [k for k in ax.lines if k.get_gid() == "profile"]
    dug = np.column_stack([line.get_xdata(), line.get_ydata()])[1:-1]
    assert area(dug) == pytest.approx(area_on_slope(swale.depth, swale.width, swale.side_slope,
                                                    slope), rel=1e-6)


def test_the_profile_of_the_swale_stands_below_its_section(answers, sheet):
    swale = answers["swale"].swale
    profile, = [ax for ax in sheet("swale").axes if any(k.get_gid() == "ground" for k in ax.lines)]
    lines = {k.get_gid(): k for k in profile.lines}
    assert lines["ground"].get_xdata() == pytest.approx([s.chainage for s in swale.stations])
    assert lines["ground"].get_ydata() == pytest.approx([s.ground for s in swale.stations])
    assert lines["bed"].get_ydata() == pytest.approx(swale.sill.level - swale.depth)
    low = lines["crest"].get_ydata() < swale.sill.level + 1e-9
    assert lines["crest"].get_xdata()[low] == pytest.approx([swale.sill_from, swale.sill_to])


def test_dimensions_are_written(answers, seen, sheet):
    swale = answers["swale"].swale
    words = seen.words(sheet("swale"))
    assert f"bed {swale.width:.2f} m" in words
    across = width_on_slope(swale.depth, swale.width, swale.side_slope, swale.route.cross_slope)
    assert f"cut {across:.2f} m wide" in words
    assert f"{swale.depth:.2f} m" in words
    assert f"{swale.berm_height_built:.2f} m as built" in words


def test_the_pits_section_ends_at_its_rim(answers, seen, sheet):
    words = seen.words(sheet("dug"))
    assert "rim 20.0 m" in words
    assert "floor 14.6 m; sides 3:1" in words


def test_stage_curve_ends_at_what_is_stored(answers, sheet):
    line, = [k for ax in sheet("wall").axes for k in ax.lines if k.get_gid() == "stage"]
    assert line.get_xdata()[-1] == pytest.approx(answers["wall"].basin.storage)
    assert line.get_ydata()[-1] == pytest.approx(answers["wall"].basin.sill.level)


def test_storms_stand_on_the_sheet(answers, seen, sheet):
    words = seen.words(sheet("shed")).splitlines()
    for storm in answers["shed"].storms:
        runoff = storm.runoff
        assert f"{storm.rain:g} mm" in words
        assert (f"{runoff:,.0f}" if runoff >= 9.95 else f"{runoff:.1f}") in words


def test_slope_shares_are_those_of_the_survey(answers, seen, sheet):
    words = seen.words(sheet("survey")).splitlines()
    for name, share in answers["survey"].slope_shares.items():
        assert name in words
        assert f"{100 * share:.0f} %" in words


@pytest.mark.parametrize("kind", ["survey", "shed", "swale"])
def test_ways_of_the_water_have_an_entry_in_the_key(kind, seen, sheet):
    figure = sheet(kind)
    assert bool(seen.with_gid(figure, "flow")) == (
        "water gathers, from" in " ".join(seen.words(figure).split()))
    if kind == "survey":
        assert seen.with_gid(figure, "flow")


@pytest.mark.parametrize("kind", ["swale", "wall", "dug"])
def test_every_caution_stands_or_is_counted(kind, answers, seen, sheet):
    answer = answers[kind]
    words = " ".join(seen.words(sheet(kind)).split())
    for what, every in (("caution", answer.cautions), ("note", answer.rests_on)):
        missing = [said for said in every if said not in words]
        told = re.search(rf"(\d+)( more)? {what}s?( and \d+( more)? notes?)? stands? in", words)
        assert len(missing) == (int(told.group(1)) if told else 0)
    assert answer.cautions[0] in words


@pytest.mark.parametrize(("drawn", "said"), [
    (0, "3 cautions and 2 notes stand here."), (2, "1 more caution and 2 notes stand here."),
    (3, "2 notes stand here."), (4, "1 more note stands here."), (5, "")])
def test_cautions_and_notes_are_counted_apart(drawn, said):
    assert left_out(3, 2, "here", drawn) == said


def test_flat_ground_and_voids_draw(tmp_path, seen):
    for name, heights in (("flat", np.full((30, 40), 12.0)),
                          ("slope", 50 - 0.1 * np.mgrid[0:30, 0:40][0])):
        path = tilted(tmp_path / f"{name}.tif", heights, void=np.s_[5:9, 5:9])
        figure = draw_survey(survey(path, WORDS), "metric")
        assert seen.overlaps(figure) == []
        assert "cells without a height" in seen.words(figure)


def test_a_wide_cell_catchment_is_drawn_as_its_cells(tmp_path, seen):
    row, column = np.mgrid[0:20, 0:20]
    path = tilted(tmp_path / "coarse.tif", 400 - 2.0 * row + 0.2 * abs(column - 10), cell=80.0)
    answer = catchment_of_point(path, (500000 + 80 * 10.5, 6000000 - 80 * 2.5),
                                RainWords((30.0,)), GROUND,
                                WORDS)
    figure = draw_shed(answer, "metric")
    shapes = seen.with_gid(figure, "catchment")
    drawn = sum(Polygon(p.get_path().vertices).area for p in shapes)
    assert drawn == pytest.approx(answer.cells.sum() * 80.0**2)


def test_a_tint_ends_where_the_raster_ends(answers, valley, seen, sheet):
    figure = sheet("wall")
    west, south, east, north = answers["wall"].question.dem.bounds
    shapes = seen.with_gid(figure, "catchment")
    corners = np.concatenate([p.get_path().vertices for p in shapes])
    assert corners[:, 0].min() >= west
    assert corners[:, 0].max() <= east
    assert corners[:, 1].min() >= south
    assert corners[:, 1].max() <= north


@pytest.fixture(scope="module")
def demo_survey(demo_raster):
    return draw_survey(survey(demo_raster, WORDS), "metric")


def test_demo_raster_sheets(demo_survey, seen):
    assert seen.overlaps(demo_survey) == []
    assert seen.outside(demo_survey) == []


def test_a_survey_shows_where_a_hollow_spills(tmp_path, seen):
    """A bowl in a plane that falls south spills over its rim's lowest place: due south."""
    row, column = np.mgrid[0:80, 0:80]
    bowl = np.hypot(row - 40, column - 40) <= 15
    path = tilted(tmp_path / "bowl.tif", 50 - 0.01 * row - 2.0 * bowl)
    figure = draw_survey(survey(path, WORDS), "metric")
    mark, = seen.with_gid(figure, "hollow spill")
    tip, *rest = mark.get_xy()[:-1]
    assert tip == pytest.approx([500040.5, 6000000 - 56.5], abs=3)  # no further than its length
    assert tip[1] < min(y for _, y in rest)
    assert "where a named hollow spills when full" in seen.words(figure)
    assert seen.overlaps(figure) == []


def test_a_survey_without_hollows_has_no_key_to_them(tmp_path, seen):
    path = tilted(tmp_path / "plane.tif", 50 - 0.1 * np.mgrid[0:30, 0:40][0])
    figure = draw_survey(survey(path, WORDS), "metric")
    assert seen.with_gid(figure, "hollow spill") == []
    assert "hollow spills" not in seen.words(figure)


@pytest.mark.parametrize(("depth", "count"), [(0.09, 0), (0.11, 1)])
def test_the_picture_of_a_survey_shows_the_hollows_that_it_counts(tmp_path, seen, depth, count):
    """One cell of 1 m2, deeper than 5 cm both times: it counts from 100 litres on."""
    heights = np.full((40, 40), 50.0) - 0.5 * np.mgrid[0:40, 0:40][0]
    heights[20, 20] = heights[21, 20] - depth
    found = survey(tilted(tmp_path / "cell.tif", heights), WORDS)
    assert len(found.hollows) == count
    assert found.question.terrain.in_hollows.sum() == count
    words = seen.words(draw_survey(found, "metric"))
    assert ("hollow of more than 0.1 m³" in words) == bool(count)
    assert "hollows of more than 0.1 m³" in words


def test_contours_of_a_survey_are_as_plain_on_any_tint_as_those_of_a_map(demo_survey, seen):
    """Contrast of luminance as WCAG 2.1 reckons it; its formula from memory."""
    from matplotlib.colors import to_rgb

    from terrain.outputs.drawing import symbols as sy

    def light(colour):
        linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055)**2.4
                  for v in to_rgb(colour)]
        return float(np.dot(linear, [0.2126, 0.7152, 0.0722])) + 0.05

    tints = [sy.mixed(sy.SHADE_MIDDLE, colour, sy.SLOPE_ALPHA) for _, _, colour in sy.SLOPES]
    drawn = [lines.get_edgecolor()[0][:3] for lines in seen.with_gid(demo_survey, "contour")]
    assert len(drawn) == 2
    on_map = light(sy.SHADE_MIDDLE) / light(sy.CONTOUR)
    for colour in drawn:
        assert min(light(tint) for tint in tints) / light(colour) > on_map
