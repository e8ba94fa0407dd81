"""Water drawn from ponds and hollows: as tanks' uses, against a slow reading of the rules."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from terrain.errors import InputError
from terrain.inputs.site import read_site
from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.page.cascade_tables import season_rows
from terrain.plan.plan import make_plan
from terrain.plan.water.accounts import CLOSES_TO
from terrain.plan.water.water_balance import run_seasons

#: Twelve of goats drink through the year; a garden in the hot months, while there is plenty.
USES = """\
    holds water: true
    seepage: 2 mm/day
    uses:
      - {name: goats, kind: livestock, heads: 40, per head: goat}
      - name: garden
        kind: garden
        amount: [900, 800, 600, 0, 0, 0, 0, 0, 0, 300, 600, 900]
        rationing: [{below: 50 %, draw: 60 %}, {below: 20 %, draw: 0}]
"""
CREST = "    crest: 195.9 m\n"


def with_pond(site, more):
    text = site.read_text()
    assert CREST in text
    site.write_text(text.replace(CREST, CREST + more))
    return site


@pytest.fixture(scope="module")
def drawn(small_site_folder, tmp_path_factory):
    return make_plan(with_pond(small_site_folder(tmp_path_factory.mktemp("drawn")), USES))


def plain_pond(curve, inflow, months, sun, seep):
    """The rules in the test's own words: rations by the morning's level, water in the first six
    hours, what is over spills, goats before the garden, then sun, then the floor."""
    garden = [0.9, 0.8, 0.6, 0, 0, 0, 0, 0, 0, 0.3, 0.6, 0.9]
    held, rows, full = 0.0, [], curve.volumes[-1]
    for come, month, dries in zip(inflow, months, sun, strict=True):
        share = 1.0 if held >= 0.5 * full else 0.6 if held >= 0.2 * full else 0.0
        wants, drawn = (40 * 0.005, share * garden[month]), [0.0, 0.0]
        for hour in range(24):
            held = min(held + (come / 6 if hour < 6 else 0.0), full)
            for use, want in enumerate(wants):
                taken = min(want / 24, held)
                drawn[use], held = drawn[use] + taken, held - taken
            area = np.interp(held, curve.volumes, curve.areas) if held > 0 else 0.0
            held -= min(dries / 24 * area / 1000, held)
            held -= min(seep / 24 * area / 1000, held)
        rows.append((*drawn, held))
    return np.array(rows).T


def test_a_ponds_uses_match_the_slow_reference(drawn):
    index = next(i for i, p in enumerate(drawn.stores) if p.store.name == "pond")
    pond, run = drawn.cascade.nodes[index].store, drawn.seasons
    lived = run.stores[index]
    goats, garden, held = plain_pond(pond.curve, lived.inflow, run.days.month - 1,
                                     run.evaporation, 2.0)
    assert lived.uses[0].used == pytest.approx(goats, rel=1e-9, abs=1e-9)
    assert lived.uses[1].used == pytest.approx(garden, rel=1e-9, abs=1e-9)
    assert lived.held == pytest.approx(held, rel=1e-9, abs=1e-9)
    assert goats.sum() > 10
    assert (lived.uses[1].ration < lived.uses[1].wanted).any()
    entry = drawn.year.entries[index]
    assert entry.used == pytest.approx(run.mean(goats + garden))
    assert drawn.year.unexplained <= CLOSES_TO


def test_what_is_drawn_is_told_to_people_and_programs(drawn):
    planned = next(p for p in drawn.stores if p.store.name == "pond")
    average = planned.facts.years[0]
    entry = next(e for e in drawn.year.entries if e.name == "pond")
    assert average.used == pytest.approx(entry.used)
    assert average.wanted == pytest.approx(
        sum(drawn.seasons.mean(part.wanted) for part in drawn.seasons.stores[1].uses))
    assert any("that its uses want" in line for line in planned.facts.said)
    said = " ".join(planned.cautions)
    for words in ("nothing here lifts it", "drink from a trough below it"):
        assert words in said
    assert "not fit to drink" not in said  # nobody drinks it
    facts = json.loads(json.dumps(plan_object(drawn)))
    pond = next(s for s in facts["stores"] if s["name"] == "pond")
    assert [use["name"] for use in pond["uses"]] == ["goats", "garden"]
    assert pond["uses"][1]["rationing"][0] == {"below": 0.5, "draw": 0.6}
    assert pond["store_years"][0]["used_m3"] == pytest.approx(entry.used)
    rows = dict(season_rows(drawn, drawn.told))["pond"]
    assert " of " in rows[0][1][-2]


def test_before_the_works_nobody_draws(drawn):
    """A hollow stays before the works, and what will be drawn from it does not."""
    assert all(not node.store.drawn for node in drawn.told.before.nodes)


def test_a_pond_that_people_drink_from_says_what_must_be_done(drawn):
    from terrain.plan.safety.cautions import site_cautions
    from terrain.works.water_use import Use

    index = next(i for i, p in enumerate(drawn.stores) if p.store.name == "pond")
    node = drawn.cascade.nodes[index]
    house = Use("house", "household", np.full(12, 0.1))
    thirsty = replace(node, store=replace(node.store, uses=(house,)))
    said = " ".join(site_cautions(drawn.inputs, drawn.stores[index].placed, thirsty, 1.0))
    assert "not fit to drink" in said


def test_a_draught_leaves_less_to_dry_off_and_seep(drawn):
    """Common sense, no source: with nobody drawing more stands in it on every day."""
    bare = drawn.cascade.with_stores([replace(node.store, uses=(), demand=0.0)
                                      for node in drawn.cascade.nodes])
    run = drawn.seasons
    record = pd.Series(np.where(run.known, run.rain_mm, np.nan), run.days)
    left = run_seasons(bare, record, drawn.inputs.evaporation.daily)
    assert (left.stores[1].held >= run.stores[1].held - 1e-9).all()
    assert left.stores[1].held.sum() > run.stores[1].held.sum()


@pytest.mark.parametrize(("more", "said"), [
    ("    uses: [{name: a, kind: garden, amount: 5}, {name: a, kind: garden, amount: 6}]\n",
     "two uses are called"),
    ("    demand: 5 L/day\n    uses: [{name: a, kind: garden, amount: 5}]\n", "both given"),
    ("    uses: [{name: a, kind: household, amount: 5, grey water: 50 %, grey water to: trees}]\n",
     "grey water is led on from a tank's uses only"),
    ("    top up: {below: 20 %, load: 1 m3}\n", "top up")])
def test_what_a_pond_cannot_have_is_refused(small_site, more, said):
    with pytest.raises(InputError) as caught:
        read_site(with_pond(small_site, more))
    assert said in str(caught.value)
    assert "line" in caught.value.where
