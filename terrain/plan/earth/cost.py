"""Machine hours, days by hand and money from earth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from terrain.works.rules import Rulebook

#: Low and high.
Range = tuple[float, float]


def loose_per_bank(soil: str, rules: Rulebook) -> float:
    """Loose earth, as it is carried, from each m3 in the ground. [-]

    Parameters
    ----------
    soil : str
        clay, loam or sand.

    References
    ----------
    .. [1] US Army FM 5-434, Earthmoving Operations, 2000, Table 1-1.
    """
    return rules[f"loose per bank {soil}"]


def machine_output(rules: Rulebook, soil: str = "loam") -> float:
    """Earth that a digger takes out in an hour, as it lies in the ground. [m3/h]

    Bucket x fill x 3600 / cycle x efficiency / loose per bank.

    References
    ----------
    .. [1] US Army FM 5-434, Earthmoving Operations, 2000: the formula; its inputs are rules.
    """
    return (rules["machine bucket"] * rules["machine fill"] * 3600 / rules["machine cycle"]
            * rules["machine efficiency"] / loose_per_bank(soil, rules))


def dig_hours(volume: float, output: float, rules: Rulebook, hard: float) -> Range:
    """Hours to dig, in easy ground and where a share of it is hard; nothing for finishing. [h]

    Parameters
    ----------
    volume : float
        As it lies in the ground. [m3]
    output : float
        [m3/h]
    hard : float
        Share of the ground that is hard, at worst. [-]
    """
    easy = volume / output
    return easy, easy * (1 - hard + hard / rules["hard ground output"])


@dataclass(frozen=True)
class Quantities:
    """What it takes to build a work by itself.

    Attributes
    ----------
    cut : float
        Earth dug, bank measure. [m3]
    bank : float
        Earth in berm or wall, compacted measure. [m3]
    hours : float
        Machine hours in easy ground, finishing included. [h]
    money : (float, float) or None
        Low and high, where the site file states rates.
    currency : str
    topsoil : float
        Of the cut, what goes into no bank. [m3]
    hours_most : float
        Machine hours where part of the ground is hard. [h]
    soil : str
        clay, loam or sand.
    """

    cut: float
    bank: float
    hours: float
    money: Range | None = None
    currency: str = ""
    topsoil: float = 0.0
    hours_most: float = 0.0
    soil: str = "loam"

    def spare(self, rules: Rulebook) -> float:
        """What the cut leaves over once the bank is built, compacted measure; below 0 what must be
        brought. [m3]"""
        return (self.cut - self.topsoil) * rules["compacted per bank"] - self.bank

    def left_over(self, rules: Rulebook) -> tuple[float, float]:
        """The same as it lies in the ground and loose, as it is carried. [m3]"""
        spare = self.spare(rules) / rules["compacted per bank"]
        return spare, spare * loose_per_bank(self.soil, rules)


def quantities(cut: float, bank: float, rules: Rulebook, output: float | None = None,
               rates: Range | None = None, currency: str = "", topsoil: float = 0.0,
               soil: str = "loam", hard: float = 0.0) -> Quantities:
    """Machine time and cost of a work from its earth.

    Parameters
    ----------
    cut, bank : float
        A bank that needs more than the cut gives is dug elsewhere: the larger counts. [m3]
    output : float, optional
        By `machine_output` if left out. [m3/h, bank measure]
    rates : (float, float), optional
        Money for a machine hour with its operator, low and high.
    topsoil : float
        Of the cut, what is moved and goes into no bank. [m3]
    soil : str
        clay, loam or sand.
    hard : float
        Share of the ground that is hard, at worst. [-]
    """
    moved = max(cut - topsoil, bank / rules["compacted per bank"]) + topsoil
    finished = 1 + rules["finishing share"]
    low, high = (hours * finished for hours in
                 dig_hours(moved, output or machine_output(rules, soil), rules, hard))
    money = None if rates is None else (low * min(rates), high * max(rates))
    return Quantities(cut, bank, low, money, currency, topsoil, high, soil)


def hand_days(cut: float, rules: Rulebook, largest: float | None = None) -> Range | None:
    """Days of one worker who digs a small work by hand, in soft and in very hard soil; None for
    one that is not small. [days]

    Parameters
    ----------
    cut : float
        [m3]
    largest : float, optional
        Of several like pits, the cut of the largest, which alone must be small. [m3]

    References
    ----------
    .. [1] ILO, Building Rural Roads, 2008: task rates of excavation, from memory.
    """
    if not 0 < (cut if largest is None else largest) <= rules["hand digging most"]:
        return None
    earth = cut * (1 + rules["finishing share"])
    return earth / rules["hand digging easy"], earth / rules["hand digging hard"]


@dataclass(frozen=True)
class Bill:
    """What a machine costs for one work, or for all.

    Attributes
    ----------
    dig : (float, float)
        Digging and finishing, in easy ground and where part of it is hard. [h]
    carry, spread : float
        Carrying spare earth to other works, and spreading what is left. [h]
    hours : (float, float)
        All of it, each day's set-up included. [h]
    days : (float, float)
        [days]
    money : (float, float) or None
        Where the site file states rates.
    """

    dig: Range
    carry: float
    spread: float
    hours: Range
    days: Range
    money: Range | None


def bill(dig: Range, carry: float, spread: float, rules: Rulebook, rates: Range | None = None
         ) -> Bill:
    """The machine's bill for one work, its share of the days' set-up included.

    Raises
    ------
    ValueError
        If setting up takes the whole day.
    """
    of_day = _of_day(rules)
    low, high = ((hours + carry + spread) / of_day for hours in dig)
    hours = low * rules["machine day"], high * rules["machine day"]
    return Bill(dig, carry, spread, hours, (low, high), _paid(hours, rates))


def whole_bill(bills: Sequence[Bill], rules: Rulebook, rates: Range | None = None,
               haulage: Range = (0.0, 0.0)) -> Bill:
    """The bill for all works: whole days, and the machine brought and fetched once.

    Parameters
    ----------
    haulage : (float, float)
        Money for hauling the machine one way.
    """
    work = [sum(part.dig[end] + part.carry + part.spread for part in bills) for end in (0, 1)]
    low, high = (float(math.ceil(hours / _of_day(rules) - 1e-9)) for hours in work)
    hours = (work[0] + low * rules["machine set-up"], work[1] + high * rules["machine set-up"])
    paid = _paid(hours, rates)
    money = (None if paid is None else (paid[0] + 2 * haulage[0], paid[1] + 2 * haulage[1])
             if bills else paid)
    dig = (sum(part.dig[0] for part in bills), sum(part.dig[1] for part in bills))
    return Bill(dig, sum(part.carry for part in bills), sum(part.spread for part in bills),
                hours, (low, high), money)


def _of_day(rules: Rulebook) -> float:
    """Hours of a machine's day that are left for work. [h]"""
    left = rules["machine day"] - rules["machine set-up"]
    if left <= 0:
        raise ValueError(f"setting up the machine takes {rules['machine set-up']:g} h of a day of "
                         f"{rules['machine day']:g} h (machine set-up, machine day)")
    return left


def _paid(hours: Range, rates: Range | None) -> Range | None:
    return None if rates is None else (hours[0] * min(rates), hours[1] * max(rates))
