"""The desk: the works as a person has them now, with each step undone and done again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from terrain.bench.laid import Laid, Ready, lay
from terrain.errors import InputError
from terrain.inputs import site_works as asked
from terrain.outputs.site_text.works_text import Entry, as_read
from terrain.plan.siting.reading import Inputs

#: So many steps can be undone.
STEPS = 200
#: What the layouts of steps on either side may hold of the ground's cells; those further off are
#: laid out again when they are come to. [bytes]
HELD = 1 << 28
#: But so many are always there.
AT_HAND = 4


@dataclass(frozen=True)
class Step:
    """A state of the works.

    Attributes
    ----------
    entries : tuple of Entry
    ground : Laid or None
        None if they are to be laid out again before anything is asked of them.
    said : str
        What was done to come to it.
    of : object
        Changes of one drag have the same; None stands by itself.
    """

    entries: tuple[Entry, ...]
    ground: Laid | None
    said: str = ""
    of: object = None

    @property
    def laid(self) -> Laid:
        """Its works on the ground."""
        assert self.ground is not None  # it was come to since it was let go of
        return self.ground


class Desk:
    """The works of a site while they are being laid out.

    Every change is tried first: one that cannot be leaves all as it was and raises `InputError`.

    Parameters
    ----------
    inputs : Inputs
        Read from the site file.
    entries : sequence of Entry, optional
        The works to begin with; left out, those of the site file.
    """

    def __init__(self, inputs: Inputs, entries: Sequence[Entry] | None = None) -> None:
        self.inputs = inputs
        self.ready = Ready(inputs)
        stated = tuple(Entry(work.name, work) for work in inputs.site.works)
        self._saved = stated
        first = stated if entries is None else tuple(entries)
        self._done = [Step(first, lay(inputs, self.ready, [e.work for e in first]))]
        self._undone: list[Step] = []

    @property
    def now(self) -> Step:
        """The state as it is."""
        return self._done[-1]

    @property
    def laid(self) -> Laid:
        """Its works on the ground."""
        return self.now.laid

    @property
    def works(self) -> list[Any]:
        """The site file's entries as they would be."""
        return [entry.work for entry in self.now.entries]

    @property
    def stated(self) -> list[Any]:
        """Works as the site file states them."""
        return [entry.work for entry in self._saved]

    @property
    def unsaved(self) -> bool:
        """Whether the site file says otherwise."""
        return self.now.entries != self._saved

    @property
    def undoes(self) -> str | None:
        """What undoing would take back; None where there is nothing."""
        return self.now.said if len(self._done) > 1 else None

    @property
    def does_again(self) -> str | None:
        """What was undone last."""
        return self._undone[-1].said if self._undone else None

    def work(self, name: str) -> Any:
        """A work by its name.

        Raises
        ------
        KeyError
        """
        return self._entry(name).work

    def _entry(self, name: str) -> Entry:
        for entry in self.now.entries:
            if entry.work.name == name:
                return entry
        raise KeyError(name)

    def free_name(self, kind: str) -> str:
        """A name that no work has: "swale 3"."""
        taken = {entry.work.name for entry in self.now.entries}
        taken |= {place.name for place in self.laid.placed}
        number = 1
        while f"{kind} {number}" in taken:
            number += 1
        return f"{kind} {number}"

    def add(self, work: Any) -> Step:
        """Lay out one more work.

        Raises
        ------
        InputError
            If it cannot lie there, or has a name that another has.
        """
        if any(entry.work.name == work.name for entry in self.now.entries):
            raise InputError(f"works \"{work.name}\"", "another work has this name",
                             "Give it its own")
        read = self._read(work)
        return self._try((*self.now.entries, Entry(None, read)), f"add {work.name}", None)

    def change(self, name: str, work: Any, of: object = None, said: str = "") -> Step:
        """Put a work in the place of one; others that name it follow where it is renamed.

        Parameters
        ----------
        of : object, optional
            Changes that have the same are one step to undo.

        Raises
        ------
        InputError
            If it cannot lie so.
        KeyError
            If there is no work of this name.
        """
        old = self._entry(name)
        read = self._read(work, old.work)
        if read == old.work:
            return self.now
        if read.name != name and any(e.work.name == read.name for e in self.now.entries):
            raise InputError(f"works \"{read.name}\"", "another work has this name",
                             "Give it its own")
        if read.name != name and self._named_elsewhere(name):
            raise InputError(f"works \"{name}\"", "the site file names it under suggest",
                             "Change the name there by hand, with the bench closed")
        meant = self._named(old.work)
        entries = tuple(
            Entry(old.origin, read) if entry is old else
            Entry(entry.origin, _following(entry.work, meant, name, read.name))
            if read.name != name else entry for entry in self.now.entries)
        return self._try(entries, said or f"change {read.name}", of)

    def change_several(self, works: Sequence[Any], said: str) -> Step:
        """Put works in the places of those of their names, as one step.

        Raises
        ------
        InputError
            If they cannot lie so.
        KeyError
            If there is no work of such a name.
        """
        old = {work.name: self._entry(work.name) for work in works}
        new = {work.name: self._read(work, old[work.name].work) for work in works}
        return self._try(tuple(Entry(entry.origin, new.get(entry.work.name, entry.work))
                               for entry in self.now.entries), said, None)

    def take(self, name: str) -> Step:
        """Take a work away; what spilled to it by the owner's word spills over the ground.

        Raises
        ------
        InputError
            If another work cannot be without it.
        KeyError
            If there is no work of this name.
        """
        gone = self._entry(name)
        meant = self._named(gone.work)
        entries = tuple(Entry(entry.origin, _without(entry.work, meant))
                        for entry in self.now.entries if entry is not gone)
        return self._try(entries, f"take {name} away", None)

    def undo(self) -> Step:
        """Take the last step back; nothing happens where there is none."""
        if len(self._done) > 1:
            step = self._laid_again(self._done[-2])
            self._undone.append(self._done.pop())
            self._done[-1] = step
            self._let_go()
        return self.now

    def redo(self) -> Step:
        """Do again what was undone last; nothing happens where there is nothing."""
        if self._undone:
            self._done.append(self._laid_again(self._undone[-1]))
            self._undone.pop()
            self._let_go()
        return self.now

    def saved(self) -> None:
        """The site file says what the desk has: its entries have their names there from now on."""
        named = tuple(Entry(entry.work.name, entry.work) for entry in self.now.entries)
        there = {entry.origin: entry.work.name for entry in self.now.entries if entry.origin}
        new = {entry.work.name for entry in self.now.entries if not entry.origin}
        self._saved = named

        def moved(step: Step) -> Step:
            return Step(tuple(Entry(there.get(entry.origin) if entry.origin else (
                entry.work.name if entry.work.name in new else None), entry.work)
                for entry in step.entries), step.ground, step.said, step.of)
        self._done = [moved(step) for step in self._done]
        self._undone = [moved(step) for step in self._undone]
        self._done[-1] = Step(named, self.laid, self.now.said, self.now.of)

    def begin(self, entries: Sequence[Entry], said: str) -> Step:
        """Lay out other works altogether, as one step.

        Raises
        ------
        InputError
            If they cannot lie so.
        """
        return self._try(tuple(entries), said, None)

    def _read(self, work: Any, before: Any = None) -> Any:
        with self.inputs.told():
            return as_read(work, self.inputs.site.units, before)

    def _try(self, entries: tuple[Entry, ...], said: str, of: object) -> Step:
        step = Step(entries, lay(self.inputs, self.ready, [e.work for e in entries],
                                 self.laid.placed), said, of)
        if of is not None and self.now.of == of and len(self._done) > 1:
            self._done[-1] = step
        else:
            self._done.append(step)
            del self._done[:-STEPS]
        self._undone.clear()
        self._let_go()
        self.ready.keep([place for kept in self._done if kept.ground is not None
                         for place in kept.ground.placed])
        return step

    def _laid_again(self, step: Step) -> Step:
        """A step that is come to, its works laid out again if they were let go of."""
        return step if step.ground is not None else replace(step, ground=lay(
            self.inputs, self.ready, [e.work for e in step.entries], self.laid.placed))

    def _let_go(self) -> None:
        """Keep the layouts of no more steps than there is room for."""
        most = max(HELD // self.laid.cascade.labels.nbytes, AT_HAND)
        for steps in (self._done, self._undone):
            for number, step in enumerate(steps[:-most]):
                if step.ground is not None:
                    steps[number] = replace(step, ground=None)

    def _named(self, work: Any) -> Callable[[str | None], bool]:
        """Whether a name that another work gives means a work, or one of its trees ("row 3")."""
        others = {entry.work.name for entry in self.now.entries if entry.work is not work}
        trees = isinstance(work, asked.TreeBasin)

        def meant(name: str | None) -> bool:
            if name is None or name in others:
                return False
            number = name.removeprefix(f"{work.name} ")
            return name == work.name or (trees and number != name and number.isdecimal())
        return meant

    def _named_elsewhere(self, name: str) -> bool:
        suggest = self.inputs.site.suggest
        return suggest is not None and not isinstance(suggest.already_dug, str) and (
            name in suggest.already_dug)


def _following(work: Any, meant: Callable[[str | None], bool], old: str, new: str) -> Any:
    """A work that names another, or one of its trees, by its new name."""
    return _renamed(work, lambda name: new + name.removeprefix(old) if meant(name) else name)


def _without(work: Any, gone: Callable[[str | None], bool]) -> Any:
    """A work that named one that is gone as the target of its spill: the ground decides then."""
    update: dict[str, Any] = {}
    if gone(getattr(work, "spills_to", None)):
        update["spills_to"] = None
        if work.pipe is None:
            update["pump"] = None
    if isinstance(work, asked.Tank) and gone(work.joined_with):
        update["joined_with"] = None
    return work.model_copy(update=update) if update else work


def _renamed(work: Any, named: Callable[[str], str]) -> Any:
    update: dict[str, Any] = {}
    for field in ("spills_to", "along", "to", "joined_with"):
        given = getattr(work, field, None)
        if isinstance(given, str) and named(given) != given:
            update[field] = named(given)
    uses = getattr(work, "uses", None)
    if uses and any(use.grey_water_to and named(use.grey_water_to) != use.grey_water_to
                    for use in uses):
        update["uses"] = [use.model_copy(update={"grey_water_to": named(use.grey_water_to)})
                          if use.grey_water_to else use for use in uses]
    return work.model_copy(update=update) if update else work
