"""Swales as they are to be dug, on ground where the earth can be worked by hand."""

import numpy as np
import pytest
from constructed import formula_dem

from terrain.works.cross_section import Section, area_on_slope, berm_end
from terrain.works.return_end import return_end
from terrain.works.rules import Rulebook
from terrain.works.sill import Sill
from terrain.works.swale import SwaleLine
from terrain.works.swale_built import SOIL_OF_GROUP, berm_slope, finish
from terrain.works.swale_checks import check_volume, checks_of


def made(length=60.0, slope=0.0, depth=0.3, width=0.6, side=2.0, head=0.05, rules=None, **more):
    rules = rules or Rulebook()
    dem = formula_dem(lambda x, y: 100 + slope * (y - 20), length + 20, 40, 1.0)
    route = SwaleLine(np.array([[10.0, 20.0], [length + 10, 20.0]]), 100.0, 0.0, slope, slope)
    sill = Sill(100.0, 4.0, head, 0.0, 1.7)
    section = Section("trapezoid", depth, width, side)
    return finish(dem, route, section, sill, 25.0, 20.0, rules, **more), rules


def berm_on_a_plane(swale, slope):
    """60 m less the sill of 4 m, two ends turned uphill and two that slope down to the sill; the
    closed forms of those are tested with the designed ground."""
    berm = swale.built_berm
    return (56 * area_on_slope(berm.height, berm.top, berm.side_slope, slope)
            + 2 * return_end(berm, slope).volume + 2 * berm_end(swale.section, berm, 0.0, slope))


# Constructed: (0.6 + 2 x 0.3) x 0.3 x 60 = 21.6 m3.
def test_sixty_metres_of_swale_hold_and_are_cut_21_6_cubic_metres_on_level_ground():
    swale, _ = made()
    assert swale.curve.capacity == pytest.approx(21.6)
    assert swale.cut == pytest.approx(21.6)


def test_berm_stands_over_the_water_and_is_built_higher_by_its_settlement():
    swale, rules = made(slope=0.05, head=0.07)
    assert swale.berm_height == pytest.approx(0.07 + rules["berm freeboard"])
    assert swale.berm_height_built == pytest.approx(
        swale.berm_height * (1 + rules["berm settlement"]))
    assert swale.cut == pytest.approx(60 * area_on_slope(0.3, 0.6, 2.0, 0.05), rel=2e-4)
    assert swale.berm == pytest.approx(berm_on_a_plane(swale, 0.05), rel=2e-4)
    assert swale.spare == pytest.approx(swale.cut * rules["compacted per bank"] - swale.berm)


def test_too_little_earth_for_the_berm_is_said():
    swale, _ = made(slope=0.05, depth=0.05, width=0.2)
    assert swale.spare < 0
    assert any("dig wider or deeper" in caution for caution in swale.cautions)


def test_ends_sill_and_checks_are_stations():
    rules = Rulebook()
    route = SwaleLine(np.array([[10.0, 20.0], [70.0, 20.0]]), 100.0, 0.0, 0.05, 0.05)
    checks, _ = checks_of(route, Section("trapezoid", 0.3, 0.6, 2.0), rules, 12.0)
    swale, _ = made(slope=0.05, checks=checks)
    marks = {mark: [s.chainage for s in swale.stations if mark in s.marks]
             for mark in ("end", "sill", "check")}
    assert marks["end"] == pytest.approx([0, 60])
    assert marks["sill"] == pytest.approx([13, 15, 17])
    assert marks["check"] == pytest.approx([12, 24, 36, 48])
    apart = np.diff([s.chainage for s in swale.stations])
    assert apart.max() <= 3.3 + 1e-9  # every 2 to 5 m
    plain, _ = made(slope=0.05)
    assert swale.cut == pytest.approx(plain.cut - check_volume(checks))
    assert swale.curve.capacity == pytest.approx(plain.curve.capacity - check_volume(checks))


# Loam and clay 2:1, sand 3:1: common practice, no source.
@pytest.mark.parametrize(("soil", "slope"), [("clay", 2.0), ("loam", 2.0), ("sand", 3.0)])
def test_a_berm_has_the_slope_of_its_soil(soil, slope):
    swale, rules = made(slope=0.05, soil=soil)
    assert berm_slope(soil, rules) == slope
    assert swale.berm_side_slope == slope
    assert swale.berm == pytest.approx(berm_on_a_plane(swale, 0.05), rel=2e-4)


def test_every_soil_group_stands_for_a_soil():
    assert set(SOIL_OF_GROUP) == set("ABCD")
    assert set(SOIL_OF_GROUP.values()) <= {"clay", "loam", "sand"}


def test_a_crest_fixed_by_the_owner_is_kept_and_what_it_leaves_is_said():
    swale, _ = made(crest=100.4)
    assert swale.berm_height == pytest.approx(0.4)
    assert not any("freeboard" in c for c in swale.cautions)
    low, _ = made(crest=100.1)
    assert any("leaves 0.05 m" in c and "berm freeboard" in c for c in low.cautions)
    drowned, _ = made(crest=100.03)
    assert any("stands 0.02 m" in c and "over the berm's settled crest" in c
               for c in drowned.cautions)


def test_a_deeper_swale_never_holds_less():
    held = [made(depth=d)[0].curve.capacity for d in np.arange(0.1, 0.7, 0.05)]
    assert (np.diff(held) > 0).all()


@pytest.mark.parametrize("slope", [0.0, 0.02])
def test_where_the_ground_does_not_come_up_to_the_crest_a_berm_s_ends_stop_at_the_longest(slope):
    """6 m uphill the ground stands 6 s over the sill, and the berm over it what is left."""
    swale, rules = made(slope=slope)
    for end in swale.returns:
        assert end.uphill == rules["return end longest"] == 6.0
        assert end.tip == pytest.approx(swale.berm_height_built - 6 * slope, abs=1e-4)
    said = next(c for c in swale.cautions if "goes round the berm's end" in c)
    assert f"at its start {6 * slope:.2f} m" in said
    assert ("at the design peak" in said) == (6 * slope < 0.05)  # the head on the sill
    assert not any("round the berm's end" in c for c in made(slope=0.05)[0].cautions)


def test_a_sill_that_takes_the_whole_swale_is_told():
    swale, _ = made(length=4.0, slope=0.05)
    assert any("takes all of its length, 4.0 m" in c for c in swale.cautions)
    assert not any("takes all" in c for c in made(slope=0.05)[0].cautions)


def test_end_areas_and_prismoid_agree_where_the_section_does_not_change():
    swale, _ = made(slope=0.05)
    assert swale.cut_end_areas == pytest.approx(swale.cut, rel=1e-6)
    assert swale.berm_end_areas == pytest.approx(swale.berm, rel=1e-6)
