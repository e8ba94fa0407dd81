"""The order of work: down the cascade, the highest first, done before the rain."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.plan.order_of_work import top_down, wet_season
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
    ([np.nan, *[10] * 11], None)])
def test_the_wettest_months_are_a_run_above_the_mean_month(months, wet):
    assert wet_season(months) == wet


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
        "Finish by the end of April: the wettest months of the rain record are June to August")
    assert "no raw bank overnight" in plan.order[-1].says


def test_sill_before_bank_and_each_stabilised_before_the_next(plan):
    for work, bank in (("east swale", "build the berm"), ("pond", "build the wall")):
        says = next(step.says for step in plan.order if step.work == work)
        assert says.index("cut the s") < says.index(bank) < says.index("seed and mulch")
        assert "only then begin the next work" in says


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
