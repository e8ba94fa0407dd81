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
from terrain.outputs.plan_set.calendar_page import calendar_pages, rows_of
from terrain.outputs.plan_set.field_pages import BOOK, BOX, field_pages, parts_of
from terrain.outputs.plan_set.plan_set import field_book, write_field_book, write_plan_set
from terrain.outputs.plan_set.upkeep_year import runs_of, upkeep_year
from terrain.outputs.sheets.plan_sheets import dug_works
from terrain.plan.safety.gravity import is_grave
from terrain.units import shown

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


def test_grave_cautions_stand_among_the_checks_before_digging(demo_plan, words):
    told = 0
    for planned in demo_plan.stores:
        for caution in planned.cautions:
            if planned.placed.kind in ("swale", "basin") and is_grave(caution):
                before = words[f"{BOOK}: {planned.store.name}"].split("Steps, in their order")[0]
                assert caution[:60] in before
                told += 1
    assert told >= 3


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
                assert part in said


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


def test_pages_of_a_us_site_hold_us_units_and_find_room(us_plan, seen):
    made, year = imprint(us_plan, "Letter"), upkeep_year(us_plan)
    for page in (*calendar_pages(us_plan, made, year),
                 *field_pages(us_plan, dug_works(us_plan)[0], made, stakes_of(us_plan), year)):
        assert seen.faults(page.figure, PRINTABLE) == []
        # Steps and cautions are made with the plan, in the units of its site.
        said = seen.words(page.figure).split("Stakes to set")[-1].split("Steps, in")[0]
        assert re.search(r"\d in\b", said)
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
