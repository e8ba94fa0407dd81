"""A value that the owner fixed by hand, and what that costs, in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from terrain.plan.earth.cost import Range

#: Prints a figure of a dimension with its unit.
Show = Callable[[float, str], str]
#: Figures closer than this are the same to a person: lengths [m], slopes and counts; and earth or
#: water closer than this share of it, or than a tenth of a m3.
SAME = 0.005
SAME_VOLUME = 0.1
#: Machine hours of the whole site closer than this are the same. [h]
SAME_HOURS = 0.05


@dataclass(frozen=True)
class Figures:
    """What a work comes to, its tree basins together.

    Attributes
    ----------
    storage, cut, bank : float
        [m3]
    sill_length, head : float or None
        Of its sill, and the depth over it at the design peak; None where there are several, but of
        the whole site the greatest depth. [m]
    freeboard : float or None
        Of its bank above that water; None without a bank that holds water. Of the whole site the
        least. [m]
    hours : (float, float)
        Of the machine on the whole site: digging, finishing, carrying, spreading, and each day's
        set-up in its share; the sum of the bills of all works. [h]
    money : (float, float) or None
        For those hours, where the site file states rates; without hauling the machine.
    """

    storage: float
    cut: float
    bank: float
    sill_length: float | None
    head: float | None
    freeboard: float | None
    hours: Range
    money: Range | None


@dataclass(frozen=True)
class FixedValue:
    """One value fixed by hand, and the same work with it left open.

    Attributes
    ----------
    work : str
        "" for a rule, which is fixed for the whole site.
    field : str
        Name of the field, or of the rule, as it is written in the site file.
    dimension : str or None
        As `units.shown` takes it; None for a bare figure, "%" for a share.
    fixed : float or None
        As the site file states it; of checks how far apart they stand [m]; None for a place.
    built, built_most : float or None
        What it comes to as the work is built, the least and the most where tree basins of one
        entry differ; of checks how many there are.  None for a place and a rule.
    left_open, left_open_most : float or None
        What that would be.  None where it cannot be left open; of a place, how far off it would
        be.
    before, after : Figures or None
        As it is, and as it would be.
    refused : str
        Why it cannot be left open.
    rule : str
        The rule that decides it when left open, where one alone does.
    currency : str
    """

    work: str
    field: str
    dimension: str | None
    fixed: float | None
    built: float | None = None
    built_most: float | None = None
    left_open: float | None = None
    left_open_most: float | None = None
    before: Figures | None = None
    after: Figures | None = None
    refused: str = ""
    rule: str = ""
    currency: str = ""

    @property
    def changes(self) -> bool:
        """Whether anything would be otherwise."""
        before, after = self.before, self.after
        if self.refused or before is None or after is None:
            return False
        return (_more(before.storage, after.storage) or _more(before.cut, after.cut)
                or _more(before.bank, after.bank)
                or _apart(before.head, after.head) or _apart(before.sill_length, after.sill_length)
                or _apart(before.freeboard, after.freeboard)
                or _dearer(before.hours, after.hours))

    def said(self, show: Show) -> str:
        """In a sentence."""
        name = {"sill at": "the place of its sill (sill at)"}.get(self.field, f"its {self.field}")
        subject = f"\"{self.work}\": {name}" if self.work else f"The rule {self.field}"
        start = f"{subject} {'are' if self.field == 'checks' else 'is'} fixed"
        start += self._at(show)
        if self.refused:
            return f"{start}; it cannot be left open: {self.refused}."
        if self.same:
            return f"{start}; left open it would be the same{self._by_rule}, so it costs nothing."
        return f"{start}; left open {self._would(show)}: {self._said_of_changes(show)}."

    @property
    def same(self) -> bool:
        """Whether leaving it open changes neither it nor anything else."""
        near = 0.5 if self.field == "sill at" else SAME
        least, most = ((self.fixed or 0.0,) * 2 if self.built is None or self.built_most is None
                       else (self.built, self.built_most))
        return not self.refused and not self.changes and all(
            value is not None and abs(value - was) < near * max(1.0, 0.05 * value)
            for value, was in ((self.left_open, least), (self.left_open_most, most)))

    def _at(self, show: Show) -> str:
        """The value as the site file states it, and what comes of it where that is another."""
        if self.fixed is None:
            return ""
        if self.field == "checks":
            count = self._span(self.built, None, show)
            return f" at {show(self.fixed, 'length')} apart, {count} of them"
        value = self._value(self.fixed, show)
        comes = self._span(self.built, self.built_most, show)
        return f" at {value}" + (f", which comes to {comes} as built"
                                 if self.built is not None and comes != value else "")

    @property
    def _by_rule(self) -> str:
        return f" ({self.rule})" if self.rule else ""

    def _would(self, show: Show) -> str:
        assert self.left_open is not None
        if self.field == "sill at":
            return f"it would be cut {show(self.left_open, 'length')} from there"
        value = self._span(self.left_open, self.left_open_most, show)
        verb = "there would be" if self.field == "checks" else "it would be"
        return f"{verb} {value}{self._by_rule}"

    def _span(self, least: float | None, most: float | None, show: Show) -> str:
        if least is None:
            return ""
        apart = most is not None and most - least >= SAME
        return self._value(least, show) + (f" to {self._value(most, show)}"
                                           if most is not None and apart else "")

    def _value(self, value: float, show: Show) -> str:
        if self.dimension is None:
            return f"{value:.4g}"
        return f"{value:.2%}" if self.dimension == "%" else show(value, self.dimension)

    def _said_of_changes(self, show: Show) -> str:
        before, after = self.before, self.after
        if not self.changes or before is None or after is None:
            return "nothing that is held or dug would change"
        said, takes = [], []
        for what, was, would, dimension in (
                ("", before.storage, after.storage, "volume"),
                ("digging", before.cut, after.cut, "earth"),
                ("bank", before.bank, after.bank, "earth")):
            if _more(was, would):
                change = f"{show(abs(would - was), dimension)} {_way(was, would)}"
                if what:
                    takes.append(f"{change} {what}")
                else:
                    said.append(f"hold {change}")
        if takes:
            said.append(f"take {_listed(takes)}")
        parts = [f"it would {_listed(said)}"] if said else []
        if _dearer(before.hours, after.hours):
            parts.append("the machine work of the whole site, carrying and spreading included, "
                         f"would {self._price(before, after)}")
        for old, new, dimension, words in (
                (before.sill_length, after.sill_length, "length",
                 "" if self.field == "sill length" else "its sill would be {} long instead of {}"),
                (before.head, after.head, "size",
                 f"the design peak would stand {'' if self.work else 'at most '}{{}} on "
                 f"{'its' if self.work else 'a'} sill instead of {{}}"),
                (before.freeboard, after.freeboard, "size",
                 f"{'its' if self.work else 'the least'} freeboard would be {{}} instead of {{}}")
                ):
            if words and old is not None and new is not None and _apart(old, new):
                parts.append(words.format(show(new, dimension), show(old, dimension)))
        return "; ".join(parts)

    def _price(self, before: Figures, after: Figures) -> str:
        """The difference in money, or in hours where no rates are known."""
        if before.money is not None and after.money is not None:
            ends = [round(b - a) for a, b in zip(before.money, after.money, strict=True)]
            return f"cost {_ends(ends, ',.0f', self.currency)}"
        hours = [round(b - a, 1) for a, b in zip(before.hours, after.hours, strict=True)]
        return f"take {_ends(hours, '.1f', 'machine hours')}"


def _apart(one: float | None, other: float | None) -> bool:
    return one is not None and other is not None and abs(one - other) >= SAME


def _more(one: float, other: float) -> bool:
    return abs(one - other) >= max(SAME_VOLUME, SAME * abs(one))


def _dearer(before: Range, after: Range) -> bool:
    return any(abs(b - a) >= SAME_HOURS for a, b in zip(before, after, strict=True))


def _ends(ends: Sequence[float], digits: str, unit: str) -> str:
    """How much more or less, from the low end to the high; each by itself where they part."""
    if min(ends) < 0 < max(ends):
        return " and ".join(f"{abs(end):{digits}} {unit} {_way(0.0, end)} at the {which} end"
                            for end, which in zip(ends, ("low", "high"), strict=True))
    low, high = sorted(abs(end) for end in ends)
    return f"{low:{digits}} to {high:{digits}} {unit} {_way(0.0, sum(ends))}"


def _way(one: float, other: float) -> str:
    return "more" if other > one else "less"


def _listed(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
