"""The desk: what is changed, undone and refused, and that it agrees with a plan made afresh.

The valley of the small site is a formula, so that levels, lengths and volumes of what is laid out
on it follow from geometry; the rest is compared with `levelsill plan`'s own functions on a fresh
reading.
"""

from __future__ import annotations

import shutil

import numpy as np
import pytest
from shapely import LineString

from terrain.bench import answer, fields
from terrain.bench import desk as desks
from terrain.bench.bare import site_for
from terrain.bench.desk import Desk
from terrain.bench.handles import handles_of, moved
from terrain.bench.laid import Ready, lay
from terrain.bench.sketch import SWALE_LENGTHS, Sketch
from terrain.errors import InputError
from terrain.plan.siting.reading import read_inputs
from terrain.plan.water.accounts import storm_account


@pytest.fixture(scope="module")
def inputs(tmp_path_factory, small_site_folder):
    return read_inputs(small_site_folder(tmp_path_factory.mktemp("desk")))


@pytest.fixture
def desk(inputs) -> Desk:
    return Desk(inputs)


@pytest.fixture
def sketch(inputs) -> Sketch:
    return Sketch(inputs)


def numbers(laid) -> list:
    """Every figure of a layout that a plan prints, to the last bit."""
    found = []
    for place, node in zip(laid.placed, laid.cascade.nodes, strict=True):
        found += [place.name, place.sill_level, place.curve.volumes.tolist(), node.spills_to,
                  place.outline.wkb, node.store.sill, node.catchment.areas.tolist(),
                  node.catchment.lag, node.spill_path.tolist()]
    for run in laid.runs.values():
        found += [[s.inflow, s.infiltrated, s.spilled, s.peak_level] for s in run.stores]
        found.append(run.left_site)
    found += [[w.cut, w.bank] for w in laid.earth.works]
    found += [[s.mean(part) for part in (s.rain_mm,)] for s in [laid.seasons] if s]
    return found


def test_many_changes_agree_with_the_same_works_laid_out_afresh(inputs, desk, sketch):
    desk.add(sketch.swales("swale 1", 500082, 6399900)[1])
    desk.add(sketch.wall("wall 1", 500060, 6399920))
    desk.add(sketch.dug("basin 1", 500030, 6399955))
    desk.add(sketch.trees("orchard", [(500040, 6399940), (500044, 6399941)]))
    desk.change("orchard", sketch.one_more_tree(desk.work("orchard"), 500048, 6399942))
    desk.change("east swale", desk.work("east swale").model_copy(update={"depth": 0.45}))
    desk.change("pond", sketch.with_crest(desk.work("pond"), 196.1))
    desk.add(sketch.drain("drain 1", (500070, 6399895), "pond"))
    desk.take("trees")
    desk.undo()
    desk.take("swale 1")
    fresh = lay(read_inputs(inputs.site.path), Ready(inputs), desk.works)
    assert len(desk.works) == 8
    assert numbers(desk.laid) == numbers(fresh)


def test_undo_and_redo_bring_back_each_state(desk, sketch):
    states = [desk.now]
    states.append(desk.add(sketch.dug("basin 1", 500030, 6399955)))
    states.append(desk.take("pond"))
    states.append(desk.change("basin 1", desk.work("basin 1").model_copy(update={"depth": 0.5})))
    for state in reversed(states[:-1]):
        assert desk.undo() is state
    assert desk.undo() is states[0]
    assert desk.undoes is None
    assert not desk.unsaved
    for state in states[1:]:
        assert desk.redo() is state
    assert desk.does_again is None
    desk.undo()
    desk.change("pond", desk.work("pond")) if "pond" in [w.name for w in desk.works] else None
    desk.add(sketch.dug("basin 2", 500080, 6399965))
    assert desk.does_again is None


def test_changes_of_one_drag_are_one_step(desk, sketch):
    before = desk.now
    for x in (500031, 500032, 500033):
        work = desk.work("trees")
        placed = [desk.laid.placed[i] for i in desk.laid.nodes_of("trees")]
        desk.change("trees", moved(work, placed, "at 0", x, 6399900, sketch), ("drag", 1))
    assert desk.work("trees").at[0] == (500033.0, 6399900.0)
    assert desk.undo() is before


@pytest.mark.parametrize(("name", "change"), [
    ("trees", {"at": [(500095, 6399940), (400000, 6399905)]}),      # off the raster
    ("east swale", {"through": (500005, 6399940)}),                 # beyond the boundary
    ("pond", {"crest": 190.0}),                                     # below its ground
    ("barn tank", {"roofs": ["shed"]}),                             # no such roof
    ("pond", {"spills_to": "east swale"}),                          # uphill
    ("pond", {"name": "trees"}),                                    # a name that is taken
])
def test_what_cannot_be_is_refused_and_leaves_all_as_it_was(desk, name, change):
    before = desk.now
    with pytest.raises(InputError) as said:
        desk.change(name, desk.work(name).model_copy(update=change))
    assert desk.now is before
    assert desk.undoes is None
    assert str(said.value).endswith(".")


def test_a_spill_to_a_work_that_is_taken_goes_over_the_ground(desk):
    desk.change("trees", desk.work("trees").model_copy(update={"spills_to": "pond"}))
    desk.take("pond")
    assert desk.work("trees").spills_to is None


def test_works_that_name_another_follow_its_new_name(desk):
    desk.change("trees", desk.work("trees").model_copy(update={"spills_to": "pond"}))
    desk.change("pond", desk.work("pond").model_copy(update={"name": "low dam"}))
    assert desk.work("trees").spills_to == "low dam"
    assert [entry.origin for entry in desk.now.entries if entry.work.name == "low dam"] == ["pond"]


def test_origins_follow_what_is_saved(desk, sketch):
    desk.add(sketch.dug("basin 1", 500030, 6399955))
    desk.change("pond", desk.work("pond").model_copy(update={"name": "low dam"}))
    desk.saved()
    assert not desk.unsaved
    assert [entry.origin for entry in desk.now.entries] == [work.name for work in desk.works]
    desk.undo()  # the name again, of what now stands in the file as "low dam"
    assert {e.work.name: e.origin for e in desk.now.entries}["pond"] == "low dam"
    desk.undo()
    assert desk.unsaved
    desk.redo()
    desk.redo()
    assert not desk.unsaved


def test_names_that_cross_are_told_apart_when_they_are_saved(desk, sketch):
    """A new basin, taken away again, and the pond that gets its name: undone, each is itself."""
    desk.add(sketch.dug("N", 500030, 6399955))
    desk.take("N")
    desk.change("pond", desk.work("pond").model_copy(update={"name": "N"}))
    desk.saved()
    desk.undo()
    assert {e.work.name: e.origin for e in desk.now.entries}["pond"] == "N"
    desk.undo()
    assert {e.work.name: e.origin for e in desk.now.entries if e.work.name in ("pond", "N")} == {
        "pond": "N", "N": None}


def test_layouts_of_steps_long_past_are_let_go_of_and_laid_out_again(desk, sketch, monkeypatch):
    monkeypatch.setattr(desks, "HELD", 0)
    found = [numbers(desk.laid)]
    for number in range(7):
        desk.add(sketch.tank(f"tank {number}", 500095 + number, 6399930, []))
        found.append(numbers(desk.laid))
    for steps in (desk._done, desk._undone):
        assert sum(step.ground is not None for step in steps) <= desks.AT_HAND
    for number in reversed(range(7)):
        desk.undo()
        assert numbers(desk.laid) == found[number]
    assert sum(step.ground is not None for step in desk._undone) == desks.AT_HAND
    for number in range(1, 8):
        desk.redo()
        assert numbers(desk.laid) == found[number]


def test_a_place_on_a_raster_in_degrees_is_stated_to_the_millimetre(tmp_path, real_raster):
    """A ten-millionth of a degree of the meridian is a centimetre (10,000 km from the equator to
    the pole, as the metre was first meant)."""
    made = Sketch(read_inputs(site_for(shutil.copy(real_raster, tmp_path / "hill.tif"))))
    west, south, east, north = made.dem.bounds
    for share in (0.3, 0.47, 0.61):
        place = west + share * (east - west), south + share * (north - south)
        assert made.working(made.stated(*place)) == pytest.approx(place, abs=1e-3)


def test_a_wall_lies_square_across_the_valley(inputs, desk, sketch):
    """The valley's sides rise 8 %: a crest h over the floor meets them h / 0.08 to each side, and
    its ends stand a step of the search and what they are tied in further."""
    wall = sketch.wall("wall 1", 500062, 6399920)
    (x0, y0), (x1, y1) = sorted(wall.wall)
    floor = float(inputs.dem.height_at(500060.5, y0))
    half = (wall.crest - floor) / 0.08
    assert y0 == pytest.approx(y1, abs=1e-6)
    assert 500060.5 - x0 == pytest.approx(half, abs=1.0)
    assert x1 - 500060.5 == pytest.approx(half, abs=1.0)
    laid = desk.add(wall).laid
    assert laid.placed[laid.nodes_of("wall 1")[0]].basin.water_at_wall == pytest.approx(0.6,
                                                                                       abs=0.05)


def test_a_raised_crest_makes_a_wall_longer_and_its_pool_wider(desk, sketch):
    desk.add(sketch.wall("wall 1", 500060, 6399930))
    pools, lengths = [], []
    for crest in (0.0, 0.1, 0.2):
        work = desk.work("wall 1")
        step = desk.change("wall 1", sketch.with_crest(work, work.crest + crest))
        place = step.laid.placed[step.laid.nodes_of("wall 1")[0]]
        pools.append(place.basin.pool_area)
        lengths.append(LineString(step.laid.placed[step.laid.nodes_of("wall 1")[0]].basin.line)
                       .length)
    assert pools == sorted(set(pools))
    assert lengths == sorted(set(lengths))


def test_no_wall_where_the_ground_does_not_rise_on_both_sides(sketch):
    with pytest.raises(InputError, match="rise on both sides"):
        sketch.wall("wall 1", 500100, 6399940)


def test_an_end_of_a_swale_goes_along_its_contour(desk, sketch):
    laid = desk.laid
    place = laid.placed[laid.nodes_of("east swale")[0]]
    line = LineString(place.route.line)
    held, dragged = line.coords[-1], line.interpolate(12.0)
    work = moved(desk.work("east swale"), [place], "start", dragged.x, dragged.y, sketch)
    after = desk.change("east swale", work).laid
    new = after.placed[after.nodes_of("east swale")[0]]
    assert new.route.length == pytest.approx(line.length - 12.0, abs=0.1)
    assert new.route.level == pytest.approx(place.route.level, abs=0.02)
    assert np.hypot(*np.subtract(new.route.line[-1], held)) < 0.5


def test_every_work_has_handles_on_it(desk, sketch):
    for name in [work.name for work in desk.works]:
        placed = [desk.laid.placed[i] for i in desk.laid.nodes_of(name)]
        handles = handles_of(placed[0].work, placed, sketch)
        assert handles
        for handle in handles:
            work = moved(placed[0].work, placed, handle.key, handle.x, handle.y, sketch)
            again = desk.change(name, work, said="nothing").laid  # to where it is: it still lies
            assert again.nodes_of(name)
            desk.undo()


def test_fates_of_a_storm_close_and_agree_with_the_account(desk, sketch):
    desk.change("trees", desk.work("trees").model_copy(update={"spills_to": "pond"}))
    for run in (*desk.laid.runs.values(), desk.laid.run(85.0)):
        found, account = answer.fates(desk.laid, run), storm_account(run)
        for fate in found:
            assert fate.comes == pytest.approx(fate.caught + fate.spilled, abs=1e-9)
            assert 0 <= fate.filled <= 1
        assert sum(f.caught for f in found) == pytest.approx(account.passive + account.roof,
                                                            rel=1e-9)


def test_storms_over_one_work_are_those_over_all_to_the_last_bit(inputs, desk):
    desk.change("trees", desk.work("trees").model_copy(update={"spills_to": "pond"}))
    for name in [work.name for work in desk.works]:
        laid = lay(inputs, desk.ready, desk.works, desk.laid.placed)
        alone = laid.through(name)
        assert "runs" not in vars(laid)
        assert alone == {storm: [run.stores[i] for i in laid.nodes_of(name)]
                         for storm, run in laid.runs.items()}


def test_dials_set_what_they_show(desk, sketch):
    for system in ("metric", "us"):
        for name in ("east swale", "pond", "trees", "barn tank"):
            for dial in fields.dials(desk.work(name), desk.laid, system):
                value = dial.value / dial.factor
                new = fields.dialled(desk.work(name), dial.key, value, sketch, desk.laid)
                assert getattr(new, dial.key) == pytest.approx(value)
                assert dial.low <= dial.value <= dial.high


def test_a_rate_is_read_in_any_unit_and_refused_if_it_is_none(desk):
    swale = desk.work("east swale")
    assert fields.with_soaking(swale, "12 mm/h", "us").infiltration == pytest.approx(12.0)
    assert fields.with_soaking(swale, "0.5 in/h", "metric").infiltration == pytest.approx(12.7)
    assert fields.with_soaking(swale, " ", "metric").infiltration is None
    for words in ("fast", "3 m3", "-2 mm/h", "nan"):
        with pytest.raises(ValueError, match=r"."):
            fields.with_soaking(swale, words, "metric")


def test_a_spill_is_not_offered_to_what_it_came_from(desk):
    desk.change("trees", desk.work("trees").model_copy(update={"spills_to": "pond"}))
    assert "trees" not in dict(fields.goals(desk.work("pond"), desk.laid)).values()
    assert "pond" in dict(fields.goals(desk.work("trees"), desk.laid)).values()


@pytest.mark.parametrize("name", ["over the ground", "ground", "off", "work pond",
                                  "off the site"])
def test_a_work_called_as_the_page_calls_its_own_choices_is_a_work(desk, name):
    trees = desk.work("trees")
    desk.change("pond", desk.work("pond").model_copy(update={"name": name}))
    goals = fields.goals(trees, desk.laid)
    assert len(dict(goals)) == len({words for _, words in goals}) == len(goals)
    ground, off, *works = [value for value, _ in goals]
    [to] = [value for value in works if fields.spilling_to(trees, value).spills_to == name]
    assert fields.spilling_to(trees, ground).spills_to is None
    assert fields.spilling_to(trees, off).spills_to == "off site"
    for value, _ in goals:
        assert fields.goal_of(fields.spilling_to(trees, value)) == value
    desk.change("trees", fields.spilling_to(trees, to))
    fate, = [f for f in answer.fates(desk.laid, desk.laid.run(85.0)) if f.name == "trees"]
    assert fate.to == (name,)
    desk.change("trees", fields.spilling_to(trees, off))
    fate, = [f for f in answer.fates(desk.laid, desk.laid.run(85.0)) if f.name == "trees"]
    assert fate.to == (None,)


def test_no_work_is_called_what_a_site_file_reads_as_off_the_site(desk):
    before = desk.now
    with pytest.raises(InputError, match="no work can be called off site"):
        desk.change("pond", desk.work("pond").model_copy(update={"name": "off site"}))
    assert desk.now is before


def test_what_spills_to_one_tree_of_a_row_follows_the_rows_new_name(desk, sketch):
    x, y = desk.work("trees").at[0]
    desk.add(sketch.tank("cask", x, y + 12, []))
    desk.change("cask", desk.work("cask").model_copy(update={"spills_to": "trees 2"}))
    laid = desk.laid
    to = laid.cascade.nodes[laid.nodes_of("cask")[0]].spills_to
    assert laid.placed[to].name == "trees 2"
    assert fields.goal_of(desk.work("cask")) in dict(fields.goals(desk.work("cask"), laid))
    desk.change("trees", desk.work("trees").model_copy(update={"name": "orchard"}))
    assert desk.work("cask").spills_to == "orchard 2"
    laid = desk.laid
    assert laid.cascade.nodes[laid.nodes_of("cask")[0]].spills_to == to
    desk.take("orchard")
    assert desk.work("cask").spills_to is None


def test_a_work_called_as_a_tree_might_be_is_not_taken_for_one(desk, sketch):
    desk.add(sketch.tank("trees 9", 500095, 6399930, []))
    desk.add(sketch.tank("cask", 500095, 6399950, []))
    desk.change("cask", desk.work("cask").model_copy(
        update={"spills_to": "trees 9", "pump": True}))
    desk.change("trees", desk.work("trees").model_copy(update={"name": "orchard"}))
    assert desk.work("cask").spills_to == "trees 9"


def test_a_swale_is_first_tried_longest(sketch):
    assert [s.length for s in sketch.swales("s", 500085, 6399940)] == list(SWALE_LENGTHS[0])
