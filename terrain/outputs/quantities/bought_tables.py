"""Tables of the bill on what is bought for each work."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from terrain.outputs.plain_text import cell_text
from terrain.outputs.quantities.assumptions import (
    LOW_HIGH,
    Units,
)
from terrain.outputs.quantities.tables import Cell, Column, Table
from terrain.outputs.quantities.work_rows import WORK, Row, named, summed
from terrain.plan.money.bought import Bought
from terrain.plan.money.payback import laid_by
from terrain.plan.planned import Plan

#: What a work may take beside the machine: its key, its head, the name of its rate.
BOUGHT = (("pipe", "pipe", "rate_pipe"), ("tank", "tanks", ""), ("stone", "stone", "rate_stone"),
          ("sod", "sod", "rate_sod"), ("trees", "trees", "rate_tree"),
          ("seed", "seed and mulch", "rate_seed"),
          ("gravel", "gravel", "rate_gravel"), ("pump", "pump", "rate_pump"),
          ("drops", "drops", "rate_drops"))


def material_table(plan: Plan, units: Units, taken: Sequence[Bought], numbers: Mapping[str, int]
                   ) -> Table:
    """What each work takes beside the machine."""
    table = Table("materials", "What is bought for each work", (
        *WORK, Column("kind", "kind", "", "text"),
        Column("pipe", "pipe", units.name("length"), "length"),
        Column("tank", "tanks hold", units.name("volume"), "volume"),
        Column("stone", "stone, loose", units.name("earth"), "earth"),
        Column("sod", "sod in furrows", units.name("area"), "area"),
        Column("trees", "trees", "", "count"),
        Column("seed", "seed and mulch", units.name("area"), "area"),
        Column("gravel", "gravel", units.name("earth"), "earth"),
        Column("pump", "pumps", "", "count"),
        Column("drops", "fall of furrows in drops over stone", units.name("level"), "ratio")),
        notes=("Stone and sod of furrows are what lines them where bare earth scours, as the order "
               "of work tells; the stone of drops is not reckoned.",))
    earth, own = units.factor("earth"), any(work.tanks for work in taken)
    for work in taken:
        table.rows[work.name] = {
            **named(numbers, work.name), "kind": Cell(work.kind),
            "pipe": Cell(work.pipe * units.factor("length"), given=True),
            "tank": Cell(sum(one.volume for one in work.tanks) * units.factor("volume"),
                         "SUMIF([tanks:no:*],[no],[tanks:volume:*])" if own else "0"),
            "stone": Cell(work.stone * earth, given=True),
            "sod": Cell(work.sod * units.factor("area"), given=True),
            "drops": Cell(work.drops * units.factor("level"), given=True),
            "trees": Cell(work.trees, given=True),
            "seed": Cell(work.raw * units.factor("area"), given=True),
            "gravel": Cell(work.gravel * earth, given=True),
            "pump": Cell(int(work.pump), given=True)}
    if table.rows:
        table.total = summed(table, [key for key, _, _ in BOUGHT])
    return table


def tank_table(plan: Plan, units: Units, taken: Sequence[Bought], numbers: Mapping[str, int]
               ) -> Table:
    """Every tank, one by one."""
    money, rules = plan.site.money, plan.inputs.rules
    currency = cell_text(money.currency) if money else "money"
    table = Table("tanks", "Tanks, each by itself", (
        *WORK, Column("made", "made of", "", "text"),
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
                **named(numbers, work.name), "made": Cell(one.made_of),
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
                        f"IF([cost{end}]=\"\",\"\",{laid_by_formula(f'[cost{end}]', life)})")}
            table.rows[f"{numbers[work.name]}.{number}"] = row
    return table


def laid_by_formula(cost: str, years: str) -> str:
    """What is laid by each year for what lasts so many years, as `payback.laid_by`."""
    return (f"IF(interest=0,{cost}/{years},{cost}*interest/((1+interest)^{years}-1))")


def what_is_taken(works: Sequence[Bought]) -> tuple[tuple[str, str, str], ...]:
    """Of `BOUGHT`, what some work takes."""
    amounts = [amounts_of(work) for work in works]
    return tuple(part for part in BOUGHT if any(amount[part[0]] for amount in amounts))


def amounts_of(work: Bought) -> dict[str, float]:
    """How much a work takes of each part of `BOUGHT`."""
    return {"pipe": work.pipe, "tank": sum(one.volume for one in work.tanks),
            "stone": work.stone, "sod": work.sod, "drops": work.drops, "trees": work.trees,
            "seed": work.raw, "gravel": work.gravel,
            "pump": float(work.pump)}
