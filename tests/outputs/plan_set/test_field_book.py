"""The field book: checks, stakes, levels, steps and upkeep of every work; the calendar."""

import csv
import re
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import numpy as np
import pymupdf
import pytest

from terrain.outputs.drawing.paper import PAPERS, PRINTABLE
from terrain.outputs.drawing.title_block import Imprint
from terrain.outputs.field.stakes import stakes_of
from terrain.outputs.one_system import in_one
from terrain.outputs.plan_set.calendar_page import calendar_pages, rows_of
from terrain.outputs.plan_set.field_pages import BOOK, BOX, field_pages, parts_of
from terrain.outputs.plan_set.plan_set import field_book, write_field_book, write_plan_set
from terrain.outputs.plan_set.undug_pages import undug_pages
from terrain.outputs.plan_set.upkeep_year import runs_of, upkeep_year, when_words
from terrain.outputs.sheets.plan_sheets import dug_works
from terrain.plan.safety.gravity import is_grave
from terrain.units import shown
from terrain.works.rules import RULES
from terrain.works.upkeep import AFTER, TASKS, Task

DEMO = Path(__file__).parents[3] / "demo_dem"


def imprint(plan, paper):
    return Imprint(plan.site.name, "Not dated.", PAPERS[paper], plan.site.units, plan.inputs.dem)


@pytest.fixture(scope="module")
def book(demo_plan):
    return field_book(demo_plan, imprint(demo_plan, "A4"))


@pytest.fixture(scope="module")
def words(book, seen):
    """Words of the field book by the title of their page, those of one page together."""
    found = defaultdict(str)
    for page in book:
        found[page.title.removesuffix(", continued")] += " " + " ".join(
            seen.words(page.figure).split())
    return found


def test_each_work_has_a_page_and_tanks_and_the_year_have_theirs(book, demo_plan, words):
    assert {page.part for page in book} == {BOOK}
    for entry in dug_works(demo_plan):
        assert f"{BOOK}: {entry.name}" in words
    tanks, = [said for title, said in words.items() if "tanks, gutters and screens" in title]
    for planned in demo_plan.stores:
        if planned.store.kind in ("tank", "hollow"):
            assert planned.store.name in tanks
    assert f"{BOOK}: upkeep through the year" in words


def test_no_lettering_is_at_fault(book, seen):
    wrong = {page.title: seen.faults(page.figure, PRINTABLE) for page in book}
    assert {title: said for title, said in wrong.items() if said} == {}


def numbers_in(said):
    """The stakes that a page names: "2 to 4, 9" after a colon."""
    found = []
    for runs in re.findall(r": ((?:\d+(?: to \d+)?(?:, )?)+)", said.split("Readings of")[0]):
        for run in re.findall(r"(\d+)(?: to (\d+))?", runs):
            first, last = int(run[0]), int(run[1] or run[0])
            found += range(first, last + 1)
    return set(found)


def test_a_page_names_every_stake_of_its_work_and_no_other(demo_plan, words):
    stakes = stakes_of(demo_plan)
    for entry in dug_works(demo_plan):
        own = {demo_plan.stores[i].store.name for i in entry.members}
        said = words[f"{BOOK}: {entry.name}"].split("Stakes to set")[1]
        assert numbers_in(said) == {number for number, stake in enumerate(stakes, 1)
                                    if stake.work in own}


def test_levels_to_hold_are_those_of_the_design(demo_plan, words):
    for planned in demo_plan.stores:
        if planned.swale is None:
            continue
        said, swale = words[f"{BOOK}: {planned.store.name}"], planned.swale
        for above, within in ((0.0, "±5 mm"), (-swale.depth, "±30 mm"),
                              (swale.berm_height_built, "−5, +30 mm")):
            # Tolerances: sill 5, bed 30, crest -5 to +30 mm; common practice, no source.
            level = shown(swale.sill.level + above, "level", "metric", 3, with_unit=False)
            assert level in said
            assert within in said


def before_digging(words, name):
    return words[f"{BOOK}: {name}"].split("Stakes to set, levels to hold")[0]


def test_grave_cautions_stand_among_the_checks_before_digging(demo_plan, words):
    told = 0
    for planned in demo_plan.stores:
        for caution in planned.cautions:
            if planned.placed.kind in ("swale", "basin") and is_grave(caution):
                assert metric_alone(caution)[:60] in before_digging(words, planned.store.name)
                told += 1
    assert told >= 3


def metric_alone(said):
    """Sentences of the metric demo without the bracket of a figure in US units."""
    return re.sub(r" \([\d,.]+ (?:ft|in|gal|acre|yd³|ft²|in/h|cfs|acre-ft)\)", "", said)


def test_what_must_be_settled_before_digging_stands_there(demo_plan, words, seen):
    """A spillway for fewer years than asked, low ground round a wall, a neighbour who must be
    asked: settled before a bank is begun; common practice, no source."""
    before = before_digging(words, "gully pond")
    assert "Its spillway is sized for the storm" in before
    assert "Its spill leaves the property" in before
    assert "Full, it stands about" not in before  # told, and nothing to settle
    pond = next(e for e in dug_works(demo_plan) if e.name == "gully pond")
    stores = list(demo_plan.stores)
    low = ("The ground at an end of the wall is 0.09 m (0.29 ft) lower than the crest: tie it.",
           "Ground by which water would get round the wall stands at 286.93 m (941.37 ft).")
    stores[pond.members[0]] = replace(stores[pond.members[0]], cautions=low)
    pages = field_pages(replace(demo_plan, stores=stores), pond, imprint(demo_plan, "A4"), [],
                        upkeep_year(demo_plan))
    said = " ".join(" ".join(seen.words(page.figure) for page in pages).split())
    for caution in low:
        assert metric_alone(caution) in said.split("Steps, in their order")[0]


def test_metric_pages_hold_no_us_figure_but_in_the_words_of_a_source(demo_plan, words):
    sources = " ".join(rule.source for rule in RULES.values())
    for title, said in words.items():
        for figure in re.findall(r"\d[\d.,]* (?:ft|in|gal|yd³|acre|cfs|in/h)\b", said):
            assert figure in sources, title


@pytest.mark.parametrize(("system", "said"), [
    ("metric", "Cut 1,205.35 m, 0.4 m³ wide (warned above 0.45 m; rule: 24 in), 3.6 L/s, 0.6 ha."),
    ("us", "Cut 3,954.56 ft, 0.6 yd³ wide (warned above 1.48 ft; rule: 24 in), 0.13 cfs, 1.5 acre."
     )])
def test_a_figure_in_both_systems_is_told_in_one(system, said):
    """Whichever stands first."""
    assert in_one(
        "Cut 1,205.35 m (3,954.56 ft), 0.6 yd³ (0.4 m³) wide (warned above 0.45 m (1.48 ft); rule: "
        "24 in), 3.6 L/s (0.13 cfs), 1.5 acre (0.6 ha).", system) == said


def test_each_work_is_asked_for_its_own_time_to_drain(demo_plan, words):
    """Hours of `plan.json`, drains_in_h, over 24; longer than 72 h is warned of (University of
    California, 2004)."""
    by_name = {p.store.name: p for p in demo_plan.stores}
    basin = by_name["road basin"]
    assert basin.drain_hours > 72 > by_name["upper swale"].drain_hours
    said = words[f"{BOOK}: road basin"]
    assert f"Had it drained after about {basin.drain_hours / 24:.0f} days, as planned?" in said
    assert "longer than 72 h (standing water) breeds mosquitoes" in said
    said = words[f"{BOOK}: upper swale"]
    assert f"drained after about {by_name['upper swale'].drain_hours:.0f} h, as planned?" in said
    assert "breeds mosquitoes" not in said


def test_one_level_of_the_mound_stands_over_the_highest_water_that_is_told(demo_plan):
    """Caution, stake and step of a tree whose furrow holds water back over its sill."""
    for tree in (p for p in demo_plan.stores if p.store.name in ("orchard 1", "orchard 6")):
        stake, = (s for s in stakes_of(demo_plan)
                  if s.work == tree.store.name and s.mark == "tree")
        over = stake.design - tree.store.sill.level
        waters = [float(m) for s in tree.cautions
                  for m in re.findall(r"water stands (?:back )?([\d.]+) m", s)]
        assert over == pytest.approx(max(waters) + 0.05, abs=0.006)
        assert any(f"on a mound, its top {over:.2f} m" in s for s in tree.cautions)
        step, = (s.says for s in demo_plan.order if s.work == "orchard")
        assert f"{over:.2f} m" in step.split("about each trunk")[1].split(";")[0]


def test_mounds_have_their_levels_and_furrows_what_lines_them(demo_plan, words):
    said = words[f"{BOOK}: orchard"]
    over = []
    for planned in demo_plan.stores:
        if planned.placed.work.name == "orchard":
            stake, = (s for s in stakes_of(demo_plan)
                      if s.work == planned.store.name and s.mark == "tree")
            assert f"{stake.design:,.3f}" in said
            over.append(stake.design - planned.store.sill.level)
    assert f"{min(over):.2f} to {max(over):.2f} m over the sill" in said
    assert "lined with grass" in said
    assert "a lining of stone" in words[f"{BOOK}: yard swale"]


def test_furrows_by_hand_have_days_and_steps_have_boxes(demo_plan, words):
    order = words[f"{BOOK}: order of work and cautions"]
    assert order.split("Cautions")[0].count(BOX) == len(demo_plan.order)
    for step in demo_plan.order:
        if step.by_hand is not None:
            assert re.search(rf"{step.work}: [\d.]+( to [\d.]+)? days of one worker by hand", order)
    assert "days of one worker by hand" in words[f"{BOOK}: yard swale"]


def test_a_tank_says_what_gutters_are_stated_and_that_none_was_checked(demo_plan, words, seen):
    title = f"{BOOK}: tanks, gutters and screens; natural hollows"
    # As demo_dem/site.yaml states it.
    assert "gutter 125 mm, 2 × 90 mm down" in words[title]
    assert "not checked" not in words[title]
    dry = replace(demo_plan, roofs=replace(demo_plan.roofs, burst=None, gutters=()))
    pages = undug_pages(dry, imprint(dry, "A4"), upkeep_year(dry))
    said = " ".join(" ".join(seen.words(page.figure) for page in pages).split())
    assert "gutter 125 mm, 2 × 90 mm down" in said
    assert said.count("not checked: no cloudburst known") == 2  # house and shed
    assert [page for page in pages if seen.faults(page.figure, PRINTABLE)] == []


def test_a_pipe_is_told_with_width_fall_and_what_was_assumed(demo_plan, words):
    check = next(c for c in demo_plan.pipes if c.name == "house tank")
    assert check.assumed
    said = words[f"{BOOK}: tanks, gutters and screens; natural hollows"]
    # The rule of 0.1 m, and fall over length.
    assert "100 mm, assumed" in said
    assert f"{check.fall:.2f} m, {100 * check.fall / check.length:.1f}\u00a0%" in said.replace(
        " %", "\u00a0%")
    assert re.search(r"lay the pipe of \"house tank\", [\d.]+ m long, 100 mm wide \(assumed\)",
                     words[f"{BOOK}: order of work and cautions"])


def test_steps_are_those_of_the_order_of_work_one_by_one(demo_plan, words):
    whose = {work.name: work.leads_from for work in demo_plan.earth.works if work.leads_from}
    for step in demo_plan.order:
        if step.work:
            parts = parts_of(step.says)
            assert len(parts) > 3
            assert " ".join(parts).lower().replace(".", "").replace(";", "").split() == (
                step.says.lower().replace(".", "").replace(";", "").replace(
                    ": only", " only").split())
            said = words[f"{BOOK}: {whose.get(step.work, step.work)}"]  # a furrow with its work
            for part in parts:
                assert metric_alone(part) in said


def wet_months():
    """Months wetter than the mean one, of the record as it lies in the demo, and each's rain."""
    days = defaultdict(list)
    with (DEMO / "rain_daily.csv").open() as file:
        for row in csv.reader(file):
            if re.match(r"\d{4}-\d\d", row[0]) and row[1]:
                days[int(row[0][5:7])].append(float(row[1]))
    # Days in the months of a mean year.
    long = (31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    rain = np.array([np.mean(days[m]) * long[m - 1] for m in range(1, 13)])
    return set(np.flatnonzero(rain > rain.mean())), rain


@pytest.fixture(scope="module")
def calendar(demo_plan):
    page, = calendar_pages(demo_plan, imprint(demo_plan, "A4"), upkeep_year(demo_plan))
    return page.figure


def marks_of(figure, seen):
    """Months that are marked, by the words of their row."""
    dots, = seen.with_gid(figure, "due")
    heads = {t.get_text(): t.get_position()[0] for t in seen.with_gid(figure, "month")}
    found = defaultdict(set)
    rows = [t for t in seen.with_gid(figure, "column") if t.get_fontweight() == "normal"]
    for x, y in dots.get_offsets():
        row = min(rows, key=lambda t: abs(t.get_position()[1] - y))
        assert row.get_position()[1] == pytest.approx(y)
        month, at = min(heads.items(), key=lambda head: abs(head[1] - x))
        assert at == pytest.approx(x)
        found[row.get_text()].add(list(heads).index(month))
    return found


def test_the_calendar_follows_the_rain_record(calendar, seen):
    wet, rain = wet_months()
    assert 3 <= len(wet) <= 8
    marks = marks_of(calendar, seen)
    gutters = marks["Clear gutters and downspouts of leaves and nests"]
    start = next(m for m in wet if (m - 1) % 12 not in wet)
    assert gutters == wet | {(start - 1) % 12}
    assert marks["Water young trees by hand, for two or three years"] == set(range(12)) - wet
    tank = marks["Measure the sediment in the tank; take it out before it nears the outlet"]
    assert tank == {int(rain.argmin())}
    told = [float(t.get_text()) for t in seen.with_gid(calendar, "rain words")]
    assert told == pytest.approx(rain, abs=0.51)


def test_the_months_of_the_rains_are_shaded(calendar, seen):
    wet, _ = wet_months()
    heads = [t.get_position()[0] for t in seen.with_gid(calendar, "month")]
    shaded = {month for month, x in enumerate(heads) for box in seen.with_gid(calendar, "rains")
              if box.get_x() < x < box.get_x() + box.get_width()}
    assert shaded == wet


def test_each_task_stands_once_and_none_is_without_its_work(demo_plan):
    tasks = [row.task.says for row in rows_of(demo_plan) if row.task is not None]
    assert len(tasks) == len(set(tasks)) > 12
    bare = replace(demo_plan, stores=[p for p in demo_plan.stores if p.store.kind == "tank"],
                   turnouts=())
    culverts = bool(demo_plan.terrain.conditioning.culverts)
    heads = [row.said for row in rows_of(bare) if row.task is None]
    assert heads[0].startswith("Tanks and roofs: ")
    assert len(heads) == (2 if culverts else 1)


def test_without_a_record_no_month_is_made_up(demo_plan, seen):
    plan = replace(demo_plan, inputs=replace(demo_plan.inputs, record=None))
    assert upkeep_year(plan) is None
    page, = calendar_pages(plan, imprint(plan, "A4"), None)
    said = " ".join(seen.words(page.figure).split())
    assert "No rain record tells which months are wet" in said
    assert not seen.with_gid(page.figure, "month")
    assert not re.search(r"\b(Jan|Feb|Nov|Dec|January|November)\b", said)
    assert seen.faults(page.figure, PRINTABLE) == []


def test_where_rains_are_not_distinct_the_calendar_says_so_and_nothing_idles(demo_plan, seen):
    """2 mm every day: six months of 31 days bring 186 of 365.25 days' rain, 51 %."""
    record = demo_plan.inputs.record
    even = replace(demo_plan, inputs=replace(demo_plan.inputs, record=replace(
        record, depths=record.depths * 0 + 2.0)))
    year = upkeep_year(even)
    page, = calendar_pages(even, imprint(even, "A4"), year)
    said = " ".join(seen.words(page.figure).split())
    assert "no distinct rains: its six wettest months bring 51 %" in said
    marks = marks_of(page.figure, seen)
    assert marks["Clear gutters and downspouts of leaves and nests"] == set(range(12))
    assert len(marks["Take levels along sill and crest; fill low places, never trim the lip"]) == 4
    assert not seen.with_gid(page.figure, "rains")
    assert seen.faults(page.figure, PRINTABLE) == []
    assert when_words(TASKS[0], year) == "each month"
    assert when_words(Task("Walk", ("swale",), (AFTER,)), year) == "each quarter"


def test_pages_of_a_us_site_hold_us_units_and_find_room(us_plan, seen):
    made, year = imprint(us_plan, "Letter"), upkeep_year(us_plan)
    for page in (*calendar_pages(us_plan, made, year),
                 *field_pages(us_plan, dug_works(us_plan)[0], made, stakes_of(us_plan), year)):
        assert seen.faults(page.figure, PRINTABLE) == []
        # Steps and cautions are made with the plan, in the units of its site.
        said = seen.words(page.figure).split("Stakes to set")[-1].split("Steps, in")[0]
        if ", continued" not in page.title:  # the last of its lists has no measure
            assert re.search(r"\d in\b|levels in ft", said)
        if "within" in said:  # 5 and 30 mm are 0.016 and 0.098 ft: a staff has hundredths
            assert "within, ft" in said
            assert "±0.02" in said
            assert "−0.02, +0.10" in said
            assert not re.search(r"[±+][\d.]+ in\b", said)
        assert not re.search(r"\d (mm|m|m³)\b", said)


def test_what_stands_in_brackets_of_a_step_is_not_cut():
    assert parts_of("Dig it (0.1 to 0.3 days; by hand), 0.30 m wide; pack its bank.") == [
        "Dig it (0.1 to 0.3 days; by hand), 0.30 m wide.", "Pack its bank."]


@pytest.mark.parametrize(("months", "said"), [
    ([10, 11, 0, 1], "Nov to Feb"), ([4], "May"), ([4, 9], "May, Oct"), ([0, 11], "Dec, Jan"),
    (range(12), "all year"), ([9, 10, 11, 0, 1, 2, 3], "Oct to Apr")])
def test_months_are_told_as_runs(months, said):
    assert runs_of(list(months)) == said


def test_the_field_book_by_itself_holds_its_pages_and_is_the_same_every_time(book, demo_plan,
                                                                             tmp_path):
    pages = [replace(book[0], part=""), *book[-2:]]
    write_plan_set(pages, tmp_path / "set.pdf")
    for name in ("a.pdf", "b.pdf"):
        write_field_book(pages, tmp_path / "set.pdf", tmp_path / name)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()
    read, whole = pymupdf.open(tmp_path / "a.pdf"), pymupdf.open(tmp_path / "set.pdf")
    assert [page.get_text() for page in read] == [page.get_text() for page in whole][1:]
    assert BOX in "".join(page.get_text() for page in read)
    write_field_book([replace(page, part="") for page in pages], tmp_path / "set.pdf",
                     tmp_path / "none.pdf")
    assert not (tmp_path / "none.pdf").exists()
