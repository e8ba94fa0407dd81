"""Set-ups of the level, on ground whose shape is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from terrain.inputs.dem import Dem
from terrain.inputs.frame import Frame
from terrain.outputs.field.offset_stakes import offset_stakes
from terrain.outputs.field.set_up_order import Link, ordered, shared_out
from terrain.outputs.field.set_ups import plan_set_ups
from terrain.outputs.field.sights import Instrument, KnownMark, Marks
from terrain.outputs.field.stakes import Stake
from terrain.works.rules import Rulebook


def ground(height, across=300):
    """Cells of 1 m whose heights are a function of east and north, from (0, 0)."""
    x, y = np.meshgrid(np.arange(across) + 0.5, across - 0.5 - np.arange(across))
    return Dem(height(x, y).astype(np.float32), 0.0, float(across), 1.0, Frame(None, None))


def marks(dem, points, cut=0.0):
    x, y = np.array(points, float).T
    level = dem.height_at(x, y)
    return Marks(x, y, level, level - cut)


PLANE = ground(lambda x, y: 100 + 0.1 * y)
FLAT = ground(lambda x, y: 100 + 0 * x)


def test_one_set_up_reads_level_ground_and_its_reading_is_that_of_the_book():
    """Height of instrument = benchmark + back sight; reading = that less the level: the rule of
    every surveying book (common practice, no source)."""
    found, read = plan_set_ups(FLAT, marks(FLAT, [(100, 100), (120, 110)], cut=0.3),
                               KnownMark(110.0, 90.0, 100.0, 1.532), 4.0, Rulebook())
    assert len(found) == 1
    assert list(read) == [1, 1]
    assert found[0].height == 100.0 + 1.532
    assert found[0].back_reading == pytest.approx(1.532)
    assert found[0].height - (100.0 - 0.3) == pytest.approx(1.832)


def test_a_long_slope_takes_as_many_set_ups_as_its_fall_asks():
    """Down 10 % for 200 m from the benchmark is a fall of 20 m; each set-up of a staff of 4 m spans
    no more than 4 m less 0.2 m and 0.3 m to spare, so at least five."""
    places = [(150.0, y) for y in range(50, 260, 10)]
    known = KnownMark(150.0, 255.0, float(PLANE.height_at(150.0, 255.0)))
    stakes = marks(PLANE, places)
    found, read = plan_set_ups(PLANE, stakes, known, 4.0, Rulebook())
    assert (read > 0).all()
    assert len(found) >= 5
    for number, design in zip(read, stakes.design, strict=True):
        assert 0.3 - 1e-6 <= found[number - 1].height - design <= 3.8 + 1e-6
    for set_up in found:
        stands = float(PLANE.height_at(set_up.x, set_up.y))
        assert set_up.height == pytest.approx(stands + 1.4)  # the rule `instrument height`
        assert set_up.back_reading == pytest.approx(set_up.height - set_up.back_level)
        assert 0.3 - 1e-6 <= set_up.back_reading <= 3.8 + 1e-6
        if set_up.of is not None:  # what is read first was read from an earlier one
            assert set_up.of < set_up.number
            assert set_up.back_level == pytest.approx(
                float(PLANE.height_at(set_up.back_x, set_up.back_y)))


def test_far_from_the_benchmark_levels_are_carried_by_change_points():
    known = KnownMark(20.0, 20.0, float(PLANE.height_at(20.0, 20.0)))
    found, read = plan_set_ups(PLANE, marks(PLANE, [(270.0, 60.0)]), known, 4.0, Rulebook())
    assert list(read) == [len(found)]
    assert len(found) > 2
    assert found[0].back == "the benchmark"
    for set_up in found[1:]:
        assert set_up.back.startswith("peg ")
        before = found[set_up.of - 1]
        assert before.number < set_up.number
        for one in (before, set_up):  # the same peg is on the staff from both
            assert 0.3 - 1e-6 <= one.height - set_up.back_level <= 3.8 + 1e-6
            # No staff stands under the tripod: 5 m, common practice, no source.
            assert 5 <= np.hypot(one.x - set_up.back_x, one.y - set_up.back_y) <= 60


def test_a_ridge_hides_what_lies_behind_it():
    ridge = ground(lambda x, y: 100 + 6 * np.exp(-((x - 150) / 15) ** 2))
    known = KnownMark(110.0, 150.0, float(ridge.height_at(110.0, 150.0)))
    both = marks(ridge, [(115.0, 150.0), (185.0, 150.0)])
    found, read = plan_set_ups(ridge, both, known, 4.0, Rulebook())
    assert read[0] == 1
    assert read[1] > 1
    assert found[read[1] - 1].x > 145  # on its top or beyond


def test_a_stake_that_nothing_reads_is_said_to_be_read_by_none():
    """A pit with sides as steep as a wall, deeper than the staff is long."""
    hole = ground(lambda x, y: np.where((abs(x - 150) < 3) & (abs(y - 150) < 3), 90.0, 100.0))
    known = KnownMark(120.0, 150.0, 100.0)
    found, read = plan_set_ups(hole, marks(hole, [(150.0, 150.0), (130.0, 150.0)]), known, 4.0,
                               Rulebook())
    assert list(read) == [0, 1]
    assert len(found) == 1


def test_a_level_that_stands_a_little_higher_still_reads():
    """0.2 m to spare at the staff's top (common practice, no source): what lies 3.9 m below the
    only line of sight is not read, what lies 3.7 m below is."""
    known = KnownMark(150.0, 150.0, 100.0, 1.4)
    both = marks(FLAT, [(150.0, 140.0), (152.0, 140.0)])
    design = np.array([101.4 - 3.7, 101.4 - 3.9])
    _, read = plan_set_ups(FLAT, replace(both, design=design), known, 4.0, Rulebook())
    assert list(read) == [1, 0]


def test_a_level_that_stands_a_little_lower_still_reads():
    """0.3 m to spare at the staff's foot (common practice, no source): from a line of sight at
    101.4 m ground that lies 0.25 m below it is not read, what lies 0.35 m below is."""
    hills = ground(lambda x, y: 100 + 1.15 * (abs(x - 130) < 4) + 1.05 * (abs(x - 170) < 4))
    two = marks(hills, [(130.0, 150.0), (170.0, 150.0)])
    reads = Instrument(hills, 4.0, Rulebook()).reads(np.array([150.0]), np.array([150.0]),
                                                     np.array([101.4]), two)
    assert 101.4 - two.design == pytest.approx([0.25, 0.35], abs=1e-4)
    assert reads.tolist() == [[False, True]]


@pytest.mark.parametrize("reading", [None, 1.4])
def test_no_mark_that_carries_the_level_stands_under_the_tripod(reading):
    """5 m from peg or benchmark to the level at least: common practice, no source. An offset stake
    stands at every place where the level may."""
    known = KnownMark(150.0, 255.0, float(PLANE.height_at(150.0, 255.0)), reading)
    east, north = np.meshgrid(np.arange(130.0, 170.0, 5.0), np.arange(30.0, 280.0, 5.0))
    beside = np.column_stack([east.ravel(), north.ravel()])
    found, _ = plan_set_ups(PLANE, marks(PLANE, [(150.0, y) for y in range(60, 250, 10)]), known,
                            4.0, Rulebook(), beside)
    pegs = {s.back: s for s in found if s.of is not None}
    assert len(pegs) > 2
    for one in found:
        assert np.hypot(one.x - one.back_x, one.y - one.back_y) >= 5
    for peg in pegs.values():
        before = found[peg.of - 1]
        assert np.hypot(before.x - peg.back_x, before.y - peg.back_y) >= 5


def test_levels_are_carried_on_ground_that_no_work_touches():
    """A work covers a strip of the slope between the benchmark and the stakes: no peg stands in
    it, no level, and its ground is the raster's own."""
    def work(x, y):
        return 120.0 < y < 200.0

    known = KnownMark(150.0, 255.0, float(PLANE.height_at(150.0, 255.0)))
    found, read = plan_set_ups(PLANE, marks(PLANE, [(150.0, y) for y in range(60, 250, 10)]), known,
                               4.0, Rulebook(), disturbed=work)
    pegs = [s for s in found if s.of is not None]
    assert (read > 0).any()
    assert pegs
    for one in found:
        assert not work(one.x, one.y)
        assert one.of is None or not work(one.back_x, one.back_y)
    assert [s.back for s in pegs] == sorted({s.back for s in pegs})


def test_pegs_stand_beside_offset_stakes_where_these_are_read():
    beside = np.array([(150.0, y) for y in range(60, 260, 4)], float)
    known = KnownMark(150.0, 255.0, float(PLANE.height_at(150.0, 255.0)))
    stakes = marks(PLANE, [(150.0, y) for y in range(60, 250, 10)])
    found, _ = plan_set_ups(PLANE, stakes, known, 4.0, Rulebook(), beside)
    places = {(s.back_x, s.back_y) for s in found if s.of is not None}
    assert places & {tuple(at) for at in beside}


def test_a_work_is_read_from_as_few_set_ups_as_may_be():
    """Two set-ups; the first reads most, the second all of the work that the first reads in part:
    the second reads that work whole."""
    seen = np.array([[1, 1, 1, 1, 0], [0, 0, 0, 1, 1]], bool)
    works = np.array([0, 0, 0, 1, 1])
    assert list(shared_out(seen, works, [0, 1])) == [0, 0, 0, 1, 1]


def test_the_level_goes_from_each_set_up_to_the_nearest_and_where_it_is_needed_only():
    """The chain 0 - 1 - 2, a branch 3 beside 0, and 4 that reads nothing and leads nowhere."""
    links = [Link(None, None), Link(0, 7), Link(1, 8), Link(0, 9), Link(0, 9)]
    places = np.array([(0, 0), (50, 0), (90, 0), (10, 0), (1, 0)], float)
    assert ordered(links, np.array([0, 2, 3]), places) == [0, 3, 1, 2]


def stake(x, y, design, away=(0.0, 1.0)):
    return Stake("w", "line", 0.0, x, y, float(PLANE.height_at(x, y)), design, "lip", away)


def one_offset(one, offset, side, disturbed=lambda x, y: False):
    return offset_stakes([one], PLANE, offset, side, disturbed)[0]


def test_offset_stakes_on_a_plane():
    """On a plane of 10 % rising north a stake moved d north stands 0.1 d higher."""
    design = float(PLANE.height_at(50.0, 60.0)) - 0.25
    one = one_offset(stake(50.0, 60.0, design), 2.0, "uphill")
    assert (one.x, one.y, one.distance, one.side) == (50.0, 62.0, 2.0, "uphill")
    assert one.cut == pytest.approx(0.25 + 0.2, abs=1e-4)
    below = one_offset(stake(50.0, 60.0, design), 3.0, "downhill")
    assert (below.x, below.y) == (50.0, 57.0)
    assert below.cut == pytest.approx(0.25 - 0.3, abs=1e-4)


def test_an_offset_in_the_diggers_way_is_moved_out_by_whole_offsets():
    one = one_offset(stake(50.0, 60.0, 106.0), 2.0, "uphill", lambda x, y: y < 64.5)
    assert one.distance == 6.0
    assert one.y == 66.0
    assert one_offset(stake(50.0, 60.0, 106.0), 2.0, "uphill", lambda x, y: True) is None


def test_a_lone_stakes_offset_lies_up_the_slope():
    one = one_offset(stake(50.0, 60.0, 106.0, away=None), 2.0, "uphill")
    assert (one.x, one.y) == pytest.approx((50.0, 62.0), abs=1e-3)


def test_one_offset_serves_a_whole_line_where_it_can():
    """Dug up to 64.5 m beside one of three stakes: all stand 6 m off; dug up to 75 m there, that
    one alone stands 16 m off."""
    three = [stake(x, 60.0, 106.0) for x in (50.0, 60.0, 70.0)]
    found = offset_stakes(three, PLANE, 2.0, "uphill", lambda x, y: x == 60.0 and y < 64.5)
    assert [one.distance for one in found] == [6.0, 6.0, 6.0]
    found = offset_stakes(three, PLANE, 2.0, "uphill", lambda x, y: x == 60.0 and y < 75.0)
    assert [one.distance for one in found] == [2.0, 16.0, 2.0]


def test_one_distance_serves_a_wall_and_its_sill():
    """Free ground begins 3 m north of the wall's first stake and 5 m north of its second; beside
    the sill there is none to the north at all, and to the south from 2 m on. The least multiple
    of 2 m that serves all three is 6 m."""
    wall = [replace(stake(x, 60.0, 106.0), mark="wall", sides=("water side", "dry side"))
            for x in (50.0, 60.0)]
    sill = replace(stake(70.0, 60.0, 106.0), mark="sill")

    def dug(x, y):
        if x > 65:
            return y > 58.5
        return y < (63.0 if x < 55 else 65.0)

    found = offset_stakes([*wall, sill], PLANE, 2.0, "uphill", dug)
    assert [(one.distance, one.side) for one in found] == [
        (6.0, "water side"), (6.0, "water side"), (6.0, "south")]


def test_every_sill_stake_has_its_offset_stake_and_wins_over_a_line_stake():
    """Uphill all is dug: a line's stake has none, a sill's stands on another side, told by the
    wind; where a line's and a sill's would stand 0.3 m apart the sill's stays."""
    line, sill = stake(50.0, 60.0, 106.0), replace(stake(50.3, 60.0, 106.0), mark="sill")
    found = offset_stakes([line, sill], PLANE, 2.0, "uphill", lambda x, y: y > 59.0)
    assert found[0] is None
    assert (found[1].x, found[1].y, found[1].side) == (pytest.approx(50.3), 58.0, "south")
    found = offset_stakes([line, sill], PLANE, 2.0, "uphill", lambda x, y: False)
    assert found[0] is None
    assert found[1].x == 50.3


def test_of_two_offset_stakes_that_nearly_coincide_one_is_left():
    """Less than 0.5 m apart and of one work: the second is left out; of another work it stays."""
    stakes = [stake(x, 60.0, 106.0) for x in (50.0, 50.49, 52.0, 52.51)]
    other = replace(stakes[1], work="v")
    kept = offset_stakes([*stakes, other], PLANE, 2.0, "uphill", lambda x, y: False)
    assert [None if one is None else one.x for one in kept] == [50.0, None, 52.0, 52.51, 50.49]
