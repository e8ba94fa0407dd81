"""Works that two have changed at the same time, put together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from terrain.inputs.site_works import Work
from terrain.outputs.site_text.works_text import Entry

#: Fields that may name another work.
_NAMING = ("spills_to", "along", "to", "joined_with")


@dataclass(frozen=True)
class Joined:
    """Works that two have changed at the same time, put together.

    Attributes
    ----------
    entries : tuple of Entry
        Their origins are names in the other's text.
    clashes : tuple of str
        Names of works that each changed in another way.
    """

    entries: tuple[Entry, ...]
    clashes: tuple[str, ...]


def joined(base: Sequence[Work], mine: Sequence[Entry], theirs: Sequence[Work]) -> Joined:
    """Works that I changed, and that someone else changed in the text meanwhile, put together.

    Where both changed a work in different ways the text's own stands. What one side took out and
    the other changed stays as changed. A new work of mine that has the name of a new one of theirs
    gets another.

    Parameters
    ----------
    base : sequence of Work
        The works that both began with.
    mine : sequence of Entry
        What I made of them.
    theirs : sequence of Work
        What the text holds now.
    """
    old = {work.name: work for work in base}
    now = {work.name: work for work in theirs}
    clashes: list[str] = []
    mine, twins = _apart(mine, old, now)
    own = {entry.origin: entry.work for entry in mine if entry.origin is not None}
    kept: list[Entry] = []
    back: dict[str, str] = {}
    for name, work in now.items():
        if name not in old or work == old[name]:
            if name not in old or name in own:
                kept.append(Entry(name, own.get(name, work)))
            continue
        kept.append(Entry(name, work))
        if own.get(name) not in (old[name], work):
            clashes.append(name)
            if name in own and own[name].name != name:
                back[own[name].name] = name  # its new name goes with my change
    for entry in mine:
        if entry.origin is None and now.get(entry.work.name) != entry.work:
            kept.append(entry)
        elif entry.origin is not None and entry.origin not in now and (
                entry.work != old[entry.origin]):
            kept.append(Entry(None, entry.work))
            clashes.append(entry.origin)
    entries = (Entry(entry.origin, _naming(entry.work, back)) for entry in kept)
    return Joined(tuple(entries), (*clashes, *twins))


def _apart(mine: Sequence[Entry], old: dict[str, Work], now: dict[str, Work]
           ) -> tuple[list[Entry], list[str]]:
    """My works with other names for those that they gave to a new work of their own, and these."""
    taken = {*now, *(entry.work.name for entry in mine)}
    named: dict[str, str] = {}
    for entry in mine:
        name = entry.work.name
        if name in now and name not in old and now[name] != entry.work:
            number = 2
            while f"{name} {number}" in taken:
                number += 1
            named[name] = f"{name} {number}"
            taken.add(named[name])
    return [Entry(entry.origin, _naming(entry.work, named)) for entry in mine], list(named)


def _naming(work: Work, named: dict[str, str]) -> Work:
    """A work with other names for itself and for those that it names."""
    update: dict[str, Any] = {
        field: named[given] for field in ("name", *_NAMING)
        if isinstance(given := getattr(work, field, None), str) and given in named}
    uses = getattr(work, "uses", [])
    if any(use.grey_water_to in named for use in uses):
        update["uses"] = [use.model_copy(update={"grey_water_to": named.get(
            use.grey_water_to, use.grey_water_to)}) for use in uses]
    return work.model_copy(update=update) if update else work
