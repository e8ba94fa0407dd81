import itertools
import re
from dataclasses import replace

import numpy as np
import pytest

from terrain.outputs.drawing import map_water
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.groups import groups_of, tints_of
from terrain.outputs.drawing.labels import Labels, Line
from terrain.outputs.drawing.site_map import draw_site_map


@pytest.fixture(scope="module")
def drawn(demo_plan):
    return draw_site_map(demo_plan)


@pytest.fixture(scope="module")
def drawn_us(us_plan):
    return draw_site_map(us_plan)


@pytest.fixture(scope="module", params=["metric", "us"])
def either(request, drawn, drawn_us):
    return drawn if request.param == "metric" else drawn_us


def test_no_lettering_overlaps(either, seen):
    assert len(seen.texts(either)) > 40
    assert seen.overlaps(either) == []


def test_no_lettering_is_clipped(either, seen):
    assert seen.outside(either) == []
    ax = either.axes[0]
    frame = ax.get_window_extent()
    for text, box in seen.texts(either):
        if text.axes is ax:
            assert frame.x0 <= box.x0 < box.x1 <= frame.x1, text.get_text()
            assert frame.y0 <= box.y0 < box.y1 <= frame.y1, text.get_text()


def test_the_test_for_overlaps_sees_one(drawn, seen):
    label = seen.with_gid(drawn, "work label")[0]
    added = drawn.axes[0].text(*label.get_position(), "in the way")
    try:
        assert [("in the way" in pair) for pair in seen.overlaps(drawn)].count(True) >= 1
    finally:
        added.remove()
    assert seen.overlaps(drawn) == []


def test_legend_holds_what_is_drawn_and_nothing_else(drawn, seen):
    ax, panel = drawn.axes[:2]
    keys = {t.get_gid().removeprefix("legend:") for t in panel.texts
            if str(t.get_gid()).startswith("legend:")}
    assert len(keys) > 12
    kinds = {a.get_gid() for a in ax.get_children() if a.get_gid()}
    assert keys <= kinds
    assert kinds - keys <= {"berm", "scale bar", "scale bar words", "north arrow", "leader",
                            "north arrow words", "shed number", "work label", "run-on label",
                            "roof label", "road label", "contour label"}


def test_legend_leaves_out_what_is_not_there(demo_plan, seen):
    ground = replace(demo_plan.inputs.ground, roads=(), roofs=())
    bare = replace(demo_plan, inputs=replace(demo_plan.inputs, ground=ground), sheds=[],
                   stores=[replace(store, breach=None) for store in demo_plan.stores])
    figure = draw_site_map(bare)
    for key in ("road", "roof", "shed", "breach"):
        assert seen.with_gid(figure, f"legend:{key}") == []
        assert seen.with_gid(figure, key) == []
    assert "Roads and bare ground" not in seen.words(figure)


def test_the_ways_of_the_water_if_a_bank_fails_are_drawn(demo_plan, drawn, seen):
    """Each begins at the bank, in the colour of what is dangerous, and stays on its way."""
    dem = demo_plan.inputs.dem
    lines = [line for line in drawn.axes[0].lines if line.get_gid() == "breach"]
    assert lines
    assert {line.get_color() for line in lines} == {sy.SHED}
    ends = np.array([(line.get_xdata()[0], line.get_ydata()[0]) for line in lines])
    ways = [breach.way for _, breach in demo_plan.failing_banks]
    for way in ways:
        assert np.hypot(*(ends - way[0]).T).min() <= 1.5 * dem.cell
    every = np.concatenate(ways)
    for line in lines:
        for spot in np.stack([line.get_xdata(), line.get_ydata()], 1)[::10]:
            assert np.hypot(*(every - spot).T).min() <= 1.5 * dem.cell
    assert len(seen.with_gid(drawn, "legend:breach")) == 1


def test_every_work_is_named_with_what_it_holds(demo_plan, drawn, seen):
    words = [t.get_text() for t in seen.with_gid(drawn, "work label")]
    for group in groups_of(demo_plan):
        held = sum(demo_plan.stores[i].store.capacity for i in group.members)
        assert words.count(group.name) == 1
        assert words[words.index(group.name) + 1] == sy.brief(held, "volume", "metric")


def test_bowls_of_a_group_share_a_label(demo_plan):
    trees = [g for g in groups_of(demo_plan) if g.kind == "tree basin"]
    assert [g.name for g in trees] == ["orchard 1–6"]
    assert len(trees[0].members) == 6


@pytest.mark.parametrize("system", ["metric", "us"])
def test_scale_bar_is_true(system, drawn, drawn_us, seen):
    figure = drawn if system == "metric" else drawn_us
    ax = figure.axes[0]
    parts = [p for p in ax.patches if p.get_gid() == "scale bar"]
    length = max(p.get_x() + p.get_width() for p in parts) - min(p.get_x() for p in parts)
    words = [t.get_text() for t in ax.texts if t.get_gid() == "scale bar words"]
    number, unit = words[1].split()
    assert length == pytest.approx(float(number) * {"m": 1.0, "ft": 0.3048}[unit])
    assert unit == ("ft" if system == "us" else "m")
    # and a metre is as long up as across
    (x0, y0), (x1, y1) = ax.transData.transform([(0, 0), (1, 1)])
    assert x1 - x0 == pytest.approx(y1 - y0)


def test_the_whole_property_is_shown_with_a_margin(demo_plan, drawn):
    ax = drawn.axes[0]
    west, south, east, north = demo_plan.inputs.ground.boundary.bounds
    (left, right), (low, high) = ax.get_xlim(), ax.get_ylim()
    assert left <= west - 0.0799 * (east - west)
    assert right >= east + 0.0799 * (east - west)
    assert low <= south - 0.0799 * (north - south)
    assert high >= north + 0.0799 * (north - south)


def test_us_units_print(drawn_us, seen):
    words = " ".join(seen.words(drawn_us).split())
    assert " gal" in words
    assert " acre" in words
    assert "in feet" in words
    assert not re.search(r"\d (m³|m²|m|mm|ha)\b", words)


def test_metric_units_print(drawn, seen):
    words = seen.words(drawn)
    assert re.search(r"\d m³", words)
    assert not re.search(r"\d (gal|ft|in|acre)\b", words)


def test_names_where_levels_and_coordinates_come_from(demo_plan, drawn, seen):
    words = " ".join(seen.words(drawn).split())
    assert demo_plan.site.name in words
    assert demo_plan.inputs.dem.frame.working.name in words
    assert "datum" in words


def test_same_plan_same_bytes(demo_plan, drawn, seen):
    assert seen.bytes_of(draw_site_map(demo_plan)) == seen.bytes_of(drawn)


def test_marks_of_sheds_stand_for_volumes_in_the_largest_storm(demo_plan, drawn, seen):
    storms = demo_plan.site.rain.storms
    largest = max(range(len(storms)), key=lambda i: storms[i].depth)
    every = sorted((p.volumes[largest] for s in demo_plan.sheds for p in s.points), reverse=True)
    marks = seen.with_gid(drawn, "shed")
    radii = [m.get_radius() for m in marks]
    assert 1 <= len(marks) <= map_water.MOST_SHED_POINTS
    assert radii == sorted(radii, reverse=True)
    chosen = map_water.shed_points_of(demo_plan)
    assert chosen[0][1].volumes[largest] == pytest.approx(every[0])
    assert [point for _, point in chosen] == [point for _, point in
                                              demo_plan.ranked_shed_points[:len(chosen)]]


def test_run_on_enters_from_beyond_and_never_more_than_there_is(demo_plan):
    entries = map_water.run_on_of(demo_plan)
    inside, dem = demo_plan.inputs.ground.inside, demo_plan.inputs.dem
    assert 1 <= len(entries) <= map_water.MOST_RUN_ON
    drains_in = demo_plan.terrain.catchment(inside) & ~inside
    assert sum(e[4] for e in entries) <= drains_in.sum() * dem.cell_area
    for x, y, dx, dy, _, _ in entries:
        row, column = dem.cell_of(x, y, "entry")
        assert inside[row, column]
        assert np.hypot(dx, dy) == pytest.approx(1)


def test_arrows_that_tell_part_of_the_run_on_say_of_how_much(demo_plan, drawn, seen):
    inside = demo_plan.inputs.ground.inside
    every, _ = map_water.run_on_ground(demo_plan)
    beyond = demo_plan.terrain.catchment(inside) & ~inside
    assert every == pytest.approx(beyond.sum() * demo_plan.inputs.dem.cell_area)
    told = sum(entry[4] for entry in map_water.run_on_of(demo_plan))
    assert told <= every
    words = [t.get_text() for t in seen.with_gid(drawn, "legend note")]
    assert any("where most comes in, of" in said for said in words) == (every > 1.02 * told)


def test_a_table_that_leaves_places_out_says_where_they_stand():
    assert map_water.listed_words(12, 18) == "12 of 18 places; the others stand in the report."
    assert "the other stands" in map_water.listed_words(17, 18)
    assert map_water.listed_words(18, 18) == ""


def test_neighbours_get_other_tints():
    labels = np.array([[1, 1, 2, 2], [1, 3, 3, 2], [4, 4, 3, 5], [0, 4, 0, 5]], np.int32)
    tints = tints_of(labels, [(0,), (1,), (2,), (3,), (4,)])
    for a, b in [(0, 1), (0, 2), (1, 2), (0, 3), (2, 3), (2, 4), (1, 4)]:
        assert tints[a] != tints[b]


def test_members_of_a_group_share_a_tint():
    labels = np.array([[1, 2, 3]], np.int32)
    tints = tints_of(labels, [(0, 1), (2,)])
    assert len(tints) == 2
    assert tints[0] != tints[1]


def test_tints_of_touching_works_differ_on_the_demo(demo_plan):
    labels = demo_plan.cascade.labels
    groups = groups_of(demo_plan)
    tints = tints_of(labels, [g.members for g in groups])
    tint_of = np.full(labels.max() + 1, -1)
    group_of = np.full(labels.max() + 1, -1)
    for number, (group, tint) in enumerate(zip(groups, tints, strict=True)):
        for member in group.members:
            if member + 1 < len(tint_of):
                tint_of[member + 1], group_of[member + 1] = tint, number
    a, b = labels[:, 1:], labels[:, :-1]
    met = (a > 0) & (b > 0) & (group_of[a] != group_of[b])
    assert met.any()
    assert (tint_of[a[met]] != tint_of[b[met]]).all()


def test_a_site_without_works_still_has_a_map(demo_plan, seen):
    cascade = replace(demo_plan.cascade, nodes=[], order=[],
                      labels=np.zeros_like(demo_plan.cascade.labels))
    figure = draw_site_map(replace(demo_plan, cascade=cascade, stores=[]))
    assert seen.with_gid(figure, "work label") == []
    assert seen.with_gid(figure, "legend:swale") == []
    assert seen.overlaps(figure) == []


def test_crowded_labels_keep_apart_and_what_finds_no_room_is_told(seen):
    from matplotlib.figure import Figure

    ax = Figure(figsize=(6, 4), dpi=100).add_axes((0.05, 0.05, 0.9, 0.9))
    ax.set_axis_off()
    labels = Labels(ax)
    for i in range(40):
        labels.place([Line(f"store {i}"), Line("12 m³")], np.array([[0.5 + 0.004 * i, 0.5]]))
    placed = [t for t in ax.texts if t.get_text().startswith("store")]
    assert len(placed) >= 10
    assert len(placed) + len(labels.left_out) == 40
    assert seen.overlaps(ax.get_figure()) == []
    assert seen.with_gid(ax.get_figure(), "leader")


def test_no_label_lies_across_the_boundary(either, demo_plan, seen):
    from shapely import box

    ax = either.axes[0]
    border = demo_plan.inputs.ground.boundary.exterior
    back = ax.transData.inverted()
    named = [(t.get_text(), b) for t, b in seen.texts(either) if t.axes is ax
             and str(t.get_gid()).endswith("label")]
    assert len(named) > 20
    for words, at in named:
        (x0, y0), (x1, y1) = back.transform([(at.x0, at.y0), (at.x1, at.y1)])
        assert not box(x0, y0, x1, y1).intersects(border), words


def test_a_label_crosses_a_bar_only_where_it_finds_no_other_place():
    from matplotlib.figure import Figure

    ax = Figure(figsize=(6, 4), dpi=100).add_axes((0.05, 0.05, 0.9, 0.9))
    ax.set_axis_off()
    labels, line = Labels(ax), np.array([[0.55, 0.0], [0.55, 1.0]])
    labels.bar(line)
    assert labels.place([Line("beside the line")], np.array([[0.5, 0.5]]))
    x = ax.transData.transform((0.55, 0.5))[0]
    x0, _, x1, _ = labels.taken[-1]
    assert not x0 <= x <= x1
    for east in np.linspace(0.0, 1.0, 60):
        labels.bar(np.array([[east, 0.0], [east, 1.0]]))
    assert labels.place([Line("over the lines")], np.array([[0.5, 0.5]]))


def test_leaders_of_roofs_end_in_a_dot_on_their_own_roof_and_cross_no_other(either, demo_plan):
    from shapely import LineString, Point

    ax = either.axes[0]
    leaders = [line for line in ax.lines if line.get_gid() == "leader"]
    dotted = [line for line in leaders if line.get_marker() == "o"]
    roofs = [roof.outline for roof in demo_plan.inputs.ground.roofs]
    ends = [Point(*np.asarray(line.get_xydata())[0]) for line in dotted]
    on = [next(i for i, roof in enumerate(roofs) if roof.contains(end)) for end in ends]
    assert len(on) == len(set(on)) >= 3  # the three of the goats stand close together
    for a, b in itertools.combinations(leaders, 2):
        assert not LineString(a.get_xydata()).intersects(LineString(b.get_xydata()))


def test_a_name_shut_in_by_leaders_is_written_with_one_that_crosses():
    """The square of leaders stands within the taken ground about the place, so every leader of
    its own crosses one; a roof's name is then left out."""
    from matplotlib.figure import Figure

    ax = Figure(figsize=(6, 4), dpi=100).add_axes((0.05, 0.05, 0.9, 0.9))
    ax.set_axis_off()
    labels = Labels(ax)
    x, y = ax.transData.transform((0.5, 0.5))
    corners = [np.array([x + i, y + j]) for i, j in ((-40, -40), (40, -40), (40, 40), (-40, 40))]
    labels.leaders = list(itertools.pairwise([*corners, corners[0]]))
    labels.taken = [(x - 60, y - 60, x + 60, y + 60)]
    at = np.array([[0.5, 0.5]])
    assert labels.cost_of([Line("shut in")], at) == np.inf
    assert not labels.place([Line("a roof")], at, within=at)
    assert labels.place([Line("shut in")], at)
    assert labels.left_out == ["a roof"]


def test_a_tank_s_name_stands_nearer_to_it_than_to_another(either, demo_plan, seen):
    ax = either.axes[0]
    tanks = {p.store.name: ax.transData.transform((p.placed.x, p.placed.y))
             for p in demo_plan.stores if p.store.kind == "tank"}
    named = {t.get_text(): b for t, b in seen.texts(either) if t.get_gid() == "work label"}
    assert len(tanks) == 3
    for name in tanks:
        box = named[name]
        off = {other: np.hypot(*(at - np.clip(at, (box.x0, box.y0), (box.x1, box.y1))))
               for other, at in tanks.items()}
        assert min(off, key=off.get) == name
