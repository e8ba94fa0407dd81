"""The text of a site file with other works in it, as they are laid out by hand."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from pydantic import BaseModel, TypeAdapter, ValidationError

from terrain.errors import InputError
from terrain.inputs.site_works import Work
from terrain.outputs.site_text.part_text import is_json, part_changed, put_in, said, taken_out
from terrain.outputs.site_text.works_list import Added, add_list, change_list, fill_list
from terrain.outputs.site_text.written_work import (
    OTHERS,
    called,
    levels_and_all,
    stated,
    without_others,
)
from terrain.outputs.site_text.yaml_text import Edits
from terrain.outputs.site_text.yaml_tree import Node, tree

_MARK = "\ufeff"
#: A line's end without a carriage return.
_LONE = re.compile(r"(?<!\r)\n")


@dataclass(frozen=True)
class Entry:
    """A work as it is laid out now.

    Attributes
    ----------
    origin : str or None
        Its name in the text; None if it is new.
    work : Work
    """

    origin: str | None
    work: Work


@lru_cache(maxsize=1)
def _works() -> TypeAdapter[Any]:
    return TypeAdapter(Work)


def as_read(work: Work, system: str, before: Work | None = None) -> Work:
    """A work as the site file gives it back once it is written: figures to the decimals that are
    written, all of it checked.

    Parameters
    ----------
    system : str
        "metric" or "us", the units of the site file; a foot is that of `told_first`.
    before : Work, optional
        What it was: fields that did not change stay as they are, to the last decimal.

    Raises
    ------
    InputError
        If it is no work that a site file may hold.
    """
    now = work
    for _ in range(9):
        again = _read(now, system)
        if again == now:
            break
        now = again
    if before is not None and type(before) is type(now):
        kept = {name: getattr(before, name) for name in type(now).model_fields
                if getattr(before, name) == getattr(work, name)}
        now = now.model_copy(update=kept)
    return now


def _read(work: Work, system: str) -> Work:
    others = {called(type(work), name): getattr(work, name) for name in OTHERS
              if getattr(work, name, None)}
    fields = levels_and_all(without_others(work, system)) | others
    try:
        found: Work = _works().validate_python(fields, context={"units": system})
        return found
    except ValidationError as error:
        raise _refused(work.name, error) from None


def _refused(name: str, error: ValidationError) -> InputError:
    """What is wrong with a work, in a sentence."""
    first = error.errors()[0]
    place = [str(part).replace("_", " ") for part in first["loc"][1:]]
    told = first.get("ctx", {}).get("error") or first["msg"][:1].lower() + first["msg"][1:]
    return InputError(", ".join([f'works "{name}"', *place]), str(told).rstrip("."),
                      "Give it another value")


def works_changed(text: str, before: Sequence[Work], entries: Sequence[Entry], system: str) -> str:
    """The text of a site file with other works.

    Works that did not change, and all that is no work, stay to the letter. Of a work that changed
    only the fields that did are written; one that is gone takes its comment along; a new one comes
    before that which follows it in `entries`, or at the list's end.

    Parameters
    ----------
    text : str
        A site file in any style of YAML.
    before : sequence of Work
        The works that it holds, as `read_site` gives them.
    entries : sequence of Entry
        The works that it is to hold. Read again, they are equal to these if these went through
        `as_read`.
    system : str
        "metric" or "us", the units of the site file; a foot is that of `told_first`.

    Raises
    ------
    InputError
        If the text holds other works than `before`, or its works are written in a way that cannot
        be changed.
    """
    mark = _MARK if text.startswith(_MARK) else ""
    plain = text.removeprefix(_MARK)
    before = _as_there(plain, before, system)
    wanted = _wanted(before, entries)
    if all(work == old for work, old in zip(wanted.values(), before, strict=True)) and (
            len(entries) == len(before)):
        return text
    carriage = "\n" in plain and _LONE.search(plain) is None
    meant = _in_order(before, wanted, entries)
    for whole in (False, True):
        try:
            made = _made(plain, before, wanted, entries, system, whole)
            made = _LONE.sub("\r\n", made) if carriage else made
            if _says(made, plain, meant, system):
                return mark + made
        except (ValueError, LookupError, _yaml_error()):
            pass
    raise InputError("the site file", "its list of works is written in a way that cannot be "
                     "changed without changing more than the works", "Change it in a text editor")


def _yaml_error() -> type[Exception]:
    from ruamel.yaml.error import YAMLError

    return YAMLError


def _wanted(before: Sequence[Work], entries: Sequence[Entry]) -> dict[str, Work | None]:
    """What becomes of each work of the text, by its name there; None of those that are gone."""
    wanted: dict[str, Work | None] = {work.name: None for work in before}
    for entry in entries:
        if entry.origin is not None:
            if wanted.get(entry.origin, entry) is not None:
                raise ValueError(f"no work, or two, come from \"{entry.origin}\" of the text")
            wanted[entry.origin] = entry.work
    names = [entry.work.name for entry in entries]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f'works "{name}"', "two works have this name",
                             "Give each its own name")
    return wanted


def _in_order(before: Sequence[Work], wanted: dict[str, Work | None], entries: Sequence[Entry]
              ) -> list[Work]:
    """The works as the text is to hold them: a new one before that which follows it in `entries`.
    """
    new = _new(before, entries)
    told: list[Work] = []
    for number, old in enumerate(before):
        told += [work for place, work in new if place == number]
        left = wanted[old.name]
        told += [left] if left is not None else []
    return told + [work for place, work in new if place is None]


def _new(before: Sequence[Work], entries: Sequence[Entry]) -> list[tuple[int | None, Work]]:
    """New works, and which of the text each is to stand before; None for the list's end."""
    place: int | None = None
    told: list[tuple[int | None, Work]] = []
    for entry in reversed(entries):
        if entry.origin is None:
            told.append((place, entry.work))
        else:
            place = next(n for n, work in enumerate(before) if work.name == entry.origin)
    return told[::-1]


def _made(text: str, before: Sequence[Work], wanted: dict[str, Work | None],
          entries: Sequence[Entry], system: str, whole: bool) -> str:
    """The text with the works, before it is known to say what it is to say.

    Parameters
    ----------
    whole : bool
        Write a work that changed as a whole.
    """
    pieces: dict[int, tuple[int, int, str]] = {}
    root = tree(text)
    for _ in range(9):
        root = tree(text)
        listed = root.pair("works")
        items = listed[1].items if listed is not None else []
        if listed is not None and listed[1].kind == "alias":
            text = _spelled_out(text, root, {listed[1].value})
            continue
        pieces, lost = {}, set()
        for number, (item, old) in enumerate(zip(items, before, strict=True)):
            new = wanted[old.name]
            if new == old:
                continue
            start, piece, end = _piece(text, item)
            changed = "" if new is None else (
                _whole(item, new, system) if whole or item.kind != "mapping" else
                part_changed(piece, stated(old, system), stated(new, system),
                             _usual(new, system)))
            lost |= _anchors_lost(piece, changed)
            if new is not None:
                pieces[number] = (start, end, changed[len(piece) - len(piece.lstrip(" ")):]
                                  if changed.startswith(" ") else changed)
        if not any(part.kind == "alias" and part.value in lost for part in root.parts()):
            break
        text = _spelled_out(text, root, lost)
    gone = {number for number, old in enumerate(before) if wanted[old.name] is None}
    new_ones = [Added([stated(work, system)], before=place)
                for place, work in _new(before, entries)]
    return _joined_up(text, root, pieces, gone, new_ones)


def _joined_up(text: str, root: Node, pieces: dict[int, tuple[int, int, str]], gone: set[int],
               new: Sequence[Added]) -> str:
    """The text with other pieces, without entries that are gone, with new ones."""
    edits = Edits(text)
    for start, end, piece in pieces.values():
        edits.replace(start, end, piece)
    listed = root.pair("works")
    if listed is None:
        if root.flow:
            as_json = is_json(root)
            words = f"[{', '.join(said(one.works[0], as_json) for one in new)}]"
            spans = [(key.start, max(key.end, value.end)) for key, value in root.pairs]
            return put_in(text, spans, root.inside, root.end - 1,
                          [('"works": ' if as_json else "works: ") + words])
        add_list(edits, root, [], new)
    elif root.flow or (listed[1].flow and listed[1].items):
        return _in_flow(edits.done(), gone, new)
    elif not listed[1].items:
        if new:
            fill_list(edits, *listed, [], new)
    else:
        change_list(edits, *listed, gone, [], new)
    return edits.done()


def _in_flow(text: str, gone: set[int], new: Sequence[Added]) -> str:
    """A list in brackets without some of its entries, and with others."""
    root, value = _list_of(text)
    as_json = is_json(root) or any(is_json(item) for item in value.items)
    if value.kind != "list":  # null
        words = f"[{', '.join(said(one.works[0], as_json) for one in new)}]"
        return text[:value.start] + " " * (value.start == value.end) + words + text[value.end:]
    stay = [number for number in range(len(value.items)) if number not in gone]
    text = taken_out(text, [(item.start, item.end) for item in value.items], value.end - 1, gone)
    value = _list_of(text)[1]
    last_ones = [said(one.works[0], as_json) for one in new if one.before is None]
    text = put_in(text, [(item.start, item.end) for item in value.items], value.inside,
                  value.end - 1, last_ones)
    for one in reversed(new):
        if one.before is not None:
            at = value.items[stay.index(one.before)].start
            blank = text[value.inside:at]
            blank = blank[len(blank.rstrip()):] or " "
            words = said(one.works[0], as_json)
            text = f"{text[:at]}{words},{blank}{text[at:]}"
    return text


def _list_of(text: str) -> tuple[Node, Node]:
    """The root of a text and its list of works."""
    root = tree(text)
    return root, root.pairs[[key.value for key, _ in root.pairs].index("works")][1]


def _piece(text: str, item: Node) -> tuple[int, str, int]:
    """Where an entry begins, its text with the blanks that set it in, and where it ends: in block
    style with the end of its last line."""
    if item.flow or item.kind != "mapping":
        return item.start, text[item.start:item.end], item.end
    end = text.find("\n", item.end)
    end = len(text) if end < 0 else end
    end -= text[end - 1:end] == "\r"
    line = max(text.rfind("\n", 0, item.start), text.rfind("\r", 0, item.start)) + 1
    return item.start, " " * (item.start - line) + text[item.start:end], end


def _whole(item: Node, work: Work, system: str) -> str:
    return said(stated(work, system), is_json(item))


def _usual(work: Work, system: str) -> dict[str, Any]:
    """What a work's fields are if nothing is said, as the site file tells it."""
    kind = type(work)
    fields = {called(kind, name): field.get_default(call_default_factory=True)
              for name, field in kind.model_fields.items() if not field.is_required()}
    return {name: value for name, value in fields.items() if not isinstance(value, BaseModel)}


def _anchors_lost(before: str, after: str) -> set[str]:
    """Anchors of a piece that are not in it any more, or stand for something else."""
    old = {part.anchor: _data(part) for part in tree(before).parts() if part.anchor}
    new = {part.anchor: _data(part) for part in tree(after).parts() if part.anchor}
    return {name for name, data in old.items() if name not in new or new[name] != data}


def _data(node: Node) -> Any:
    if node.kind == "mapping":
        return {key.value: _data(value) for key, value in node.pairs}
    return ([_data(item) for item in node.items] if node.kind == "list" else
            (node.kind, node.value, node.style is None))


def _spelled_out(text: str, root: Node, names: set[str]) -> str:
    """The text with what some aliases stand for in their place."""
    edits, anchors = Edits(text), {}
    for part in root.parts():
        if part.anchor:
            anchors[part.anchor] = part
        elif part.kind == "alias" and part.value in names:
            words = said(_value(anchors[part.value], dict(anchors)))
            edits.replace(part.start, part.end, words)
    return edits.done()


def _value(node: Node, anchors: dict[str, Node]) -> Any:
    """What a part says, with all that it takes over."""
    from ruamel.yaml import YAML

    if node.kind == "alias":
        return _value(anchors[node.value], anchors)
    if node.kind == "list":
        return [_value(item, anchors) for item in node.items]
    if node.kind == "scalar":
        return (node.value if node.style or node.tag else
                YAML(typ="safe", pure=True).load(node.value))
    own = {key.value: _value(value, anchors) for key, value in node.pairs if key.value != "<<"}
    for key, value in node.pairs:
        if key.value == "<<":
            more = _value(value, anchors)
            for one in more if isinstance(more, list) else [more]:
                own = {**one, **own}
    return own


@lru_cache(maxsize=4)
def _loaded(text: str) -> dict[str, Any]:
    from ruamel.yaml import YAML

    document = YAML(typ="safe", pure=True).load(text.replace("\r\n", "\n"))
    return document if isinstance(document, dict) else {}


def _found(document: dict[str, Any], system: str) -> list[Work]:
    return [_works().validate_python(work, context={"units": system})
            for work in document.get("works") or []]


def _as_there(text: str, before: Sequence[Work], system: str) -> list[Work]:
    """The works that a text is said to hold, in its order.

    Raises
    ------
    InputError
        If it holds others.
    """
    said = {work.name: work for work in before}
    try:
        found = _found(_loaded(text), system)
    except (ValueError, _yaml_error()):
        found = []
    if len(found) != len(before) or any(said.get(work.name) != work for work in found):
        raise InputError("the site file", "it holds other works than those that were read from it",
                         "Read it again")
    return found


def _says(text: str, before: str, meant: Sequence[Work], system: str) -> bool:
    """Whether a text says what is meant of the works, and of all else what it said before."""
    now, old = _loaded(text), _loaded(before)
    found = _found(now, system)
    return now | {"works": None} == old | {"works": None} and len(found) == len(meant) and all(
        one == other or _read(one, system) == _read(other, system)
        for one, other in zip(found, meant, strict=True))
