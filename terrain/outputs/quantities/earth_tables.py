"""Tables of the bill on earth and the machine that moves it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from terrain.outputs.plain_text import cell_text
from terrain.outputs.quantities.assumptions import (
    LOW_HIGH,
    Units,
)
from terrain.outputs.quantities.tables import Cell, Column, Table
from terrain.outputs.quantities.work_rows import WORK, named, summed
from terrain.plan.earth.cost import machine_output
from terrain.plan.planned import Plan


def earth_table(plan: Plan, units: Units, numbers: Mapping[str, int]) -> Table:
    """Earth that each work gives and takes."""
    by, name = units.factor("earth"), units.name("earth")
    ground = f"{name}, in the ground"
    table = Table("earth", "Earth of each work", (
        *WORK, Column("kind", "kind", "", "text"), Column("soil", "soil", "", "text"),
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
            **named(numbers, work.name), "kind": Cell(work.kind), "soil": Cell(work.soil),
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
        table.total = summed(table, ("cut", "cutloose", "topsoil", "back", "bank", "usable",
                                      "takes"))
    return table


def furrow_table(plan: Plan, units: Units, numbers: Mapping[str, int]) -> Table:
    """Every furrow, one by one."""
    by, name = units.factor("earth"), units.name("earth")
    long, deep = units.factor("length"), units.factor("level")
    table = Table("furrows", "Furrows dug by hand", (
        *WORK, Column("to", "to", "", "text"),
        Column("length", "length", units.name("length"), "length"),
        Column("width", "width", units.name("level"), "ratio"),
        Column("depth", "mean depth, dug or banked", units.name("level"), "ratio"),
        Column("gathers", "trench along the sill", units.name("length"), "length"),
        Column("least", "depth of that", units.name("level"), "ratio"),
        Column("earth", "earth", f"{name}, in the ground", "earth")),
        notes=("Laid beside the furrow: it makes up its sides, and its bed in a low place.",
               "Earth is counted bare and so wide. The order of work tells which are dug wider or "
               "lined because they scour: stone and sod stand under Materials, the greater width "
               "is neither counted nor priced."))
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
        table.total = summed(table, ("length", "earth"))
    return table


def share_table(plan: Plan, units: Units, numbers: Mapping[str, int]) -> Table:
    """Where the earth of each work goes."""
    by, name = units.factor("earth"), units.name("earth")
    ground = f"{name}, in the ground"
    table = Table("share", "Where its earth goes", (
        *WORK, Column("come", "comes from other works", ground, "earth"),
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
            **named(numbers, work.name),
            "come": Cell(come * by, _of_hauls(found.hauls, "tono")),
            "gone": Cell(gone * by, _of_hauls(found.hauls, "fromno")),
            "wanting": Cell(found.wanting.get(work.name, 0.0) * by,
                            "IF(-[earth:spare]-[come]<least_earth,0,-[earth:spare]-[come])"),
            "spread": Cell(part.volume * by if part else 0.0, f"IF({little},0,MAX({left},0))"),
            "topspread": Cell(part.topsoil * by if part else 0.0,
                              f"IF({little},0,[earth:topsoil]-[earth:back])"),
            "area": Cell(part.area * units.factor("area") if part else 0.0,
                         f"([spread]+[topspread])*[earth:loose]*{over:.12g}/spoil_thickness")}
    table.total = summed(table, ("come", "gone", "wanting", "spread", "topspread", "area"))
    return table


def _of_hauls(hauls: Sequence[Any], end: str, what: str = "volume") -> str:
    return f"SUMIF([hauls:{end}:*],[no],[hauls:{what}:*])" if hauls else "0"


def haul_table(plan: Plan, units: Units, numbers: Mapping[str, int]) -> Table:
    """Every haul from one work to another."""
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


def machine_table(plan: Plan, units: Units, numbers: Mapping[str, int]) -> Table:
    """Hours and days of the machine, and days by hand."""
    table = Table("machine", "Machine hours of each work", (
        *WORK, Column("output", "machine's output", f"{units.name('earth')} an hour", "earth"),
        Column("diglow", "digging and finishing, easy ground", "h", "hours"),
        Column("dighigh", "the same, part of it hard", "h", "hours"),
        Column("carry", "carrying to other works", "h", "hours"),
        Column("spread", "spreading", "h", "hours"),
        Column("hourslow", "all, set-up included, low", "h", "hours"),
        Column("hourshigh", "all, set-up included, high", "h", "hours"),
        Column("dayslow", "days, low", "days", "ratio"),
        Column("dayshigh", "days, high", "days", "ratio"),
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
            **named(numbers, work.name),
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
    total = summed(table, ("diglow", "dighigh", "carry", "spread"))
    for place, end in enumerate(LOW_HIGH):
        total |= {
            f"days{end}": Cell(found.whole.days[place],
                               f"ROUNDUP(([dig{end}]+[carry]+[spread])/"
                               "(machine_day-machine_set_up)-1E-9,0)"),
            f"hours{end}": Cell(found.whole.hours[place],
                                f"[dig{end}]+[carry]+[spread]+[days{end}]*machine_set_up")}
    table.total = total
    return table
