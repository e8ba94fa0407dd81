"""Earth between works: balanced, carried where it is least work, and none lost."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.errors import InputError
from terrain.plan.earth.earthworks import LEAST, earthworks, haul_cost, haul_hours, least_haul
from terrain.plan.plan import make_plan
from terrain.works.rules import Rulebook


def brute_force(spare, want, cost):
    """The most that can be served, and the least cost of doing so: every whole m3 tried."""
    cells = [(i, j) for i in range(len(spare)) for j in range(len(want)) if np.isfinite(cost[i, j])]
    best = (0, 0.0)
    for amounts in product(*(range(min(spare[i], want[j]) + 1) for i, j in cells)):
        gone, come = [0] * len(spare), [0] * len(want)
        for (i, j), amount in zip(cells, amounts, strict=True):
            gone[i] += amount
            come[j] += amount
        if all(g <= s for g, s in zip(gone, spare, strict=True)) and all(
                c <= w for c, w in zip(come, want, strict=True)):
            paid = sum(amount * cost[cell] for cell, amount in zip(cells, amounts, strict=True))
            best = max(best, (sum(amounts), -paid))
    return best[0], -best[1]


amounts = st.lists(st.integers(1, 3), min_size=1, max_size=2)


@st.composite
def cases(draw):
    spare, want = draw(amounts), draw(st.lists(st.integers(1, 3), min_size=1, max_size=3))
    cost = draw(st.lists(st.sampled_from([1.0, 5.0, 20.0, 21.0, 150.0, np.inf]),
                         min_size=len(spare) * len(want), max_size=len(spare) * len(want)))
    return spare, want, np.array(cost).reshape(len(spare), len(want))


@given(cases())
def test_earth_is_carried_as_by_trying_everything(case):
    """With whole supplies and wants a transportation problem has a whole answer (Dantzig 1951),
    so trying every whole m3 finds the best there is."""
    spare, want, cost = case
    carried = least_haul(np.array(spare, float), np.array(want, float), cost)
    assert (carried >= 0).all()
    assert (carried.sum(1) <= np.array(spare) + 1e-9).all()
    assert (carried.sum(0) <= np.array(want) + 1e-9).all()
    assert not carried[~np.isfinite(cost)].any()
    paid = float((carried * np.where(np.isfinite(cost), cost, 0.0)).sum())
    assert (carried.sum(), paid) == pytest.approx(brute_force(spare, want, cost), abs=1e-6)


def test_uphill_counts_as_further_and_too_far_is_not_carried():
    """30 m east and 40 m north are 50 m; 2 m up count as 20 m more."""
    here = np.array([[0.0, 0.0, 100.0]])
    there = np.array([[30.0, 40.0, 102.0], [30.0, 40.0, 98.0], [150.1, 0.0, 90.0]])
    cost, distance, rise = haul_cost(here, there, Rulebook())
    assert cost[0].tolist() == [70.0, 50.0, np.inf]
    assert distance[0] == pytest.approx([50.0, 50.0, 150.1])
    assert rise[0].tolist() == [2.0, -2.0, -10.0]


def test_hours_to_carry_by_hand():
    """10 m3 in loads of 0.5 m3 are 20 loads; 180 m there and back at 1 m/s each: an hour, at an
    efficiency of 0.6."""
    assert haul_hours(10.0, 90.0, Rulebook()) == pytest.approx(1 / 0.6)
    assert haul_hours(10.1, 90.0, Rulebook()) == pytest.approx(21 / 20 / 0.6)


@pytest.fixture(scope="module")
def plan(small_site_folder, tmp_path_factory):
    """The small site with money and a dug basin whose spoil the pond's wall can use."""
    site = small_site_folder(tmp_path_factory.mktemp("earth"))
    site.write_text(site.read_text().replace("works:\n", """\
money:
  currency: crown
  machine hour: [100, 200]
  haulage: [30, 50]
rules: {haul longest: 100 m}
works:
  - kind: basin
    name: pit
    dug: [[500070, 6399905], [500078, 6399905], [500078, 6399913], [500070, 6399913]]
    depth: 0.8 m
"""))
    return make_plan(site)


def test_what_is_spare_is_carried_or_spread_and_what_is_wanted_comes_or_is_told(plan):
    earth = plan.earth
    assert {work.name for work in earth.works} == {"east swale", "pit", "pond", "trees",
                                                 "furrow of trees"}
    assert earth.hauls
    for work in earth.works:
        gone = sum(haul.volume for haul in earth.hauls if haul.source == work.name)
        come = sum(haul.volume for haul in earth.hauls if haul.to == work.name)
        spread = sum(part.volume for part in earth.spreads if part.name == work.name)
        if work.spare >= LEAST:
            assert gone + spread == pytest.approx(work.spare, abs=1e-9)
            assert come == 0
        else:
            assert come + earth.wanting.get(work.name, 0.0) == pytest.approx(-work.spare, abs=1e-9)
            assert gone == spread == 0
        assert work.usable + work.topsoil == pytest.approx(work.cut)
        left = sum(part.topsoil for part in earth.spreads if part.name == work.name)
        assert work.topsoil_back + left == pytest.approx(work.topsoil, abs=LEAST)


def test_loose_and_compacted_measures_follow_the_published_factors(plan):
    """FM 5-434, Table 1-1, from memory; soil group C is loam, B too: 1.25 loose, 0.9 compacted,
    and so 0.72 compacted from each loose m3, as the table prints."""
    for work in plan.earth.works:
        assert work.soil == "loam"
        assert work.compacted_per_bank / work.loose_per_bank == pytest.approx(0.72)
        assert (work.usable - work.spare + work.topsoil_within) * 0.9 == pytest.approx(work.bank)
    for haul in plan.earth.hauls:
        assert haul.loose == pytest.approx(1.25 * haul.volume)
    for part in plan.earth.spreads:
        assert part.area * 0.15 == pytest.approx(1.25 * (part.volume + part.topsoil))


def test_a_wall_gets_its_earth_from_the_pit_beside_it(plan):
    """The pit's middle to the wall's: (74, 6399909) to (60, 6399870)."""
    haul = next(haul for haul in plan.earth.hauls if haul.source == "pit")
    assert haul.to == "pond"
    assert haul.distance == pytest.approx(np.hypot(14.0, 39.0), abs=0.5)
    assert haul.rise < 0
    assert haul.said.startswith(f"{haul.volume:.1f} m³ (")
    assert "from \"pit\" to \"pond\", 41 m (136 ft) downhill" in haul.said
    assert haul.said in plan.earth.said


def test_served_earth_is_dug_once_only(plan):
    """All hours of digging: what is cut, and what is still wanting, each once, over the output
    by the formula (6.22 m3), a quarter more for finishing, and a quarter for shaping what came."""
    earth = plan.earth
    output = 0.1 * 0.9 * 3600 / 25 * 0.6 / 1.25
    dug = sum(work.cut for work in earth.works) + sum(earth.wanting.values())
    come = sum(haul.volume for haul in earth.hauls)
    assert earth.whole.dig[0] == pytest.approx((dug * 1.25 + come * 0.25) / output)
    assert earth.whole.money[0] == pytest.approx(earth.whole.hours[0] * 100 + 60)
    assert earth.whole.money[1] == pytest.approx(earth.whole.hours[1] * 200 + 100)


def test_beyond_the_longest_haul_nothing_is_carried(plan):
    from dataclasses import replace

    near = replace(plan.inputs, rules=Rulebook({"haul longest": "5 m"}))
    found = earthworks(near, plan.stores)
    assert not found.hauls
    assert found.wanting["pond"] == pytest.approx(
        -next(work.spare for work in found.works if work.name == "pond"))
    said = next(words for words in found.said if "still wants" in words)
    assert "no work within 5 m (16 ft) (haul longest, the site file) has more to spare" in said


def test_the_pit_still_holds_its_own_balance(plan):
    """A wall's spare is that of `Basin.spare`, which its own tests check; a swale's is what its
    cut leaves, as its topsoil makes part of the berm, less the topsoil that does not."""
    share = plan.inputs.rules["compacted per bank"]
    for planned in plan.stores:
        work = next((w for w in plan.earth.works if w.name == planned.store.name), None)
        if planned.basin is not None:
            assert work.spare * share == pytest.approx(planned.basin.spare(plan.inputs.rules))
        if planned.swale is not None:
            assert (work.spare + work.topsoil_left) * share == pytest.approx(planned.swale.spare)


def test_rules_that_leave_no_time_to_work_are_refused(small_site):
    quicker = small_site.read_text().replace("  daily:\n    file: rain.csv\n", "")
    small_site.write_text(quicker + "rules: {machine day: 1 h}\n")
    with pytest.raises(InputError, match=r"line \d+, rules: setting up the machine takes 1 h"):
        make_plan(small_site)
