"""No lettering of any drawing of the demo overlaps, is cut off, or is too small to read."""

import pytest
from matplotlib.figure import Figure

from terrain.outputs.charts.capture_charts import (
    draw_site_capture,
    draw_store_captures,
    draw_totals,
)
from terrain.outputs.charts.cascade_boxes import flows_of
from terrain.outputs.charts.cascade_diagram import draw_cascade
from terrain.outputs.charts.charts import draw_storm_bars, draw_year, draw_year_bars
from terrain.outputs.charts.rain_charts import draw_record
from terrain.outputs.charts.tank_charts import draw_size_curve
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.paper import PAPERS, PRINTABLE
from terrain.outputs.drawing.site_map import draw_site_map
from terrain.outputs.drawing.title_block import Imprint
from terrain.outputs.plan_set import map_pages
from terrain.outputs.plan_set.page import Blank
from terrain.outputs.plan_set.plan_set import draw_plan_set
from terrain.outputs.sheets.basin_charts import draw_basin_charts
from terrain.plan.rain import record_answer


def design_flows(plan):
    return flows_of(plan, "the design storm", plan.storms[plan.site.rain.design.name])


def size_curve(plan):
    life = next(life for life in plan.roofs.tanks if life.curve is not None)
    return draw_size_curve(life, plan.stores[life.index].store, plan.site.units)


def pond_charts(plan):
    pond = next(p for p in plan.stores if p.facts is not None)
    return draw_basin_charts(pond.basin, pond.facts.curve, [], plan.site.units)


DRAWN = {
    "map": draw_site_map, "storms": draw_storm_bars, "years": draw_year_bars, "year": draw_year,
    "record": lambda plan: draw_record(record_answer(plan.inputs.record), plan.site.units),
    "cascade": lambda plan: draw_cascade(design_flows(plan), plan.site.units),
    "site capture": lambda plan: draw_site_capture(plan.told.capture, plan.site.units, "24 h"),
    "store captures": lambda plan: draw_store_captures(plan, plan.told.capture),
    "totals": lambda plan: draw_totals(plan.told.totals, plan.site.units),
    "size of a tank": size_curve, "pond": pond_charts}


@pytest.mark.parametrize("name", DRAWN)
@pytest.mark.parametrize("plan", ["demo_plan", "us_plan"])
def test_drawings_of_the_report(name, plan, request, seen):
    figure = DRAWN[name](request.getfixturevalue(plan))
    assert len(seen.texts(figure)) > 3
    assert seen.faults(figure) == []


@pytest.mark.parametrize(("plan", "paper"), [("demo_plan", "A4"), ("us_plan", "Letter")])
def test_the_map_of_road_sheds(plan, paper, request, seen):
    made = request.getfixturevalue(plan)
    imprint = Imprint(made.site.name, "Not dated.", PAPERS[paper], made.site.units,
                      made.inputs.dem)
    figure = map_pages.shed_map(made, imprint).figure
    assert len(seen.texts(figure)) > 40
    assert seen.faults(figure, PRINTABLE) == []


@pytest.mark.slow
@pytest.mark.parametrize(("plan", "paper"), [
    ("demo_plan", "A4"), ("us_plan", "Letter"), ("demo_plan", "A3"), ("us_plan", "Tabloid")])
def test_every_page_of_the_plan_set(plan, paper, request, seen):
    pages = draw_plan_set(request.getfixturevalue(plan), PAPERS[paper])
    assert len(pages) > 15
    wrong = {f"{i} {page.work} {page.title}": seen.faults(page.figure, PRINTABLE)
             for i, page in enumerate(pages, 1)}
    assert {name: said for name, said in wrong.items() if said} == {}


def constructed():
    """A page with a map's axes and two words that keep apart."""
    figure = Figure(figsize=(6, 4), dpi=100)
    ax = figure.add_axes((0.1, 0.1, 0.6, 0.8))
    ax.set_xticks([])
    ax.set_yticks([])
    ax.text(0.2, 0.5, "one", fontsize=9)
    ax.text(0.7, 0.5, "two", fontsize=9)
    return figure, ax


def test_the_checker_finds_no_fault_where_there_is_none(seen):
    figure, _ = constructed()
    assert seen.faults(figure, PRINTABLE) == []


@pytest.mark.parametrize(("fault", "spoil"), [
    ("overlaps", lambda figure, ax: ax.text(0.21, 0.51, "three", fontsize=9)),
    ("leaves its frame", lambda figure, ax: ax.text(0.97, 0.2, "beyond", fontsize=9)),
    ("leaves the page", lambda figure, ax: figure.text(0.001, 0.5, "edge", fontsize=9)),
    ("is of 5.0 pt", lambda figure, ax: ax.text(0.5, 0.2, "small", fontsize=5))])
def test_the_checker_finds_a_fault_that_was_made(fault, spoil, seen):
    figure, ax = constructed()
    spoil(figure, ax)
    assert any(fault in said for said in seen.faults(figure, PRINTABLE))


def test_words_of_the_user_are_never_read_as_formulas(demo_plan, seen):
    """Between dollar signs matplotlib reads mathematics, if it is let."""
    name = r"Cost $5 & $\frac{a}{b}$ <b>"
    imprint = Imprint(name, "Not dated.", PAPERS["A4"], "metric", demo_plan.inputs.dem)
    page = sy.styled(lambda: Blank(imprint, name, work=name))()
    drawn = [text for text, _ in seen.texts(page.figure) if "$" in text.get_text()]
    assert len(drawn) >= 3
    assert not any(text.get_parse_math() for text in drawn)
    assert name in [text.get_text() for text in drawn]
