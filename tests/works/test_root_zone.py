"""A tree's root zone against constants worked by hand, and what must hold anywhere."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.works.root_zone import (
    available_water,
    effective_rain,
    live,
    longest_run,
    root_zone_room,
)
from terrain.works.rules import Rulebook

days = st.lists(st.tuples(st.floats(0, 0.2), st.floats(0, 3)), min_size=1, max_size=60)


def test_room_of_a_root_zone():
    """FAO 56, eq. 82: 0.13 x 1.2 m over a crown 3 m wide, 7.07 m2, is 1.10 m3."""
    assert root_zone_room(7.0686, Rulebook()) == pytest.approx(1.1027, abs=1e-4)


# FAO 56, 1998, Table 19, from memory: sandy loam 110 to 150 mm a metre, clay 120 to 200; clay loam
# is not in it, so the rule stands, as it does where the owner states one.
@pytest.mark.parametrize(("texture", "overruled", "metre"), [
    ("sandy loam", {}, 130), ("clay", {}, 160), ("clay loam", {}, 130), (None, {}, 130),
    ("clay", {"available water": 90}, 90)])
def test_a_texture_holds_what_the_published_table_says(texture, overruled, metre):
    assert available_water(texture, Rulebook(overruled)) == metre
    assert root_zone_room(10.0, Rulebook(overruled), texture) == pytest.approx(0.012 * metre)


def test_light_rain_does_not_count():
    """FAO 56, ch. 8 (from memory): rain under a fifth of the day's evapotranspiration is lost."""
    assert effective_rain([0.9, 1.1, 0.0], [5.0, 5.0, 0.0]).tolist() == [0.0, 1.1, 0.0]


def test_a_full_zone_runs_dry_as_fao_56_has_it():
    """FAO 56, eq. 84 with p = 0.5: Ks = (TAW - Dr) / (0.5 TAW); steady want of a tenth of TAW.

    From full, five days without stress, then the store falls by a fifth a day: 0.5 x 0.8^n.
    """
    want = np.full(30, 0.1)
    wet = np.zeros(30)
    wet[0] = 50.0  # far more than fits
    zone = live(want, wet, 1.0, 0.5)
    assert zone.held[:5] == pytest.approx([0.9, 0.8, 0.7, 0.6, 0.5])
    assert zone.held[5:9] == pytest.approx(0.5 * 0.8 ** np.arange(1, 5))
    assert zone.gets[:6] == pytest.approx([0.1] * 6)
    assert zone.gets[6] == pytest.approx(0.08)
    assert zone.drained[0] == pytest.approx(49.0 + zone.start)


@given(days, st.floats(0.2, 5))
def test_every_balance_closes(series, room):
    want, gains = np.array(series).T
    zone = live(want, gains, room, 0.5)
    change = np.diff(zone.held, prepend=zone.start)
    assert np.abs(gains - zone.gets - zone.drained - change).max() <= 1e-9 * max(gains.sum(), 1)
    assert (zone.gets <= want + 1e-12).all()
    assert (zone.held >= 0).all()
    assert (zone.held <= room + 1e-12).all()


@given(days, st.floats(1, 5), st.floats(0, 1))
def test_more_water_never_gives_a_tree_less(series, room, more):
    want, gains = np.array(series).T
    dry, wet = live(want, gains, room, 0.5), live(want, gains + more, room, 0.5)
    assert (wet.held >= dry.held - 1e-12).all()
    assert wet.gets.sum() >= dry.gets.sum() - 1e-9


def test_longest_gap():
    assert longest_run([1, 0, 1, 1, 0, 1, 1, 1]) == (5, 3)
    assert longest_run([1, 1, 0, 1, 1]) == (0, 2)
    assert longest_run([0, 0]) == (0, 0)


@pytest.mark.parametrize("given_", [(0.0, 0.5), (1.0, 0.0), (1.0, 1.0)])
def test_zones_that_cannot_be(given_):
    with pytest.raises(ValueError, match="root zone"):
        live([1.0], [1.0], *given_)
