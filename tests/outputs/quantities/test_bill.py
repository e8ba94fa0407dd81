"""The bill of quantities: recomputed by the library `formulas`, read back by openpyxl."""

from __future__ import annotations

import csv
import re
import zipfile
from dataclasses import replace

import openpyxl
import pytest

from terrain.inputs.site_money import Price
from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.quantities.bill import bill_of
from terrain.outputs.quantities.cost_tables import stored_and_kept
from terrain.outputs.quantities.tables import (
    Cell,
    Column,
    Sheet,
    Table,
    letters,
    places_of,
)
from terrain.outputs.quantities.workbook import (
    CSV,
    SPREADSHEET,
    write_csv,
    write_quantities,
    write_spreadsheet,
)
from terrain.plan.earth.earthworks import earthworks
from terrain.works.rules import Rulebook

SHEETS = ["Summary", "Earthworks by work", "Materials", "Machine hours", "Cost low and high",
          "Storage per money", "Assumptions", "Made from"]


@pytest.fixture(scope="module")
def folder(demo_plan, tmp_path_factory):
    made = tmp_path_factory.mktemp("quantities")
    write_quantities(demo_plan, made)
    return made


@pytest.fixture(scope="module")
def book(folder):
    return openpyxl.load_workbook(folder / SPREADSHEET)


def with_site(plan, **changed):
    site = plan.site.model_copy(update=changed)
    site._path = plan.site.path
    return replace(plan, inputs=replace(plan.inputs, site=site))


class Engine:
    """A workbook recomputed by the library `formulas`, which shares no code with the tool."""

    def __init__(self, path):
        import formulas

        self.path, self.name = path, path.name
        self.model = formulas.ExcelModel().loads(str(path)).finish()
        self.found = self.model.calculate()

    def key(self, sheet, place):
        return f"'[{self.name}]{sheet.upper()}'!{place}"

    def change(self, sheet, place, value):
        self.found = self.model.calculate(inputs={self.key(sheet, place): value})

    def at(self, sheet, place):
        return self.found[self.key(sheet, place)].value[0, 0]


def disagreements(path):
    """Cells whose formula does not come to what the plan says, and how many formulas there are."""
    engine = Engine(path)
    told, asked = (openpyxl.load_workbook(path, data_only=only) for only in (True, False))
    wrong, count = [], 0
    for sheet in asked:
        for row in sheet.iter_rows():
            for cell in row:
                if not (isinstance(cell.value, str) and cell.value.startswith("=")):
                    continue
                count += 1
                want = told[sheet.title][cell.coordinate].value
                got = engine.at(sheet.title, cell.coordinate)
                same = (float(got) == pytest.approx(want, rel=1e-6, abs=1e-9)
                        if isinstance(want, int | float) and not isinstance(got, str)
                        else str(got) == ("" if want is None else str(want)))
                if not same:
                    wrong.append((sheet.title, cell.coordinate, got, want, cell.value))
    return wrong, count


def place_of(book, sheet, row, column):
    """Address of a cell by the words of its row and of its column's head."""
    page = book[sheet]
    rows = [cell.row for line in page.iter_rows() for cell in line if cell.value == row]
    for at in rows:
        heads = [cell for line in page.iter_rows(max_row=at) for cell in line
                 if isinstance(cell.value, str) and cell.value.split("\n")[0] == column]
        if heads:
            return f"{heads[-1].column_letter}{at}"
    raise AssertionError(f"no {row}, {column} on {sheet}")


@pytest.mark.slow
def test_every_formula_comes_to_what_the_plan_says(folder):
    wrong, count = disagreements(folder / SPREADSHEET)
    assert not wrong
    assert count > 300


@pytest.mark.slow
def test_in_us_units_too(us_plan, tmp_path):
    write_quantities(us_plan, tmp_path)
    wrong, count = disagreements(tmp_path / SPREADSHEET)
    assert not wrong
    assert count > 300


@pytest.mark.slow
def test_without_rates_and_with_earth_carried_about(demo_plan, tmp_path):
    """Banks that take more of the cut: some works want earth, of others or of nobody."""
    plan = with_site(demo_plan, money=None)
    rules = Rulebook({"compacted per bank": 0.55, "haul longest": "200 m"}, "metric")
    plan = replace(plan, money=None, year=None, inputs=replace(plan.inputs, rules=rules))
    plan = replace(plan, earth=earthworks(plan.inputs, plan.stores))
    assert plan.earth.hauls or plan.earth.wanting
    write_quantities(plan, tmp_path)
    wrong, count = disagreements(tmp_path / SPREADSHEET)
    assert not wrong
    assert count > 300
    book = openpyxl.load_workbook(tmp_path / SPREADSHEET, data_only=True)
    assert book["Summary"][place_of(book, "Summary", "cost of all that is priced", "low")
                           ].value is None


def test_what_works_and_natural_hollows_keep_is_all_that_is_kept(demo_plan):
    """The report's figure of the year is the account's, of every store; nobody buys a hollow."""
    table = next(t for s in bill_of(demo_plan) for t in s.tables if t.key == "summary")
    told = {what: row["low"].value for what, row in table.rows.items()}
    kept = [value for what, value in told.items() if "keep" in what and "cost" not in what
            and "upkeep" not in what]
    held = [value for what, value in told.items() if "hold" in what and "cost" not in what
            and "tanks" not in what]
    assert len(kept) == len(held) == 2
    assert sum(kept) == pytest.approx(sum(e.captured for e in demo_plan.year.entries), rel=1e-6)
    assert sum(held) == pytest.approx(sum(
        p.store.capacity for p in demo_plan.stores if p.store.kind != "drain"), rel=1e-6)


@pytest.mark.slow
def test_changing_a_rate_changes_the_totals_as_by_hand(demo_plan, folder, book):
    engine = Engine(folder / SPREADSHEET)
    whole = demo_plan.money.whole
    rate = place_of(book, "Assumptions", "tank", "low")
    total = place_of(book, "Summary", "cost of all that is priced", "low")
    assert float(engine.at("Summary", total)) == pytest.approx(whole.cost[0])
    engine.change("Assumptions", rate, 1000.0)  # it was 700, for tanks without a price: 40 and 15
    assert float(engine.at("Summary", total)) == pytest.approx(whole.cost[0] + 300 * 55)
    kept = place_of(book, "Summary", "cost of what they keep in a year", "low")
    assert float(engine.at("Summary", kept)) == pytest.approx(
        (whole.cost[0] + 300 * 55) / whole.kept)
    hour = place_of(book, "Assumptions", "machine with its operator", "high")
    engine.change("Assumptions", hour, 600.0)  # and the tanks' rate as it was
    high = place_of(book, "Summary", "cost of machine", "high")
    assert float(engine.at("Summary", high)) == pytest.approx(
        demo_plan.earth.whole.hours[1] * 600 + 2 * 500)
    cut = place_of(book, "Earthworks by work", "gully pond", "cut, topsoil included")
    digs = place_of(book, "Summary", "earth to dig, as it lies in the ground", "low")
    before = sum(work.cut for work in demo_plan.earth.works)
    pond = next(work.cut for work in demo_plan.earth.works if work.name == "gully pond")
    engine.change("Earthworks by work", cut, 500.0)
    assert float(engine.at("Summary", digs)) == pytest.approx(before - pond + 500)


def test_figures_are_those_of_plan_json(demo_plan, folder):
    told = plan_object(demo_plan)
    book = openpyxl.load_workbook(folder / SPREADSHEET, data_only=True)

    def at(sheet, row, column):
        return book[sheet][place_of(book, sheet, row, column)].value

    assert at("Summary", "machine days", "low") == told["earthworks"]["whole_site"][
        "machine_days"][0]
    for work in told["earthworks"]["works"]:
        assert at("Earthworks by work", work["name"], "cut, topsoil included") == pytest.approx(
            work["cut_m3"], rel=1e-9, abs=5e-9)  # plan.json has eight decimals
        assert at("Machine hours", work["name"], "all, set-up included, high") == pytest.approx(
            work["machine_h"][1], rel=1e-9, abs=5e-9)
    for work in (*told["money"]["works"], told["money"]["whole_site"]):
        row = work["name"]
        assert at("Cost low and high", row, "all, high") == pytest.approx(work["money"][1])
        for part, pair in work["parts_money"].items():
            head = {"tank": "tanks", "seed": "seed and mulch"}.get(part, part)
            assert at("Cost low and high", row, f"{head}, low") == pytest.approx(pair[0])
        assert at("Storage per money", row, "it holds") == pytest.approx(work["stored_m3"])
        paid = work["money_m3_year"]  # a furrow keeps nothing itself
        assert at("Storage per money", row, "of what it keeps a year, high") == (
            None if paid is None else pytest.approx(paid[1]))
        assert at("Storage per money", row, "to lay by a year, low") == pytest.approx(
            work["renewal_money_year"][0])
    for work in demo_plan.money.works:
        assert stored_and_kept(demo_plan, work.name) == pytest.approx((work.stored, work.kept))
    for name, found in told["inputs"].items():
        assert at("Made from", name, "SHA-256, or version") == found


def test_the_csv_holds_every_figure_of_the_sheets(folder):
    book = openpyxl.load_workbook(folder / SPREADSHEET, data_only=True)
    with open(folder / CSV, newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert list(rows[0]) == ["sheet", "table", "row", "column", "unit", "value"]
    assert {row["sheet"] for row in rows} == set(SHEETS)
    for row in rows:
        if row["value"].replace(".", "", 1).isdigit() and row["column"] != "no.":
            found = book[row["sheet"]][place_of(book, row["sheet"], row["row"], row["column"])]
            if isinstance(found.value, int | float):
                assert float(row["value"]) == pytest.approx(found.value, rel=1e-8)


def test_sheets_heads_and_print(book, folder):
    assert book.sheetnames == SHEETS
    assert all(len(name) <= 31 and not re.search(r"[\[\]:*?/\\]", name) for name in SHEETS)
    for page in book:
        assert page.freeze_panes is not None
        assert page.page_setup.fitToWidth in (None, 1)  # 1 where left out: ECMA-376-1, 18.3.1.63
        assert page.page_setup.fitToHeight == 0
        assert page.sheet_properties.pageSetUpPr.fitToPage
        assert page.print_title_rows
    assert {"rate_machine_hour_low", "rate_machine_hour_high", "rate_tank_low", "haul_speed",
            "spoil_thickness", "interest"} <= set(book.defined_names)
    with zipfile.ZipFile(folder / SPREADSHEET) as parts:
        assert not [name for name in parts.namelist() if "vba" in name.lower()]


def test_the_same_plan_gives_the_same_bytes(demo_plan, folder, tmp_path):
    write_quantities(demo_plan, tmp_path)
    for name in (SPREADSHEET, CSV):
        assert (tmp_path / name).read_bytes() == (folder / name).read_bytes()


@pytest.mark.parametrize("name", ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", "\r=1",
                                  "＝1+1", "  =1"])
def test_no_name_becomes_a_formula(demo_plan, name, tmp_path):
    """The signs that OWASP's page on CSV injection names."""
    first = demo_plan.earth.works[0].name
    earth = replace(demo_plan.earth,
                    works=(replace(demo_plan.earth.works[0], name=name),
                           *demo_plan.earth.works[1:]),
                    bills={name if n == first else n: b for n, b in demo_plan.earth.bills.items()})
    bought = tuple(replace(work, name=name) if work.name == first else work
                   for work in demo_plan.money.bought)
    works = tuple(replace(work, name=name) if work.name == first else work
                  for work in demo_plan.money.works)
    money = demo_plan.site.money.model_copy(update={"currency": "=crown"})
    plan = with_site(demo_plan, money=money, name="@home")
    plan = replace(plan, earth=earth, money=replace(demo_plan.money, bought=bought, works=works))
    sheets = bill_of(plan)
    write_spreadsheet(sheets, plan.site.name, tmp_path / SPREADSHEET)
    write_csv(sheets, tmp_path / CSV)
    known = set()
    for sheet in sheets:
        for table in sheet.tables:
            for cells in (*table.rows.values(), table.total):
                known |= {cell.formula for cell in cells.values() if cell.formula}
    book = openpyxl.load_workbook(tmp_path / SPREADSHEET)
    count = sum(cell.data_type == "f" for page in book for row in page.iter_rows() for cell in row)
    written = sum(bool(cell.formula) for sheet in sheets for table in sheet.tables
                  for cells in (*table.rows.values(), table.total) for cell in cells.values())
    assert count == written
    assert not any(name.strip() in formula for formula in known)
    for row in csv.reader(open(tmp_path / CSV, newline="", encoding="utf-8")):  # noqa: SIM115
        for cell in row:
            assert not cell.lstrip(" ").startswith(("=", "+", "@", "\t", "\r", "＝"))
            assert not cell.startswith("-") or re.fullmatch(r"-[\d.e-]+|-", cell)


def test_rates_per_volume_of_stone_need_no_density(demo_plan):
    money = demo_plan.site.money.model_copy(update={"stone": Price(50.0, 80.0, "volume")})
    sheets = {sheet.name: sheet for sheet in bill_of(with_site(demo_plan, money=money))}
    rates, figures = sheets["Assumptions"].tables
    assert rates.rows["rate_stone"]["low"].value == 50.0
    assert rates.rows["rate_stone"]["per"].value == "m³"
    assert figures.rows["stone_density"]["value"].value == 1.0


def test_a_bill_of_nothing_is_a_bill(demo_plan, tmp_path):
    """No work at all: the sheets that are left have no formula that looks nowhere."""
    earth = replace(demo_plan.earth, works=(), hauls=(), spreads=(), wanting={}, bills={},
                    by_hand={})
    plan = replace(with_site(demo_plan, money=None), earth=earth, money=None, stores=[], year=None)
    write_quantities(plan, tmp_path)
    book = openpyxl.load_workbook(tmp_path / SPREADSHEET)
    assert book.sheetnames == ["Assumptions", "Made from"]


def test_addresses_of_cells():
    assert [letters(column) for column in (0, 25, 26, 51, 52, 701, 702)] == [
        "A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]
    one = Table("one", "One", (Column("a", "a", "", "count"), Column("b", "b", "", "count")),
                {"x": {"a": Cell(1)}, "y": {"a": Cell(2)}}, {"a": Cell(3)})
    two = Table("two", "Two", (Column("c", "c", "", "count"),), {"y": {"c": Cell(5)}})
    places = places_of([Sheet("First", (one,)), Sheet("Second", (two,))])
    assert places.formula("[b]+[two:c]*rate", "one", "y") == "$B$5+'Second'!$A$4*rate"
    assert places.formula("SUM([one:a:*])+[one:a:total]", "two", "y") == (
        "SUM('First'!$A$4:$A$5)+'First'!$A$6")


def test_works_without_a_pipe_have_a_bill(small_plan, tmp_path):
    """No work of the small site has a pipe, so no cell may point to what pipes cost."""
    assert not any(getattr(work, "pipe", None) for work in small_plan.site.works)
    write_quantities(small_plan, tmp_path)
    made = openpyxl.load_workbook(tmp_path / "quantities.xlsx")
    assert not any("#REF" in str(cell.value) for sheet in made for row in sheet for cell in row)
