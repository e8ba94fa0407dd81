"""Furrows by Manning worked by hand: V = R^(2/3) S^(1/2) / n (Chow, Open-Channel Hydraulics, 1959,
ch. 5), n of Table 5-6 there (earth: new 0.018, winding with some weeds 0.03); bare earth stands
Fortier & Scobey's speeds, grass those of SCS-TP-61."""

from dataclasses import replace

import numpy as np
import pytest

from terrain.works.furrow import furrow
from terrain.works.furrow_flow import furrow_flow, lining_sod, lining_stone, over_sill
from terrain.works.rules import Rulebook

RULES = Rulebook()
NEW, WORN = 0.018, 0.03
#: Sandy loam in clear water (Fortier & Scobey, 1926). [m/s]
BARE = 0.53


def made(slope, width=0.3, long=20.0):
    """A furrow 0.15 m deep whose bed falls so much: it begins 0.15 m below its sill."""
    line = np.array([[0.0, 0.0], [long, 0.0]])
    return furrow(line, lambda x, y: 10 + 0 * np.asarray(x), 10.0, 9.85 - slope * long, width,
                  0.15, 0.002)


def speed(width, deep, slope, roughness):
    return (width * deep / (width + 2 * deep)) ** (2 / 3) * slope**0.5 / roughness


def test_brim_full_a_ditch_of_12_by_6_inches_at_5_3_percent():
    """By hand: R 0.0762 m, 0.1797 x 0.2302 / 0.03 = 1.379 m/s over 0.04645 m2: 0.064 m3/s, a
    quarter of 0.27 m3/s."""
    line = np.array([[0.0, 0.0], [20.7, 0.0]])
    ditch = furrow(line, lambda x, y: 10 + 0 * np.asarray(x), 10.0, 10 - 0.1524 - 0.053 * 20.7,
                   0.3048, 0.1524, 0.002)
    runs = furrow_flow(ditch, 0.27, True, RULES)
    assert runs.capacity == pytest.approx(0.064, abs=0.0005)
    assert not runs.enough
    wide = runs.needed_width
    assert wide * 0.1524 * speed(wide, 0.1524, 0.053, WORN) == pytest.approx(0.27, rel=1e-6)


def test_speed_is_that_of_the_peak_in_the_new_channel():
    runs = furrow_flow(made(0.05), 0.03, True, RULES)
    assert runs.enough
    deep = 0.03 / (runs.velocity * 0.3)
    assert runs.velocity == pytest.approx(speed(0.3, deep, 0.05, NEW), rel=1e-6)
    assert runs.permissible == pytest.approx(BARE, abs=0.005)
    assert not runs.holds


def test_a_gentle_trickle_neither_overflows_nor_scours():
    runs = furrow_flow(made(0.0075), 0.003, True, RULES)
    assert (runs.enough, runs.holds) == (True, True)
    assert runs.needed_width == 0.3


def test_with_its_drops_taken_it_runs_no_faster_than_bare_earth_stands():
    furrowed = made(0.05)
    runs = furrow_flow(furrowed, 0.03, True, RULES)
    left = 0.05 - runs.drops / furrowed.length
    assert 0 < left < 0.05
    wide = runs.drops_width
    assert wide * 0.15 * speed(wide, 0.15, left, WORN) >= 0.03 * (1 - 1e-6)
    depths = np.linspace(0.001, 0.15, 5000)
    carried = wide * depths * speed(wide, depths, left, NEW)
    fast = speed(wide, float(np.interp(0.03, carried, depths)), left, NEW)
    assert fast <= BARE * 1.01


def test_grass_is_named_only_where_it_stands_the_speed():
    """SCS-TP-61 recommends no grass mixtures on more than 10 %."""
    gentle = furrow_flow(made(0.03), 0.02, True, RULES)
    steep = furrow_flow(made(0.11), 0.02, True, RULES)
    assert gentle.lining == "grass"
    assert steep.lining != "grass"


def test_what_lines_a_furrow_by_hand():
    """Plain arithmetic: 20 m, 0.3 m wide and 0.15 m deep. 0.3 m of stone about it are dug 0.9 m
    wide and 0.45 m deep: (0.405 - 0.045) x 20 = 7.2 m3; sod on bed and sides 0.6 x 20 = 12 m2."""
    runs = furrow_flow(made(0.03), 0.02, True, RULES)
    grass, stone, bare = (replace(runs, lining=kind, lined_width=wide, drops=None)
                          for kind, wide in (("grass", 0.3), ("stone", 0.3), ("", None)))
    assert lining_sod(made(0.03), grass) == pytest.approx(12.0)
    assert lining_stone(made(0.03), stone, 0.3) == pytest.approx(7.2)
    assert lining_stone(made(0.03), grass, 0.3) == lining_sod(made(0.03), stone) == 0
    assert lining_stone(made(0.03), bare, 0.3) == lining_sod(made(0.03), bare) == 0


def test_one_that_does_not_fall_carries_nothing():
    line = np.array([[0.0, 0.0], [20.0, 0.0]])
    flat = furrow(line, lambda x, y: 10 + 0 * np.asarray(x), 10.0, 10.0, 0.3, 0.15, 0.002)
    assert furrow_flow(flat, 0.02, True, RULES).capacity == 0


#: Grown grass: earth, winding, dense weeds in deep channels (Chow, 1959, Table 5-6).
GROWN = 0.035


def test_a_furrow_lined_with_grass_carries_the_peak_once_it_is_grown():
    """Bare it carries 0.029 m3/s 0.30 m wide at 3 %; grown over no more than 0.025."""
    bare = 0.3 * 0.15 * speed(0.3, 0.15, 0.03, WORN)
    peak = 0.95 * bare
    runs = furrow_flow(made(0.03), peak, True, RULES)
    assert (runs.enough, runs.way) == (True, "grass")
    assert runs.dug_width == runs.lined_width > 0.3
    wide = runs.dug_width
    assert wide * 0.15 * speed(wide, 0.15, 0.03, GROWN) == pytest.approx(peak, rel=1e-6)
    assert runs.water == pytest.approx(0.15)  # brim full


def test_how_it_is_to_be_dug():
    assert furrow_flow(made(0.0075), 0.003, True, RULES).way == "bare"
    wider = furrow_flow(made(0.0021, long=100.0), 0.02, False, RULES)
    assert (wider.enough, wider.holds, wider.way) == (False, True, "bare")
    assert wider.dug_width == wider.needed_width > 0.3
    steep = furrow_flow(made(0.4), 0.05, True, RULES)  # neither grass nor cobbles bear that
    assert (steep.lining, steep.way, steep.dug_width) == ("", "drops", steep.drops_width)


def test_water_stands_back_where_the_bed_begins_level_with_the_sill():
    line = np.array([[0.0, 0.0], [20.0, 0.0]])
    level = furrow(line, lambda x, y: 10 + 0 * np.asarray(x), 10.0, 9.9, 0.3, 0.15, 0.002)
    runs = furrow_flow(level, 0.02, True, RULES)
    assert not level.begins_below
    assert over_sill(0.06, level, runs) == max(0.06, runs.water) > 0.06
    below = made(0.05)
    assert over_sill(0.06, below, furrow_flow(below, 0.02, True, RULES)) == 0.06
    assert over_sill(0.06, None, None) == 0.06
