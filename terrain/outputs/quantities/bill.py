"""The bill of quantities of a plan: every figure as the plan says it, and the formula that it
follows by from quantities and rates."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from terrain.outputs.plain_text import cell_text
from terrain.outputs.quantities.assumptions import (
    LOW_HIGH,
    Units,
    figure_table,
    made_from_table,
    rate_table,
)
from terrain.outputs.quantities.tables import TOTAL, Cell, Column, Sheet, Table
from terrain.plan.earth.cost import machine_output
from terrain.plan.money.bought import Bought, bought
from terrain.plan.money.money import WorkMoney
from terrain.plan.money.payback import laid_by
from terrain.plan.planned import YEARS, Plan
from terrain.plan.siting.hydrology import soil_dries

#: What a work may take beside the machine: its key, its head, the name of its rate.
BOUGHT = (("pipe", "pipe", "rate_pipe"), ("tank", "tanks", ""), ("stone", "stone", "rate_stone"),
          ("trees", "trees", "rate_tree"), ("seed", "seed and mulch", "rate_seed"),
          ("gravel", "gravel", "rate_gravel"), ("pump", "pump", "rate_pump"))
#: Sheets, and the tables on each.
SHEETS = (("Summary", ("summary",)), ("Earthworks by work", ("earth", "furrows", "share", "hauls")),
          ("Materials", ("materials", "tanks")), ("Machine hours", ("machine",)),
          ("Cost low and high", ("cost",)), ("Storage per money", ("worth",)),
          ("Assumptions", ("rates", "figures")), ("Made from", ("inputs",)))
Row = dict[str, Cell]


def bill_of(plan: Plan) -> list[Sheet]:
    """The sheets of the bill."""
    units = Units("us" if plan.site.units == "us" else "metric")
    taken = ((plan.money.bought if plan.money is not None else
              bought(plan.inputs, plan.stores, plan.earth)) if plan.earth is not None else ())
    numbers = {work.name: number for number, work in enumerate(taken, 1)}
    tables = {
        "rates": rate_table(plan, units), "figures": figure_table(plan, units),
        "inputs": made_from_table(plan), "earth": _earth(plan, units, numbers),
        "furrows": _furrows(plan, units, numbers),
        "share": _share(plan, units, numbers),
        "hauls": _hauls(plan, units, numbers), "machine": _machine(plan, units, numbers),
        "materials": _materials(plan, units, taken, numbers),
        "tanks": _tanks(plan, units, taken, numbers), "cost": _cost(plan, taken, numbers),
        "worth": _worth(plan, units, taken, numbers)}
    tables["summary"] = _summary(plan, units, tables)
    return [Sheet(name, tuple(tables[key] for key in keys if tables[key].rows))
            for name, keys in SHEETS if any(tables[key].rows for key in keys)]


def _named(numbers: Mapping[str, int], name: str) -> Row:
    return {"no": Cell(numbers[name]), "work": Cell(cell_text(name))}


_WORK = (Column("no", "no.", "", "count"), Column("work", "work", "", "text"))
_ALL: Row = {"work": Cell("the whole site")}


def _summed(table: Table, columns: Sequence[str]) -> Row:
    """A row of totals of some columns."""
    row = dict(_ALL)
    for column in columns:
        values = [cell[column].value for cell in table.rows.values()]
        figures = [value for value in values if isinstance(value, int | float)]
        row[column] = Cell(sum(figures), f"SUM([{table.key}:{column}:*])")
    return row


def _earth(plan: Plan, units: Units, numbers: Mapping[str, int]) -> Table:
    by, name = units.factor("earth"), units.name("earth")
    ground = f"{name}, in the ground"
    table = Table("earth", "Earth of each work", (
        *_WORK, Column("kind", "kind", "", "text"), Column("soil", "soil", "", "text"),
        Column("loose", "loose from each in the ground", "-", "ratio"),
        Column("compacted", "compacted from each in the ground", "-", "ratio"),
        Column("cut", "cut, topsoil included", ground, "earth"),
        Column("cutloose", "cut, loose", f"{name}, loose", "earth"),
        Column("topsoil", "of it topsoil", ground, "earth"),
        Column("back", "topsoil placed on the bank", ground, "earth"),
        Column("within", "of that, counted in the bank", ground, "earth"),
        Column("bank", "bank, packed", f"{name}, compacted", "earth"),
        Column("usable", "of the cut subsoil", ground, "earth"),
        Column("takes", "the bank is made of subsoil", ground, "earth"),
        Column("spare", "subsoil to spare, or wanting below 0", ground, "earth")),
        notes=("Cut is topsoil and subsoil; a bank, in the ground, is its subsoil and the topsoil "
               "counted in it. What neither takes is left to spread.",))
    if plan.earth is None:
        return table
    for work in plan.earth.works:
        table.rows[work.name] = {
            **_named(numbers, work.name), "kind": Cell(work.kind), "soil": Cell(work.soil),
            "loose": Cell(work.loose_per_bank, given=True),
            "compacted": Cell(work.compacted_per_bank, given=True),
            "cut": (Cell(work.cut * by, "SUMIF([furrows:no:*],[no],[furrows:earth:*])")
                    if work.leads_from else Cell(work.cut * by, given=True)),
            "cutloose": Cell(work.cut * work.loose_per_bank * by, "[cut]*[loose]"),
            "topsoil": Cell(work.topsoil * by, given=True),
            "back": Cell(work.topsoil_back * by, given=True),
            "within": Cell(work.topsoil_within * by, given=True),
            "bank": Cell(work.bank * by, given=True),
            "usable": Cell(work.usable * by, "[cut]-[topsoil]"),
            "takes": Cell(work.wanted * by, "[bank]/[compacted]-[within]"),
            "spare": Cell(work.spare * by, "[usable]-[takes]")}
    if table.rows:
        table.total = _summed(table, ("cut", "cutloose", "topsoil", "back", "bank", "usable",
                                      "takes"))
    return table


def _furrows(plan: Plan, units: Units, numbers: Mapping[str, int]) -> Table:
    """Every furrow, one by one."""
    by, name = units.factor("earth"), units.name("earth")
    long, deep = units.factor("length"), units.factor("level")
    table = Table("furrows", "Furrows dug by hand", (
        *_WORK, Column("to", "to", "", "text"),
        Column("length", "length", units.name("length"), "length"),
        Column("width", "width", units.name("level"), "ratio"),
        Column("depth", "mean depth, dug or banked", units.name("level"), "ratio"),
        Column("gathers", "trench along the sill", units.name("length"), "length"),
        Column("least", "depth of that", units.name("level"), "ratio"),
        Column("earth", "earth", f"{name}, in the ground", "earth")),
        notes=("Laid beside the furrow: it makes up its sides, and its bed in a low place.",))
    entries = {work.leads_from: work.name for work in plan.earth.works} if plan.earth else {}
    for planned in plan.stores:
        made, entry = planned.furrow, entries.get(planned.placed.work.name)
        if made is None or entry is None:
            continue
        depth = made.earth_on_the_way / (made.width * made.length)
        into = by / (long * deep**2)
        table.rows[planned.store.name] = {
            "no": Cell(numbers[entry]), "work": Cell(cell_text(f"from {planned.store.name}")),
            "to": Cell(cell_text(planned.spills_to)),
            "length": Cell(made.length * long, given=True),
            "width": Cell(made.width * deep, given=True),
            "depth": Cell(depth * deep, given=True),
            "gathers": Cell(made.gathers * long, given=True),
            "least": Cell(made.depth * deep, given=True),
            "earth": Cell(made.earth * by, "([length]*[depth]+[gathers]*[least])*[width]"
                          f"*{into:.15g}")}
    if table.rows:
        table.total = _summed(table, ("length", "earth"))
    return table


def _share(plan: Plan, units: Units, numbers: Mapping[str, int]) -> Table:
    by, name = units.factor("earth"), units.name("earth")
    ground = f"{name}, in the ground"
    table = Table("share", "Where its earth goes", (
        *_WORK, Column("come", "comes from other works", ground, "earth"),
        Column("gone", "goes to other works", ground, "earth"),
        Column("wanting", "still wanting", ground, "earth"),
        Column("spread", "subsoil to spread", ground, "earth"),
        Column("topspread", "topsoil to spread", ground, "earth"),
        Column("area", "ground it covers", units.name("area"), "area")))
    if plan.earth is None or not plan.earth.works:
        return table
    found = plan.earth
    spreads = {part.name: part for part in found.spreads}
    over = units.factor("area") * units.factor("level") / by
    left = "MAX([earth:spare],0)-[gone]"
    for work in found.works:
        come, gone = (sum(haul.volume for haul in found.hauls if getattr(haul, end) == work.name)
                      for end in ("to", "source"))
        part = spreads.get(work.name)
        little = f"MAX({left},0)+[earth:topsoil]-[earth:back]<least_earth"
        table.rows[work.name] = {
            **_named(numbers, work.name),
            "come": Cell(come * by, _of_hauls(found.hauls, "tono")),
            "gone": Cell(gone * by, _of_hauls(found.hauls, "fromno")),
            "wanting": Cell(found.wanting.get(work.name, 0.0) * by,
                            "IF(-[earth:spare]-[come]<least_earth,0,-[earth:spare]-[come])"),
            "spread": Cell(part.volume * by if part else 0.0, f"IF({little},0,MAX({left},0))"),
            "topspread": Cell(part.topsoil * by if part else 0.0,
                              f"IF({little},0,[earth:topsoil]-[earth:back])"),
            "area": Cell(part.area * units.factor("area") if part else 0.0,
                         f"([spread]+[topspread])*[earth:loose]*{over:.12g}/spoil_thickness")}
    table.total = _summed(table, ("come", "gone", "wanting", "spread", "topspread", "area"))
    return table


def _of_hauls(hauls: Sequence[Any], end: str, what: str = "volume") -> str:
    return f"SUMIF([hauls:{end}:*],[no],[hauls:{what}:*])" if hauls else "0"


def _hauls(plan: Plan, units: Units, numbers: Mapping[str, int]) -> Table:
    by, name = units.factor("earth"), units.name("earth")
    table = Table("hauls", "Earth carried from one work to another", (
        Column("fromno", "from no.", "", "count"), Column("from", "from", "", "text"),
        Column("tono", "to no.", "", "count"), Column("to", "to", "", "text"),
        Column("volume", "earth", f"{name}, in the ground", "earth"),
        Column("perbank", "loose from each in the ground", "-", "ratio"),
        Column("loose", "earth, loose", f"{name}, loose", "earth"),
        Column("distance", "distance", units.name("length"), "length"),
        Column("hours", "carrying", "h", "hours")))
    for number, haul in enumerate(plan.earth.hauls if plan.earth else (), 1):
        table.rows[str(number)] = {
            "fromno": Cell(numbers[haul.source]), "from": Cell(cell_text(haul.source)),
            "tono": Cell(numbers[haul.to]), "to": Cell(cell_text(haul.to)),
            "volume": Cell(haul.volume * by, given=True),
            "perbank": Cell(haul.loose / haul.volume,
                            "SUMIF([earth:no:*],[fromno],[earth:loose:*])"),
            "loose": Cell(haul.loose * by, "[volume]*[perbank]"),
            "distance": Cell(haul.distance * units.factor("length"), given=True),
            "hours": Cell(haul.hours, "ROUNDUP([loose]/haul_load-1E-9,0)*2*[distance]/haul_speed"
                          "/3600/machine_efficiency")}
    return table


def _machine(plan: Plan, units: Units, numbers: Mapping[str, int]) -> Table:
    table = Table("machine", "Machine hours of each work", (
        *_WORK, Column("output", "machine's output", f"{units.name('earth')} an hour", "earth"),
        Column("diglow", "digging and finishing, easy ground", "h", "hours"),
        Column("dighigh", "the same, part of it hard", "h", "hours"),
        Column("carry", "carrying to other works", "h", "hours"),
        Column("spread", "spreading", "h", "hours"),
        Column("hourslow", "all, set-up included, low", "h", "hours"),
        Column("hourshigh", "all, set-up included, high", "h", "hours"),
        Column("dayslow", "days, low", "days", "hours"),
        Column("dayshigh", "days, high", "days", "hours"),
        Column("handlow", "or by hand, easy soil", "days of one worker", "hours"),
        Column("handhigh", "or by hand, hard soil", "days of one worker", "hours"),
        Column("largest", "cut of its largest pit", f"{units.name('earth')}, in the ground",
               "earth")),
        notes=("A work's own days are parts of days; those of the whole site are whole days.",))
    found = plan.earth
    if found is None or not found.works:
        return table
    rules, money, by = plan.inputs.rules, plan.site.money, units.factor("earth")
    dug = "([earth:cut]+[share:wanting])/[output]"
    shaping = "+[share:come]/[output]*finishing_share"
    all_day = "machine_day/(machine_day-machine_set_up)"
    for work in found.works:
        bill = found.bills[work.name]
        output = (money.machine_output if money else None) or machine_output(rules, work.soil)
        by_hand = found.by_hand.get(work.name, (None, None))
        row = {
            **_named(numbers, work.name),
            "output": Cell(output * by, "IF(machine_output=\"\",machine_bucket*machine_fill*3600/"
                           "machine_cycle*machine_efficiency/[earth:loose],machine_output)"),
            "diglow": Cell(bill.dig[0], f"{dug}*(1+finishing_share){shaping}"),
            "dighigh": Cell(bill.dig[1], f"{dug}*(1-hard_ground_share+hard_ground_share/"
                            f"hard_ground_output)*(1+finishing_share){shaping}"),
            "carry": Cell(bill.carry, _of_hauls(found.hauls, "fromno", "hours")),
            "spread": Cell(bill.spread,
                           "([share:spread]+[share:topspread])/[output]*spreading_share"),
            "largest": Cell(work.largest * by, given=True)}
        for place, end in enumerate(LOW_HIGH):
            row |= {
                f"hours{end}": Cell(bill.hours[place],
                                    f"([dig{end}]+[carry]+[spread])*{all_day}"),
                f"days{end}": Cell(bill.days[place], f"[hours{end}]/machine_day"),
                f"hand{end}": Cell(
                    by_hand[place], "IF(AND([largest]>0,[largest]<=hand_digging_most),[earth:cut]*"
                    f"(1+finishing_share)/hand_digging_{('easy', 'hard')[place]},\"\")")}
        table.rows[work.name] = row
    total = _summed(table, ("diglow", "dighigh", "carry", "spread"))
    for place, end in enumerate(LOW_HIGH):
        total |= {
            f"days{end}": Cell(found.whole.days[place],
                               f"ROUNDUP(([dig{end}]+[carry]+[spread])/"
                               "(machine_day-machine_set_up)-1E-9,0)"),
            f"hours{end}": Cell(found.whole.hours[place],
                                f"[dig{end}]+[carry]+[spread]+[days{end}]*machine_set_up")}
    table.total = total
    return table


def _materials(plan: Plan, units: Units, taken: Sequence[Bought], numbers: Mapping[str, int]
               ) -> Table:
    table = Table("materials", "What is bought for each work", (
        *_WORK, Column("kind", "kind", "", "text"),
        Column("pipe", "pipe", units.name("length"), "length"),
        Column("tank", "tanks hold", units.name("volume"), "volume"),
        Column("stone", "stone, loose", units.name("earth"), "earth"),
        Column("trees", "trees", "", "count"),
        Column("seed", "seed and mulch", units.name("area"), "area"),
        Column("gravel", "gravel", units.name("earth"), "earth"),
        Column("pump", "pumps", "", "count")))
    earth, own = units.factor("earth"), any(work.tanks for work in taken)
    for work in taken:
        table.rows[work.name] = {
            **_named(numbers, work.name), "kind": Cell(work.kind),
            "pipe": Cell(work.pipe * units.factor("length"), given=True),
            "tank": Cell(sum(one.volume for one in work.tanks) * units.factor("volume"),
                         "SUMIF([tanks:no:*],[no],[tanks:volume:*])" if own else "0"),
            "stone": Cell(work.stone * earth, given=True), "trees": Cell(work.trees, given=True),
            "seed": Cell(work.raw * units.factor("area"), given=True),
            "gravel": Cell(work.gravel * earth, given=True),
            "pump": Cell(int(work.pump), given=True)}
    if table.rows:
        table.total = _summed(table, [key for key, _, _ in BOUGHT])
    return table


def _tanks(plan: Plan, units: Units, taken: Sequence[Bought], numbers: Mapping[str, int]
           ) -> Table:
    money, rules = plan.site.money, plan.inputs.rules
    currency = cell_text(money.currency) if money else "money"
    table = Table("tanks", "Tanks, each by itself", (
        *_WORK, Column("made", "made of", "", "text"),
        Column("volume", "holds", units.name("volume"), "volume"),
        Column("ownlow", "its own price, low", currency, "money"),
        Column("ownhigh", "its own price, high", currency, "money"),
        Column("costlow", "cost, low", currency, "money"),
        Column("costhigh", "cost, high", currency, "money"),
        Column("unpriced", "without a price", "", "count"),
        Column("lasts", "lasts at least", "years", "count"),
        Column("lastsbest", "at best", "years", "count"),
        Column("renewlow", "to lay by a year, low", currency, "money"),
        Column("renewhigh", "to lay by a year, high", currency, "money")),
        notes=("A tank without a price of its own is priced by what it holds.",))
    each = money.tank.range if money is not None and money.tank is not None else None
    interest = money.interest if money else 0.0
    for work in taken:
        for number, one in enumerate(work.tanks, 1):
            own = one.price if money is not None else None  # without rates no money is told
            price = own if own is not None else (
                None if each is None else (one.volume * each[0], one.volume * each[1]))
            lives = (rules[f"{one.made_of} tank lasts at best"],
                     rules[f"{one.made_of} tank lasts"])
            row: Row = {
                **_named(numbers, work.name), "made": Cell(one.made_of),
                "volume": Cell(one.volume * units.factor("volume"), given=True),
                "unpriced": Cell(int(price is None), "IF([costlow]=\"\",1,0)"),
                "lasts": Cell(lives[1], given=True), "lastsbest": Cell(lives[0], given=True)}
            for place, end in enumerate(LOW_HIGH):
                life = ("[lastsbest]", "[lasts]")[place]
                row |= {
                    f"own{end}": Cell(None if own is None else own[place], given=True),
                    f"cost{end}": Cell(
                        None if price is None else price[place],
                        f"IF([own{end}]<>\"\",[own{end}],IF(rate_tank_{end}=\"\",\"\","
                        f"[volume]*rate_tank_{end}))"),
                    f"renew{end}": Cell(
                        None if price is None else laid_by(price[place], lives[place], interest),
                        f"IF([cost{end}]=\"\",\"\",{_laid_by(f'[cost{end}]', life)})")}
            table.rows[f"{numbers[work.name]}.{number}"] = row
    return table


def _laid_by(cost: str, years: str) -> str:
    return (f"IF(interest=0,{cost}/{years},{cost}*interest/((1+interest)^{years}-1))")


def _cost(plan: Plan, taken: Sequence[Bought], numbers: Mapping[str, int]) -> Table:
    currency = cell_text(plan.site.money.currency) if plan.site.money else "money"
    parts = (("machine", "machine", "rate_machine_hour"), *_taken(taken))
    table = Table("cost", "What each work costs, from low to high", (
        *_WORK, *(Column(f"{key}{end}", f"{head}, {end}", currency, "money")
                  for key, head, _ in parts for end in LOW_HIGH),
        Column("alllow", "all, low", currency, "money"),
        Column("allhigh", "all, high", currency, "money"),
        Column("unpriced", "taken, and without a rate", "", "text")),
        notes=("The machine of the whole site comes for whole days, and is brought and fetched "
               "once; so its sum is not that of the works.",
               "Not priced at all: gutters and downspouts, fittings and filters, permits, "
               "your own days."))
    told = {work.name: work for work in plan.money.works} if plan.money else {}
    dug = {work.name for work in plan.earth.works} if plan.earth else set()
    for work in taken:
        row, priced = _named(numbers, work.name), told.get(work.name)
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
    total = dict(_ALL)
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
    if work is None or key in ("gravel", "pump"):
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


def _taken(works: Sequence[Bought]) -> tuple[tuple[str, str, str], ...]:
    """Of `BOUGHT`, what some work takes."""
    amounts = [_amounts(work) for work in works]
    return tuple(part for part in BOUGHT if any(amount[part[0]] for amount in amounts))


def _amounts(work: Bought) -> dict[str, float]:
    return {"pipe": work.pipe, "tank": sum(one.volume for one in work.tanks),
            "stone": work.stone, "trees": work.trees, "seed": work.raw, "gravel": work.gravel,
            "pump": float(work.pump)}


def _lacking(parts: Sequence[tuple[str, str, str]]) -> str:
    """The parts that a work takes and no rate prices, as words."""
    lacks = {key: "SUMIF([tanks:no:*],[no],[tanks:unpriced:*])>0" if key == "tank" else
             f"AND([materials:{key}]>0,[{key}low]=\"\")" for key, _, _ in parts}
    words = "&".join(f"IF({lack},\"{key} \",\"\")" for key, lack in lacks.items()) or "\"\""
    return f"SUBSTITUTE(TRIM({words}),\" \",\", \")"


def _unpriced(work: Bought, priced: WorkMoney | None) -> str:
    """The same as the plan says it; where the site file states no rates, all that is taken."""
    lacks = set(priced.unpriced) if priced is not None else {
        key for key, amount in _amounts(work).items() if amount}
    return ", ".join(key for key, _, _ in BOUGHT if key in lacks)


def _year(plan: Plan) -> str:
    """Which of the two average years water is kept in."""
    return YEARS[soil_dries(plan.site)]


def _worth(plan: Plan, units: Units, taken: Sequence[Bought], numbers: Mapping[str, int]
           ) -> Table:
    currency = cell_text(plan.site.money.currency) if plan.site.money else "money"
    water, per = units.water
    each = f"{currency} for each {water}"
    table = Table("worth", "What the money buys: storage, and water kept", (
        *_WORK, Column("holds", "it holds", units.name("volume"), "volume"),
        Column("kept", f"it keeps in an {_year(plan)}", units.name("volume"), "volume"),
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
        row = {**_named(numbers, work.name), "holds": Cell(holds * by, given=True),
               "kept": Cell(None if kept is None else kept * by, given=True),
               **money_cells(priced)}
        for place, end in enumerate(LOW_HIGH):
            row[f"cost{end}"] = Cell(_all(priced, place), f"[cost:all{end}]")
            life = ("pipe_lasts_at_best", "pipe_lasts")[place]
            pipe = (f"IF([cost:pipe{end}]=\"\",0,{_laid_by(f'[cost:pipe{end}]', life)})"
                    if piped else "0")  # without any pipe there is no such column
            mine = f"SUMIF([tanks:no:*],[no],[tanks:renew{end}:*])+" if tanks else ""
            row[f"renew{end}"] = Cell(priced.renewal[place] if priced else 0.0, mine + pipe)
        table.rows[work.name] = row
    if not table.rows:
        return table
    whole = plan.money.whole if plan.money else None
    total = _summed(table, ("holds", "kept", "renewlow", "renewhigh")) | money_cells(whole)
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


def _besides(plan: Plan, units: Units, worth: Table) -> dict[str, Row]:
    """What natural hollows of the site file, which nobody digs or buys, hold and keep."""
    names = [name for name in dict.fromkeys(p.placed.work.name for p in plan.stores
                                            if p.store.kind == "hollow") if name not in worth.rows]
    if not names:
        return {}
    found = [stored_and_kept(plan, name) for name in names]
    sums = {"natural hollows, which nobody digs, hold besides": sum(held for held, _ in found),
            f"natural hollows keep besides in an {_year(plan)}":
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
    add("gravel", earth, "materials", "gravel")
    add("trees", "", "materials", "trees")
    add("ground to seed and mulch", units.name("area"), "materials", "seed")
    add("all works hold", units.name("volume"), "worth", "holds")
    add(f"they keep in an {_year(plan)}", units.name("volume"), "worth", "kept")
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
