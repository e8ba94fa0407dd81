"""What a newcomer met: each stays mended."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from shapely import box

from terrain.inputs.dem import Dem
from terrain.inputs.site_suggest import Suggest
from terrain.plan.siting.reading import read_inputs
from terrain.runoff.infiltration import untested_rate
from terrain.suggest.candidate import Candidate, Cost
from terrain.suggest.clashes import clashes
from terrain.suggest.network import crossings, network_of
from terrain.suggest.notes import shares_note, soaks_note, why_none
from terrain.suggest.suggest import _asked
from terrain.units import told_first
from terrain.works.rules import Rulebook


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


def test_the_note_of_slow_soil_tells_of_ponds():
    """72 h: Univ. of California, 2004; 4 ft of water for fish: California Department of Public
    Health, 2010, both as the rules of the trade have them; 4 ft is 1.22 m."""
    note = soaks_note(Suggest(), Rulebook({}))
    assert "more than 72 h" in note
    assert "none is proposed, but ponds deeper than 1.2 m (3.9 ft), which are meant to hold" in note
    own = Rulebook({"fish depth": 1.5})
    assert "ponds deeper than 1.5 m (4.9 ft)" in soaks_note(Suggest(), own)
    with told_first("us"):
        assert "ponds deeper than 4.0 ft (1.2 m)" in soaks_note(Suggest(), Rulebook({}, "us"))
    tested = soaks_note(Suggest.model_validate({"infiltration": "12 mm/h"}), own)
    assert "none is proposed" not in tested


@pytest.fixture(scope="module")
def inputs(tmp_path_factory, small_site_folder):
    return read_inputs(small_site_folder(tmp_path_factory.mktemp("finds")))


def with_soils(inputs, group):
    soil = np.where(inputs.ground.inside, "ABCD".index(group), inputs.ground.soil)
    return replace(inputs, ground=replace(inputs.ground, soil=soil.astype(np.int8)))


def test_why_a_kind_gave_none(inputs):
    """Group C by TR-55, 1986, appendix A: 1.27 to 3.81 mm/h, halved 1.27 mm/h, 91 mm in 72 h."""
    slow, asked = with_soils(inputs, "C"), Suggest()
    assert 72 * untested_rate("C") == pytest.approx(91.44)
    swale = why_none(slow, asked, "swale")
    assert "No place for a swale was found" in swale
    assert "more than 72 h: at 1.3 mm/h" in swale
    assert "0.09 m" in swale
    assert "No place for a wall" in why_none(slow, asked, "wall")
    assert "No place for a road basin was found, as water" in why_none(slow, asked, "road basin")
    for kind in ("dug basin", "tree row"):  # ponds may be dug, and crescents be shallow
        assert why_none(slow, asked, kind) == ""
    quick = Suggest.model_validate({"infiltration": "12 mm/h"})
    assert [why_none(slow, quick, kind) for kind in quick.kinds] == [""] * 5
    assert why_none(with_soils(inputs, "A"), asked, "swale") == ""
    wide = Suggest.model_validate({"infiltration": "12 mm/h", "sill at least": "40 m"})
    assert why_none(slow, wide, "swale").startswith("No place for a swale of 40.0 m (131.2 ft) or")
    assert why_none(inputs, asked, "wall") == ""  # some of it is of group B


def test_no_road_basin_without_a_road(inputs):
    bare = replace(inputs, ground=replace(inputs.ground, roads=()))
    quick = Suggest.model_validate({"infiltration": "12 mm/h"})
    assert "lists no road" in why_none(bare, quick, "road basin")
    assert why_none(bare, quick, "swale") == ""


def test_how_places_are_shared_out():
    said = shares_note(Suggest.model_validate({"places": 100, "kinds": ["dug basin", "swale"]}))
    assert "Of the 100 places asked for" in said
    assert said.endswith("of a kind: 15\u00a0% dug basins; the rest is kept for swales.")
    assert shares_note(Suggest.model_validate({"kinds": "swale"})) == ""
