"""What a newcomer met: each stays mended."""

from types import SimpleNamespace

import numpy as np
import pytest
from shapely import box

from terrain.inputs.dem import Dem
from terrain.inputs.site_suggest import Suggest
from terrain.suggest.candidate import Candidate, Cost
from terrain.suggest.clashes import clashes
from terrain.suggest.network import crossings, network_of
from terrain.suggest.suggest import _asked


def test_quantities_of_a_us_site_are_read_once():
    """0.5 in is 12.7 mm, 2 ft is 0.6096 m, 200 yd3 is 152.911 m3 (NIST Handbook 44, appendix C)."""
    read = Suggest.model_validate({"infiltration": "0.5 in/h", "water at bank": "2 ft",
                                   "earth": "200 yd3"}, context={"units": "us"})
    site = SimpleNamespace(suggest=read, units="us")
    asked = _asked(SimpleNamespace(site=site), {"places": 50})
    assert asked.infiltration == pytest.approx(12.7)
    assert asked.water_at_bank == pytest.approx(0.6096)
    assert asked.earth == pytest.approx(152.911, abs=1e-3)
    assert asked.places == 50


def candidate(name, cells, ground):
    return Candidate(name, "swale", (), np.array(cells, np.int64), (9, 9), ground, 1.0, 1.0, 0.0,
                     Cost(None, 1.0, 1.0))


def test_works_that_take_water_at_one_cell_clash_though_their_ground_is_apart():
    """Else the programme would let one of them stand and the model both: one cell, one store."""
    dem = Dem.__new__(Dem)
    for field, value in (("left", 0.0), ("top", 10.0), ("cell", 1.0)):
        object.__setattr__(dem, field, value)
    one = candidate("one", [(2, 2), (2, 3)], box(2.0, 7.0, 3.4, 8.0))
    other = candidate("other", [(2, 3), (2, 4)], box(3.6, 7.0, 5.0, 8.0))
    away = candidate("away", [(7, 7)], box(7.0, 2.0, 8.0, 3.0))
    assert clashes([one, other, away], dem) == ((0, 1),)


def test_no_candidates_cross_no_water():
    found = crossings([], np.zeros((4, 4), np.uint8) + 8, [np.ones((4, 4))])
    assert network_of(found).crossing == ()
