"""What is said of a survey's lines: in one unit, of one place, and no more than is so."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from terrain.asbuilt.compared import LineFound, Stretch
from terrain.asbuilt.designed_lines import DesignedLine
from terrain.asbuilt.matching import Measured
from terrain.asbuilt.mending import Mend, mends
from terrain.inputs.asbuilt_points import SurveyedPoint
from terrain.outputs.asbuilt.words import at, is_to_mend, mend_words, small, verdict_words


def line(role: str, name: str, area=None) -> DesignedLine:
    return DesignedLine(0, "w", name, (name,), role, np.array([[0.0, 0.0], [9.0, 0.0]]),
                        np.zeros(2), np.zeros(2), ((0.0, 9.0),), 0.03, 0.03, ("a", "b"), None, area)


def point(**given) -> SurveyedPoint:
    held = {"name": "", "stake": None, "at": None, "lonlat": False, **given}
    return SurveyedPoint("file, line 2", held["name"], "w", "floor", held["stake"], held["at"],
                         held["lonlat"], None, 0.0, None)


def found_of(role: str, name: str, difference: float) -> LineFound:
    made = Measured(point(), 4.0, 0.0, 4.0, 0.0, 0.0, difference)
    stretch = Stretch(difference > 0, 3.0, 5.0, 2.0, abs(difference), 0.001)
    return LineFound(line(role, name), (made,), (False,), (stretch,), 5.0, None)


def test_differences_are_in_feet_and_tenths_as_levels_are():
    """0.1412 m is 0.463 ft (0.3048 m to the foot); no inch beside feet."""
    assert small(-0.1412, "us", True) == "−0.463 ft"
    assert small(0.005, "us") == "0.016 ft"
    assert small(-0.1412, "metric", True) == "−141 mm"


@pytest.mark.parametrize(("given", "said"), [
    ({"name": "7a", "stake": 3}, "at point 7a"), ({"stake": 143}, "at stake 143"),
    ({"at": (512374.94, 6430131.02)}, "at 512374.9, 6430131.0"),
    ({"at": (21.1312341, -32.2654321), "lonlat": True}, "at 21.131234, -32.265432"),
    ({}, "at station 4.0 m of its edge")])
def test_a_point_of_a_floor_is_told_by_what_it_was_called_or_where_it_lies(given, said):
    floor = line("floor", "floor", area=SimpleNamespace())
    measured = Measured(point(**given), 0.0, 0.0, 4.0, 0.0, 0.0, 0.056)
    assert at(measured, floor, "metric") == said


def test_what_does_no_harm_is_not_called_wrong():
    """A bed that is deeper may stay; a sill that is low may not."""
    bed, sill = found_of("bed", "bed", -0.05), found_of("sill", "sill", -0.05)
    todo = mends([bed, sill])
    assert verdict_words(bed, todo) == "low, may stay"
    assert not is_to_mend(bed, todo)
    assert verdict_words(sill, todo) == "too low"
    assert is_to_mend(sill, todo)


def test_earth_that_rounds_to_nothing_is_not_told_as_none():
    found = found_of("sill", "sill", 0.02)
    words = mend_words(Mend(found.line, found.stretches[0], "shave", True), "metric")
    assert words.endswith("less than 0.01 m³ of earth.")
    assert "0.00" not in words
    assert "less than 0.01 yd³" in mend_words(
        Mend(found.line, found.stretches[0], "shave", True), "us")
