"""What a choice really does, beside the plan of the same works made by `make_plan`."""

from __future__ import annotations

from dataclasses import replace

import pytest
import yaml

from terrain.inputs.site_suggest import Suggest
from terrain.inputs.site_works import Swale
from terrain.plan.plan import laid_out, make_plan
from terrain.plan.siting.reading import read_inputs
from terrain.plan.water.accounts import storm_account
from terrain.suggest.look import look_at
from terrain.suggest.real import Runner
from terrain.suggest.standing import own_candidate, parted
from terrain.suggest.suggest import NOTHING


def runner_of(path):
    """A runner for a site file, and its works as candidates."""
    inputs = read_inputs(path)
    with inputs.told():
        standing = parted(inputs.site, Suggest(), laid_out(inputs))
        look = look_at(inputs, Suggest(), standing.stands)
        return Runner(look, "shower"), [own_candidate(look, group, NOTHING)
                                        for group in standing.weighed]


def changed(path, **fields):
    site = yaml.safe_load(path.read_text())
    path.write_text(yaml.safe_dump({**site, **fields}, sort_keys=False))
    return path


def test_all_of_the_owners_works_do_as_their_plan(small_site):
    plan = make_plan(small_site)
    runner, own = runner_of(small_site)
    ran = runner.run(own)
    assert ran.refused == {}
    assert [p.name for p in ran.placed] == [s.placed.name for s in plan.stores]
    for name, run in ran.storms.items():
        assert storm_account(run).passive == pytest.approx(plan.storms[name].passive, rel=1e-9)
        assert storm_account(run).left_site == pytest.approx(plan.storms[name].left_site,
                                                              rel=1e-9)
    assert set(ran.storms) == {"shower", "big day"}
    assert ran.year.passive == pytest.approx(plan.year.passive, rel=1e-9)


@pytest.mark.parametrize("kept", [["pond"], ["east swale", "trees"], []])
def test_some_of_them_do_as_the_plan_of_these(small_site, kept):
    runner, own = runner_of(small_site)
    ran = runner.run([c for c in own if c.name in kept])
    site = yaml.safe_load(small_site.read_text())
    plan = make_plan(changed(small_site, works=[
        w for w in site["works"] if w["name"] in kept or w["kind"] == "tank"]))
    assert ran.year.passive == pytest.approx(plan.year.passive, rel=1e-9, abs=1e-9)
    assert storm_account(ran.storms["big day"]).left_site == pytest.approx(
        plan.storms["big day"].left_site, rel=1e-9)


def test_the_order_of_a_choice_changes_nothing(small_site):
    runner, own = runner_of(small_site)
    assert runner.run(own).year.passive == runner.run(own[::-1]).year.passive


def test_a_work_on_anothers_ground_is_left_out_and_told(small_site):
    runner, own = runner_of(small_site)
    swale = next(c for c in own if c.name == "east swale")
    twin = replace(swale, name="twin", works=(swale.works[0].model_copy(update={
        "name": "twin"}),))
    ran = runner.run([swale, twin])
    assert [c.name for c in ran.candidates] == ["east swale"]
    assert list(ran.refused) == ["twin"]
    assert ran.refused["twin"]


def test_a_work_that_cannot_lie_is_left_out_and_told(small_site):
    runner, own = runner_of(small_site)
    work = Swale.model_validate({"kind": "swale", "name": "off", "through": [500011, 6399852],
                                 "length": "90 m"})
    off = replace(own[0], name="off", works=(work,))
    assert runner.refused(off)
    ran = runner.run([*own, off])
    assert list(ran.refused) == ["off"]
    assert len(ran.candidates) == len(own)


def test_without_doubt_there_is_no_range(small_site):
    """Hardly any doubt in curve numbers, and rates of soaking times 1: the plan's own run."""
    changed(small_site, rules={"curve number doubt": 1e-12, "tested rate doubt": 1,
                               "untested rate doubt": 1})
    runner, own = runner_of(small_site)
    ran = runner.run(own)
    told = storm_account(ran.storms["big day"]).passive
    assert runner.doubted(ran, "big day") == pytest.approx((told, told), rel=1e-9)


def test_the_range_holds_the_run_and_grows_with_doubt(small_site):
    runner, own = runner_of(small_site)
    ran = runner.run(own)
    told = storm_account(ran.storms["big day"]).passive
    low, high = runner.doubted(ran, "big day")
    assert low < told < high
    changed(small_site, rules={"curve number doubt": 2, "untested rate doubt": 1.2})
    narrow, own = runner_of(small_site)
    least, most = narrow.doubted(narrow.run(own), "big day")
    assert low < least < told < most < high


def test_the_peak_that_leaves_is_no_more_than_all_that_leaves_in_one_step(small_site):
    """And no less than what leaves, spread over the 24 h of the storm and 24 h more."""
    runner, own = runner_of(small_site)
    for choice in ([], own):
        ran = runner.run(choice)
        left = storm_account(ran.storms["big day"]).left_site
        assert left / (48 * 3600) < runner.peak(ran, "big day") < left / 60
