"""Other values in the text of one work: only what differs is written anew.

Each step reads the piece again, as the last one moved what follows it.
"""

from __future__ import annotations

import json
from typing import Any

from terrain.outputs.site_text.written_work import as_yaml
from terrain.outputs.site_text.yaml_tree import Node, tree


def part_changed(text: str, before: Any, after: Any, usual: dict[str, Any],
                 place: tuple[str | int, ...] = ()) -> str:
    """A piece of YAML with the values of its fields changed.

    Parameters
    ----------
    before, after : dict, list, str, number or None
        What the piece says, and what it is to say, as `stated` tells it.
    usual : dict
        What is written for a field that is gone, where it comes from another part by ``<<``.
    place : tuple
        Where in the piece to begin: names of fields, numbers of items.
    """
    if before == after:
        return text
    node = _at(tree(text), place)
    if isinstance(before, dict) and isinstance(after, dict) and node.kind == "mapping":
        for name in before:
            if name not in after:
                text = _without(text, place, name, usual)
        for name, value in after.items():
            own = _at(tree(text), place).pair(name)
            if name in before and own is not None:
                text = part_changed(text, before[name], value, {}, (*place, name))
            elif own is not None:  # what it is if nothing is said was said
                text = _replaced(text, (*place, name), value)
            elif name not in before or value != before[name]:
                text = _with(text, place, name, value)
        return text
    if (isinstance(before, list) and isinstance(after, list) and node.kind == "list"
            and len(before) == len(after) == len(node.items)):
        for number, (one, other) in enumerate(zip(before, after, strict=True)):
            text = part_changed(text, one, other, {}, (*place, number))
        return text
    return _replaced(text, place, after)


def said(value: Any, as_json: bool = False) -> str:
    """A value on one line, as it may stand in brackets."""
    if as_json:
        return json.dumps(value, ensure_ascii=False)
    if value is None:
        return "null"
    if isinstance(value, dict):
        return " ".join(as_yaml(value, flow=True))
    return " ".join(as_yaml({"x": value}, flow=True)).removeprefix("{x: ").removesuffix("}")


def is_json(node: Node) -> bool:
    """Whether the keys of a mapping in braces stand in quotes, as in JSON."""
    return node.flow and bool(node.pairs) and all(key.style == '"' for key, _ in node.pairs)


def taken_out(text: str, entries: list[tuple[int, int]], end: int, gone: set[int]) -> str:
    """A text without some of the entries in brackets or braces, and a comma for each.

    Parameters
    ----------
    entries : list of (int, int)
        Where each begins and ends.
    end : int
        Where the bracket closes.
    """
    if not gone:
        return text
    stay = [number for number in range(len(entries)) if number not in gone]
    starts = [start for start, _ in entries[1:]] + [end]
    commas = [_comma(text, stop, start) for (_, stop), start in zip(entries, starts, strict=True)]
    holes: list[tuple[int, int]] = []
    for number in sorted(gone):
        start, stop = entries[number]
        behind = stay and stay[0] < number
        comma = commas[number - 1] if behind else commas[number]
        if comma is None:
            holes.append((start, stop))
        elif behind:
            blank = not text[comma + 1:start].strip()
            holes += [(comma, stop)] if blank else [(comma, comma + 1), (start, stop)]
        else:
            after = starts[number]
            blank = not text[comma + 1:after].strip() and not text[stop:comma].strip()
            last = number == len(entries) - 1
            holes += ([(start, comma + 1 if last else after)] if blank else
                      [(start, stop), (comma, comma + 1)])
    for start, stop in sorted(holes, reverse=True):
        text = text[:start] + text[stop:]
    return text


def put_in(text: str, entries: list[tuple[int, int]], inside: int, end: int, words: list[str]
           ) -> str:
    """A text with more entries at the end of what stands in brackets or braces.

    Parameters
    ----------
    inside, end : int
        Where what they hold begins and ends.
    """
    if not words:
        return text
    if not entries:
        return text[:inside] + ", ".join(words) + text[inside:]
    start, stop = entries[-1]
    blank = text[:start]
    blank = blank[len(blank.rstrip()):]
    if "\n" not in blank or start - len(blank) < inside:
        blank = blank if "\n" in blank else " "
    comma = _comma(text, stop, end)
    at = stop if comma is None else comma + 1
    line = text[at:end].partition("\n")[0]
    if line.lstrip().startswith("#"):  # a comment behind the last one stays with it
        ended = "\r" if line.endswith("\r") else ""
        after = at + len(line) - len(ended)
        column = start - (text.rfind("\n", 0, start) + 1)
        blank = blank if "\n" in blank else f"\n{' ' * column}"
        return (text[:at] + ("," if comma is None else "") + text[at:after]
                + ",".join(blank + one for one in words) + text[after:])
    first = "," if comma is None else ""
    return text[:at] + first + ",".join(blank + one for one in words) + text[at:]


def _comma(text: str, start: int, end: int) -> int | None:
    """Where a comma stands between two places, comments aside."""
    at = start
    while at < end:
        if text[at] == ",":
            return at
        if text[at] == "#":
            line = text.find("\n", at, end)
            at = end if line < 0 else line
        at += 1
    return None


def _at(node: Node, place: tuple[str | int, ...]) -> Node:
    for step in place:
        if isinstance(step, int):
            node = node.items[step]
        else:
            pair = node.pair(step)
            if pair is None:
                raise ValueError(f"there is no field '{step}' in it")
            node = pair[1]
    return node


def _in_braces(node: Node, place: tuple[str | int, ...]) -> tuple[bool, bool]:
    """Whether a place lies in brackets or braces, and whether these are JSON's."""
    ways = [node]
    for number in range(len(place)):
        ways.append(_at(node, place[:number + 1]))
    return any(way.flow for way in ways[:-1]), any(is_json(way) for way in ways)


def _replaced(text: str, place: tuple[str | int, ...], value: Any) -> str:
    """The same with another value at a place."""
    root = tree(text)
    node = _at(root, place)
    braces, as_json = _in_braces(root, place)
    if node.kind == "list" and not node.flow and isinstance(value, list) and value:
        column = _column(text, node.dashes[0])
        words = f"\n{' ' * column}".join(f"- {said(one)}" for one in value)
        return text[:node.dashes[0]] + words + text[node.end:]
    words = said(value, as_json)
    if node.end == node.start:
        words = f" {words}"
    elif not node.flow and node.kind in ("list", "mapping") and not braces:
        words = f"  {words}"  # further in than its key, where it stands on a line of its own
    return text[:node.start] + words + text[node.end:]


def _with(text: str, place: tuple[str | int, ...], name: str, value: Any) -> str:
    """The same with a field more, after the last one."""
    root = tree(text)
    node = _at(root, place)
    as_json = _in_braces(root, place)[1]
    if node.flow:
        key = json.dumps(name) if as_json else said(name)
        return put_in(text, _spans(node), node.inside, node.end - 1,
                      [f"{key}: {said(value, as_json)}"])
    column = _column(text, node.pairs[0][0].start)
    end = _line_end(text, node.end)
    lines = as_yaml({name: value}) if isinstance(value, dict) else [f"{name}: {said(value)}"]
    return text[:end] + "".join(f"\n{' ' * column}{line}" for line in lines) + text[end:]


def _without(text: str, place: tuple[str | int, ...], name: str, usual: dict[str, Any]) -> str:
    """The same without a field, and without its line where it has one."""
    node = _at(tree(text), place)
    number = next((n for n, (key, _) in enumerate(node.pairs) if key.value == name), None)
    if number is None:  # it comes from another part
        return _with(text, place, name, usual.get(name))
    if node.flow:
        return taken_out(text, _spans(node), node.end - 1, {number})
    key, value = node.pairs[number]
    line = max(text.rfind("\n", 0, key.start), text.rfind("\r", 0, key.start)) + 1
    end = _line_end(text, max(value.end, key.end))
    if text[line:key.start].strip() in ("", "?") and line > 0:  # on a line of its own
        return text[:line] + text[_past(text, end):] if end < len(text) else text[:line - (
            2 if text[line - 2:line] == "\r\n" else 1)]
    following = node.pairs[number + 1][0].start if number + 1 < len(node.pairs) else None
    if following is not None and not text[end:following].strip():
        return text[:key.start] + text[following:]
    return text[:key.start].rstrip(" ") + text[end:]


def _spans(node: Node) -> list[tuple[int, int]]:
    return [(key.start, max(key.end, value.end)) for key, value in node.pairs]


def _line_end(text: str, at: int) -> int:
    """Where the line of a place ends, before what breaks it."""
    end = text.find("\n", at)
    end = len(text) if end < 0 else end
    return end - 1 if end > at and text[end - 1] == "\r" else end


def _past(text: str, end: int) -> int:
    """Past what breaks a line."""
    return end + (2 if text[end:end + 2] == "\r\n" else 1)


def _column(text: str, at: int) -> int:
    return at - (max(text.rfind("\n", 0, at), text.rfind("\r", 0, at)) + 1)
