"""Where a swale's line ends, on planes and a cone: yards on gentle ground, rings round a hill."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
from constructed import formula_dem
from shapely import LineString, Point, box

from terrain.errors import InputError
from terrain.inputs.site_works import Swale
from terrain.plan.siting.swale_ends import kept
from terrain.surface.terrain import Terrain
from terrain.works.rules import Rulebook
from terrain.works.swale import SwaleLine, smoothed, trace

#: Of the usual berm as built: (sill head 0.075 + berm freeboard 0.15) x 1.1 for its settlement.
HEIGHT = 0.225 * 1.1


def ends_on_a_plane(slope, uphill, rules=None, **more):
    """A line along a plane within a yard 40 m wide whose upper boundary lies `uphill` m above."""
    dem = formula_dem(lambda x, y: 100 + slope * (y - 60), 120, 120, 1.0)
    route = SwaleLine(np.array([[10.0, 60.0], [110.0, 60.0]]), 100.0, 0.0, slope, slope)
    ground = SimpleNamespace(boundary=box(40, 30, 80, 60 + uphill), roofs=(), keep_clear=(),
                             soil_group_of=lambda cells: "C")
    work = Swale(kind="swale", name="s", through=(60, 60), **more)
    return kept(work, route, Point(60, 60), Terrain(dem), ground, rules or Rulebook(), "s")


# 8 and 12 m below the boundary on 2 %, where the crest is met 12.4 m uphill.
@pytest.mark.parametrize("uphill", [8, 12])
def test_in_a_yard_on_gentle_ground_a_berm_s_ends_are_bounded(uphill):
    route, along, _ = ends_on_a_plane(0.02, uphill)
    line = LineString(route.line)
    # Past its end: the corner 2 x 0.2475 + 0.3, half its top and its side down to the ground.
    past = 2 * HEIGHT + 0.3 + 0.3 + 2 * (HEIGHT + 0.02 * (2 * HEIGHT + 0.3))
    assert line.length == pytest.approx(40 - 2 * past, abs=0.25)  # steps of 0.1 m at both ends
    assert line.interpolate(along).distance(Point(60, 60)) < 1e-6


@pytest.mark.parametrize("slope", [0.01, 0.03])
def test_where_a_turned_end_fits_nowhere_one_sentence_names_its_room(slope):
    with pytest.raises(InputError) as error:
        ends_on_a_plane(slope, 5)
    # From its tip, 6 m uphill and H - 6 s high, its side comes down to the ground that rises by s.
    room = 6 + (0.3 + 2 * (HEIGHT - 6 * slope)) / (1 + 2 * slope)
    assert f"needs {room:.2f} m" in str(error.value)
    assert "reaches over the boundary" in str(error.value)
    assert "return end longest" in str(error.value)


def test_the_rule_shortens_the_ends():
    route, _, _ = ends_on_a_plane(0.03, 5, Rulebook({"return end longest": "4 m"}))
    assert LineString(route.line).length > 30


def test_a_berm_too_flat_for_the_yard_is_one_sentence():
    with pytest.raises(InputError, match=r"m .* downhill"):
        ends_on_a_plane(0.06, 30, **{"berm side slope": 17})


def test_a_ring_round_a_hill_is_kept_but_for_a_gap_opposite_the_point():
    dem = formula_dem(lambda x, y: 120 - 0.08 * np.hypot(x - 80, y - 80), 160, 160, 1.0)
    terrain, rules = Terrain(dem), Rulebook()
    ground = SimpleNamespace(boundary=box(2, 2, 158, 158), roofs=(), keep_clear=(),
                             soil_group_of=lambda cells: "C")
    gap = 2 * (4 * HEIGHT + 0.6)  # both ends of the berm, on level ground
    for turn in np.linspace(0, 2 * math.pi, 5)[:-1]:
        x, y = 80 + 25 * math.cos(turn), 80 + 25 * math.sin(turn)
        work = Swale(kind="swale", name="s", through=(x, y))
        route, along = trace(terrain, smoothed(dem), x, y, "s", rules, 150.0)
        anchor = LineString(route.line).interpolate(along)
        route, along, _ = kept(work, route, anchor, terrain, ground, rules, "s")
        length = LineString(route.line).length
        assert length == pytest.approx(2 * math.pi * 25 - gap, rel=0.02)
        assert along == pytest.approx(length / 2, abs=1.0)


def test_a_crest_that_the_owner_fixes_needs_more_room():
    usual, _, _ = ends_on_a_plane(0.05, 12)
    high, _, _ = ends_on_a_plane(0.05, 12, crest=100.5)
    assert LineString(high.line).length < LineString(usual.line).length - 1
