"""A sheet of every dug work: lettering, scale, and that what is drawn is what is planned."""

import functools
import io
import itertools
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.figure import Figure
from PIL import Image
from shapely import LineString, Point, Polygon
from works_of_every_kind import write_site

from terrain.inputs.keep_clear import Thing
from terrain.outputs.drawing.labels import Column
from terrain.outputs.drawing.paper import PAPERS
from terrain.outputs.drawing.title_block import Imprint
from terrain.outputs.page.report import report_page
from terrain.outputs.plan_set.work_pages import work_pages
from terrain.outputs.sheets.long_profiles import LongProfile
from terrain.outputs.sheets.plan_sheets import (
    draw_sheet,
    dug_works,
    file_name,
)
from terrain.outputs.sheets.sections import Section, spread
from terrain.outputs.sheets.swale_sections import stakes_near
from terrain.plan.plan import make_plan
from terrain.units import shown
from terrain.works import footprints as fp

pytestmark = pytest.mark.long

#: A work of each form: three shapes of swale and checks, three forms of tree basin, two linings of
#: drain, three forms of basin.
FORMS = ("top swale", "dish swale", "vee swale", "tied swale", "row", "moons", "one trench",
         "grass drain", "dug basin", "pit pond", "low pond")
US = ("tied swale", "moons", "stone drain", "pit pond")
#: One of each kind is drawn whenever the tests run, one of them in US units; every form among the
#: slow ones.
QUICK = {("tied swale", "metric"), ("moons", "metric"), ("grass drain", "metric"),
         ("pit pond", "us"), ("dug basin", "metric")}
BOTH = [pytest.param(name, system, marks=() if (name, system) in QUICK else pytest.mark.slow)
        for name, system in (*((name, "metric") for name in FORMS), *((name, "us") for name in US))]
SOME = [pytest.param(name, marks=() if (name, "metric") in QUICK else pytest.mark.slow)
        for name in FORMS]


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    return make_plan(write_site(tmp_path_factory.mktemp("kinds")))


@pytest.fixture(scope="module")
def sheet(plan):
    """The sheet of a work by its name, drawn once."""
    def draw(name, system="metric"):
        site = plan.site.model_copy(update={"units": system})
        asked = replace(plan, inputs=replace(plan.inputs, site=site))
        entry, = [entry for entry in dug_works(asked) if entry.name == name]
        return draw_sheet(asked, entry)
    return functools.cache(draw)


@pytest.fixture(scope="module")
def lettering(sheet, seen):
    """Its lettering with its boxes, measured once."""
    return functools.cache(lambda name, system="metric": seen.texts(sheet(name, system)))


@pytest.fixture(scope="module")
def words_of(lettering):
    return lambda name, system="metric": "\n".join(
        text.get_text() for text, _ in lettering(name, system))


def planned(plan, name):
    return next(p for p in plan.stores if p.placed.work.name == name)


@pytest.mark.parametrize(("name", "system"), BOTH)
def test_lettering_keeps_apart_inside_and_off_the_column(name, system, seen, sheet, lettering):
    figure, found = sheet(name, system), lettering(name, system)
    assert len(found) > 40
    assert seen.overlapping(found) == []
    plan_axes, column = figure.axes[:2]
    frame, edge = plan_axes.get_window_extent(), column.get_window_extent().x0
    for text, box in found:
        assert 0 <= box.x0 < box.x1 <= figure.bbox.x1, text.get_text()
        assert 0 <= box.y0 < box.y1 <= figure.bbox.y1, text.get_text()
        if text.axes is plan_axes:
            assert frame.x0 <= box.x0 < box.x1 <= frame.x1, text.get_text()
            assert frame.y0 <= box.y0 < box.y1 <= frame.y1, text.get_text()
        elif text.axes is not column:
            assert box.x1 < edge, text.get_text()


@pytest.mark.parametrize(("name", "system"), BOTH)
def test_units_print(name, system, words_of):
    # What stands under "Take care" was written elsewhere, in both systems.
    words = words_of(name, system).split("Take care")[0]
    mine, other = r"\d m\b", r"\d (ft|ft²|gal|in|acre|yd³|cfs)\b"
    if system == "us":
        mine, other = r"\d ft\b", r"\d (m|m²|m³|mm|ha|L/s)\b"
    assert re.search(mine, words)
    assert not re.search(other, words)


@pytest.mark.parametrize(("name", "system"), BOTH)
def test_every_section_has_one_scale(name, system, sheet):
    sections = [ax for ax in sheet(name, system).axes[2:]
                if any(line.get_gid() in ("profile", "ground now") for line in ax.lines)]
    assert sections
    for ax in sections:
        (x0, z0), (x1, z1) = ax.transData.transform([(0, 0), (1, 1)])
        assert x1 - x0 == pytest.approx(z1 - z0)


@pytest.mark.parametrize("name", SOME)
def test_every_caution_stands_or_is_counted(name, plan, words_of):
    stores = [p for p in plan.stores if p.placed.work.name == name]
    # Of several trees those that differ in their figures alone are told as one.
    cautions: dict[str, list[str]] = {}
    for said in dict.fromkeys(said for p in stores for said in p.cautions):
        cautions.setdefault(re.sub(r"[\d.,]+", "", said), []).append(said)
    words = " ".join(words_of(name).split())
    plain = re.sub(r"[\d.,]+( to [\d.,]+)?", "", words)
    missing = [alike for bare, alike in cautions.items()
               if alike[0] not in words and not (len(alike) > 1 and bare in plain)]
    told = re.search(r"(\d+)( more)? cautions? stands? in the report", words)
    assert len(missing) == (int(told.group(1)) if told else 0)


def test_levels_of_a_swale_are_written(plan, words_of):
    swale = planned(plan, "tied swale").swale
    words = words_of("tied swale")
    for what, above in (("sill and lip", 0.0), ("bed", -swale.depth),
                        ("crest as built", swale.berm_height_built),
                        ("crest settled", swale.berm_height),
                        ("water, design peak", swale.sill.head)):
        assert f"{what} {shown(swale.sill.level + above, 'level', 'metric')}" in words


@pytest.mark.parametrize(("name", "faces"), [("tied swale", 2), ("pit pond", 3)])
def test_a_slope_stands_along_its_face_or_is_led_to_it(name, faces, sheet, seen):
    """Words that stand loose could tell of any side."""
    figure = sheet(name)
    said = [t for t in seen.with_gid(figure, "slope") if ":1" in t.get_text()]
    assert len(said) >= faces
    for ax in {t.axes for t in said}:
        here = [t for t in said if t.axes is ax]
        dots = [line for line in ax.lines if line.get_gid() == "leader"
                and line.get_marker() == "o"]
        turned = [t for t in here if t.get_rotation()]
        assert len(turned) + len(dots) == len(here)
        for text in turned:  # H:V of the words is that of their own direction
            asked = float(text.get_text().split(":")[0])
            angle = np.radians((text.get_rotation() + 90) % 180 - 90)
            assert 1 / abs(np.tan(angle)) == pytest.approx(asked, rel=0.02)
        shapes = [np.asarray(patch.get_xy()) for patch in ax.patches if hasattr(patch, "get_xy")
                  and np.ndim(patch.get_xy()) == 2]
        edges = [LineString(xy) for xy in shapes] + [
            LineString(line.get_xydata()) for line in ax.lines if line.get_gid() == "profile"]
        for line in dots:
            end = Point(*line.get_xydata()[0])
            assert min(edge.distance(end) for edge in edges) < 1e-3


def test_headings_of_sections_side_by_side_do_not_run_into_each_other():
    """As "stakes 159, 160" and "87.6 ft" once did: 16087.6 ft."""
    figure = Figure(figsize=(9, 3), dpi=150)
    for i in range(4):
        made = Section(figure, 0.3 + 1.5 * i, 0.5, 1.4, 1.2)
        made.head("46.5 ft, stakes 159, 160")
    heads = [text.get_window_extent() for text in figure.texts]
    for one, other in itertools.pairwise(heads):
        assert other.x0 - one.x1 > 0.05 * figure.dpi


def test_levels_of_a_wall_are_written(plan, words_of):
    basin = planned(plan, "pit pond").basin
    words = words_of("pit pond")
    # It is built a tenth of its height higher (USDA Agriculture Handbook 590, from memory).
    built = basin.crest + 0.1 * basin.height
    for what, level in (("crest settled", basin.crest), ("sill, full", basin.sill.level),
                        ("crest as built", built), ("pit floor", basin.floor),
                        ("water, design peak", basin.sill.level + basin.sill.head)):
        told = re.search(rf"{what} ([\d,.]+) m", words)
        assert float(told.group(1)) == pytest.approx(level, abs=0.011)


def test_checks_and_the_open_sill_stand_in_the_long_profile(plan, sheet):
    swale = planned(plan, "tied swale").swale
    ax, = [ax for ax in sheet("tied swale").axes
           if any(line.get_gid() == "crest" for line in ax.lines)]
    assert len([p for p in ax.patches if p.get_gid() == "check"]) == len(swale.checks) > 0
    crest, = [line for line in ax.lines if line.get_gid() == "crest"]
    low = crest.get_ydata() < swale.sill.level + 1e-9
    assert crest.get_xdata()[low] == pytest.approx([swale.sill_from, swale.sill_to])
    # Its ends slope down to the sill as its sides do: base over height is that of its sides.
    foot = swale.berm_side_slope * swale.berm_height_built
    assert crest.get_xdata()[[1, 4]] == pytest.approx([swale.sill_from - foot,
                                                       swale.sill_to + foot])
    head = next(t.get_text() for t in ax.figure.texts if "Long profile" in t.get_text())
    assert re.search(r"heights × \d", head)  # that heights are drawn out is said


def test_a_drains_profile_falls_at_its_grade(plan, sheet):
    route = planned(plan, "grass drain").drain.route
    ax, = [ax for ax in sheet("grass drain").axes
           if any(line.get_gid() == "lip" for line in ax.lines)]
    for name in ("lip", "bed"):
        line, = [line for line in ax.lines if line.get_gid() == name]
        fall = -np.diff(line.get_ydata()) / np.diff(line.get_xdata())
        assert fall == pytest.approx(route.grade)


def test_a_row_has_one_sheet_with_all_its_trees(plan, seen, sheet, words_of):
    trees = [p for p in plan.stores if p.placed.work.name == "row"]
    assert len(trees) > 4
    assert [entry.name for entry in dug_works(plan)].count("row") == 1
    figure = sheet("row")
    numbers = {t.get_text() for t in seen.with_gid(figure, "tree number")}
    assert numbers == {str(i + 1) for i in range(len(trees))}
    words = words_of("row")
    for tree in trees:
        assert shown(tree.placed.tree.level, "level", "metric", with_unit=False) in words


def test_a_buried_line_is_drawn_over_the_work_and_named_in_the_key(plan, seen):
    x, y = planned(plan, "one trench").placed.tree.outline.centroid.coords[0]
    pipe = Thing("buried water line", "orchard pipe", LineString([(x - 9, y), (x + 9, y + 1)]))
    ground = replace(plan.inputs.ground, keep_clear=(pipe,))
    asked = replace(plan, inputs=replace(plan.inputs, ground=ground))
    entry, = [entry for entry in dug_works(asked) if entry.name == "one trench"]
    figure = draw_sheet(asked, entry)
    line = seen.with_gid(figure, "keep line")[0]
    assert line.get_zorder() > max(made.get_zorder() for made in
                                   seen.with_gid(figure, "tree basin"))
    words = seen.words(figure)
    assert "orchard pipe" in words
    assert "Buried line" in words


def test_the_edge_of_a_pits_cut_is_all_on_its_sheet_and_its_sill_is_as_long_as_told(plan, sheet,
                                                                                     seen):
    figure, basin = sheet("dug basin"), planned(plan, "dug basin").basin
    edge, = seen.with_gid(figure, "cut edge")
    x, y = edge.get_data()
    (west, east), (south, north) = figure.axes[0].get_xlim(), figure.axes[0].get_ylim()
    assert west < min(x) < max(x) < east
    assert south < min(y) < max(y) < north
    assert (x[0], y[0]) == (x[-1], y[-1])
    sill, = seen.with_gid(figure, "sill line")
    assert LineString(np.column_stack(sill.get_data())).length == pytest.approx(
        basin.sill.length, rel=0.02)  # it may go round a corner of the rim


def test_sections_of_a_pit_end_where_its_cut_has_met_the_ground(sheet):
    for ax in sheet("dug basin").axes:
        lines = [line for line in ax.lines if line.get_gid() == "profile"]
        for now in (line for line in ax.lines if line.get_gid() == "ground now"):
            ends = lines[0].get_xdata()[[0, -1]]
            assert ends[0] < now.get_xdata().min() < now.get_xdata().max() < ends[1]


def test_cautions_of_a_row_say_which_tree_they_are_of(plan, words_of):
    trees = [p for p in plan.stores if p.placed.work.name == "row"]
    words = " ".join(words_of("row").split())
    for said in {said for p in trees for said in p.cautions}:
        whose = [i for i, p in enumerate(trees, 1) if said in p.cautions]
        if said in words and len(whose) < len(trees):
            plural = "s" if len(whose) > 1 else ""
            assert f"Tree{plural} {', '.join(map(str, whose))}: {said}" in words


# Footprints ------------------------------------------------------------------------------------

def test_a_strip_beside_a_straight_line_has_the_area_of_a_trapezium():
    line = np.array([[0.0, 0.0], [30.0, 40.0]])  # 50 m long
    made = fp.strip(line, np.array([0.0, 50.0]), np.array([0.0, 0.0]), np.array([1.0, 3.0]))
    assert made.area == pytest.approx(50 * (1 + 3) / 2, rel=1e-3)
    assert made.contains(Point(15 - 0.8 * 0.5, 20 + 0.6 * 0.5))  # on its left


def test_a_walls_ground_is_that_of_its_profile(plan):
    """Width by height at each station, in closed form, summed along a straight wall."""
    basin = planned(plan, "low pond").basin
    top, ground = fp.wall_footprint(basin, plan.inputs.dem)
    assert ground.area == pytest.approx(basin.profile.footprint, rel=0.01)
    under = float(np.trapezoid((basin.profile.heights > 0).astype(float),
                               basin.profile.stations))
    assert top.area == pytest.approx(basin.profile.top * under, rel=0.02)
    # Its wet side is the wider (3:1 against 2.5:1), and lies to the water: the north.
    y = basin.line[0, 1]
    assert ground.bounds[3] - y > y - ground.bounds[1]


def test_a_pits_floor_lies_inside_its_rim_by_batter_times_depth(plan):
    """20 m by 10 m, 1 m deep, sides 2:1: 16 m by 6 m."""
    rim, floor = fp.pit_footprint(planned(plan, "pit pond").basin)
    assert rim.area == pytest.approx(20 * 10)
    assert floor.area == pytest.approx(16 * 6)


def test_a_cut_comes_out_of_a_plane_where_its_side_meets_it(plan):
    """On ground that stands r above the level on the rim and rises at s away from it, a side of
    b:1 comes out r / (1 / b - s) from the rim."""
    basin, dem = planned(plan, "dug basin").basin, plan.inputs.dem
    edge = fp.cut_edge(basin, dem)
    x, y = 500048.0, 5999850.0  # the middle of the rim's uphill side
    rise = float(dem.height_at(x, y)) - basin.sill.level
    slope = (float(dem.height_at(x, y + 2)) - float(dem.height_at(x, y))) / 2
    out = rise / (1 / basin.batter - slope)
    above = LineString(edge).intersection(LineString([(x, y), (x, y + 20)]))
    assert above.y - y == pytest.approx(out, abs=0.15)


def test_a_berm_is_open_at_the_sill_and_turned_uphill_at_both_ends(plan):
    """Its ends meet ground as high as its crest: height over slope uphill of the line."""
    swale, dem = planned(plan, "top swale").swale, plan.inputs.dem
    channel, berm = fp.swale_footprint(swale, dem)
    line = LineString(swale.route.line)
    sill = line.interpolate((swale.sill_from + swale.sill_to) / 2)
    assert berm.distance(sill) > 1.0
    assert berm.intersection(channel).area < 0.05
    up = -fp.lower_side(dem, swale.route.line, 2.5)
    for end, chainage in ((0, 0.0), (-1, line.length)):
        points, left = fp.along(swale.route.line, np.array([chainage]))
        reach = swale.berm_height_built / swale.stations[end].cross_slope
        corners = np.concatenate([np.asarray(p.exterior.coords)
                                  for p in getattr(berm, "geoms", [berm])])
        near = corners[np.hypot(*(corners - points[0]).T) < reach + 4]
        assert ((near - points[0]) @ (up * left[0])).max() == pytest.approx(reach, abs=0.1)


def test_a_bank_closes_the_channel_beside_a_sill_at_its_end(plan):
    swale, dem = planned(plan, "top swale").swale, plan.inputs.dem
    _, berm = fp.swale_footprint(replace(swale, sill_from=0.0, sill_to=4.0), dem)
    line = swale.route.line
    way = (line[0] - line[1]) / np.hypot(*(line[0] - line[1]))
    assert berm.contains(Point(line[0] + swale.returns[0].beyond * way))
    assert not berm.contains(Point(LineString(line).interpolate(2.0)))


def test_a_channel_is_as_wide_on_the_ground_as_its_stations_say(plan):
    swale = planned(plan, "vee swale").swale
    channel, _ = fp.swale_footprint(swale, plan.inputs.dem)
    at, wide = (np.array([getattr(s, k) for s in swale.stations if s.berm > 0.05])
                for k in ("chainage", "cut_width"))
    assert channel.area == pytest.approx(float(np.interp(
        np.linspace(0, swale.route.length, 200), at, wide).mean()) * swale.route.length, rel=0.02)


# Lettering -------------------------------------------------------------------------------------

@given(st.lists(st.floats(-50, 50), min_size=1, max_size=8))
def test_levels_are_spread_apart_in_their_order_and_inside(wanted):
    ordered = sorted(wanted, reverse=True)
    places = spread(ordered, 12.0, -60.0, 60.0)
    assert all(a - b >= 12.0 - 1e-9 for a, b in itertools.pairwise(places))
    assert max(places) <= 60 + 1e-9
    assert min(places) >= -60 - 1e-9


def test_levels_with_room_stay_where_they_are():
    assert spread([30.0, 5.0, -20.0], 12.0, -60.0, 60.0) == [30.0, 5.0, -20.0]


def test_words_are_wrapped_as_soon_as_the_next_does_not_fit():
    column = Column(Figure(figsize=(4, 4), dpi=150), 0.2, 0.2, 3.0, 3.0)
    words = "Have buried pipes and cables located before digging; the service marks no private " * 4
    lines = column.wrapped(words, 8.5, 200.0)
    assert " ".join(lines) == words.strip()
    for line, following in itertools.pairwise(lines):
        assert column.wide(line, 8.5) <= 200.0
        assert column.wide(f"{line} {following.split()[0]}", 8.5) > 200.0 - 1.0


# Files -----------------------------------------------------------------------------------------

def test_the_report_holds_every_sheet(plan):
    drawn = [(entry.name, b"sheet") for entry in dug_works(plan)]
    blank = io.BytesIO()
    Image.new("RGB", (4, 4)).save(blank, "PNG")
    page = report_page(plan, blank.getvalue(), {}, drawn)
    assert page.count('alt="Sheet of ') == len(drawn) > 10
    assert 'href="plan_set.pdf"' in page


def test_sheets_go_from_the_top_of_the_land_down(plan):
    levels = [max(plan.stores[i].store.sill.level for i in entry.members)
              for entry in dug_works(plan)]
    assert levels == sorted(levels, reverse=True)
    assert all(plan.stores[i].store.kind not in ("tank", "hollow")
               for entry in dug_works(plan) for i in entry.members)


@pytest.mark.parametrize(("name", "file"), [
    ("upper swale", "03_upper_swale.png"), ("a/b: c?", "03_a_b_c.png"), ("Böschung 2",
                                                                       "03_Böschung_2.png"),
    ("///", "03.png"), ("x" * 99, f"03_{'x' * 40}.png")])
def test_names_of_files(name, file):
    assert file_name(3, name) == file


@pytest.mark.parametrize(("at", "said"), [
    (0.0, "stake 4"), (9.9, "stake 5"), (12.0, "stakes 5, 7"), (30.0, "stake 7")])
def test_a_section_names_the_stakes_it_is_found_by(at, said):
    assert stakes_near(at, [(4, 0.0), (5, 10.0), (7, 20.0)]) == said
    assert stakes_near(at, []) == ""


def test_a_pool_is_named_on_its_wet_side(plan, lettering):
    basin = planned(plan, "low pond").basin
    (x0, y0), (x1, y1) = basin.line[0], basin.line[-1]

    def side(x, y):
        return np.sign((x1 - x0) * (y - y0) - (y1 - y0) * (x - x0))

    pool = basin.outline.representative_point()
    named, = [text for text, _ in lettering("low pond") if text.get_text() == "pool"]
    assert side(*named.get_position()) == side(pool.x, pool.y)


def test_a_drain_whose_cautions_stand_on_its_sheet_has_no_second_page(plan):
    imprint = Imprint("x", "Not dated.", PAPERS["A4"], "metric", plan.inputs.dem)
    entry, = [entry for entry in dug_works(plan) if entry.name == "stone drain"]
    index, = entry.members
    for cautions, count in ((("Mind the gap.",), 1), (plan.stores[index].cautions * 6, 2)):
        stores = [replace(p, cautions=cautions) if i == index else p
                  for i, p in enumerate(plan.stores)]
        assert len(work_pages(replace(plan, stores=stores), entry, imprint)) == count


def test_the_catchment_of_trees_is_not_written_on_one(plan, lettering):
    boxes = {text.get_text(): box for text, box in lettering("moons")}
    ax = next(text.axes for text, _ in lettering("moons") if text.get_text() == "1")
    named = next(box for said, box in boxes.items() if said.startswith("catchment, at least"))
    for tree in (p.placed.tree for p in plan.stores if p.placed.work.name == "moons"):
        x, y = ax.transData.transform((tree.x, tree.y))
        assert not (named.x0 < x < named.x1 and named.y0 < y < named.y1)


@pytest.mark.parametrize("wide", [5.2, 6.3, 9.0])
def test_the_key_of_a_profile_stays_within_its_width(wide, seen):
    figure = Figure(figsize=(10.0, 2.0))
    made = LongProfile(figure, 0.3, 0.2, wide, 1.6, 30.0, 100.0, 102.0, "us")
    made.head("Long profile of the wall", [
        ("ground", "ground now"), ("built", "crest as built"), ("settled", "settled"),
        ("trench", "cut-off trench"), ("level", "sill"), ("peak", "design peak")])
    keys = [box for text, box in seen.texts(figure) if text.get_gid() == "key"]
    assert len(keys) == 6
    assert max(box.x1 for box in keys) <= (0.3 + wide) * figure.dpi + 1
    assert seen.overlaps(figure) == []


def test_a_bund_lies_outside_its_water(plan):
    tree = planned(plan, "moons").placed.tree
    bund = fp.bund_footprint(tree.crescent, 0.25, 1.0, (tree.x, tree.y))
    assert isinstance(bund, Polygon)
    assert bund.is_valid
    assert bund.intersection(tree.outline).area < 0.01 * bund.area


def test_a_furrow_from_another_work_is_drawn_on_its_takers_plan(demo_plan):
    """The orchard's own furrows, and that from the yard swale, which ends at its first rim."""
    entry = next(e for e in dug_works(demo_plan) if e.name == "orchard")
    figure = draw_sheet(demo_plan, entry)
    drawn = [np.asarray(line.get_xydata()) for ax in figure.axes for line in ax.lines
             if line.get_gid() == "furrow"]
    made = next(n.furrow for n in demo_plan.cascade.nodes if n.store.name == "yard swale")
    assert any(np.hypot(*(way[-1] - made.line[-1])) < 0.01
               and np.hypot(*(way[0] - made.line[0])) < 0.01 for way in drawn)
