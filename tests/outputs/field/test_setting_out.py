"""Stakes: where they stand and which level they ask for."""

from __future__ import annotations

import csv
from dataclasses import replace

import numpy as np
import pytest
from shapely import LineString, Point, Polygon

from terrain.inputs.site import read_site
from terrain.outputs.field.setting_out import setting_out
from terrain.outputs.field.stake_table import write_stake_table
from terrain.outputs.field.stations import stations_along
from terrain.plan.plan import make_plan
from terrain.works.rules import Rulebook


@pytest.fixture(scope="module")
def demo_field(demo_plan):
    return setting_out(demo_plan)


@pytest.fixture(scope="module")
def of(demo_field):
    """Gives the demo's stakes of a work and mark."""
    def found(work, mark):
        return [s.stake for s in demo_field.stakes if (s.stake.work, s.stake.mark) == (work, mark)]

    return found


def field_of(plan, site):
    """The small site's stakes as another site file asks for them; its works are the same."""
    return setting_out(replace(plan, inputs=replace(plan.inputs, site=read_site(site))))


def test_a_swales_stakes(demo_plan, of):
    planned = next(p for p in demo_plan.stores if p.store.name == "upper swale")
    swale = planned.swale
    line = LineString(swale.route.line)
    stakes = of("upper swale", "line") + of("upper swale", "end")
    for stake in stakes:
        assert line.distance(Point(stake.x, stake.y)) < 1e-6
        assert stake.design == swale.sill.level
        assert stake.design_of == "lip"
    stations = sorted(s.station for s in [*stakes, *of("upper swale", "sill")])
    assert stations[0] == 0
    assert stations[-1] == pytest.approx(line.length)
    assert np.diff(stations).max() <= 10 + 1e-9  # stakes every 10 m, common practice, no source
    left, middle, right = of("upper swale", "sill")
    assert right.station - left.station == pytest.approx(swale.sill.length)
    assert middle.station == pytest.approx((left.station + right.station) / 2)
    assert left.design == middle.design == right.design == swale.sill.level


def test_bed_stakes_stand_uphill_of_the_lip_on_the_middle_of_the_bed(demo_plan, of):
    planned = next(p for p in demo_plan.stores if p.store.name == "lower swale")
    swale, line = planned.swale, LineString(planned.swale.route.line)
    beds = of("lower swale", "bed")
    assert len(beds) > 3
    for stake in beds:
        assert stake.design == pytest.approx(swale.sill.level - swale.depth)
        assert line.distance(Point(stake.x, stake.y)) == pytest.approx(
            2 * swale.depth + swale.width / 2, abs=0.05)
    assert np.mean([s.ground for s in beds]) > swale.route.level


def test_berm_stakes_stand_downhill_at_the_crest_as_built(demo_plan, of):
    planned = next(p for p in demo_plan.stores if p.store.name == "lower swale")
    berm = of("lower swale", "berm")
    line = LineString(planned.swale.route.line)
    assert len(berm) > 3
    for stake in berm:
        assert stake.design == pytest.approx(
            planned.swale.sill.level + planned.swale.berm_height_built)
        assert line.distance(Point(stake.x, stake.y)) == pytest.approx(
            2 * planned.swale.berm_height_built + 0.3, abs=0.05)
    assert np.mean([s.ground for s in berm]) < planned.swale.route.level


def test_berm_stakes_stand_where_the_berm_is_whole(demo_plan, of):
    """A berm that slopes down to the sill's ends as its sides do is as high as its crest only that
    slope's length away from them; its stakes go up to there."""
    for planned in demo_plan.stores:
        swale = planned.swale
        if swale is None:
            continue
        line = LineString(swale.route.line)
        back = swale.berm_side_slope * swale.berm_height_built
        berm = [line.project(Point(s.x, s.y)) for s in of(planned.store.name, "berm")]
        before = [at for at in berm if at < swale.sill_from]
        after = [at for at in berm if at > swale.sill_to]
        assert len(before) + len(after) == len(berm) > 3
        # On a bend of 3 m or more a metre of the crest's line is up to a half more or less.
        if before:
            assert swale.sill_from - max(before) == pytest.approx(back, rel=0.5)
        if after:
            assert min(after) - swale.sill_to == pytest.approx(back, rel=0.5)


def test_a_wall_is_staked_only_where_it_stands(demo_plan, of):
    """Its crest is no lower than the ground at any stake, and meets it at the last ones."""
    for planned in demo_plan.stores:
        if planned.basin is None or not planned.basin.has_wall:
            continue
        wall = planned.basin.profile
        stakes = of(planned.store.name, "wall")
        over = [wall.crest - np.interp(s.station, wall.stations, wall.ground) for s in stakes]
        assert min(over) > -1e-5
        assert stakes[0].station == pytest.approx(wall.stands[0])
        assert stakes[-1].station == pytest.approx(wall.stands[1])
        gaps = np.diff([s.station for s in stakes])
        assert gaps.max() <= 5 + 1e-9  # common practice, no source


def test_a_spillway_lies_beyond_the_walls_end(demo_plan, of):
    planned = next(p for p in demo_plan.stores if p.store.name == "gully pond")
    basin, wall = planned.basin, planned.basin.profile
    near, half, far = (np.array([stake.x, stake.y]) for stake in of("gully pond", "sill"))
    assert half == pytest.approx((near + far) / 2)
    end = np.array([basin.sill_x, basin.sill_y])
    foot = wall.top / 2  # where crest and ground meet the bank is as wide as its top
    assert np.hypot(*(near - end)) == pytest.approx(foot, abs=1e-6)
    assert np.hypot(*(far - end)) == pytest.approx(foot + basin.sill.length)
    assert LineString(basin.line).distance(Point(*end)) < 1e-6


def test_a_pits_floor_stakes_stand_on_its_floor(demo_plan, of):
    planned = next(p for p in demo_plan.stores if p.store.name == "road basin")
    basin, shape = planned.basin, Polygon(planned.basin.line)
    for stake in of("road basin", "floor"):
        assert shape.exterior.distance(Point(stake.x, stake.y)) == pytest.approx(
            basin.batter * basin.water_at_wall, abs=1e-6)
        assert stake.design == pytest.approx(basin.sill.level - basin.water_at_wall)
    rim = of("road basin", "rim")
    assert len({(round(s.x, 3), round(s.y, 3)) for s in rim}) == len(rim)
    assert min(s.cut for s in rim) == pytest.approx(0, abs=0.06)


def test_staff_readings_and_feet(small_site, metric, tmp_path):
    """Reading = benchmark level + reading on it - design level: the height-of-instrument rule of
    every surveying book (common practice, no source)."""
    from terrain.inputs.elevation import read_elevation

    dem = read_elevation(small_site.parent / "ground.tif")
    level = float(dem.height_at(500060, 6399950))
    text = small_site.read_text().replace("name: Small valley", "name: Small valley\nunits: us")
    small_site.write_text(text + "benchmark: {at: [500060, 6399950], level: "
                          f"{level} m, staff reading: 1.5 m}}\n")
    field = field_of(metric.plan, small_site)
    write_stake_table(field, tmp_path / "s.csv")
    with open(tmp_path / "s.csv", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert field.set_ups[0].height == pytest.approx(level + 1.5)
    first = [row for row in rows if row["set_up"] == "1"]
    assert len(first) > 5
    for row, staked in zip(rows, field.stakes, strict=True):
        design = staked.stake.design
        assert float(row["design_ft"]) == pytest.approx(design / 0.3048, abs=0.001)
        assert float(row["below_benchmark_ft"]) == pytest.approx((level - design) / 0.3048,
                                                                 abs=0.001)
        if row["set_up"] == "1":
            assert float(row["staff_reading_ft"]) == pytest.approx(
                (level + 1.5 - design) / 0.3048, abs=0.001)
        elif row["set_up"]:
            height = field.set_ups[int(row["set_up"]) - 1].height
            assert float(row["staff_reading_ft"]) == pytest.approx((height - design) / 0.3048,
                                                                   abs=0.001)


def test_no_reading_is_longer_than_the_staff(demo_field):
    field = demo_field
    read = [s for s in field.stakes if s.set_up is not None]
    assert len(read) > 0.9 * len(field.stakes)
    assert len(field.set_ups) > 1  # the demo's works span more than a staff of 4 m
    for staked in read:
        # 0.3 m of the foot and 0.2 m of the top to spare: common practice, no source
        assert 0.3 - 1e-6 <= staked.reading <= 3.8 + 1e-6
        back = field.set_ups[staked.set_up - 1]
        assert back.back_level + back.back_reading - staked.stake.design == pytest.approx(
            staked.reading)


def test_offset_stakes_stand_square_to_the_line_clear_of_all_digging(demo_plan, demo_field):
    field = demo_field
    grid, change = field.grid, field.change
    found = [s for s in field.stakes if s.offset is not None]
    assert len(found) > 30
    for staked in field.stakes:  # a sill is held to half a centimetre: none may lack its stake
        assert staked.offset is not None or staked.stake.mark != "sill"
    for staked in found:
        stake, offset = staked.stake, staked.offset
        move = np.array([offset.x - stake.x, offset.y - stake.y])
        assert np.hypot(*move) == pytest.approx(offset.distance)
        assert offset.distance % 2.0 == pytest.approx(0)  # the rule `stake offset`
        assert offset.cut == pytest.approx(
            float(demo_plan.inputs.dem.height_at(offset.x, offset.y)) - stake.design)
        row = int((grid.top - offset.y) / grid.cell)
        column = int((offset.x - grid.left) / grid.cell)
        if 0 <= row < grid.rows and 0 <= column < grid.columns:
            assert not abs(change[row, column]) > 0.01
    for planned in demo_plan.stores:
        if planned.swale is None:
            continue
        line = LineString(planned.swale.route.line)
        beside = [s for s in found if s.stake.work == planned.store.name
                  and s.stake.mark == "line"]
        # Square to a bend of 3 m or more the line is no nearer elsewhere by more than this.
        near = [line.distance(Point(s.offset.x, s.offset.y)) / s.offset.distance for s in beside]
        assert np.median(near) > 0.98
        uphill = [s.offset.ground - s.stake.ground for s in beside]
        assert np.mean(uphill) > 0.1


def test_only_sill_stakes_stand_within_a_sill(demo_plan, demo_field):
    """Of a swale's lip and of a pit's edge: no other stake is driven between a sill's ends, where
    it would be taken for one to hold to half a centimetre."""
    looked = 0
    for staked in demo_field.works.values():
        sills = [s.stake for s in staked if s.stake.mark == "sill"]
        others = [s.stake for s in staked if s.stake.mark in ("line", "end", "rim")]
        if len(sills) < 3 or not others:
            continue
        looked += 1
        assert not sills[0].ring or sills[0].station < sills[-1].station  # none over a ring's start
        assert not [s for s in others if sills[0].station < s.station < sills[-1].station]
        middle = (sills[0].station + sills[-1].station) / 2
        assert min(abs(s.station - middle) for s in sills) < 1e-6
    assert looked >= 4


def test_a_long_sill_has_stakes_no_further_apart_than_a_line():
    """30 m of sill with a corner 4 m from its start: the corner has its stake, and none stands
    more than 10 m from the next (stake spacing, common practice, no source); a sill of 4 m has
    its ends and its middle alone."""
    from terrain.outputs.field.stakes import _along_sill

    line = LineString([(0, 0), (14, 0), (14, 60)])
    found = _along_sill(line, 10.0, 40.0, Rulebook())
    assert (found[0], found[-1]) == (10.0, 40.0)
    assert {14.0, 25.0} <= {round(s, 6) for s in found}
    assert np.diff(found).max() <= 10 + 1e-9
    assert _along_sill(line, 2.0, 6.0, Rulebook()) == pytest.approx([2.0, 4.0, 6.0])


def test_a_line_shorter_than_the_least_gap_has_both_its_ends():
    assert stations_along(LineString([(0, 0), (1.5, 0)]), Rulebook()) == pytest.approx([0.0, 1.5])


def test_a_spillways_corners_stand_on_its_floor_where_that_meets_the_ground(demo_plan, demo_field,
                                                                            of):
    """The designed ground at each is the level on the stake within 1 cm; natural ground is no lower
    there, and a little further on it is (the floor has run out); left is left for who looks from
    inlet to outlet (cross product)."""
    inlet, outlet = of("gully pond", "inlet"), of("gully pond", "outlet")
    assert len(inlet) == len(outlet) == 2
    basin = next(p for p in demo_plan.stores if p.store.name == "gully pond").basin
    grid, dem = demo_field.grid, demo_plan.inputs.dem
    turns = np.linspace(0, 2 * np.pi, 24)
    for stake in [*inlet, *outlet]:
        assert stake.design == basin.sill.level
        row, column = int((grid.top - stake.y) / grid.cell), int((stake.x - grid.left) / grid.cell)
        assert demo_field.level[row, column] == pytest.approx(stake.design, abs=0.01)
        assert stake.cut > 0
        assert dem.height_at(stake.x + np.cos(turns), stake.y + np.sin(turns)).min() < stake.design
        assert "sides 2.5:1" in stake.design_of  # the steeper of its wall's 3 and 2.5
    flow = np.mean([(s.x, s.y) for s in outlet], axis=0) - np.mean([(s.x, s.y) for s in inlet],
                                                                   axis=0)
    for pair in (inlet, outlet):
        left, right = (next(s for s in pair if side in s.design_of) for side in ("left", "right"))
        assert flow[0] * (left.y - right.y) - flow[1] * (left.x - right.x) > 0
    pool = basin.outline
    assert max(pool.distance(Point(s.x, s.y)) for s in inlet) < min(
        pool.distance(Point(s.x, s.y)) for s in outlet)


def test_a_floors_side_runs_out_where_the_ground_comes_down_to_it():
    """On a plane that falls 1 in 10 along the side from 1 m over the floor, natural ground meets
    the floor after 10 m; the stake stands with 0.3 m of floor beyond it.  On level ground over the
    floor the side ends at its corner; where ground is lower at once there is no corner."""
    from types import SimpleNamespace

    from terrain.outputs.field import spillway_corners as module

    side = LineString([(0, 0), (14, 0), (14, 5)])
    falls = SimpleNamespace(height_at=lambda x, y: 11.0 - 0.1 * np.asarray(x))
    level = SimpleNamespace(height_at=lambda x, y: 11.0 + 0 * np.asarray(x))
    assert module._runs_out(side, falls, 10.0) == pytest.approx(9.7, abs=0.051)
    assert module._runs_out(side, level, 10.0) == pytest.approx(14.0)
    assert module._runs_out(side, level, 12.0) is None


def test_which_staff_figures_are_the_days_and_which_only_planned(demo_field, tmp_path):
    """What a benchmark reads more than planned is how much higher the level stands, so all of that
    set-up reads so much more. A peg's level is not known beforehand: the reading is the line of
    sight found, less the level to make (height of instrument, common practice, no source)."""
    from terrain.outputs.field.words import levels_of

    write_stake_table(demo_field, tmp_path / "s.csv")
    with open(tmp_path / "s.csv", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    backs = {str(s.number): s.back for s in demo_field.set_ups}
    assert {backs[row["set_up"]] == "the benchmark" for row in rows} == {True, False}
    for row, staked in zip(rows, demo_field.stakes, strict=True):
        said = ("planned plus what the benchmark reads more than planned"
                if backs[row["set_up"]] == "the benchmark" else
                "line of sight as found less design level")
        assert row["staff_reading_on_the_day"] == said
        assert said in levels_of(demo_field, staked)


def arc(radius, angle):
    turn = np.linspace(0, angle, 200)
    bend = np.column_stack([radius * np.sin(turn), radius * (1 - np.cos(turn))])
    out = bend[-1] + np.linspace(0, 60, 300)[1:, None] * [np.cos(angle), np.sin(angle)]
    into = np.column_stack([np.linspace(-60, 0, 300)[:-1], np.zeros(299)])
    return LineString(np.concatenate([into, bend, out]))


@pytest.mark.parametrize("radius", [4.0, 8.0])
def test_stakes_are_closer_on_bends(radius):
    """A straight, a bend, a straight: stakes at both ends of the bend, on it so close that a chord
    of theirs is within c2 / 8 R = 0.25 m of the arc (geometry), on the straights 10 m apart."""
    line, rules = arc(radius, np.pi / 2), Rulebook()
    found = np.array(stations_along(line, rules))
    bend = (60.0, 60.0 + radius * np.pi / 2)
    assert np.abs(found[:, None] - bend).min(axis=0) == pytest.approx([0, 0], abs=0.7)
    gaps = np.diff(found)
    on = (found[:-1] >= bend[0] - 0.7) & (found[1:] <= bend[1] + 0.7)
    assert gaps[on].max() <= min(np.sqrt(8 * radius * 0.25), 5.0) + 0.1
    assert gaps.max() <= 10 + 1e-9
    assert len(found) < 22
    string = LineString([line.interpolate(s) for s in found])
    assert line.hausdorff_distance(string) < 0.27


def test_a_straight_has_stakes_evenly_and_a_corner_has_its_own():
    """stake spacing 10 m, common practice, no source."""
    rules = Rulebook()
    assert stations_along(LineString([(0, 0), (0, 30)]), rules) == pytest.approx([0, 10, 20, 30])
    corner = stations_along(LineString([(0, 0), (14, 0), (14, 20)]), rules)
    assert min(abs(s - 14.0) for s in corner) < 1e-9
    assert np.diff(corner).max() <= 10 + 1e-9


def test_what_the_site_file_asks_for_is_done(small_site, metric):
    small_site.write_text(small_site.read_text()
                          + "setting out: {offset: 3 m, side: downhill, staff: 5 m}\n"
                            "benchmark: {at: [500085, 6399955], level: 203.0 m}\n")
    field = field_of(metric.plan, small_site)
    sides = {s.offset.side for s in field.stakes if s.offset}
    assert "downhill" in sides
    assert "uphill" not in sides
    assert all(s.offset.distance % 3.0 == pytest.approx(0) for s in field.stakes if s.offset)
    assert field.staff == 5.0
    assert any("16.4 ft" in note for note in field.notes)


@pytest.mark.parametrize(("given", "said"), [
    ("offset: 0 m", "0 m is not above 0"),
    ("offset: 0.2 m", "an offset of 0.2 m .* is not between 0.5 m"),
    ("offset: 40 m", "an offset of 40.0 m .* and 10.0 m"),
    ("side: left", "side"),
    ("staff: 1 m", "a staff of 1.0 m .* is not between 2.0 m .*, more than a level stands high"),
    ("staff: 30 ft", "a staff of 9.1 m"),
])
def test_settings_that_make_no_sense_are_refused(small_site, given, said):
    from terrain.errors import InputError
    from terrain.inputs.site import read_site

    small_site.write_text(small_site.read_text() + f"setting out: {{{given}}}\n")
    with pytest.raises(InputError, match=f"setting out.*{said}") as found:
        read_site(small_site)
    assert str(found.value).count("\n") == 0


def test_a_benchmark_off_the_raster_is_refused(small_site):
    from terrain.errors import InputError

    small_site.write_text(small_site.read_text()
                          + "benchmark: {at: [500900, 6399950], level: 200 m}\n")
    with pytest.raises(InputError, match=r"benchmark, at.*m east of"):
        make_plan(small_site)


def test_a_reading_longer_than_the_staff_is_refused(small_site):
    from terrain.errors import InputError

    small_site.write_text(small_site.read_text() + "benchmark: {at: [500085, 6399955], "
                                                   "level: 203.0 m, staff reading: 4.5 m}\n")
    with pytest.raises(InputError, match=r"staff reading.*4\.50 m.*longer than the staff"):
        make_plan(small_site)


@pytest.mark.parametrize("level", ["100 m", "640 m", "200 ft"])
def test_a_benchmark_off_the_rasters_heights_is_refused(small_site, level):
    from terrain.errors import InputError

    small_site.write_text(small_site.read_text()
                          + f"benchmark: {{at: [500060, 6399950], level: {level}}}\n")
    with pytest.raises(InputError, match=r"benchmark.*not near the raster's ground"):
        make_plan(small_site)


def test_a_bowl_can_be_dug_from_its_stakes(demo_plan, of):
    """Its floor, its sill, and its edge a quarter of a circle from each: half the crown away."""
    planned = next(p for p in demo_plan.stores if p.store.name == "orchard 1")
    tree = planned.placed.tree
    [sill], [floor], rim = (of("orchard 1", mark) for mark in ("sill", "floor", "rim"))
    [trunk] = of("orchard 1", "tree")
    assert len(rim) == 3
    assert np.hypot(floor.x - tree.x, floor.y - tree.y) < tree.crown / 2
    # The mound stays: the trunk stands over the water, not on the floor.
    # At the design peak its furrow, whose bed begins level with the sill, runs brim full.
    assert not planned.furrow.begins_below
    water = sill.design + max(planned.store.sill.head, planned.furrow.depth)
    assert water < trunk.design < water + 0.1
    assert trunk.design_of == "top of the mound to leave"
    for stake in rim:
        assert np.hypot(stake.x - tree.x, stake.y - tree.y) == pytest.approx(tree.crown / 2)
        assert stake.design == sill.design == pytest.approx(floor.design + tree.depth)
    # The first lies across from the sill, the two others square to that.
    out = np.array([sill.x - tree.x, sill.y - tree.y]) / np.hypot(sill.x - tree.x, sill.y - tree.y)
    along = [float(np.array([s.x - tree.x, s.y - tree.y]) @ out) / (tree.crown / 2) for s in rim]
    assert along == pytest.approx([-1.0, 0.0, 0.0], abs=1e-9)


def test_which_feet_and_that_they_are_parted_in_tenths_is_said(feet, metric):
    said = " ".join(feet.field.notes)
    assert "US survey feet (1200/3937 m)" in said
    assert "feet, tenths and hundredths" in said
    assert "not inches: 0.10 ft is 1.2 in" in said
    assert "and so is `ft` in the site file" in said
    assert "international foot" not in said
    assert "inches" not in " ".join(metric.field.notes)


def test_ft_in_a_site_file_is_the_rasters_foot(feet):
    """666.01 US survey feet are 666.01 x 1200/3937 m (Federal Register, 1959), 0.4 mm more than so
    many international ones; stakes.pdf tells the figure that the site file states."""
    assert feet.field.benchmark.level == pytest.approx(666.01 * 1200 / 3937, abs=1e-6)
    assert f"{feet.field.unit.of(feet.field.benchmark.level):.3f}" == "666.010"


def test_a_us_site_on_a_raster_in_metres_is_told_what_the_drawing_is_in(small_site, metric,
                                                                        tmp_path):
    import ezdxf

    from terrain.outputs.field.dxf import write_dxf

    text = small_site.read_text().replace("name: Small valley", "name: Small valley\nunits: us")
    small_site.write_text(text)
    field = field_of(metric.plan, small_site)
    assert any("(design.dxf, design.xml) are in metres" in note for note in field.notes)
    write_dxf(field, tmp_path / "d.dxf")
    drawn = ezdxf.readfile(tmp_path / "d.dxf")
    assert drawn.header["$INSUNITS"] == 6
    told = [text.dxf.text for text in drawn.modelspace().query('TEXT[layer=="notes"]')]
    assert "Unit of places and levels: metres" in told
    assert any(t.startswith("The tables of stakes are in international feet") for t in told)


def test_the_datum_of_heights_is_named_where_the_raster_names_it(metric):
    """EPSG:6349: NAD83(2011) + NAVD88 height; EPSG:32734 names none."""
    from pyproj import CRS

    from terrain.inputs.frame import Frame
    from terrain.outputs.field.survey_frame import datum_words

    assert datum_words(Frame(CRS.from_epsg(6349), None)).endswith("own heights, NAVD88 height")
    assert ("Levels are on the elevation raster's own heights, whose datum its files do not name."
            in metric.field.notes)
    frame = Frame(CRS.from_epsg(6349), metric.plan.inputs.dem.frame.working)
    dem = replace(metric.plan.inputs.dem, frame=frame)
    named = replace(metric.field, plan=replace(metric.plan, inputs=replace(
        metric.plan.inputs, dem=dem)))
    assert "Levels are on the elevation raster's own heights, NAVD88 height." in named.notes


def test_each_work_is_read_from_one_set_up_and_levels_go_on_by_pegs(demo_plan, demo_field):
    """No peg stands where the designed ground leaves the raster's by a centimetre or more."""
    for staked in demo_field.works.values():
        assert len({one.set_up for one in staked}) == 1
    grid, change = demo_field.grid, demo_field.change
    assert demo_field.pegs
    for peg in demo_field.pegs:
        row = int((grid.top - peg.back_y) / grid.cell)
        column = int((peg.back_x - grid.left) / grid.cell)
        if 0 <= row < grid.rows and 0 <= column < grid.columns:
            assert not abs(change[row, column]) > 0.01
        assert peg.back_level == pytest.approx(float(demo_plan.inputs.dem.height_at(
            peg.back_x, peg.back_y)))


def test_works_stand_in_the_order_of_the_site_file(demo_plan, demo_field):
    from terrain.outputs.field.field_lines import lines_of

    written = [p.store.name for p in demo_plan.stores]
    named = [name for name in written if name in demo_field.works]
    assert list(demo_field.works) == named
    assert named.index("orchard 1") < named.index("orchard 2") < named.index("orchard 6")
    drawn = list(dict.fromkeys(line.work for line in lines_of(demo_plan)))
    assert drawn == [name for name in named if name in drawn]


def test_stakes_of_a_line_stand_half_a_metre_apart(demo_field):
    """Sill and line or rim together; common practice, no source."""
    for staked in demo_field.works.values():
        for marks in (("line", "end", "sill"), ("rim", "sill"), ("bed",), ("berm",)):
            at = sorted(s.stake.station for s in staked if s.stake.mark in marks)
            assert len(at) < 2 or np.diff(at).min() >= 0.5 - 1e-9 or staked[
                0].stake.work.startswith("orchard")


def test_a_bed_is_staked_where_it_is_dug(demo_plan, of):
    """Its first stake stands as far in as a side of its slope is wide, depth times slope."""
    for planned in demo_plan.stores:
        if planned.swale is None:
            continue
        bed = of(planned.store.name, "bed")
        toe = planned.swale.depth * planned.swale.section.side_slope
        assert bed[0].station == pytest.approx(toe)
        line = LineString(planned.swale.route.line)
        assert line.project(Point(bed[0].x, bed[0].y)) > toe / 2


def test_an_offset_stake_of_a_wall_is_named_by_its_water(demo_plan, demo_field):
    basin = next(p for p in demo_plan.stores if p.store.name == "gully pond").basin
    walls = [s for s in demo_field.works["gully pond"] if s.stake.mark == "wall"]
    assert {s.offset.side for s in walls} == {"water side"}
    line, pool = LineString(basin.line), basin.outline
    middle = walls[len(walls) // 2]
    assert pool.distance(Point(middle.offset.x, middle.offset.y)) < pool.distance(
        line.interpolate(middle.stake.station)) + 1e-6


def test_a_trench_has_three_stakes_on_its_sill():
    """A sill's two ends and its middle, on the lower side of the trench; common practice."""
    from types import SimpleNamespace

    from terrain.outputs.field import stakes as module

    dem = SimpleNamespace(height_at=lambda x, y: 10.0 + 0.1 * np.asarray(y, float))
    tree = SimpleNamespace(outline=Polygon([(0, 0), (3, 0), (3, 0.6), (0, 0.6)]), level=10.0,
                           depth=0.5, x=1.5, y=-1.0)
    found = module._of_trench(tree, module._Row("trench", dem))
    sill = [s for s in found if s.mark == "sill"]
    assert [s.station for s in sill] == pytest.approx([0.0, 1.5, 3.0])
    assert {s.design for s in sill} == {10.0}
    assert {s.y for s in sill} == {0.0}
    assert [s.mark for s in found if s.mark == "floor"] == ["floor"] * 4
