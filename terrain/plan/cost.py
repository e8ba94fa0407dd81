"""Earth to move, machine hours and money."""

from __future__ import annotations

from dataclasses import dataclass

from terrain.works.rules import Rulebook

#: Bank measure that a 3.5 t machine digs in an hour: bucket 0.1 m3, 25 s a cycle; formula of US
#: Army FM 5-434, 2000, with inputs of common practice. [m3/h]
MACHINE_OUTPUT = 6.0


@dataclass(frozen=True)
class Quantities:
    """What it takes to build a work.

    Attributes
    ----------
    cut : float
        Earth dug, bank measure. [m3]
    bank : float
        Earth in berm or wall, compacted measure. [m3]
    hours : float
        Machine hours, finishing included. [h]
    money : (float, float) or None
        Low and high, where the site file states rates.
    currency : str
    topsoil : float
        Of the cut, what goes into no bank. [m3]
    """

    cut: float
    bank: float
    hours: float
    money: tuple[float, float] | None = None
    currency: str = ""
    topsoil: float = 0.0

    def spare(self, rules: Rulebook) -> float:
        """What the cut leaves over once the bank is built, compacted measure; below 0 what must be
        brought. [m3]"""
        return (self.cut - self.topsoil) * rules["compacted per bank"] - self.bank


def quantities(cut: float, bank: float, rules: Rulebook, output: float = MACHINE_OUTPUT,
               rates: tuple[float, float] | None = None, currency: str = "",
               topsoil: float = 0.0) -> Quantities:
    """Machine time and cost of a work from its earth.

    Parameters
    ----------
    cut, bank : float
        A bank that needs more than the cut gives is dug elsewhere: the larger counts. [m3]
    output : float
        [m3/h, bank measure]
    rates : (float, float), optional
        Money for a machine hour with its operator, low and high.
    topsoil : float
        Of the cut, what is moved and goes into no bank. [m3]
    """
    moved = max(cut - topsoil, bank / rules["compacted per bank"]) + topsoil
    hours = moved / output * (1 + rules["finishing share"])
    money = None if rates is None else (hours * min(rates), hours * max(rates))
    return Quantities(cut, bank, hours, money, currency, topsoil)
