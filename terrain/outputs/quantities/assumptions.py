"""Rates and rules that a person may change, each a named cell, in the site's units."""

from __future__ import annotations

from dataclasses import dataclass

from terrain.inputs.made_from import fingerprints, made_with
from terrain.inputs.site_money import Price, Range
from terrain.outputs.plain_text import cell_text
from terrain.outputs.quantities.tables import Cell, Column, Table
from terrain.plan.earth.earthworks import LEAST
from terrain.plan.planned import Plan
from terrain.units import PRINTED

#: Rules that the bill reckons with: name of its cell, and the dimension of its figure in
#: `PRINTED`, or its unit where it has none there.
RULES: dict[str, tuple[str, str]] = {
    "machine bucket": ("machine_bucket", "earth"), "machine fill": ("machine_fill", "-"),
    "machine cycle": ("machine_cycle", "s"), "machine efficiency": ("machine_efficiency", "-"),
    "machine day": ("machine_day", "h"), "machine set-up": ("machine_set_up", "h"),
    "finishing share": ("finishing_share", "-"), "hard ground share": ("hard_ground_share", "-"),
    "hard ground output": ("hard_ground_output", "-"),
    "spreading share": ("spreading_share", "-"), "spoil thickness": ("spoil_thickness", "level"),
    "haul load": ("haul_load", "earth"), "haul speed": ("haul_speed", "speed"),
    "hand digging easy": ("hand_digging_easy", "earth a day"),
    "hand digging hard": ("hand_digging_hard", "earth a day"),
    "hand digging most": ("hand_digging_most", "earth"),
    "pipe lasts": ("pipe_lasts", "years"), "pipe lasts at best": ("pipe_lasts_at_best", "years")}
LOW_HIGH = ("low", "high")


@dataclass(frozen=True)
class Units:
    """The units of a bill: names, and their factors from those kept inside."""

    system: str

    def name(self, dimension: str) -> str:
        """Of a dimension of `PRINTED`, or the unit itself."""
        if dimension == "earth a day":
            return f"{self.name('earth')} a day"
        return PRINTED[dimension][self._us][0] if dimension in PRINTED else dimension

    def factor(self, dimension: str) -> float:
        """From inside."""
        if dimension == "earth a day":
            return self.factor("earth")
        return PRINTED[dimension][self._us][1] if dimension in PRINTED else 1.0

    @property
    def _us(self) -> bool:
        return self.system == "us"

    @property
    def mass(self) -> tuple[str, float]:
        """Of stone by weight."""
        return ("short ton", 1 / 0.90718474) if self._us else ("tonne", 1.0)

    @property
    def water(self) -> tuple[str, float]:
        """The amount of water that money is told for, and how many of the volume's units it is."""
        return ("1,000 gal", 1000.0) if self._us else ("m³", 1.0)


def rate_table(plan: Plan, units: Units) -> Table:
    """What things cost; a rate that the site file does not state is left to be filled in."""
    money = plan.site.money
    currency = cell_text(money.currency) if money else "money"
    table = Table("rates", "Rates, from low to high", (
        Column("rate", "rate", "", "name"), Column("low", "low", currency, "rate"),
        Column("high", "high", currency, "rate"), Column("per", "for each", "", "text"),
        Column("source", "where it comes from", "", "long")),
        notes=("An empty rate may be filled in: what it prices then counts in every sum.",))

    def add(name: str, said: str, per: str, given: Range | None, factor: float = 1.0,
            source: str = "the site file") -> None:
        pair = (None, None) if given is None else (given[0] / factor, given[1] / factor)
        table.rows[name] = {
            "rate": Cell(said), "per": Cell(per),
            "source": Cell(source if given is not None else "not stated in the site file"),
            **{end: Cell(value, given=True) for end, value in zip(LOW_HIGH, pair, strict=True)}}
        table.names |= {(name, end): f"{name}_{end}" for end in LOW_HIGH}

    def of(price: Price | None) -> Range | None:
        return None if price is None else price.range

    add("rate_machine_hour", "machine with its operator", "hour",
        money.machine_hour if money else None)
    add("rate_haulage", "hauling the machine one way", "way", money.haulage if money else None)
    add("rate_pipe", "pipe, laid", units.name("length"), of(money.pipe) if money else None,
        units.factor("length"))
    add("rate_tank", "tank", units.name("volume"), of(money.tank) if money else None,
        units.factor("volume"))
    by_volume = money is not None and money.stone is not None and money.stone.unit != "mass"
    unit, factor = (units.name("earth"), units.factor("earth")) if by_volume else units.mass
    add("rate_stone", "stone, brought", unit, of(money.stone) if money else None, factor)
    add("rate_sod", "sod, laid", units.name("area"), of(money.sod) if money else None,
        units.factor("area"))
    add("rate_gravel", "gravel, brought", units.name("earth"), None)
    add("rate_tree", "tree", "tree", money.tree if money else None)
    add("rate_seed", "seed and mulch", units.name("area"), of(money.seed) if money else None,
        units.factor("area"))
    add("rate_pump", "pump", "pump", None)
    add("rate_drops", "drops over stone, built", f"{units.name('level')} of fall", None)
    rules = plan.inputs.rules
    upkeep = money.upkeep if money else None
    add("upkeep_share", "upkeep, share of the cost", "year",
        upkeep or (rules["upkeep least"], rules["upkeep most"]),
        source="the site file" if upkeep else rules.source("upkeep most"))
    return table


def figure_table(plan: Plan, units: Units) -> Table:
    """Single figures: what the machine does, how long things last."""
    money, rules = plan.site.money, plan.inputs.rules
    table = Table("figures", "Figures of the trade", (
        Column("figure", "figure", "", "name"), Column("value", "is", "", "rate"),
        Column("unit", "unit", "", "text"), Column("source", "where it comes from", "", "long")))

    def add(name: str, said: str, value: float | None, unit: str, source: str) -> None:
        table.rows[name] = {"figure": Cell(said), "value": Cell(value, given=True),
                            "unit": Cell(unit), "source": Cell(source)}
        table.names[name, "value"] = name

    stated = money.machine_output if money else None
    add("machine_output", "machine output, as it lies in the ground",
        None if stated is None else stated * units.factor("earth"),
        f"{units.name('earth')} an hour", "the site file" if stated is not None else
        "empty: reckoned from bucket, fill, cycle and efficiency below")
    for rule, (name, dimension) in RULES.items():
        add(name, rule, rules[rule] * units.factor(dimension), units.name(dimension),
            rules.source(rule))
    add("stone_density", "stone density", _density(plan, units),
        f"{units.mass[0]} in a {units.name('earth')}" if _stone_by_mass(plan) else "-",
        rules.source("stone density") if _stone_by_mass(plan) else "stone is priced by volume")
    add("interest", "interest a year", money.interest if money else 0.0, "-",
        "the site file" if money and money.interest else "none")
    add("least_earth", "less earth than this counts as none", LEAST * units.factor("earth"),
        units.name("earth"), "as in the report")
    return table


def _stone_by_mass(plan: Plan) -> bool:
    money = plan.site.money
    return money is None or money.stone is None or money.stone.unit == "mass"


def _density(plan: Plan, units: Units) -> float:
    if not _stone_by_mass(plan):
        return 1.0
    return plan.inputs.rules["stone density"] * units.mass[1] / units.factor("earth")


def made_from_table(plan: Plan) -> Table:
    """The files that the plan was made from, and what made it."""
    table = Table("inputs", "What this was made from", (
        Column("file", "file or program", "", "name"),
        Column("print", "SHA-256, or version", "", "print")))
    for name, found in (*fingerprints(plan.site).items(), *made_with().items()):
        table.rows[str(len(table.rows))] = {"file": Cell(cell_text(name)), "print": Cell(found)}
    return table
