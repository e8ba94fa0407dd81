"""Stations of swales on ground whose sections can be worked by hand."""

from itertools import pairwise

import numpy as np
import pytest
from constructed import formula_dem

from terrain.works.cross_section import Berm, Section, area_on_slope, earth_across
from terrain.works.swale_stations import chainages, middles, stations_of, volumes_of

SECTION, BERM = Section("trapezoid", 0.3, 0.6, 2.0), Berm(0.2, 0.6, 2.0)


def along(dem, line, level, at, section=SECTION, berm=BERM):
    return stations_of(dem, np.array(line), level, section, berm,
                       [(place, ()) for place in at], 0.05)


def volumes(dem, line, level, at):
    places = [(place, ()) for place in at]
    found, between = (stations_of(dem, np.array(line), level, SECTION, BERM, spots, 0.05)
                      for spots in (places, middles(places)))
    return volumes_of(found, between, level, SECTION, BERM)


def test_chainages_hold_both_ends_the_marked_places_and_even_ones_between():
    found = chainages(60.0, 3.0, [(31.0, "sill"), (33.05, "sill"), (12.0, "check")])
    places = [place for place, _ in found]
    assert places == sorted(places)
    assert places[0] == 0.0
    assert places[-1] == 60.0
    assert np.diff(places).max() <= 3.0 + 0.3 + 1e-9
    assert dict(found)[31.0] == ("sill",)
    assert dict(found)[12.0] == ("check",)  # an even place too, and only once
    assert 33.05 in places
    assert 33.0 not in places


def test_a_marked_place_at_an_end_is_the_end():
    found = chainages(20.0, 5.0, [(20.004, "sill")])
    assert found[-1] == (20.0, ("end", "sill"))
    assert len(found) == 5


@pytest.mark.parametrize("slope", [0.0, 0.03, 0.08, 0.14])
@pytest.mark.parametrize("bearing", [0.0, 27.0, 90.0])
def test_cut_on_a_plane_is_length_times_area_on_slope(slope, bearing):
    """Closed form: every station is the same; whichever way the line runs, the slope is found."""
    way = np.array([np.cos(np.radians(bearing)), np.sin(np.radians(bearing))])
    dem = formula_dem(lambda x, y: 100 + slope * ((y - 50) * way[0] - (x - 50) * way[1]),
                      100, 100, 1.0)
    line = [np.array([50.0, 50.0]) - 20 * way, np.array([50.0, 50.0]) + 20 * way]
    found = along(dem, line, 100.0, np.linspace(0, 40, 14))
    for station in found:
        assert station.cross_slope == pytest.approx(slope, abs=1e-5)
        assert station.ground == pytest.approx(100.0, abs=1e-4)
    sums = volumes(dem, line, 100.0, np.linspace(0, 40, 14))
    cut, berm = sums.cut, sums.berm
    assert cut == pytest.approx(40 * area_on_slope(0.3, 0.6, 2.0, slope), rel=2e-4)
    assert berm == pytest.approx(40 * area_on_slope(0.2, 0.6, 2.0, slope), rel=2e-4)


def test_each_station_has_the_ground_and_slope_of_its_own_place():
    """The slope grows from 2 % to 10 % along the line, and the ground from 5 cm under its level to
    5 cm over it."""
    def height(x, y):
        return 100 + (x - 50) / 800 + (0.02 + 0.08 * (x - 10) / 80) * (y - 30)

    dem = formula_dem(height, 100, 60, 1.0)
    found = along(dem, [(10.0, 30.0), (90.0, 30.0)], 100.0, [0.0, 20.0, 40.0, 60.0, 80.0])
    for station in found:
        assert station.cross_slope == pytest.approx(0.02 + 0.08 * station.chainage / 80, abs=1e-4)
        assert station.ground == pytest.approx(99.95 + station.chainage / 800, abs=1e-4)
        earth = earth_across(SECTION, BERM, station.ground - 100, station.cross_slope)
        assert (station.cut, station.berm) == (earth.cut, earth.berm)
    assert [s.cut for s in found] == sorted(s.cut for s in found)
    sums = volumes(dem, [(10.0, 30.0), (90.0, 30.0)], 100.0, [0.0, 20.0, 40.0, 60.0, 80.0])
    ends = [(a.cut + b.cut) / 2 * 20 for a, b in pairwise(found)]
    assert sums.cut_end_areas == pytest.approx(sum(ends))
    # By the prismoidal rule with measured middles: within a thousandth of sections every 0.5 m.
    fine = along(dem, [(10.0, 30.0), (90.0, 30.0)], 100.0, np.linspace(0, 80, 161))
    exact = float(np.trapezoid([s.cut for s in fine], [s.chainage for s in fine]))
    assert sums.cut == pytest.approx(exact, rel=1e-3)
    assert abs(sums.cut - exact) < abs(sums.cut_end_areas - exact)


def test_the_berm_is_left_out_between_the_ends_of_the_sill():
    """On a plane at the sill's level the ground needs no earth there, and the cut stays."""
    dem = formula_dem(lambda x, y: 100 + 0.05 * (y - 30), 100, 60, 1.0)
    places = [(place, ()) for place in (0.0, 10.0, 18.0, 40.0)]
    gap, line = (10.0, 18.0), np.array([(10.0, 30.0), (50.0, 30.0)])
    found, between = (stations_of(dem, line, 100.0, SECTION, BERM, spots, 0.05, gap)
                      for spots in (places, middles(places)))
    sums = volumes_of(found, between, 100.0, SECTION, BERM, gap)
    assert sums.berm == pytest.approx(32 * area_on_slope(0.2, 0.6, 2.0, 0.05), rel=2e-4)
    assert sums.cut == pytest.approx(40 * area_on_slope(0.3, 0.6, 2.0, 0.05), rel=2e-4)
    assert between[1].berm == pytest.approx(0.0, abs=1e-5)


def test_ground_that_falls_uphill_at_one_station_is_told_as_such():
    dem = formula_dem(lambda x, y: 100 + np.where(x < 70, 0.05, -0.05) * (y - 30), 100, 60, 1.0)
    found = along(dem, [(10.0, 30.0), (90.0, 30.0)], 100.0, [0.0, 30.0, 50.0, 75.0])
    assert [round(s.cross_slope, 3) for s in found] == [0.05, 0.05, 0.05, -0.05]


def test_ground_as_steep_as_the_sides_is_marked():
    dem = formula_dem(lambda x, y: 100 + np.where(x < 70, 0.05, 0.6) * (y - 30), 100, 60, 1.0)
    found = along(dem, [(10.0, 30.0), (90.0, 30.0)], 100.0, [0.0, 30.0, 50.0, 75.0])
    assert [s.too_steep for s in found] == [False, False, False, True]
    assert found[-1].cross_slope == pytest.approx(0.6, rel=1e-4)
    assert np.isfinite(found[-1].cut)
