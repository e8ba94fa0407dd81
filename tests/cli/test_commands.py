"""Every command as it is installed, on the small site and on a real raster."""

from __future__ import annotations

import json
import re
from itertools import pairwise

import numpy as np
import pyogrio
import pytest
import rasterio
import shapely

from cli.main import COMMANDS


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example(levelsill_process, command):
    ran = levelsill_process(command, "--help")
    assert ran.code == 0
    assert ran.err == ""
    assert f"levelsill {command} " in ran.out.split("Options:")[0].split("\n\n", 1)[1]


@pytest.mark.parametrize("words", [
    "survey ground.tif", "soak --group B --depth 0.3", "check site.yaml", "start site.yaml",
    *(pytest.param(words, marks=pytest.mark.slow) for words in (
        "shed ground.tif --at 500060,6399900 --storm 30mm --cn 80", "rain rain.csv",
        "swale ground.tif --through 500085,6399940",
        "basin ground.tif --wall 500040,6399870 500080,6399870 --crest 195.9m"))])
def test_a_process_says_what_is_heard_within_this_one(levelsill, levelsill_process, small_site,
                                                      words):
    """As a person starts it; the plan so in test_interrupt.py, and whole in a slow test."""
    first, second = (run(*words.split(), folder=small_site.parent)
                     for run in (levelsill_process, levelsill))
    assert (first.code, first.out) == (second.code, second.out)
    assert first.code == (2 if words.startswith("start") else 0)
    said = [[line for line in ran.err.splitlines() if not line.endswith(" ...")]
            for ran in (first, second)]
    assert said[0] == said[1]


def test_survey_of_a_real_raster(levelsill, real_raster):
    answer = levelsill("survey", real_raster, "--json").json()
    assert answer["working_crs"] == "WGS 84 / UTM zone 16N"
    assert answer["rows"] * answer["columns"] > 100_000
    assert sum(answer["slope_shares"].values()) == pytest.approx(1)
    assert "(richdem): the surfaces are the same" in answer["notes"][-1]
    assert any("too coarse" in note for note in answer["notes"])
    words = levelsill("survey", real_raster)
    assert words.code == 0
    assert "Hollows" in words.out
    with rasterio.open(real_raster) as file:  # in degrees: its own size and corners are told
        size, bounds = (file.width, file.height), file.bounds
    assert (answer["own_columns"], answer["own_rows"]) == size
    assert f"{size[0]:,} by {size[1]:,} cells" in words.out.splitlines()[0]
    assert f"south-west     {bounds.left:.6f}, {bounds.bottom:.6f}" in words.out
    assert (f"moved to       {answer['columns']:,} by {answer['rows']:,} cells of the working "
            "frame" in words.out)


def test_shed_of_a_real_raster_is_what_pyflwdir_finds(levelsill, real_raster):
    """The catchment of a point, against the basin that pyflwdir draws from the same surface."""
    import pyflwdir

    from terrain.inputs.elevation import read_elevation
    from terrain.surface.terrain import Terrain

    dem = read_elevation(real_raster)
    ground = Terrain(dem)
    inner = np.where(ground.edge, 0, np.nan_to_num(ground.contributing_area))
    row, column = np.unravel_index(np.argsort(inner.ravel())[-400], inner.shape)
    lon, lat = dem.frame.to_lonlat(*dem.xy(int(row), int(column)))
    answer = levelsill("shed", real_raster, "--lonlat", f"--at={float(lon)},{float(lat)}",
                       "--storm", "1in", "--storm", "50mm", "--cn", "80", "--json").json()
    known = np.isfinite(dem.heights)
    # pyflwdir needs the same directions: they are handed over in its own D8 code.
    code = np.array([1, 2, 4, 8, 16, 32, 64, 128, 0], np.uint8)
    d8 = np.where(known, code[np.minimum(ground.direction, 8)], 247).astype(np.uint8)
    flow = pyflwdir.from_array(d8, ftype="d8", check_ftype=False)
    basin = flow.basins(idxs=np.array([int(row) * dem.shape[1] + int(column)]))
    cells = int((basin == 1).sum())
    assert answer["catchment_m2"] == pytest.approx(cells * dem.cell_area, rel=1e-6)
    assert cells > 1000
    # TR-55 (1986), Table 2-1: 1.0 in on CN 80 gives 0.08 in.
    first = answer["storms"][0]
    assert first["rain_mm"] == 25.4
    assert first["runoff_m3"] / answer["catchment_m2"] * 1000 / 25.4 == pytest.approx(0.08,
                                                                                      abs=0.005)


def test_swale_on_a_real_raster(levelsill, real_raster):
    answer = levelsill("swale", real_raster, "--lonlat", "--through=-84.2,36.6", "--length",
                       "120m", "--depth", "0.3m", "--storm", "30mm", "--cn", "80", "--json").json()
    assert answer["length_m"] == pytest.approx(120, abs=0.5)
    assert answer["storage_m3"] == pytest.approx((0.6 + 2 * 0.3) * 0.3 * answer["length_m"],
                                                 rel=1e-6)
    # Within a cell of 82 m a traced contour is straight and the ground between heights is not:
    # the line passes the point within a tenth of a cell (1e-4 degrees is 11 m).
    line = shapely.LineString(answer["line"]["coordinates"])
    assert line.distance(shapely.Point(-84.2, 36.6)) < 1e-4
    storm = answer["storms"][0]
    assert storm["caught_m3"] + storm["spilled_m3"] == pytest.approx(storm["runoff_m3"])
    assert storm["caught_m3"] == pytest.approx(min(storm["runoff_m3"], answer["storage_m3"]))
    assert answer["cautions"]


def test_basin_on_a_real_raster(levelsill, real_raster):
    """A wall across the narrowest notch below a large hollow of the real raster."""
    from terrain.inputs.elevation import read_elevation
    from terrain.surface.terrain import Terrain

    dem = read_elevation(real_raster)
    ground = Terrain(dem)
    ends, level = _valley_wall(dem, ground)
    points = [f"{float(x)},{float(y)}" for x, y in
              (dem.frame.to_lonlat(*end) for end in ends)]
    ran = levelsill("basin", real_raster, "--lonlat", "--wall", *points, "--crest", f"{level}m",
                    "--sill", f"{level - 1}m", "--storm", "40mm", "--cn", "80", "--json")
    answer = ran.json()
    volumes = [step["volume_m3"] for step in answer["curve"]]
    assert volumes == sorted(volumes)
    assert volumes[-1] == pytest.approx(answer["gross_storage_m3"], rel=1e-6)
    assert 0 < answer["storage_m3"] < answer["gross_storage_m3"]
    assert any("dam" in caution for caution in answer["cautions"])


def _valley_wall(dem, ground):
    """Search the raster for a straight wall from slope to slope that holds water."""
    from terrain.errors import InputError
    from terrain.works.rules import Rulebook
    from terrain.works.wall import design_wall

    area = np.where(ground.edge, 0, np.nan_to_num(ground.contributing_area))
    order = np.argsort(area.ravel())[::-1][::37]
    for cell in order[:200]:
        row, column = divmod(int(cell), dem.shape[1])
        x, y = (float(v) for v in dem.xy(row, column))
        level = float(dem.heights[row, column]) + 12
        for turn in np.arange(0, np.pi, np.pi / 8):
            step = np.array([np.cos(turn), np.sin(turn)]) * 500
            ends = [(x - step[0], y - step[1]), (x + step[0], y + step[1])]
            try:
                design_wall(ground, ends, level, level - 1, Rulebook(), "trial")
            except InputError:
                continue
            return ends, level
    raise AssertionError("no valley for a wall was found on the raster")


def test_shed_says_why_segments_are_not_reckoned(levelsill, small_site):
    """The top cell of the valley's rim has no way of water to it; elsewhere the rain wants telling.
    """
    ground = small_site.parent / "ground.tif"
    words = ("--storm", "30mm", "--cn", "85")
    below = levelsill("shed", ground, "--at", "500060.5,6399900.5", *words)
    assert "the 2-year 24-hour rain is not told; give it with --two-year-day" in below.out
    assert "single cell" not in below.out
    top = levelsill("shed", ground, "--at", "500000.5,6399999.5", *words)
    assert "the longest way of its water is a single cell" in top.out
    assert "--two-year-day" not in top.out
    assert "0.0 min; 6 min were used, the least of TR-55 (1986)" in top.out
    assert "lies on no flow path of size: the water of 1 cell comes" in " ".join(top.out.split())
    assert top.out.count("one of eight directions") == 1


def test_shed_tells_how_much_of_its_ground_is_road(levelsill, small_site, tmp_path):
    """Cover in three strips west to east; the cells of each counted by their middles."""
    from terrain.plan.question import GroundWords, RainWords, RasterWords
    from terrain.plan.shed_question import catchment_of_point

    ground, layer = small_site.parent / "ground.tif", tmp_path / "cover.gpkg"
    edges = (499000.0, 500040.0, 500046.0, 501000.0)
    names = ("dirt road", "paved road, curbs", "pasture, poor")
    strips = [shapely.box(a, 6399000, b, 6401000) for a, b in pairwise(edges)]
    with rasterio.open(ground) as source:
        crs = source.crs.to_wkt()
    pyogrio.raw.write(layer, shapely.to_wkb(strips), [np.array(names, object)], ["cover"],
                      geometry_type="Polygon", crs=crs)
    words = ("shed", ground, "--at", "500060.5,6399900.5", "--cover", layer, "--soils", "C")
    found = json.loads(levelsill(*words, "--json").out)
    answer = catchment_of_point(ground, (500060.5, 6399900.5), RainWords(),
                                GroundWords(cover=layer, soils="C"), RasterWords())
    dem = answer.question.dem
    x, _ = dem.xy(*np.nonzero(answer.cells))
    counted = {name: float(((x > a) & (x < b)).sum()) * dem.cell_area
               for name, (a, b) in zip(names, pairwise(edges), strict=True)}
    assert min(counted.values()) > 0
    assert {c["class"]: c["area_m2"] for c in found["cover"]} == pytest.approx(counted)
    assert [c["area_m2"] for c in found["cover"]] == sorted(counted.values(), reverse=True)
    roads = counted["dirt road"] + counted["paved road, curbs"]
    assert found["road_m2"] == pytest.approx(roads)
    assert sum(counted.values()) == pytest.approx(found["catchment_m2"])
    said = levelsill(*words).out
    assert f"{100 * roads / found['catchment_m2']:.1f} %" in re.search(
        "roads, all of them.*", said)[0].replace("\u00a0", " ")
    assert "No road among them" not in said
    plain = levelsill(*words[:4], "--cn", "80", "--json")
    assert (json.loads(plain.out)["cover"], json.loads(plain.out)["road_m2"]) == ([], None)


def test_one_class_of_cover_for_all_the_ground(levelsill, small_site):
    """Pasture in fair state on soil group C: curve number 79 (TR-55, 1986, Table 2-2c)."""
    words = ("shed", small_site.parent / "ground.tif", "--at", "500060.5,6399900.5", "--storm",
             "38mm", "--json")
    by_class = levelsill(*words, "--cover", "Pasture, fair", "--soils", "C").json()
    by_number = levelsill(*words, "--cn", "79").json()
    assert by_class["storms"][0]["runoff_m3"] == by_number["storms"][0]["runoff_m3"]
    assert [c["class"] for c in by_class["cover"]] == ["pasture, fair"]
    refused = levelsill(*words, "--cover", "pasture, fair", "--soils", "C", "--codes", "nlcd")
    assert "--codes: it says how a file is read, and --cover names a class" in refused.err


def test_us_units_print_throughout(levelsill, small_site):
    ran = levelsill("swale", small_site.parent / "ground.tif", "--through", "500085,6399940",
                    "--storm", "1.2in", "--cn", "85", "--units", "us")
    assert ran.code == 0
    assert "gal" in ran.out
    assert "yd³" in ran.out
    assert " m³" not in ran.out.split("Cautions")[0]


def test_pictures_are_drawn(levelsill, small_site, tmp_path):
    ground = small_site.parent / "ground.tif"
    for words in (["survey", ground], ["shed", ground, "--at", "500060,6399900"],
                  ["swale", ground, "--through", "500085,6399940"],
                  ["basin", ground, "--wall", "500040,6399870", "500080,6399870", "--crest",
                   "195.9m"]):
        picture = tmp_path / f"{words[0]}.png"
        ran = levelsill(*words, "--picture", picture)
        assert ran.code == 0, ran.err
        assert picture.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_dug_basin_from_a_layer(levelsill, small_site, tmp_path, write_layer):
    from shapely.geometry import box

    rim = write_layer(tmp_path / "rim.geojson", [{"geometry": box(500080, 6399900, 500090,
                                                                  6399912)}])
    answer = levelsill("basin", small_site.parent / "ground.tif", "--dug", rim, "--depth", "0.9m",
                       "--batter", "2:1", "--json").json()
    # Prismoidal rule (USDA Agriculture Handbook 590, 1997) for 10 by 12 m, sides 2:1, 0.9 m deep.
    top, middle, floor = 10 * 12, 8.2 * 10.2, 6.4 * 8.4
    assert answer["storage_m3"] == pytest.approx(0.9 / 6 * (top + 4 * middle + floor), rel=1e-3)
    assert answer["cut_m3"] > answer["storage_m3"]


def test_a_walls_head_lines_tell_its_own_pool_and_the_earth_to_bring(levelsill, small_site):
    asked = ["basin", small_site.parent / "ground.tif", "--wall", "500040,6399870",
             "500080,6399870", "--crest", "195.9m"]
    told, answer = levelsill(*asked).out, levelsill(*asked, "--json").json()
    assert answer["pool_area_m2"] < answer["gross_pool_area_m2"] == answer["curve"][-1]["area_m2"]
    assert answer["deepest_water_m"] < answer["water_at_wall_m"]
    lines = dict(re.findall(r"^  (\w[\w ]+?)  +(.+)$", told.split("Level by level")[0], re.M))
    assert lines["water surface"] == (
        f"{answer['pool_area_m2']:,.0f} m², {answer['deepest_water_m']:.2f} m at its deepest "
        f"(behind a thin wall {answer['gross_pool_area_m2']:,.0f} m²)")
    assert lines["earth to bring"].startswith(f"{-answer['spare_m3']:.1f} m³, compacted")


def test_check_tells_what_bare_prices_are_for(levelsill, small_site):
    small_site.write_text("units: us\n" + small_site.read_text() + "\nmoney: {currency: crown, "
                          "machine hour: 400, tank: [700, 1100]}\n")
    said = " ".join(levelsill("check", small_site).out.split())
    assert ("Prices without a unit - Read in crown, as the file says units: us: tank 700 to 1,100 "
            "per gal.") in said
    assert "tank: {per: 1 m3, price: [700, 1100]}." in said


def test_start_then_check(levelsill, tmp_path):
    ran = levelsill("start", tmp_path / "demo", "--demo")
    assert ran.code == 0
    assert levelsill("check", tmp_path / "demo").code == 0
    again = levelsill("start", tmp_path / "demo", "--demo")
    assert again.code == 2
    assert "already" in again.err


def test_json_stays_json_when_a_picture_is_drawn(levelsill, small_site, tmp_path):
    ran = levelsill("survey", small_site.parent / "ground.tif", "--json", "--picture",
                    tmp_path / "s.png")
    assert ran.json()["rows"] == 160
    assert "Drawn" in ran.err


def test_bare_numbers_are_in_the_units_asked_for(levelsill, small_site):
    ground = small_site.parent / "ground.tif"
    words = ["swale", ground, "--through", "500085,6399940", "--cn", "85", "--json"]
    bare = levelsill(*words, "--length", "100", "--storm", "1.5", "--units", "us").json()
    said = levelsill(*words, "--length", "100 ft", "--storm", "1.5 in", "--units", "us").json()
    assert bare == said


def test_a_site_without_works_is_planned_whole(levelsill, small_site):
    text = small_site.read_text()
    small_site.write_text(text[:text.index("works:")] + "works: []\n")
    ran = levelsill("plan", "site.yaml", folder=small_site.parent)
    assert ran.code == 0, ran.err
    plan = json.loads((small_site.parent / "plan" / "plan.json").read_text())
    assert plan["stores"] == []
    assert all(one["kept_share"] == 0 for one in plan["site_capture"]["curve"])
