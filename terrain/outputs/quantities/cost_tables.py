"""Tables of the bill on what works cost, and what the money buys."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from terrain.outputs.plain_text import cell_text
from terrain.outputs.quantities.assumptions import (
    LOW_HIGH,
    Units,
)
from terrain.outputs.quantities.bought_tables import (
    BOUGHT,
    amounts_of,
    laid_by_formula,
    what_is_taken,
)
from terrain.outputs.quantities.tables import TOTAL, Cell, Column, Table
from terrain.outputs.quantities.work_rows import ALL, WORK, Row, named, summed
from terrain.plan.money.bought import Bought
from terrain.plan.money.money import WorkMoney
from terrain.plan.planned import Plan
from terrain.plan.siting.hydrology import YEARS, soil_dries


def cost_table(plan: Plan, taken: Sequence[Bought], numbers: Mapping[str, int]) -> Table:
    """What each work costs, part by part."""
    currency = cell_text(plan.site.money.currency) if plan.site.money else "money"
    parts = (("machine", "machine", "rate_machine_hour"), *what_is_taken(taken))
    table = Table("cost", "What each work costs, from low to high", (
        *WORK, *(Column(f"{key}{end}", f"{head}, {end}", currency, "money")
                  for key, head, _ in parts for end in LOW_HIGH),
        Column("alllow", "all, low", currency, "money"),
        Column("allhigh", "all, high", currency, "money"),
        Column("unpriced", "taken, and without a rate", "", "text")),
        notes=("The machine of the whole site comes for whole days, and is brought and fetched "
               "once; so its sum is not that of the works.",
               "Not priced at all: "
               + ("trees beside swales and basins, " if any(work.beside for work in taken) else "")
               + "gutters and downspouts, fittings and filters, permits, your own days."))
    told = {work.name: work for work in plan.money.works} if plan.money else {}
    dug = {work.name for work in plan.earth.works} if plan.earth else set()
    for work in taken:
        row, priced = named(numbers, work.name), told.get(work.name)
        for place, end in enumerate(LOW_HIGH):
            for key, _, rate in parts:
                row[f"{key}{end}"] = Cell(
                    _part(priced, key, place),
                    _cost_formula(key, f"{rate}_{end}", end, work, work.name in dug))
            row[f"all{end}"] = Cell(_all(priced, place), _add_up(parts, end))
        row["unpriced"] = Cell(_unpriced(work, priced),
                               _lacking(parts[1:]))
        table.rows[work.name] = row
    if not table.rows:
        return table
    whole = plan.money.whole if plan.money else None
    total = dict(ALL)
    for place, end in enumerate(LOW_HIGH):
        for key, _, _ in parts[1:]:
            every = f"[cost:{key}{end}:*]"
            total[f"{key}{end}"] = Cell(_part(whole, key, place),
                                        f"IF(COUNT({every})=0,\"\",SUM({every}))")
        total[f"machine{end}"] = Cell(
            _part(whole, "machine", place),
            f"IF(rate_machine_hour_{end}=\"\",\"\",[machine:hours{end}:{TOTAL}]*"
            f"rate_machine_hour_{end}+2*N(rate_haulage_{end}))" if dug else "\"\"")
        total[f"all{end}"] = Cell(_all(whole, place), _add_up(parts, end))
    table.total = total
    return table


def _part(work: WorkMoney | None, key: str, place: int) -> float | None:
    """What the plan says a part costs; None where it has no price or none is taken."""
    if work is None or key in ("gravel", "pump", "drops"):
        return None
    pair = work.parts.get(key)
    return None if pair is None else pair[place]


def _all(work: WorkMoney | None, place: int) -> float | None:
    return work.cost[place] if work is not None and work.parts else None


def _cost_formula(key: str, rate: str, end: str, work: Bought, dug: bool) -> str:
    if key == "machine":
        return f"IF({rate}=\"\",\"\",[machine:hours{end}]*{rate})" if dug else "\"\""
    if key == "tank":
        if not work.tanks:
            return "\"\""
        mine = "[tanks:no:*],[no]"
        return (f"IF(COUNTIF({mine})=SUMIF({mine},[tanks:unpriced:*]),\"\","
                f"SUMIF({mine},[tanks:cost{end}:*]))")
    density = "*stone_density" if key == "stone" else ""
    return (f"IF(OR({rate}=\"\",[materials:{key}]=0),\"\",[materials:{key}]{density}*{rate})")


def _add_up(parts: Sequence[tuple[str, str, str]], end: str) -> str:
    every = ",".join(f"[{key}{end}]" for key, _, _ in parts)
    return f"IF(COUNT({every})=0,\"\",SUM({every}))"


def _lacking(parts: Sequence[tuple[str, str, str]]) -> str:
    """The parts that a work takes and no rate prices, as words."""
    lacks = {key: "SUMIF([tanks:no:*],[no],[tanks:unpriced:*])>0" if key == "tank" else
             f"AND([materials:{key}]>0,[{key}low]=\"\")" for key, _, _ in parts}
    words = "&".join(f"IF({lack},\"{key} \",\"\")" for key, lack in lacks.items()) or "\"\""
    return f"SUBSTITUTE(TRIM({words}),\" \",\", \")"


def _unpriced(work: Bought, priced: WorkMoney | None) -> str:
    """The same as the plan says it; where the site file states no rates, all that is taken."""
    lacks = set(priced.unpriced) if priced is not None else {
        key for key, amount in amounts_of(work).items() if amount}
    return ", ".join(key for key, _, _ in BOUGHT if key in lacks)


def year_kept(plan: Plan) -> str:
    """Which of the two average years water is kept in."""
    return YEARS[soil_dries(plan.site)]


def worth_table(plan: Plan, units: Units, taken: Sequence[Bought], numbers: Mapping[str, int]
                ) -> Table:
    """What the money of each work buys."""
    currency = cell_text(plan.site.money.currency) if plan.site.money else "money"
    water, per = units.water
    each = f"{currency} for each {water}"
    table = Table("worth", "What the money buys: storage, and water kept", (
        *WORK, Column("holds", "it holds", units.name("volume"), "volume"),
        Column("kept", f"it keeps in an {year_kept(plan)}", units.name("volume"), "volume"),
        Column("costlow", "cost, low", currency, "money"),
        Column("costhigh", "cost, high", currency, "money"),
        Column("heldlow", "of what it holds, low", each, "rate"),
        Column("heldhigh", "of what it holds, high", each, "rate"),
        Column("keptlow", "of what it keeps a year, low", each, "rate"),
        Column("kepthigh", "of what it keeps a year, high", each, "rate"),
        Column("upkeeplow", "upkeep a year, low", currency, "money"),
        Column("upkeephigh", "upkeep a year, high", currency, "money"),
        Column("renewlow", "to lay by a year, low", currency, "money"),
        Column("renewhigh", "to lay by a year, high", currency, "money")))
    told = {work.name: work for work in plan.money.works} if plan.money else {}
    by = units.factor("volume")
    tanks = any(work.tanks for work in taken)

    def money_cells(work: WorkMoney | None) -> Row:
        row: Row = {}
        for place, end in enumerate(LOW_HIGH):
            priced = work is not None and bool(work.parts)
            row |= {f"upkeep{end}": Cell(
                work.upkeep[place] if work is not None and priced else None,
                f"IF([cost{end}]=\"\",\"\",[cost{end}]*upkeep_share_{end})")}
            for key, pair in (("held", work.a_stored if work and priced else None),
                              ("kept", work.a_kept if work and priced else None)):
                amount = "[holds]" if key == "held" else "[kept]"
                row[f"{key}{end}"] = Cell(
                    None if pair is None else pair[place] * per / by,
                    f"IF(OR([cost{end}]=\"\",N({amount})<1E-9),\"\",[cost{end}]/{amount}*{per:g})")
        return row

    piped = any(work.pipe for work in taken)
    for work in taken:
        priced = told.get(work.name)
        holds, kept = stored_and_kept(plan, work.name)
        row = {**named(numbers, work.name), "holds": Cell(holds * by, given=True),
               "kept": Cell(None if kept is None else kept * by, given=True),
               **money_cells(priced)}
        for place, end in enumerate(LOW_HIGH):
            row[f"cost{end}"] = Cell(_all(priced, place), f"[cost:all{end}]")
            life = ("pipe_lasts_at_best", "pipe_lasts")[place]
            pipe = (f"IF([cost:pipe{end}]=\"\",0,{laid_by_formula(f'[cost:pipe{end}]', life)})"
                    if piped else "0")  # without any pipe there is no such column
            mine = f"SUMIF([tanks:no:*],[no],[tanks:renew{end}:*])+" if tanks else ""
            row[f"renew{end}"] = Cell(priced.renewal[place] if priced else 0.0, mine + pipe)
        table.rows[work.name] = row
    if not table.rows:
        return table
    whole = plan.money.whole if plan.money else None
    total = summed(table, ("holds", "kept", "renewlow", "renewhigh")) | money_cells(whole)
    if plan.year is None:
        total["kept"] = Cell(None, "\"\"")
    for place, end in enumerate(LOW_HIGH):
        total[f"cost{end}"] = Cell(_all(whole, place), f"[cost:all{end}:{TOTAL}]")
    table.total = total
    return table


def stored_and_kept(plan: Plan, name: str) -> tuple[float, float | None]:
    """What a work of the site file holds at its sill, and keeps of rain and runoff in an average
    year; None without a record. [m3]"""
    own = [i for i, planned in enumerate(plan.stores) if planned.placed.work.name == name]
    held = sum(plan.stores[i].store.capacity for i in own if plan.stores[i].store.kind != "drain")
    return held, None if plan.year is None else sum(plan.year.entries[i].captured for i in own)
