"""The front's chart and a proposal's map: what is drawn, and that its lettering is readable."""

from __future__ import annotations

from dataclasses import replace

import pytest

from terrain.outputs.suggest.front_chart import draw_front
from terrain.outputs.suggest.laid import laid_out, standing
from terrain.outputs.suggest.proposal_map import draw_proposal
from terrain.suggest.suggestion import AimWords, OwnPlan


@pytest.fixture(scope="module")
def about(small_suggested):
    return standing(small_suggested)


@pytest.fixture(scope="module", params=["metric", "us"])
def suggestion(request, small_suggested):
    site = small_suggested.site.model_copy(update={"units": request.param})
    return replace(small_suggested, inputs=replace(small_suggested.inputs, site=site))


@pytest.fixture(scope="module")
def front(suggestion):
    return draw_front(suggestion)


@pytest.fixture(scope="module")
def drawn(suggestion, about):
    return draw_proposal(suggestion, suggestion.proposals[-1], about)


def test_the_lettering_of_the_front_is_readable(front, seen):
    assert seen.faults(front, margin=3) == []


def test_the_front_shows_every_figure(front, suggestion, seen):
    factor = 1 / 0.003785411784 if suggestion.site.units == "us" else 1.0  # gal
    [found] = seen.with_gid(front, "found")
    assert found.get_xdata() == pytest.approx([p.cost for p in suggestion.front])
    assert found.get_ydata() == pytest.approx([p.model * factor for p in suggestion.front])
    [bound] = seen.with_gid(front, "bound")
    assert bound.get_ydata() == pytest.approx([p.bound * factor for p in suggestion.front])
    [own] = seen.with_gid(front, "own")
    assert own.get_ydata() == pytest.approx([suggestion.own.model * factor])
    [knee] = seen.with_gid(front, "knee")
    assert knee.get_xdata() == pytest.approx([suggestion.front[suggestion.knee].cost])
    [real] = seen.with_gid(front, "real")
    assert len(real.get_xdata()) == sum(p.real is not None for p in suggestion.front)
    said = seen.words(front)
    for words in ("Cheap", "Balanced", "Most", "own works", "Hours of the machine, h",
                  f"average year, {'gal' if factor > 1 else 'm³'}"):
        assert words in said
    assert found.axes.get_xlim()[1] > max(p.limit for p in suggestion.front)


def test_a_front_of_trees_against_money_and_one_point(small_suggested, seen):
    one = replace(
        small_suggested, front=small_suggested.front[2:3], knee=None, own=None,
        aim=AimWords("trees in a dry year", "trees that live through a dry year", None, "earth"))
    figure = draw_front(one)
    assert seen.faults(figure, margin=3) == []
    assert "Trees that live through a dry year, trees" in seen.words(figure)
    assert "Earth dug, m³" in seen.words(figure)


def test_names_that_crowd_do_not_overlap(small_suggested, seen):
    """All three proposals and the owner's plan within a hair of each other."""
    front = [replace(p, name="") for p in small_suggested.front]
    for at, name in zip((3, 4, 5), ("cheap", "balanced", "most"), strict=True):
        front[at] = replace(front[4], cost=front[4].cost * (1 + 0.005 * at), name=name)
    figure = draw_front(replace(small_suggested, front=tuple(front), own=OwnPlan(
        front[4].cost * 1.01, front[4].model * 1.01, 400.0, 1.0, 1.0)))
    assert seen.faults(figure, margin=3) == []
    assert {"Cheap", "Balanced", "Most"} <= set(seen.words(figure).split("\n"))


def test_the_map_shows_and_names_what_is_proposed_and_what_stays(drawn, suggestion, seen):
    assert seen.faults(drawn) == []
    names = {a.get_text() for a in seen.with_gid(drawn, "work label")}
    assert {"swale 1", "road basin 2", "tree row 3"} <= names
    assert {a.get_text() for a in seen.with_gid(drawn, "stays label")} == {
        "pond", "trees", "barn tank"}
    assert "east swale" not in names
    for gid in ("left alone", "scale bar", "north arrow", "boundary", "swale", "drain", "spill",
                "legend:left alone", "legend:swale"):
        assert seen.with_gid(drawn, gid), gid
    said = seen.words(drawn)
    assert "Leaves out east swale." in said
    assert ("ft" if suggestion.site.units == "us" else " m") in said


def test_hatched_ground_is_where_no_earth_may_be_moved(about, small_suggested):
    """A building's setback and the road's, beside open slope."""
    dem = small_suggested.inputs.dem
    at = [dem.row_column(*dem.frame.to_working(x, y)) for x, y in (
        (500100, 6399894), (500060, 6399957.5), (500030, 6399930))]
    assert [bool(about.closed[int(r), int(c)]) for r, c in at] == [True, True, False]
    assert not about.closed[~small_suggested.inputs.ground.inside].any()


def test_the_works_are_those_of_the_site_file(about, small_suggested):
    one = small_suggested.proposals[-1]
    laid = laid_out(small_suggested, one, about)
    assert {s.placed.work.name for s in laid.stores} == {
        *one.stays, *(w.name for c in one.works for w in c.candidate.works)}
    assert {s.placed.work.name for s in laid.stores if s.stays} == set(one.stays)
    names = [s.placed.work.name for s in laid.stores]
    drain = laid.cascade.nodes[names.index("road basin 2 drain")]
    assert names[drain.spills_to] == "road basin 2"


def test_the_same_bytes_each_time(small_suggested, about, seen):
    one = small_suggested.proposals[0]
    assert seen.bytes_of(draw_proposal(small_suggested, one, about)) == seen.bytes_of(
        draw_proposal(small_suggested, one, about))
