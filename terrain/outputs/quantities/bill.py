"""The bill of quantities of a plan: every figure as the plan says it, and the formula that it
follows by from quantities and rates."""

from __future__ import annotations

from collections.abc import Mapping

from terrain.outputs.plain_text import cell_text
from terrain.outputs.quantities.assumptions import (
    LOW_HIGH,
    Units,
    figure_table,
    made_from_table,
    rate_table,
)
from terrain.outputs.quantities.bought_tables import BOUGHT, material_table, tank_table
from terrain.outputs.quantities.cost_tables import (
    cost_table,
    stored_and_kept,
    worth_table,
    year_kept,
)
from terrain.outputs.quantities.earth_tables import (
    earth_table,
    furrow_table,
    haul_table,
    machine_table,
    share_table,
)
from terrain.outputs.quantities.tables import TOTAL, Cell, Column, Sheet, Table
from terrain.outputs.quantities.work_rows import Row
from terrain.plan.money.bought import bought
from terrain.plan.planned import Plan

#: Sheets, and the tables on each.
SHEETS = (("Summary", ("summary",)), ("Earthworks by work", ("earth", "furrows", "share", "hauls")),
          ("Materials", ("materials", "tanks")), ("Machine hours", ("machine",)),
          ("Cost low and high", ("cost",)), ("Storage per money", ("worth",)),
          ("Assumptions", ("rates", "figures")), ("Made from", ("inputs",)))


def bill_of(plan: Plan) -> list[Sheet]:
    """The sheets of the bill."""
    units = Units("us" if plan.site.units == "us" else "metric")
    taken = ((plan.money.bought if plan.money is not None else
              bought(plan.inputs, plan.stores, plan.earth)) if plan.earth is not None else ())
    numbers = {work.name: number for number, work in enumerate(taken, 1)}
    tables = {
        "rates": rate_table(plan, units), "figures": figure_table(plan, units),
        "inputs": made_from_table(plan), "earth": earth_table(plan, units, numbers),
        "furrows": furrow_table(plan, units, numbers),
        "share": share_table(plan, units, numbers),
        "hauls": haul_table(plan, units, numbers), "machine": machine_table(plan, units, numbers),
        "materials": material_table(plan, units, taken, numbers),
        "tanks": tank_table(plan, units, taken, numbers), "cost": cost_table(plan, taken, numbers),
        "worth": worth_table(plan, units, taken, numbers)}
    tables["summary"] = _summary(plan, units, tables)
    return [Sheet(name, tuple(tables[key] for key in keys if tables[key].rows))
            for name, keys in SHEETS if any(tables[key].rows for key in keys)]


def _besides(plan: Plan, units: Units, worth: Table) -> dict[str, Row]:
    """What natural hollows of the site file, which nobody digs or buys, hold and keep."""
    names = [name for name in dict.fromkeys(p.placed.work.name for p in plan.stores
                                            if p.store.kind == "hollow") if name not in worth.rows]
    if not names:
        return {}
    found = [stored_and_kept(plan, name) for name in names]
    sums = {"natural hollows, which nobody digs, hold besides": sum(held for held, _ in found),
            f"natural hollows keep besides in an {year_kept(plan)}":
                None if plan.year is None else sum(kept or 0.0 for _, kept in found)}
    by = units.factor("volume")
    return {what: {"what": Cell(what), "unit": Cell(units.name("volume")),
                   **{end: Cell(None if volume is None else volume * by, given=True,
                                form="volume") for end in LOW_HIGH}}
            for what, volume in sums.items()}


def _summary(plan: Plan, units: Units, tables: Mapping[str, Table]) -> Table:
    currency = cell_text(plan.site.money.currency) if plan.site.money else "money"
    table = Table("summary", cell_text(plan.site.name), (
        Column("what", "the whole site", "", "name"), Column("low", "low", "", "earth"),
        Column("high", "high", "", "earth"), Column("unit", "unit", "", "text")),
        notes=("Figures on a tinted ground may be changed; all others follow from them, here and "
               "on every sheet.",
               "Quantities come from levelsill's plan; rates and figures of the trade stand on "
               "the sheet Assumptions with where they come from."))

    def add(what: str, unit: str, key: str, low: str, high: str = "") -> None:
        if low not in tables[key].total:
            return
        form = next(column.form for column in tables[key].columns if column.key == low)
        row = {"what": Cell(what), "unit": Cell(unit)}
        for end, column in (("low", low), ("high", high or low)):
            row[end] = Cell(tables[key].total[column].value, f"[{key}:{column}:{TOTAL}]",
                            form=form)
        table.rows[what] = row

    earth = units.name("earth")
    add("earth to dig, as it lies in the ground", earth, "earth", "cut")
    add("of it topsoil", earth, "earth", "topsoil")
    add("banks and berms, compacted", earth, "earth", "bank")
    add("earth that goes from work to work", earth, "share", "gone")
    add("earth still wanting", earth, "share", "wanting")
    add("spare earth to spread", earth, "share", "spread")
    add("topsoil to spread", earth, "share", "topspread")
    add("machine hours", "h", "machine", "hourslow", "hourshigh")
    add("machine days", "days", "machine", "dayslow", "dayshigh")
    add("pipe", units.name("length"), "materials", "pipe")
    add("tanks hold", units.name("volume"), "materials", "tank")
    add("stone, loose", earth, "materials", "stone")
    add("sod in furrows", units.name("area"), "materials", "sod")
    add("gravel", earth, "materials", "gravel")
    add("trees", "", "materials", "trees")
    add("ground to seed and mulch", units.name("area"), "materials", "seed")
    add("all works hold", units.name("volume"), "worth", "holds")
    add(f"they keep in an {year_kept(plan)}", units.name("volume"), "worth", "kept")
    table.rows |= _besides(plan, units, tables["worth"])
    for key, head, _ in (("machine", "machine", ""), *BOUGHT):
        add(f"cost of {head}", currency, "cost", f"{key}low", f"{key}high")
    add("cost of all that is priced", currency, "cost", "alllow", "allhigh")
    each = f"{currency} for each {units.water[0]}"
    add("cost of what they hold", each, "worth", "heldlow", "heldhigh")
    add("cost of what they keep in a year", each, "worth", "keptlow", "kepthigh")
    add("upkeep a year", currency, "worth", "upkeeplow", "upkeephigh")
    add("to lay by a year for what wears out", currency, "worth", "renewlow", "renewhigh")
    return table
