"""Earth checks and what a swale holds with them, against solids cut up by hand."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from terrain.works.cross_section import SHAPES, Section, section_of
from terrain.works.rules import Rulebook
from terrain.works.store import channel_curve
from terrain.works.swale import SwaleLine
from terrain.works.swale_checks import check_volume, checks_of, swale_curve, volume_under

RULES = Rulebook()
SECTION = Section("trapezoid", 0.4, 0.6, 2.0)


def line(length, deviation=0.0):
    return SwaleLine(np.array([[0.0, 0.0], [length, 0.0]]), 100.0, deviation, 0.05, 0.05)


SECTIONS = st.builds(section_of, st.sampled_from(SHAPES), st.floats(0.1, 0.6),
                     st.none() | st.floats(0.4, 2.0), st.floats(0.5, 4.0), st.just(0.6))


@given(SECTIONS, st.floats(0.1, 1.0), st.floats(0, 1.2), st.floats(0, 3), st.floats(0.1, 2))
def test_a_check_is_the_sum_of_its_slices(section, share, reach, side, top):
    """Width of the section at each rise times the check's length there, over 4,000 slices."""
    height = share * section.depth
    rise = min(reach * height, height)
    edges = np.linspace(0, rise, 4001)
    middle = (edges[1:] + edges[:-1]) / 2
    wide = np.array([section.top_width(z) for z in middle])
    summed = float((wide * (top + 2 * side * (height - middle)) * np.diff(edges)).sum())
    assert volume_under(section, height, top, side, reach * height) == pytest.approx(
        summed, rel=1e-4, abs=1e-9)


def test_a_check_of_a_vee_by_hand():
    """A vee of 1:1, 0.3 m high, upright faces 0.5 m apart: 0.5 x 0.3^2 = 0.045 m3."""
    vee = Section("vee", 0.4, 0.0, 1.0)
    assert volume_under(vee, 0.3, 0.5, 0.0, 0.3) == pytest.approx(0.045)


def test_without_checks_it_is_the_channel():
    curve, plain = swale_curve(100.0, SECTION, 60.0), channel_curve(100.0, 0.4, 0.6, 2.0, 60.0)
    assert curve.levels == pytest.approx(plain.levels)
    assert curve.areas == pytest.approx(plain.areas)
    assert curve.volumes == pytest.approx(plain.volumes)


@given(SECTIONS, st.floats(20, 200))
def test_a_swale_holds_its_section_times_its_length_less_its_checks(section, length):
    assume(section.depth > 0.2)
    try:
        checks, _ = checks_of(line(length), section, RULES, 12.0)
    except ValueError:
        assume(False)
    curve = swale_curve(100.0, section, length, checks)
    assert curve.capacity == pytest.approx(section.area() * length - check_volume(checks))
    assert (np.diff(curve.volumes) > 0).all()
    assert curve.levels[-1] == pytest.approx(100.0)
    # The surface is the volume's own slope, where neither is bent: by the middle of each slice.
    mean = np.diff(curve.volumes) / np.diff(curve.levels)
    between = np.minimum(curve.areas[1:], curve.areas[:-1]), np.maximum(curve.areas[1:],
                                                                        curve.areas[:-1])
    inside = (mean > between[0] * 0.97) & (mean < between[1] * 1.03)
    assert inside[1:].mean() > 0.9


def test_a_line_as_long_as_the_rule_has_none_and_a_longer_one_has_them_evenly():
    assert checks_of(line(150.0), SECTION, RULES, None) == ((), None)
    checks, said = checks_of(line(160.0), SECTION, RULES, None)
    places = [0.0, *(c.chainage for c in checks), 160.0]
    assert np.diff(places) == pytest.approx(160 / 14)  # 12 m at most, common practice, no source
    assert "swale without checks" in said
    assert "check spacing" in said
    for check in checks:  # tops 7.5 cm below the sill, common practice, no source
        assert check.height == pytest.approx(0.4 - 0.075)
        assert check.volume > 0


def test_a_line_off_its_level_has_checks_however_short():
    checks, said = checks_of(line(30.0, deviation=0.15), SECTION, RULES, None)
    assert len(checks) == 2
    assert "level tolerance" in said


def test_the_owner_sets_checks_or_does_without():
    assert checks_of(line(200.0), SECTION, RULES, 0.0) == ((), None)
    checks, said = checks_of(line(40.0), SECTION, RULES, 10.0)
    assert [c.chainage for c in checks] == pytest.approx([10, 20, 30])
    assert "no more than the 10.0 m (32.8 ft) asked for" in said


def test_checks_in_a_shallow_swale_are_left_out_and_told():
    checks, said = checks_of(line(170.0), Section("trapezoid", 0.12, 0.6, 2.0), RULES, None)
    assert checks == ()
    assert said.startswith("Checks are left out")


def test_checks_that_would_fill_the_swale_are_refused():
    with pytest.raises(ValueError, match="would fill half of the swale"):
        checks_of(line(60.0), SECTION, RULES, 2.0)
