"""The drawing of the cascade and the capture charts: nothing overlaps, volumes are told truly."""

import itertools
import re
from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain.outputs.charts.capture_charts import (
    draw_site_capture,
    draw_store_captures,
    draw_totals,
)
from terrain.outputs.charts.cascade_boxes import Box, Flows, flows_of, grouped
from terrain.outputs.charts.cascade_diagram import (
    THICKEST,
    draw_cascade,
    layers,
    others,
    volume_words,
)
from terrain.units import shown, unit_name

KINDS = ("swale", "basin", "tree basin", "tank", "hollow", "drain")


def flows(boxes):
    return Flows("storm \"10-year day\": 62 mm in 24 h", tuple(boxes), "open 7.65 ha", 1658.0,
                 "All the rain soaks in or leaves the site. " * 6)


def many(count, seed):
    """An invented cascade: most boxes spill to one of the next, a quarter leave the site."""
    rng = np.random.default_rng(seed)
    boxes = []
    for i in range(count):
        to = (None if i > count - 3 or rng.random() < 0.25
              else int(rng.integers(i + 1, min(i + 12, count))))
        kind = KINDS[int(rng.integers(len(KINDS)))]
        comes = float(10 ** rng.uniform(-1, 3.3))
        boxes.append(Box(f"{kind} of the long slope {i}", kind, "ground 12,345 m²", kind == "tank",
                         comes, comes * 0.4, comes * 0.6 if rng.random() < 0.8 else 0.0, to))
    return boxes


def crossed(figure, seen):
    """Words that a line runs through."""
    ax = figure.axes[0]
    every = [(text.get_text(), box) for text, box in seen.texts(figure) if text.axes is ax]
    boxes = np.array([box.extents for _, box in every])
    found = []
    for patch in seen.with_gid(figure, "flow"):
        points = np.array([vertices[-2:] for vertices, _ in patch.get_path().iter_segments()])
        if len(patch.get_path().vertices) == 4:  # a curve
            share = np.linspace(0, 1, 60)[:, None]
            a, b, c, d = patch.get_path().vertices
            points = (a * (1 - share)**3 + 3 * b * share * (1 - share)**2
                      + 3 * c * share**2 * (1 - share) + d * share**3)
        else:
            points = np.concatenate([np.linspace(p, q, 60) for p, q in
                                     itertools.pairwise(points)])
        x, y = ax.transData.transform(points).T
        half = patch.get_linewidth() / 2 * figure.dpi / 72
        x, y = x[:, None], y[:, None]
        over = ((x > boxes[:, 0] - half) & (x < boxes[:, 2] + half) & (y > boxes[:, 1])
                & (y < boxes[:, 3])).any(0)
        found += [every[i][0] for i in np.flatnonzero(over)]
    return found


@pytest.mark.parametrize("plan", ["demo_plan", "us_plan"])
def test_nothing_overlaps_and_every_volume_is_written(plan, request, seen):
    plan = request.getfixturevalue(plan)
    account = plan.storms["10-year day"]
    told = flows_of(plan, "storm", account)
    figure = draw_cascade(told, plan.site.units)
    assert seen.overlaps(figure) == []
    assert seen.outside(figure) == []
    assert crossed(figure, seen) == []
    written = {gid: [t.get_text() for t in seen.with_gid(figure, gid)]
               for gid in ("kept", "spilled", "gives", "comes")}

    def volume(value):  # without acre-feet, so that those of a box add up
        system = plan.site.units
        return f"{shown(value, 'volume', system, with_unit=False)} {unit_name('volume', system)}"

    for box in told.boxes:
        assert f"keeps {volume(box.caught)}" in written["kept"]
        assert volume(box.gives) in written["gives"]
        assert set(others(box, plan.site.units)) <= set(written["comes"])
        if box.spilled:
            assert f"spills {volume(box.spilled)}" in written["spilled"]


def printed(words):
    """The figure at the end of words, and half of its last digit."""
    number = re.search(r"([\d,]+(?:\.(\d+))?) (?:m³|gal)$", words)
    return (float(number[1].replace(",", "")), 0.5 / 10 ** len(number[2] or "")) if number else (
        0.0, 0.0)


@pytest.mark.parametrize("plan", ["demo_plan", "us_plan"])
def test_what_comes_to_every_box_is_what_it_keeps_and_spills_as_printed(plan, request):
    """Water is neither made nor lost; figures are rounded one by one."""
    plan = request.getfixturevalue(plan)
    write = partial(volume_words, system=plan.site.units)
    told = [flows_of(plan, "storm", account) for account in plan.storms.values()]
    told.append(flows_of(plan, "year", plan.year))
    assert any(box.grey for box in told[-1].boxes)
    assert any(box.brought for box in told[-1].boxes)
    for flows_told in told:
        for box in flows_told.boxes:
            comes = [printed(said) for said in (*([write(box.gives)] if box.source else []),
                                                *others(box, plan.site.units))]
            goes = [printed(write(box.caught)), printed(write(box.spilled))]
            off = sum(v for v, _ in comes) - sum(v for v, _ in goes)
            assert abs(off) <= sum(half for _, half in (*comes, *goes)) + 1e-9, box.name


def test_a_pump_is_marked_with_what_runs_over_it(seen):
    upper = Box("pond", "basin", "ground", False, 40.0, 10.0, 30.0, 1, pumped=True, over=12.0,
                over_to="off the site")
    lower = Box("high tank", "tank", "", False, 0.0, 18.0, 0.0, None, above=18.0)
    figure = draw_cascade(flows([upper, lower]), "metric")
    assert [t.get_text() for t in seen.with_gid(figure, "pumped")] == ["pumped"]
    assert [t.get_text() for t in seen.with_gid(figure, "comes")] == [
        "over its pump 12.0 m³", "off the site", "from above 18.0 m³"]
    assert seen.overlaps(figure) == []
    assert crossed(figure, seen) == []
    widths = {round(p.get_linewidth(), 6) for p in seen.with_gid(figure, "flow")}
    assert round(THICKEST * (18.0 / 1658.0) ** 0.5, 6) in widths  # only what is lifted goes on


def test_boxes_hold_the_whole_account(demo_plan):
    """Kept by all boxes is passive and roof capture; what the last spill, and the open ground, is
    what left."""
    account = demo_plan.storms["100-year day"]
    told = flows_of(demo_plan, "storm", account)
    assert sum(box.caught for box in told.boxes) == pytest.approx(account.passive + account.roof)
    assert sum(b.spilled for b in told.boxes if b.to is None) + told.open_runoff == pytest.approx(
        account.left_site)
    assert len(told.boxes) < len(demo_plan.stores)  # the orchard's basins stand together


def test_sixty_stores_keep_apart(seen):
    figure = draw_cascade(flows(many(60, 5)), "us")
    figure.set_dpi(75)  # half, for speed
    assert len(seen.with_gid(figure, "store")) == 60
    assert seen.overlaps(figure) == []
    assert seen.outside(figure) == []
    assert crossed(figure, seen) == []
    assert min(t.get_fontsize() for t, _ in seen.texts(figure)) >= 7.5
    assert figure.get_size_inches()[0] < 17


def test_lines_are_as_wide_as_the_root_of_their_volume(seen):
    box = Box("a", "swale", "ground", False, 400.0, 300.0, 100.0, None)
    figure = draw_cascade(flows([box]), "metric")  # the open ground's 1,658 m3 are the greatest
    widths = {round(p.get_linewidth(), 6) for p in seen.with_gid(figure, "flow")}
    for volume in (400.0, 100.0, 1658.0):
        assert round(THICKEST * (volume / 1658.0) ** 0.5, 6) in widths


@given(st.lists(st.integers(0, 40), min_size=1, max_size=40))
def test_every_box_stands_below_those_that_spill_to_it(jumps):
    boxes = [Box("", "swale", "", False, 0, 0, 0, i + jump if 0 < jump < len(jumps) - i else None)
             for i, jump in enumerate(jumps)]
    layer = layers(boxes)
    for i, box in enumerate(boxes):
        if box.to is not None:
            assert layer[box.to] > layer[i]
    assert min(layer) >= 0


class Spills:
    def __init__(self, to):
        self.spills_to = to


@settings(max_examples=200)
@given(st.lists(st.tuples(st.integers(0, 12), st.sampled_from(["row", "ring", None])), min_size=1,
                max_size=12))
def test_groups_never_make_a_ring(made):
    nodes = [Spills(i + jump if 0 < jump < len(made) - i else None)
             for i, (jump, _) in enumerate(made)]
    groups = grouped([entry for _, entry in made], nodes)
    assert sorted(i for group in groups for i in group) == list(range(len(made)))
    at = {i: number for number, group in enumerate(groups) for i in group}
    for group in groups:
        out = {None if nodes[i].spills_to is None else at[nodes[i].spills_to] for i in group}
        assert len(out - {at[group[0]]}) <= 1
        seen_on_way = {at[group[0]]}
        here = next(iter(out - seen_on_way), None)
        while here is not None:
            assert here not in seen_on_way
            seen_on_way.add(here)
            to = {None if nodes[i].spills_to is None else at[nodes[i].spills_to]
                  for i in groups[here]} - {here}
            here = next(iter(to), None)


@pytest.mark.parametrize("plan", ["demo_plan", "us_plan"])
def test_charts_keep_apart_and_print_their_units(plan, request, seen):
    plan = request.getfixturevalue(plan)
    system, told = plan.site.units, plan.told
    for figure in (draw_site_capture(told.capture, system, "24 h, type II"),
                   draw_store_captures(plan, told.capture), draw_totals(told.totals, system)):
        assert seen.overlaps(figure) == []
        assert seen.outside(figure) == []
        words = seen.words(figure)
        right, wrong = ((" in", "[in]"), (" mm", "[mm]", "m³"))
        if system == "metric":
            right, wrong = wrong, ("[in]", " gal")
        assert any(unit in words for unit in right)
        assert not any(unit in words for unit in wrong)
