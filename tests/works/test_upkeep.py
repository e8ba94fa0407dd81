"""Upkeep: which task falls in which month, and that no kind of work is left without any."""

import itertools
import math
import typing

import pytest
from hypothesis import given
from hypothesis import strategies as st

from terrain.inputs.site_works import Work
from terrain.works.rules import PRACTICE
from terrain.works.upkeep import (
    AFTER,
    BEFORE,
    DRIEST,
    DRY,
    HOT,
    LOOKS,
    MOMENTS,
    RAINS,
    TASKS,
    drained_words,
    hottest_from,
    looks_for,
    months_of,
    tasks_for,
)

JAN, FEB, MAR, APR, MAY, JUN, JUL, AUG, SEP, OCT, NOV, DEC = range(12)


@pytest.mark.parametrize(("moment", "months"), [
    # Rains November to April, driest June, summer from December: read off a calendar by hand.
    (BEFORE, [OCT]), (RAINS, [JAN, FEB, MAR, APR, NOV, DEC]), (AFTER, [MAY]),
    (DRY, [MAY, JUN, JUL, AUG, SEP, OCT]), (DRIEST, [JUN]), (HOT, [NOV])])
def test_moments_fall_in_months(moment, months):
    assert months_of((moment,), (NOV, APR), JUN, 1, DEC) == months


def test_more_time_ahead_brings_what_comes_before_the_rains_forward():
    assert months_of((BEFORE,), (JAN, MAR), JUL, 2, None) == [NOV]
    assert months_of((HOT,), (JAN, MAR), JUL, 2, None) == []  # no months stand out as hot


@given(st.integers(0, 11), st.integers(0, 10), st.integers(0, 11))
def test_every_month_is_of_the_rains_or_dry_and_none_is_both(first, more, driest):
    season = first, (first + more) % 12
    rains, dry = (set(months_of((moment,), season, driest, 1, None)) for moment in (RAINS, DRY))
    assert rains | dry == set(range(12))
    assert not rains & dry
    assert len(rains) == more + 1
    assert months_of((AFTER,), season, driest, 1, None)[0] in dry


def test_without_distinct_rains_all_is_monthly_or_of_each_quarter():
    """Nothing idles from one year to the next: common practice, no source."""
    for moment, months in ((RAINS, 12), (DRY, 12), (BEFORE, 4), (AFTER, 4)):
        found = months_of((moment,), None, JUN, 1, DEC)
        assert len(found) == months
        assert {12 // months} == {(b - a) % 12 for a, b in itertools.pairwise(found)}
    assert months_of((DRIEST, HOT), None, JUN, 1, DEC) == [JUN, NOV]


@pytest.mark.parametrize(("hours", "said", "mosquitoes"), [
    # 630 h are 26 days and 6 h; 72 h are those told for mosquitoes.
    ([630.0], "Had it drained after about 26 days, as planned?", True),
    ([124.0, 197.0], "Had it drained after about 5 to 8 days, as planned?", True),
    ([25.0], "Had it drained after about 25 h, as planned?", False),
    ([math.inf], "Does it hold its water as planned?", True)])
def test_a_work_is_asked_for_the_time_that_it_is_planned_to_stand(hours, said, mosquitoes):
    told = drained_words(hours, 72.0)
    assert told.startswith(said)
    assert ("longer than 72 h (standing water) breeds mosquitoes" in told) == mosquitoes


def test_a_moment_that_is_none_is_refused():
    with pytest.raises(ValueError, match="at full moon"):
        months_of(("at full moon",), (NOV, APR), JUN, 1, None)


@pytest.mark.parametrize(("latitude", "month"), [
    # Meteorological summers, June to August and December to February; the tropic at 23.4 degrees:
    # from memory.
    (40.0, JUN), (-32.0, DEC), (10.0, None), (-23.0, None)])
def test_hot_months_follow_from_the_hemisphere(latitude, month):
    assert hottest_from(latitude) == month


def kinds():
    return [typing.get_args(model.model_fields["kind"].annotation)[0]
            for model in typing.get_args(typing.get_args(Work)[0])]


def test_every_kind_of_work_has_tasks_and_looks():
    assert len(kinds()) >= 6
    for kind in kinds():
        assert tasks_for({kind}), kind
        assert looks_for({kind}), kind


def test_what_a_year_of_upkeep_must_name_is_there():
    """Gutters, first flush, screens, sediment of tanks and basins, sills and spillways, cover of
    berms, mulch, turn-outs: common practice, no source."""
    said = " ".join(task.says.lower() for task in TASKS)
    for word in ("gutters", "first-flush", "leaf screens", "sediment in the tank",
                 "dig out sediment", "sill", "spillway", "berms", "mulch", "turn-outs"):
        assert word in said, word


def test_every_task_has_its_moment_and_its_source():
    for task in TASKS:
        assert task.when
        assert set(task.when) <= set(MOMENTS)
    for one in (*TASKS, *LOOKS):
        assert one.source == PRACTICE or any(digit in one.source for digit in "0123456789")
