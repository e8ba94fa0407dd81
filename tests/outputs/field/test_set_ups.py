"""Set-ups of the level, on ground whose shape is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from terrain.inputs.dem import Dem
from terrain.inputs.frame import Frame
from terrain.outputs.field.offset_stakes import OffsetStake, offset_stake, without_near
from terrain.outputs.field.set_ups import KnownMark, Marks, plan_set_ups
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
    no more than 4 m, so at least five."""
    places = [(150.0, y) for y in range(50, 260, 10)]
    known = KnownMark(150.0, 255.0, float(PLANE.height_at(150.0, 255.0)))
    stakes = marks(PLANE, places)
    found, read = plan_set_ups(PLANE, stakes, known, 4.0, Rulebook())
    assert (read > 0).all()
    assert len(found) >= 5
    for number, design in zip(read, stakes.design, strict=True):
        assert 0.1 - 1e-6 <= found[number - 1].height - design <= 4.0 + 1e-6
    for set_up in found:
        stands = float(PLANE.height_at(set_up.x, set_up.y))
        assert set_up.height == pytest.approx(stands + 1.4)  # the rule `instrument height`
        assert set_up.back_reading == pytest.approx(set_up.height - set_up.back_level)
        assert 0.1 - 1e-6 <= set_up.back_reading <= 4.0 + 1e-6
        if set_up.stake is not None:  # what is read first was set from an earlier one
            assert read[set_up.stake] < set_up.number
            assert set_up.back_level == stakes.design[set_up.stake]


def test_far_from_the_benchmark_levels_are_carried_by_change_points():
    known = KnownMark(20.0, 20.0, float(PLANE.height_at(20.0, 20.0)))
    found, read = plan_set_ups(PLANE, marks(PLANE, [(270.0, 60.0)]), known, 4.0, Rulebook())
    assert list(read) == [len(found)]
    assert len(found) > 2
    assert found[0].back == "the benchmark"
    for set_up in found[1:]:
        assert set_up.back.startswith("change point")
        before = found[set_up.of - 1]
        assert before.number < set_up.number
        for one in (before, set_up):  # the same peg is on the staff from both
            assert 0.1 - 1e-6 <= one.height - set_up.back_level <= 4.0 + 1e-6
            assert np.hypot(one.x - set_up.back_x, one.y - set_up.back_y) <= 60


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


def stake(x, y, design, away=(0.0, 1.0)):
    return Stake("w", "line", 0.0, x, y, float(PLANE.height_at(x, y)), design, "lip", away)


def test_offset_stakes_on_a_plane():
    """On a plane of 10 % rising north a stake moved d north stands 0.1 d higher."""
    design = float(PLANE.height_at(50.0, 60.0)) - 0.25
    one = offset_stake(stake(50.0, 60.0, design), PLANE, 2.0, "uphill", lambda x, y: False)
    assert (one.x, one.y, one.distance, one.side) == (50.0, 62.0, 2.0, "uphill")
    assert one.cut == pytest.approx(0.25 + 0.2, abs=1e-4)
    below = offset_stake(stake(50.0, 60.0, design), PLANE, 3.0, "downhill", lambda x, y: False)
    assert (below.x, below.y) == (50.0, 57.0)
    assert below.cut == pytest.approx(0.25 - 0.3, abs=1e-4)


def test_an_offset_in_the_diggers_way_is_moved_out_by_whole_offsets():
    dug = lambda x, y: y < 64.5  # noqa: E731
    one = offset_stake(stake(50.0, 60.0, 106.0), PLANE, 2.0, "uphill", dug)
    assert one.distance == 6.0
    assert one.y == 66.0
    assert offset_stake(stake(50.0, 60.0, 106.0), PLANE, 2.0, "uphill", lambda x, y: True) is None


def test_a_lone_stakes_offset_lies_up_the_slope():
    one = offset_stake(stake(50.0, 60.0, 106.0, away=None), PLANE, 2.0, "uphill",
                       lambda x, y: False)
    assert (one.x, one.y) == pytest.approx((50.0, 62.0), abs=1e-3)


def test_of_two_offset_stakes_that_nearly_coincide_one_is_left():
    """Less than 0.5 m apart and of one work: the second is left out; of another work it stays."""
    def beside(x):
        return OffsetStake(x, 0.0, 2.0, "uphill", 100.0, 0.0)

    stakes = [stake(x, 60.0, 106.0) for x in (50.0, 52.0, 54.0, 56.0)]
    other = replace(stakes[1], work="v")
    kept = without_near([*stakes, other], [beside(0.0), beside(0.49), None, beside(0.51),
                                           beside(0.49)])
    assert [None if one is None else one.x for one in kept] == [0.0, None, None, 0.51, 0.49]
