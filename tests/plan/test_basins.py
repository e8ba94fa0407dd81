"""Basins in a plan: what they catch, their months as ponds, what the site file may not say."""

import numpy as np
import pytest

from terrain.errors import InputError
from terrain.inputs.site import read_site
from terrain.outputs.data.basin_json import basin_facts_of
from terrain.plan.plan import make_plan
from terrain.plan.water.catches import catch_curve
from terrain.runoff.catchment import Catchment
from terrain.runoff.curve_number import runoff_depth, under_condition


def with_pond(site, *lines):
    text = site.read_text()
    old = "    crest: 195.9 m\n"
    assert old in text
    site.write_text(text.replace(old, old + "".join(f"    {line}\n" for line in lines)))
    return site


@pytest.fixture(scope="module")
def pond(small_site_folder, tmp_path_factory):
    """The small site, its pond meant to hold water."""
    site = small_site_folder(tmp_path_factory.mktemp("pond"))
    plan = make_plan(with_pond(site, "holds water: true", "seepage: 3 mm/day"))
    return plan, next(s for s in plan.stores if s.store.name == "pond")


def test_months_of_a_pond_close_and_make_up_its_year(pond):
    plan, made = pond
    assert made.store.infiltration == pytest.approx(3 / 24)
    average = made.facts.years[0]
    for year in made.facts.years:
        for month in year.months:
            assert month.comes == pytest.approx(month.evaporated + month.seeped + month.used
                                                + month.spilled + month.gained, abs=1e-9)
    entry = next(e for e in plan.year.entries if e.name == "pond")
    for part, told in (("comes", entry.inflow), ("evaporated", entry.evaporated),
                       ("seeped", entry.infiltrated), ("spilled", entry.spilled),
                       ("gained", entry.held)):
        assert sum(getattr(m, part) for m in average.months) == pytest.approx(told, rel=1e-9)


def test_a_pond_loses_seepage_and_105_hundredths_of_evapotranspiration_from_its_surface(pond):
    """FAO 56, Table 12: open shallow water, 1.05.  Both go from the same surface, so their ratio
    is that of the depths: in January 1.05 * 220 mm in 31 days, to 3 mm a day."""
    january = pond[1].facts.years[0].months[0]
    assert january.evaporated / january.seeped == pytest.approx(1.05 * 220 / 31 / 3, rel=1e-2)


def test_what_is_caught_lies_between_dry_and_wet_ground(pond):
    facts = pond[1].facts
    for storm in facts.catches:
        assert storm.dry <= storm.caught + 1e-9 <= storm.wet + 2e-9
        assert storm.caught <= storm.comes
    curve = facts.curve
    assert (np.diff(curve.caught) >= -1e-6 * curve.caught.max()).all()
    assert (curve.dry <= curve.caught + 1e-9).all()
    assert (curve.caught <= curve.wet + 1e-9).all()
    assert any(words.startswith("A 10-year storm (\"big day\"") for words in facts.said)
    account = {e.name: e for e in pond[0].storms["big day"].entries}["pond"]
    told = next(storm for storm in facts.catches if storm.name == "big day")
    assert (told.comes, told.caught) == pytest.approx((account.inflow, account.caught))
    assert np.interp(60.0, curve.rain, curve.caught) == pytest.approx(told.caught)
    assert basin_facts_of(facts)["caught_range"]["big day"]["caught_m3"] == told.caught


def test_the_quick_curve_is_runoff_by_table_10_1_up_to_what_is_held():
    """1 ha of curve number 80; NEH 630 ch. 10, Table 10-1: 63 when dry, 91 when wet."""
    ground = Catchment(np.array([80.0]), np.array([1e4]), np.zeros(1))
    curve = catch_curve(ground, 150.0, 60.0)
    for caught, number in ((curve.dry, 63), (curve.caught, 80), (curve.wet, 91)):
        exact = np.minimum(runoff_depth(curve.rain, number) * 10, 150.0)
        assert caught == pytest.approx(exact, abs=1.0)
    assert float(under_condition(80, "I")) == pytest.approx(63, abs=0.5)


def test_the_sill_left_out_and_stated(small_site, small_plan):
    free = next(s for s in small_plan.stores if s.store.name == "pond")
    longer = next(s for s in make_plan(with_pond(small_site, "sill length: 30 m")).stores
                  if s.store.name == "pond")
    assert longer.store.sill.length == 30
    assert longer.store.sill.head < free.store.sill.head
    assert longer.facts.spillway.freeboard > free.facts.spillway.freeboard


def test_a_pond_without_its_seepage_says_that_it_is_a_default(small_site):
    made = next(s for s in make_plan(with_pond(small_site, "holds water: true")).stores
                if s.store.name == "pond")
    assert any("is a default" in words for words in made.cautions)
    assert not any("does not soak away" in words or "Test a hole" in words
                   for words in made.cautions)


def test_a_wall_is_told_to_be_proved_with_the_largest_storm(small_plan):
    """Which a level pool with a free sill cannot be told by; a dug pit has no crest to rise to."""
    largest = max(small_plan.site.rain.storms, key=lambda storm: storm.depth).name
    walls = 0
    for made in small_plan.stores:
        told = [words for words in made.cautions if "Run levelsill prove" in words]
        if made.basin is not None and made.basin.has_wall:
            walls += 1
            assert len(told) == 1
            assert f"\"{largest}\"" in told[0]
            assert "licensed engineer" in told[0]
        else:
            assert told == []
    assert walls


@pytest.mark.parametrize(("lines", "said"), [
    (["seepage: 3 mm/day"], "seepage is that of a pond meant to hold water"),
    (["holds water: true", "seepage: 3 mm/day", "infiltration: 4 mm/h"], "both given"),
    (["depth: 1 m"], "a depth is that of a dug shape"),
    (["sill: 196.2 m"], "is not below the crest"),
    (["dug: [[500050, 6399880], [500070, 6399895], [500070, 6399880], [500050, 6399895]]",
      "depth: 0.5 m"], "crosses itself"),
    (["dug: [[500055, 6399873], [500065, 6399873], [500065, 6399885], [500055, 6399885]]"],
     "into the foot of the wall")])
def test_what_the_site_file_may_not_say_of_a_basin(small_site, lines, said):
    with pytest.raises(InputError, match=said):
        make_plan(with_pond(small_site, *lines))


def test_a_basin_needs_a_form(small_site):
    text = small_site.read_text()
    small_site.write_text(text.replace(
        "    wall: [[500040, 6399870], [500080, 6399870]]\n    crest: 195.9 m\n", ""))
    with pytest.raises(InputError, match="a wall with a crest, a dug shape with a depth, or both"):
        read_site(small_site)
