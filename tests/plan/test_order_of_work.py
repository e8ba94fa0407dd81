"""The order of work: down the cascade, the highest first, done before the rain."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.plan.earth.earthworks import Haul
from terrain.plan.order_of_work import _build, top_down, wet_season, wetter_too
from terrain.plan.plan import make_plan


@st.composite
def networks(draw):
    """Nodes that spill on to later ones of a shuffled list, their levels, and some of them."""
    count = draw(st.integers(1, 7))
    place = draw(st.permutations(range(count)))
    spills = [None] * count
    for k, at in enumerate(place[:-1]):
        spills[at] = draw(st.none() | st.sampled_from(place[k + 1:]))
    levels = draw(st.lists(st.sampled_from([1.0, 2.0, 3.0, 5.0]), min_size=count, max_size=count))
    chosen = draw(st.sets(st.integers(0, count - 1)))
    return spills, levels, chosen


def upstream(node, spills):
    """All whose spill comes to a node, through whatever lies between."""
    found = set()
    for other in range(len(spills)):
        at = spills[other]
        while at is not None:
            if at == node:
                found.add(other)
            at = spills[at]
    return found


@given(networks())
def test_none_comes_before_one_that_spills_into_it_and_the_highest_free_one_is_next(network):
    spills, levels, chosen = network
    order = top_down(spills, levels, chosen)
    assert sorted(order) == sorted(chosen)
    for position, node in enumerate(order):
        done = set(order[:position])
        assert upstream(node, spills) & chosen <= done
        free = [other for other in chosen - done if upstream(other, spills) & chosen <= done]
        assert levels[node] == max(levels[other] for other in free)


@pytest.mark.parametrize(("months", "wet"), [
    ([90, 80, 60, 10, 0, 0, 0, 0, 5, 20, 50, 85], (10, 2)),   # over the turn of the year
    ([10] * 12, None),                                         # no month stands out
    ([30, 20, 5, 5, 5, 5, 60, 70, 30, 5, 5, 5], (6, 8)),       # two rains: the greater
    ([0, 0, 0, 0, 0, 40, 0, 0, 0, 0, 0, 0], (5, 5)),
    ([np.nan, *[10] * 11], None),
    ([0] * 12, None),
    # Near even, in of each month: the six wettest bring 12.2 of 21.5, 57 %.
    ([2.2, 1.4, 1.6, 1.7, 1.9, 2.2, 2.1, 1.5, 1.8, 2.0, 1.6, 1.5], None),
    # The six wettest, not in a row, bring 6.5 of 10.5, 62 %; the run is of 3.3 in three.
    ([1.2, 0.6, 1.1, 0.7, 1.1, 0.6, 0.7, 0.7, 1.0, 0.7, 1.0, 1.1], (10, 0))])
def test_the_wettest_months_are_a_run_above_the_mean_month(months, wet):
    """Rains are distinct where six months bring 60 % or more: common practice, no source."""
    assert wet_season(months, 0.6) == wet


@pytest.mark.parametrize(("months", "season", "said"), [
    ([1, 1, 1, 1, 9, 8, 1, 1, 5, 6, 1, 1], (4, 5),
     " September and October are wetter than the mean month too."),
    ([9, 1, 1, 8, 1, 8, 1, 1, 1, 1, 1, 9], (11, 0),
     " April and June are wetter than the mean month too."),
    ([9, 1, 1, 1, 1, 8, 1, 1, 1, 1, 1, 9], (11, 0), " June is wetter than the mean month too."),
    ([1, 1, 1, 1, 9, 8, 1, 1, 1, 1, 1, 1], (4, 5), "")])
def test_wet_months_apart_from_the_run_are_named(months, season, said):
    assert wet_season(months, 0.5) == season
    assert wetter_too(months, season) == said


@pytest.fixture(scope="module")
def plan(small_site_folder, tmp_path_factory):
    """The small site with a drain, and rain in June, July and August alone."""
    site = small_site_folder(tmp_path_factory.mktemp("order"))
    record = site.parent / "rain.csv"
    lines = record.read_text().splitlines()
    record.write_text("\n".join([lines[0], *(
        line if line[5:7] in ("06", "07", "08") else line.split(",")[0] + ",0"
        for line in lines[1:])]) + "\n")
    site.write_text(site.read_text() + """\
  - kind: drain
    name: side drain
    from: [500020, 6399930]
    to: pond
    lining: grass
""")
    return make_plan(site)


def test_locating_first_then_down_the_slope_drains_and_pipes_after_and_done_in_time(plan):
    """Common practice, no source: done a month before the wettest months; these begin in June, so
    by the end of April."""
    works = [step.work for step in plan.order]
    assert "located" in plan.order[0].says
    assert "stakes" in plan.order[1].says
    built = [work for work in works if work]
    assert built[0] == "east swale"
    assert built[-3:] == ["pond", "furrow of trees", "side drain"]
    assert plan.order[-3].says.startswith("Only when every work is built")
    assert "\"barn tank\"" in plan.order[-3].says
    assert plan.order[-1].says.startswith(
        "Finish by the end of April: the wettest months of the rain record, in a row, are June to "
        "August")
    assert "no raw bank overnight" in plan.order[-1].says


def test_sill_before_bank_and_each_stabilised_before_the_next(plan):
    for work, bank in (("east swale", "build the berm"), ("pond", "build the wall")):
        says = next(step.says for step in plan.order if step.work == work)
        assert says.index("cut the s") < says.index(bank) < says.index("seed and mulch")
        assert "only then begin the next work" in says


def test_what_a_bank_takes_is_at_hand_before_the_bank_is_built(plan):
    """A bank is built once, of earth that is there: common practice, no source."""
    parts = [p for p in plan.stores if p.store.name == "pond"]
    haul = Haul("east swale", "pond", 7.0, 8.8, 30.0, -2.0, 0.5)
    earth = replace(plan.earth, hauls=(haul,), wanting={"pond": 11.0})
    says = _build("pond", parts, earth, plan.inputs.rules, {"east swale"}).says
    before, builds = says.split("build the wall in rolled layers to its crest as built")
    assert "have 7.0 m³ (9.2 yd³) for its bank from \"east swale\" at hand;" in before
    assert "dig 11.0 m³ (14.4 yd³) more for it from a borrow" in before
    assert "borrow" not in builds
    assert builds.startswith(", which is told without the topsoil")
    assert "of topsoil back over the bank, on top of its crest as built" in builds


def test_what_is_dug_by_hand_has_days(plan):
    step, = (s for s in plan.order if s.work == "furrow of trees")
    assert step.by_hand == plan.earth.by_hand["furrow of trees"]
    assert f"({step.by_hand[0]:.1f} to {step.by_hand[1]:.1f} days of one worker" in step.says
    assert next(s for s in plan.order if s.work == "pond").by_hand is None


def test_hours_of_the_steps_are_those_of_the_works(plan):
    for end in (0, 1):
        assert sum(step.hours[end] for step in plan.order if step.hours) == pytest.approx(
            sum(cost.hours[end] for cost in plan.earth.bills.values()))


def test_nothing_to_dig_needs_no_order(small_site):
    text = small_site.read_text().replace("  daily:\n    file: rain.csv\n", "")
    start, tank = text.index("  - kind: swale"), text.index("  - kind: tank")
    small_site.write_text(text[:start] + text[tank:])
    plan = make_plan(small_site)
    assert plan.order == ()
    assert plan.earth.works == ()
    assert plan.earth.whole.days == (0.0, 0.0)
