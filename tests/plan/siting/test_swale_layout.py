"""Swales of a site file: where they lie, what is refused, what is told."""

from __future__ import annotations

import itertools
import re

import numpy as np
import pytest
from matplotlib.figure import Figure
from shapely import LineString, Point, box

from terrain.errors import InputError
from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.field.stakes import stakes_of
from terrain.outputs.page.build_tables import build_rows
from terrain.outputs.sheets.swale_sections import swale_profile, told_stations
from terrain.plan.plan import check_site, make_plan
from terrain.works.alignment import off_level

#: The small site's valley: sides of 8 % (and 4 % along it), its floor at x = 500060.
BARN = box(500095, 6399890, 500105, 6399898)
OLD = """    through: [500085, 6399940]
    length: 30 m
"""


def with_swale(site, words):
    """The small site with its swale told in other words."""
    text = site.read_text()
    assert OLD in text
    lines = "".join(f"    {line}\n" for line in words.split("; "))
    site.write_text(text.replace(OLD, lines))
    return site


def laid(site):
    """The one swale as `check` lays it out, and the notes of its line and size."""
    from terrain.plan.siting.layout import place_works
    from terrain.plan.siting.reading import read_inputs

    inputs = read_inputs(site)
    placed = place_works(inputs.site, inputs.terrain, inputs.ground, inputs.rules,
                         inputs.runoff(inputs.site.rain.design.depth))
    return inputs, next(place for place in placed if place.kind == "swale")


def told(site):
    with pytest.raises(InputError) as error:
        check_site(site)
    return str(error.value)


def test_a_level_and_a_point_near_it(small_site):
    _, by_point = laid(small_site)
    site = with_swale(small_site, f"level: {by_point.route.level + 0.4} m; "
                      "near: [500085, 6399940]; length: 30 m")
    _, placed = laid(site)
    assert placed.route.level == pytest.approx(by_point.route.level + 0.4)
    assert placed.route.length == pytest.approx(30, abs=0.1)
    # 0.4 m up a slope of 8 % across and 4 % along: 0.4 / hypot(0.08, 0.04) = 4.5 m away.
    gap = LineString(placed.route.line).distance(LineString(by_point.route.line))
    assert gap == pytest.approx(0.4 / np.hypot(0.08, 0.04), abs=0.15)


def test_a_drawn_line_is_pulled_and_gives_the_length(small_site):
    _, by_point = laid(small_site)
    ends = by_point.route.line[[0, -1]] + (0.5, -0.4)
    site = with_swale(small_site, "along: " + str([[float(v) for v in end] for end in ends]))
    inputs, placed = laid(site)
    assert placed.route.length == pytest.approx(30, abs=0.6)
    assert placed.route.level == pytest.approx(by_point.route.level, abs=0.1)
    assert np.abs(off_level(inputs.dem, placed.route.line, placed.route.level)[1]).max() <= 0.1
    assert placed.swale.notes[0].startswith("The drawn line was pulled by up to ")


@pytest.mark.parametrize(("words", "said"), [
    ("along: [[500085, 6399940]]", "a drawn line (along) needs two points or more"),
    ("along: [500085, 6399940]", "a drawn line (along) needs two points or more"),
    ("along: [[500085, 6399940], [500095, 6399940]]; length: 20 m", "gives the swale its length"),
    ("level: 250 m; near: [500085, 6399940]", "no contour at 250.00 m"),
    ("level: 198 m", "a swale goes through a point (through)"),
    ("through: [500085, 6399940]; level: 198 m", "belong together"),
    ("near: [500085, 6399940]", "belong together"),
    ("through: [500085, 6399940]; along: [[500085, 6399940], [500095, 6399930]]",
     "through and along are given"),
    ("through: [500085, 6399940]; crest: 190 m", "stands above the berm's crest at 190.00 m"),
    ("through: [500100, 6399894]", "would run through the roof \"barn\""),
    ("through: [500100, 6399900]", "from the roof \"barn\", and 3.00 m"),
    ("through: [500085, 6399940]; shape: vee; width: 1 m", "takes no width"),
    ("through: [500085, 6399940]; shape: parabola; width: 1 m; side slope: 2", "no side slope"),
    ("through: [500085, 6399940]; solve: depth; depth: 0.3 m", "both given and to be solved for"),
    ("through: [500085, 6399940]; length: 30 m; checks: 2 m", "would fill half of the swale"),
    ("through: [500085, 6399940]; length: 150 m", "of contour are fit"),
    ("along: [[500075, 6399940], [500085, 6399935.9]]; solve: length", "gives the swale its"),
])
def test_what_cannot_be_is_one_sentence(small_site, words, said):
    found = told(with_swale(small_site, words))
    assert said in found
    assert "site.yaml line " in found
    assert "\n" not in found
    assert found.endswith(".")


def past_the_end():
    """How far a usual berm on ground of hypot(8 %, 4 %) reaches past the end of its channel."""
    built = 1.1 * (0.075 + 0.15)
    ridge = 2 * built + 0.3
    return ridge + 0.3 + 2 * (built + np.hypot(0.08, 0.04) * ridge)


def test_the_line_is_cut_where_it_would_come_nearer_to_a_building(small_site):
    """The contour through a point 12 m north of the barn runs past it at under 3 m.  Its earth
    counts as of the deepest usual section on ground of hypot(8 %, 4 %): a cut
    (0.6 + 2 x 2 x 0.5) / (1 - 2 x 0.089) wide beside the line, and past its end the berm turned
    uphill: H = 1.1 (0.075 + 0.15), the ridge 2 H + 0.3 past it, its foot 0.3 + 2 h further, where
    h is H and what the ground falls over that."""
    site = with_swale(small_site, "through: [500088, 6399906.5]")
    _, placed = laid(site)
    line = LineString(placed.route.line)
    beside = (0.6 + 2 * 2 * 0.5) / (1 - 2 * np.hypot(0.08, 0.04))
    earth = line.buffer(beside, cap_style="flat")
    # Minnesota Stormwater Manual, 2022: 3 m; the line is looked along in steps of 0.1 m.
    assert earth.distance(BARN) == pytest.approx(3.0 + past_the_end(), abs=0.15)
    said = [note for note in placed.swale.notes if "building setback" in note]
    assert len(said) == 1
    assert 'the roof "barn"' in said[0]
    site.write_text(site.read_text() + "rules:\n  building setback: 0.5 m\n")
    _, longer = laid(site)
    assert LineString(longer.route.line).distance(BARN) < line.distance(BARN) - 1.0


def test_a_berm_goes_by_the_soil_of_the_ground_or_by_what_the_owner_says(small_site):
    _, placed = laid(small_site)
    assert placed.swale.soil == "loam"  # soil group C
    _, placed = laid(with_swale(small_site, "through: [500085, 6399940]; length: 30 m; soil: sand"))
    assert placed.swale.berm_side_slope == 3.0  # common practice, no source
    assert any("berm side slope sand" in note for note in placed.swale.notes)


@pytest.fixture(scope="module")
def plan(tmp_path_factory, small_site_folder):
    site = small_site_folder(tmp_path_factory.mktemp("swales"))
    with_swale(site, "through: [500085, 6399940]; length: 40 m; checks: 10 m; shape: parabola; "
               "depth: 0.4 m; radius: 4 m")
    lower = """\
  - kind: swale
    name: lower swale
    through: [500075, 6399936]
    length: 36 m
"""
    site.write_text(site.read_text() + lower)
    return make_plan(site)


def swale_of(plan, name="east swale"):
    return next(p for p in plan.stores if p.store.name == name)


def test_plan_json_tells_stations_that_add_up_to_the_cut(plan):
    """Average end areas over the stations, less the checks left standing, are the cut but for a
    thousandth: the cut itself is summed with middle sections, and the berm with its ends turned."""
    told = next(s for s in plan_object(plan)["stores"] if s["name"] == "east swale")
    stations = told["stations"]
    at = np.array([s["station_m"] for s in stations])
    assert at[0] == 0
    assert at[-1] == pytest.approx(told["length_m"])
    assert np.diff(at).max() < 3.4
    area = np.array([s["cut_m2"] for s in stations])
    assert float((np.diff(at) * (area[1:] + area[:-1]) / 2).sum()) == pytest.approx(
        told["cut_m3"] + sum(c["volume_m3"] for c in told["checks"]), rel=1e-3)
    assert told["storage_m3"] == pytest.approx(
        told["section_m2"] * told["length_m"] - sum(c["volume_m3"] for c in told["checks"]))
    assert told["section_m2"] == pytest.approx(2 / 3 * told["top_width_m"] * 0.4)
    assert told["tightest_radius_m"] is None or told["tightest_radius_m"] >= 0.995 * 4
    for station in stations:
        assert station["cross_slope"] == pytest.approx(np.hypot(0.08, 0.04), abs=0.01)


def test_checks_are_staked_below_the_sill(plan):
    planned = swale_of(plan)
    stakes = [s for s in stakes_of(plan) if s.work == "east swale" and s.mark == "check"]
    assert [s.station for s in stakes] == [c.chainage for c in planned.swale.checks]
    assert len(stakes) == 3
    line = LineString(planned.swale.route.line)
    for stake in stakes:  # 7.5 cm below the sill, common practice, no source
        assert stake.design == pytest.approx(planned.store.sill.level - 0.075)
        assert line.distance(Point(stake.x, stake.y)) == pytest.approx(
            planned.swale.section.top_width() / 2, abs=0.05)


def test_what_to_build_tells_shape_checks_and_bends(plan):
    words = next(row.cells for row in build_rows(plan) if row.name == "east swale")
    assert "a dish 3.20 m wide at the water" in words[0]  # 4 x 2 x 0.4 m
    assert "3 earth checks, tops at" in words[0]
    assert re.search(r"tightest bend \d+\.\d\d m in radius|straight", words[0])
    assert "sides 2:1; turned uphill at both ends" in words[1]
    basin = next(p.basin for p in plan.stores if p.store.name == "pond")
    assert basin.pool_area < basin.gross_area
    assert (f"pool of {basin.curve.areas[-1]:,.0f} m², {basin.deepest_water:.2f} m at its deepest"
            in next(row.cells[0] for row in build_rows(plan) if row.name == "pond"))


def test_swales_closer_than_the_rule_are_told(plan):
    """Both on a plane of hypot(8, 4) = 8.94 %, less than 1 m apart in level, where 568 mm fall a
    year: 0.3 (8.94 / 3 + 2) = 1.49 m is asked for, 16.7 m apart."""
    said = [note for note in plan.notes if "vertical interval" in note]
    assert len(said) == 1
    assert said[0].startswith('Swale "lower swale" lies ')
    assert "closer than the first" in said[0]
    found = re.search(r"asks for ([\d.]+) m .*?, ([\d.]+) m .*? apart", said[0])
    assert float(found[1]) == pytest.approx(1.49, abs=0.02)
    assert float(found[2]) == pytest.approx(16.7, abs=0.3)
    assert "low rain year" not in said[0]


def profile_of(swale, system):
    figure = Figure(figsize=(11.0, 3.4))
    swale_profile(figure, 0.3, 0.3, 10.0, 1.4, swale, system)
    return figure


def test_the_profile_shows_the_stations_it_tells(plan):
    swale = swale_of(plan).swale
    chosen = told_stations(swale)
    assert any("sill" in s.marks for s in chosen)
    at = [s.chainage for s in chosen]
    assert (at[0], at[-1]) == (swale.stations[0].chainage, swale.stations[-1].chainage)
    # Spread along it: with the ends and the sill alone one stretch would be longer.
    sill = (swale.sill_from + swale.sill_to) / 2
    longest = max(sill - at[0], at[-1] - sill)
    assert max(b - a for a, b in itertools.pairwise(at)) < 0.75 * longest
    figure = profile_of(swale, "metric")
    by_gid = {artist.get_gid(): artist for artist in figure.axes[0].lines}
    assert by_gid["ground"].get_ydata() == pytest.approx([s.ground for s in swale.stations])
    assert by_gid["level"].get_ydata()[0] == pytest.approx(swale.sill.level)
    assert len([p for p in figure.axes[0].patches if p.get_gid() == "check"]) == 3


def test_the_profile_keeps_its_words_apart(plan):
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.text import Text

    for system in ("metric", "us"):
        figure = profile_of(swale_of(plan).swale, system)
        FigureCanvasAgg(figure).draw()
        boxes = [t.get_window_extent() for t in figure.findobj(Text)
                 if t.get_visible() and t.get_text().strip()]
        for i, one in enumerate(boxes):
            assert figure.bbox.x0 <= one.x0
            assert one.x1 <= figure.bbox.x1
            for other in boxes[i + 1:]:
                assert (min(one.x1, other.x1) - max(one.x0, other.x0) <= 1
                        or min(one.y1, other.y1) - max(one.y0, other.y0) <= 1)
