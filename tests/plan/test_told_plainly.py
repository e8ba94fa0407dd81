"""What plans say of shared ground, names, short records and lines that end early."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas
import pytest
from shapely import LineString, Point

from terrain.errors import InputError
from terrain.plan.earth.designed import Designed, Shared
from terrain.plan.earth.shared_ground import overlap, shared_ground_cautions, water_of
from terrain.plan.plan import check_site
from terrain.plan.safety.cautions import too_small
from terrain.plan.water.basin_facts import rim_words
from terrain.plan.water.short_record import short_record
from terrain.plan.water.store_ground import mark_cells
from terrain.units import lasting
from terrain.works.cross_section import Section
from terrain.works.rules import Rulebook


def bowl(name, x, cells):
    return SimpleNamespace(name=name, kind="tree basin", outline=Point(x, 5).buffer(1.0),
                           swale=None, basin=None, drain=None, work=SimpleNamespace(name=name),
                           cells=np.array(cells))


SITE = SimpleNamespace(where_work=lambda name: f'works "{name}"')
TERRAIN = SimpleNamespace(dem=SimpleNamespace(shape=(10, 10)))


@pytest.mark.parametrize(("x", "told"), [(3.1, False), (2.95, False), (1.5, True)])
def test_bowls_that_only_share_a_cell_do_not_overlap(x, told):
    """Two circles of radius 1 at distances of 2.1 m, 1.95 m and 0.5 m; lens of two circles:
    2 acos(d/2) - d/2 sqrt(4 - d2), so none, 0.03 m2 and 2.15 m2."""
    one, other = bowl("row 1", 1.0, [[5, 1], [5, 2]]), bowl("row 2", x, [[5, 2], [5, 3]])
    apart = x - 1.0
    lens = 2 * np.arccos(apart / 2) - apart / 2 * np.sqrt(4 - apart**2) if apart < 2 else 0.0
    assert overlap(one, other) == pytest.approx(lens, abs=0.02)
    notes, overlaps = [], {}
    mark_cells(SITE, TERRAIN, [one, other], notes, overlaps)
    assert bool(notes) is told
    assert overlaps == ({1: [0], 0: [1]} if told else {})


def test_a_swales_water_is_as_wide_as_its_section():
    """0.6 m and twice 2 x 0.3 m: 1.8 m wide, 10 m long."""
    swale = SimpleNamespace(outline=LineString([(0, 0), (10, 0)]),
                            swale=SimpleNamespace(section=Section("trapezoid", 0.3, 0.6, 2.0)))
    assert water_of(swale).area == pytest.approx(18.0)


def place(name, wall=False, drain_to=None):
    return SimpleNamespace(name=name, basin=SimpleNamespace(has_wall=wall) if wall else None,
                           drain=None if drain_to is None else SimpleNamespace(to=drain_to))


def test_ground_that_two_works_change_is_a_caution_on_both():
    placed = [place("swale"), place("pond", wall=True), place("ditch", drain_to="swale")]
    shared = (Shared(("swale", "pond"), ("swale", "pond, spillway"), 22.0),
              Shared(("ditch", "swale"), ("ditch", "swale"), 3.0))
    said = shared_ground_cautions(placed, {}, Designed((), {}, shared))
    assert sorted(said) == [0, 1]  # a drain is to meet the work it leads to
    assert '22 m² (237 ft²) with "pond, spillway"' in said[0][0]
    assert '22 m² (237 ft²) with "swale"' in said[1][0]
    for words in (said[0][0], said[1][0]):
        assert "Move one of the two" in words
        assert words.endswith("; a licensed engineer decides.")  # of a wall
    wet = shared_ground_cautions(placed, {0: [2], 2: [0]}, Designed((), {}, ()))
    assert 'the water of "ditch" covers too' in wet[0][0]
    assert wet[2][0].endswith("; you and whoever digs decide.")


def basin_with(ends, outflank=None):
    return SimpleNamespace(has_wall=True, outflank=outflank, crest=100.0,
                           profile=SimpleNamespace(ground=np.array([ends[0], 98.0, ends[1]])))


def test_a_wall_whose_end_is_lower_is_not_said_to_be_closed():
    assert rim_words(basin_with((100.1, 100.0)))[0].startswith("The raster shows no ground below")
    said = rim_words(basin_with((99.96, 100.2)))[0]
    assert said.startswith("The ground at an end of the wall is 0.04 m (0.13 ft) lower")
    assert "that end must be tied in" in said
    assert rim_words(basin_with((99.9, 100.0), outflank="a pass")) == []


def swale_work(**fields):
    given = {"name": "swale", "length": None, "depth": None, "width": None, "along": None,
             "solve": None}
    return SimpleNamespace(**{**given, **fields})


@pytest.mark.parametrize(("fields", "there", "not_there"), [
    ({"length": 20.0, "depth": 0.3}, "(left out, its length and depth would be found)",
     "left open"),
    ({"along": [1, 2]}, "Its depth was left open in the site file, so it was chosen", "(left out"),
    ({}, "Its length and depth were left open in the site file, so they were "
     "chosen", "(left out"),
    ({"solve": "width", "length": 20.0, "depth": 0.3}, "Its width was left open in the site",
     "(left out"),
])
def test_what_is_left_open_is_not_advised_to_be_left_open(fields, there, not_there):
    work = swale_work(**fields)
    inputs = SimpleNamespace(rules=Rulebook(), site=SimpleNamespace(
        works=[work], rain=SimpleNamespace(design=SimpleNamespace(name="10-year day"))))
    said = too_small(inputs, SimpleNamespace(depth=0.35),
                     SimpleNamespace(name="swale", capacity=6.7), 7.2)[0]
    assert there in said
    assert not_there not in said
    assert "their spills and the rain on its own water" in said


@pytest.mark.parametrize(("hours", "printed"), [
    (3.5, "3.5 h"), (23.4, "23 h"), (71.4, "71 h"), (630, "26 days"), (8000, "333 days"),
    (np.inf, "never")])
def test_long_times_are_days(hours, printed):
    """630 / 24 = 26.25, 8000 / 24 = 333.3."""
    assert lasting(hours) == printed


@pytest.mark.parametrize(("days", "held"), [
    (150, "no whole year"), (425, "1 whole year,"), (800, "2 whole years,"), (1827, None)])
def test_a_record_of_less_than_five_whole_years_is_no_average(days, held):
    index = pandas.date_range("2010-01-01", periods=days)
    said = short_record(pandas.Series(np.ones(days), index))
    assert (said is None) is (held is None)
    if held is not None:
        assert f"The rain record holds {held}" in said
        assert "5 or more are asked for" in said


@pytest.mark.parametrize(("old", "new", "said"), [
    ("roofs: [barn]", "roofs: [bran]", "there is no roof \"bran\" (there are: barn)"),
    ("    demand: 50 L/day\n", "    demand: 50 L/day\n    spills to: ponf\n",
     "there is no work \"ponf\""),
    ("crown: 3 m", "crown: 3 m\n    tree: olvie", "the nearest is 'olive'"),
    ("    at: [[500030, 6399900], [500035, 6399905]]\n",
     "    along: east swail\n    spacing: 4 m\n", "along \"east swail\", which is not there"),
    ("works:\n", "works:\n  - {kind: drain, name: ditch, from: [500030, 6399940], to: pnd}\n",
     "there is no work \"pnd\""),
    ("    length: 30 m\n", "    length: 30 m\n    texture: sandy lome\n", "sandy lome"),
])
def test_names_are_checked_before_the_ground(small_site, old, new, said):
    """The swale, laid out first, lies off the property; the slip in a name shows all the same."""
    text = small_site.read_text().replace(old, new).replace("through: [500085, 6399940]",
                                                            "through: [500005, 6399940]")
    assert new in text
    small_site.write_text(text)
    with pytest.raises(InputError) as error:
        check_site(small_site)
    assert said in str(error.value)


def test_one_of_a_groups_trees_may_be_named(small_site):
    """`trees 2` is no work, but the second of the trees."""
    small_site.write_text(small_site.read_text().replace(
        "    demand: 50 L/day\n", "    demand: 50 L/day\n    spills to: trees 2\n"))
    check_site(small_site)


def test_what_ends_a_swales_line_is_named(small_site):
    """Its line would come nearer to a septic field than the setback; the boundary cuts it too."""
    text = small_site.read_text().replace("length: 30 m", "length: 150 m")
    small_site.write_text(text.replace("works:\n", "keep clear:\n  - what: septic field\n"
                          "    name: field\n    around: [[500085, 6399965], [500090, 6399965], "
                          "[500090, 6399970], [500085, 6399970]]\nworks:\n"))
    with pytest.raises(InputError) as error:
        check_site(small_site)
    assert "of contour are fit for a swale there, and 150.0 m" in str(error.value)
    assert "would come nearer to the septic field \"field\" than 10.67 m" in str(error.value)
    small_site.write_text(text)
    with pytest.raises(InputError) as error:
        check_site(small_site)
    assert "it ends at the boundary" in str(error.value)
    assert "septic" not in str(error.value)


def test_the_small_sites_short_record_is_told_by_check(small_site):
    """Three whole years, 2010 to 2012."""
    _, beware = check_site(small_site)
    assert any("holds 3 whole years," in line for line in beware)
