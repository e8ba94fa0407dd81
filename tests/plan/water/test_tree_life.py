"""Trees that live from what a swale soaks in: a slow reading of the rules, and what must hold."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from networks import NO_ROOF, cascade_of, ground_of, reference_of, store_of

from terrain.errors import InputError
from terrain.inputs.site import read_site
from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.page.tree_tables import month_tables, tree_rows
from terrain.plan.plan import check_site, make_plan
from terrain.plan.water.accounts import CLOSES_TO, years_of_record
from terrain.plan.water.tree_life import tree_life
from terrain.plan.water.water_balance import run_seasons
from terrain.works.rules import Rulebook
from terrain.works.store import channel_curve
from terrain.works.tree_stand import TreeStand

DRY = [60.0, 75, 110, 145, 185, 205, 210, 190, 150, 110, 70, 55]
SWALE = store_of("swale", channel_curve(10.0, 0.3, 0.6, 2.0, 40.0), 6.0, infiltration=4.0)
TREES = TreeStand("olive", 8, 3.0, 0.6, "", float(SWALE.curve.areas[-1]), 0.5)
RULES = Rulebook()


@pytest.fixture(scope="module")
def seattle():
    """Daily rain of four years as vega_datasets ships it (seattle-weather, from NOAA). [mm]"""
    from vega_datasets import data as shipped

    data = shipped.seattle_weather()
    return pd.Series(data["precipitation"].to_numpy(float), pd.DatetimeIndex(data["date"]))


def lived(record, trees=TREES, swale=SWALE, monthly=DRY, area=900.0):
    cascade = cascade_of([(swale, ground_of([85.0, 100.0], [area, 72.0]), NO_ROOF, None)])
    reference = reference_of(record, monthly)
    run = run_seasons(cascade, record, reference)
    years = years_of_record(cascade, run)
    return run, reference, tree_life(trees, run.stores[0], run, reference, years, RULES)


def plain_trees(rain, reference, soaked, trees, start):
    """Day by day for one tree of the row, in litres: FAO 56, 1998, ch. 8, from memory."""
    crown = 3.14159265358979 * trees.crown**2 / 4
    room, held, rows = crown * 1.2 * 130, start, []
    share = 0.5 * min(trees.count * crown / trees.water_area, 1)
    for fell, thirst, water in zip(rain, reference, soaked, strict=True):
        came = (fell if fell >= 0.2 * thirst else 0.0) * crown + 1000 * share * water / trees.count
        over = max(held + came - room, 0.0)
        stress = min((held + came - over) / (0.5 * room), 1.0)
        gets = min(stress * thirst * trees.factor * crown, held + came - over)
        held += came - over - gets
        rows.append((gets, over, came))
    return np.array(rows).T / 1000 * trees.count, held


def test_four_real_years_match_the_slow_reference(seattle):
    """Reference: the rules above, written out for one tree, on 1,461 days of real rain."""
    run, reference, life = lived(seattle)
    soaked = run.stores[0].infiltrated
    _, start = plain_trees(seattle, reference, soaked, TREES, 0.0)
    (gets, over, came), _ = plain_trees(seattle, reference, soaked, TREES, start)
    month = seattle.index.month.to_numpy() - 1
    for series, name in ((gets, "gets"), (over, "drained"), (soaked, "soaked")):
        expected = np.bincount(month, series * run.weights, 12)
        assert getattr(life.months[0], name) == pytest.approx(expected, rel=1e-9), name
    assert over.sum() > 0
    assert 0.2 < life.months[0].share < 0.95
    dry = came < TREES.crown_area / 1000
    runs = "".join("x" if d else " " for d in dry).split()
    assert life.gap_days == max(map(len, runs))


def closes(life):
    for months in life.months:
        gap = (months.rain + months.soaked - months.missed - months.gets - months.drained
               - months.gain)
        scale = max(float((months.rain + months.soaked).sum()), 1e-6)
        assert np.abs(gap).max() <= CLOSES_TO * scale
        assert (months.gets <= months.want * (1 + 1e-12)).all()
        assert min(part.min() for part in (months.missed, months.gets, months.drained)) >= 0


def test_real_years_close_by_kind(seattle):
    record = pd.concat([seattle, seattle.set_axis(seattle.index + pd.Timedelta(days=1461))])
    run, _, life = lived(record)
    assert [months.name.split()[0] for months in life.months] == ["average", "dry", "wet"]
    closes(life)
    year = life.months[0]
    assert year.missed.sum() == pytest.approx((1 - life.reach) * year.soaked.sum())
    assert year.soaked.sum() == pytest.approx(run.mean(run.stores[0].infiltrated))
    for told, named in zip(life.months[1:], (2013, 2014), strict=True):
        assert str(named) in told.name
        of_year = run.stores[0].infiltrated[(run.days.year == named)]
        assert told.soaked.sum() == pytest.approx(of_year.sum())


rains = st.lists(st.floats(0, 90) | st.just(0.0), min_size=20, max_size=90)


@settings(max_examples=40, phases=[Phase.explicit, Phase.generate])  # no slow shrinking
@given(rains, st.integers(1, 60), st.floats(0.5, 8), st.floats(0, 1))
def test_any_stand_closes_over_any_record(rain, count, crown, comes):
    record = pd.Series(rain, pd.date_range("2001-03-01", periods=len(rain)))
    trees = replace(TREES, count=count, crown=crown, comes=comes)
    closes(lived(record, trees)[2])


@settings(max_examples=25)
@given(rains, st.floats(0, 1), st.floats(0, 1))
def test_trees_to_which_more_of_it_comes_never_get_less(rain, one, other):
    record = pd.Series(rain, pd.date_range("2001-03-01", periods=len(rain)))
    less, more = (lived(record, replace(TREES, comes=comes))[2].months[0].gets.sum()
                  for comes in sorted((one, other)))
    assert more >= less * (1 - 1e-9)


def test_steady_seepage_is_shared_out():
    """Closed form: 12 m3 stand on the floor for ever at 4 mm/h, and no rain falls.  While the store
    holds, its bed of 24 m2 and more soaks in; the 8 trees want 8 x 7.07 m2 x 0.6 x E, far less than
    what comes, so they get all they want."""
    record = pd.Series([400.0, *[0.0] * 9], pd.date_range("2001-06-01", periods=10))
    run, reference, life = lived(record, area=2000.0)
    assert (run.stores[0].held[:3] > 0).all()
    assert life.months[0].want.sum() == pytest.approx(
        run.mean(reference) * 0.6 * TREES.crown_area / 1000)
    assert life.months[0].share == pytest.approx(1.0)
    none = lived(record, replace(TREES, comes=0.0), area=2000.0)[2].months[0]
    assert none.missed.sum() == pytest.approx(none.soaked.sum())


# ---- in a plan ----

ALONG = "    length: 30 m\n    trees: {crown: 2 m, spacing: 3 m, tree: olive}\n"
BELOW = "    crest: 195.9 m\n    trees: {crown: 3 m, count: 4}\n"


def edit(site, old, new):
    text = site.read_text()
    assert old in text
    site.write_text(text.replace(old, new))
    return site


@pytest.fixture(scope="module")
def both(small_site_folder, tmp_path_factory):
    """The small site as it is, and with trees along its swale and below its pond."""
    bare = make_plan(small_site_folder(tmp_path_factory.mktemp("bare")))
    site = small_site_folder(tmp_path_factory.mktemp("planted"))
    edit(edit(site, "    length: 30 m\n", ALONG), "    crest: 195.9 m\n", BELOW)
    return bare, make_plan(site)


def test_a_plan_tells_what_the_trees_of_a_swale_and_a_pond_get(both):
    _, plan = both
    swale, pond = plan.stores[0], plan.stores[1]
    count = int(swale.swale.route.length / 3 + 1e-9) + 1
    assert (swale.placed.stand.count, pond.placed.stand.count) == (count, 4)
    assert swale.placed.stand.factor == pytest.approx(0.70)  # olive, FAO 56, Table 12, from memory
    for planned, entry in zip((swale, pond), plan.year.entries, strict=False):
        months = planned.life.months[0]
        closes(planned.life)
        assert months.soaked.sum() == pytest.approx(entry.infiltrated)
    rows = dict(tree_rows(plan))
    assert rows["east swale"][0] == f"{count} beside it"
    assert rows["east swale"][1] == "–"  # nothing decided a size
    assert re.search(r" m³, \d+ % of it to the roots$",
                     rows["east swale"][3].replace("%", " %").replace("  ", " "))
    names = [name for name, _ in month_tables(plan)[0].rows]
    assert len({" ".join(name.split()[:1]) for name in names}) == len(names)
    names = [table.name for table in month_tables(plan)]
    assert any(name.startswith(f"east swale, {count} trees together: average year, ")
               and name.endswith("of the want met") for name in names)
    facts = plan_object(plan)["stores"][0]["trees"]
    assert facts["count"] == count
    for year in facts["tree_months"]:
        parts = {name: np.array(year[f"{name}_m3"])
                 for name in ("rain", "soaked", "missed", "gets", "drained", "gain")}
        gap = (parts["rain"] + parts["soaked"] - parts["missed"] - parts["gets"]
               - parts["drained"] - parts["gain"])
        assert np.abs(gap).max() <= 6 * 0.5e-8  # six figures, each written to 1e-8
    assert any("seepage to roots" in note for note in plan.notes)
    assert any(said.startswith("Plant its trees below the berm") for said in swale.cautions)


def test_trees_beside_works_change_nothing_else(both):
    """Their water is what soaked in anyway."""
    bare, planted = (plan_object(plan) for plan in both)
    assert [kind for store in bare["stores"] for kind in store if kind == "trees"] == []
    for name in ("storms", "average_year", "years", "earthworks", "money"):
        assert planted.get(name) == bare.get(name), name
    for one, other in zip(bare["stores"], planted["stores"], strict=True):
        more = {"trees", "tree_need_m3_year", "tree_catchment_wanted_m2"}
        for key, value in one.items():
            if key not in {"cautions", *more}:
                assert other[key] == value, key


@pytest.mark.parametrize(("old", "new", "said"), [
    ("    length: 30 m\n", "    length: 30 m\n    trees: {crown: 3 m}\n",
     "trees need either a count or a spacing"),
    ("    length: 30 m\n", "    length: 30 m\n    trees: {crown: 3 m, count: 4, spacing: 5 m}\n",
     "trees need either a count or a spacing"),
    ("    length: 30 m\n", "    length: 30 m\n    trees: {crown: 3 m, spacing: 2 m}\n",
     "closer than their crowns of 3.0 m"),
    ("    length: 30 m\n", "    length: 30 m\n    trees: {crown: 3 m, count: 40}\n",
     "closer than their crowns of 3.0 m"),
    ("    length: 30 m\n", "    length: 30 m\n    trees: {crown: 3 m, count: 4, tree: baobab}\n",
     "baobab"),
    ("    crest: 195.9 m\n", "    crest: 195.9 m\n    trees: {crown: 3 m, spacing: 4 m}\n",
     "the trees of a basin are given by their count"),
    ("    crest: 195.9 m\n",
     "    crest: 195.9 m\n    holds water: true\n    trees: {crown: 3 m, count: 4}\n",
     "soaks in next to nothing for trees")])
def test_trees_that_cannot_be(small_site, old, new, said):
    with pytest.raises(InputError, match=said):
        check_site(edit(small_site, old, new))


def test_the_field_is_read_in_any_unit(small_site):
    site = read_site(edit(small_site, "    length: 30 m\n",
                          "    length: 30 m\n    trees: {crown: 10 ft, count: 3}\n"))
    assert site.works[0].trees.crown == pytest.approx(3.048)
