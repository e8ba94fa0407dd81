"""High, low, by how much, and what it takes to mend, against wedges and prisms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from terrain.asbuilt.compared import compared, difference_along
from terrain.asbuilt.designed_lines import DesignedLine, EarthStrip, bank_strip
from terrain.asbuilt.matching import Measured
from terrain.asbuilt.spread import spread
from terrain.inputs.asbuilt_points import SurveyedPoint
from terrain.works.cross_section import bank_area
from terrain.works.rules import Rulebook

POINT = SurveyedPoint("here", "", "", "", None, None, False, None, 0.0, None)
RULES = Rulebook()
LINE = DesignedLine(0, "w", "sill", ("sill",), "sill", np.array([[0.0, 0.0], [10.0, 0.0]]),
                    np.array([5.0, 5.0]), np.zeros(2), ((0.0, 10.0),), 0.005, 0.005,
                    ("sill off level", "sill off level"), EarthStrip((2.0, 0.0), (2.0, 0.0)))


def point(station, difference, line=LINE, y=0.0):
    level = float(line.level_at(station))
    return Measured(POINT, station, y, station, 0.0, level, level + difference)


def found(line, *pairs):
    points = tuple(point(s, d, line) for s, d in pairs)
    return compared(line, points, (False,) * len(points), RULES)


def test_a_sill_that_rises_evenly_to_one_end():
    """0 to 20 mm over 10 m, 5 mm allowed (common practice, no source): high from 2.5 m + the
    rounding of 0.6 mm on; a wedge 2 m wide, 7.2 m long, 5.6 to 20 mm deep."""
    line = found(LINE, (0.0, 0.0), (5.0, 0.010), (10.0, 0.020))
    [stretch] = line.stretches
    start = 10 * 0.0056 / 0.020
    assert (stretch.high, stretch.start, stretch.end) == (True, pytest.approx(start), 10.0)
    assert stretch.most == pytest.approx(0.020)
    assert stretch.volume == pytest.approx(2.0 * (10 - start) * (0.0056 + 0.020) / 2)
    assert line.verdict == "too high"
    assert [line.state(i) for i in range(3)] == ["within", "high", "high"]


def test_one_low_place_between_two_good_points():
    """A V 40 mm deep over 4 m: its part below 5.6 mm is 4 (1 - 5.6/40) m long."""
    line = found(LINE, (0.0, 0.0), (3.0, 0.0), (5.0, -0.040), (7.0, 0.0), (10.0, 0.0))
    [stretch] = line.stretches
    assert not stretch.high
    assert stretch.length == pytest.approx(4 * (1 - 5.6 / 40))
    assert stretch.most == pytest.approx(0.040)


@pytest.mark.parametrize(("difference", "verdict"), [
    (0.005, "within tolerance"), (-0.005, "within tolerance"), (0.007, "too high"),
    (-0.007, "too low")])
def test_the_tolerance_of_a_sill(difference, verdict):
    """Plus or minus 5 mm; common practice, no source."""
    assert found(LINE, *((s, difference) for s in (0.0, 5.0, 10.0))).verdict == verdict


def test_a_crest_may_be_high_and_not_low():
    """Minus 5, plus 30 mm; common practice, no source."""
    crest = replace(LINE, role="crest", name="berm", low=0.005, high=0.030)
    assert found(crest, (0.0, 0.029), (10.0, 0.02)).verdict == "within tolerance"
    assert found(crest, (0.0, -0.02), (10.0, 0.04)).verdict == "too high and low"


def test_too_few_points_are_said_and_not_judged():
    """Three on a sill, and one every 10 m elsewhere; common practice, no source."""
    assert found(LINE, (0.0, 0.0), (10.0, 0.0)).verdict == "too few points to judge"
    bed = replace(LINE, role="bed", name="bed", xy=np.array([[0.0, 0.0], [40.0, 0.0]]),
                  spans=((0.0, 40.0),))
    line = found(bed, (0.0, 0.0), (20.0, 0.0), (40.0, 0.0))
    assert line.widest_gap == pytest.approx(20.0)
    assert line.verdict == "too few points to judge"
    assert found(bed, *((s, 0.0) for s in (0.0, 10.0, 20.0, 30.0, 40.0))).few is None


def test_raising_a_bank_takes_the_difference_of_two_banks():
    """A bank's end area is (b + z h) h; raised by d it is that of h + d. So of the volume."""
    height, top, slopes, d = 1.2, 0.9, 5.0, 0.1
    low = replace(LINE, role="crest", name="wall", strip=bank_strip(height, top, slopes))
    line = found(low, (0.0, -d), (10.0, -d))
    volume = 10 * (bank_area(height, top, 2.5, 2.5) - bank_area(height - d, top, 2.5, 2.5))
    assert line.stretches[0].volume == pytest.approx(volume, rel=1e-9)


def test_shaving_a_crest_takes_the_bank_above_its_design():
    """Above the design the bank is as wide as its top above, and its sides below that."""
    top, slopes, d = 0.9, 5.0, 0.1
    high = replace(LINE, role="crest", name="wall", strip=bank_strip(1.2, top, slopes))
    line = found(high, (0.0, d), (10.0, d))
    assert line.stretches[0].volume == pytest.approx(10 * (top + slopes / 2 * d) * d, rel=1e-9)


def test_natural_ground_above_a_crest_is_not_too_high():
    points = (point(0.0, 0.5), point(10.0, 0.0))
    line = compared(replace(LINE, role="crest", low=0.005, high=0.03), points, (True, False),
                    RULES)
    assert line.state(0) == "within"
    assert not line.stretches


def test_differences_of_a_tilted_floor_are_its_plane():
    """Linear interpolation gives a plane back exactly."""
    places = [(0.0, 0.0), (10.0, 0.0), (10.0, 6.0), (0.0, 6.0), (4.0, 3.0)]

    def plane(x, y):
        return 0.01 + 0.002 * x - 0.003 * y
    points = [point(x, plane(x, y), y=y) for x, y in places]
    x, y = np.array([1.0, 5.0, 9.0]), np.array([1.0, 2.0, 5.0])
    assert spread(points, x, y) == pytest.approx(plane(x, y), abs=1e-12)
    assert spread(points[:1], x, y) == pytest.approx(0.01)
    assert spread(points[:2], np.array([-5.0]), np.array([0.0])) == pytest.approx([0.01])


def test_natural_ground_beside_a_low_place_stands_as_high_as_its_design():
    """Low by d at 0 between two places where natural ground stands 0.2 above the design: the
    difference falls off to nothing at those, so what is low is (1 - low / d) of 10 m each way."""
    line = replace(LINE, role="crest", xy=np.array([[0.0, 0.0], [20.0, 0.0]]),
                   spans=((0.0, 20.0),), low=0.005, high=0.03)
    points = (point(0.0, 0.2, line), point(10.0, -0.1, line), point(20.0, 0.2, line))
    [low] = compared(line, points, (True, False, True), RULES).stretches
    reach = 10 * (1 - 0.0056 / 0.1)
    assert (low.start, low.end) == pytest.approx((10 - reach, 10 + reach), abs=0.01)


def test_on_a_ring_differences_run_on_past_its_start():
    """A square of 40 m round, low by 0.1 at its start alone: 10 m of falling off on either side."""
    ring = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0], [0.0, 0.0]])
    line = replace(LINE, name="rim", role="rim", xy=ring, levels=np.full(5, 5.0),
                   settles=np.zeros(5), spans=((0.0, 40.0),))
    found = compared(line, tuple(point(s, -0.1 if s == 0 else 0.0, line)
                                 for s in (0.0, 10.0, 20.0, 30.0)), (False,) * 4, RULES)
    assert difference_along(line, found.points, np.array([5.0, 15.0, 35.0, 40.0])) == pytest.approx(
        [-0.05, 0.0, -0.05, -0.1])
    assert found.widest_gap == pytest.approx(10.0)
    assert sum(part.length for part in found.stretches) == pytest.approx(
        20 * (1 - 0.0056 / 0.1), abs=0.01)
