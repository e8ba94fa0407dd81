"""Entries cut out of the list of works of a site file, and added at its end."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from terrain.outputs.site_text.comments import comment
from terrain.outputs.site_text.written_work import as_yaml
from terrain.outputs.site_text.yaml_text import Edits
from terrain.outputs.site_text.yaml_tree import Node


@dataclass(frozen=True)
class Added:
    """Works that are added together.

    Attributes
    ----------
    works : sequence of dict
        As `written` gives them.
    why : sequence of str
        Sentences of a comment.
    before : int or None
        Which entry of the list they are to stand before; None for the list's end.
    """

    works: Sequence[dict[str, Any]]
    why: Sequence[str] = ()
    before: int | None = None


def add_list(edits: Edits, root: Node, head: list[str], added: Sequence[Added]) -> None:
    """A list of works where the file has none.

    Parameters
    ----------
    head : list of str
        Lines of a comment at the list's head.
    """
    if not added:
        return
    text = edits.text
    if root.flow:
        at = root.end - 1
        comma = "" if text[:at].rstrip().endswith((",", "{")) else ","
        edits.replace(at, at, f"{comma} \"works\": {in_brackets([], head, added)}")
        return
    at = len(text)
    lines = _Lines(text)
    for number, start in enumerate(lines.starts[:-1]):
        if start >= root.end and lines.said[number].rstrip() == "...":
            at = start
            break
    gap = "" if text[:at].endswith("\n") else "\n"
    column = _column(text, root.pairs[0][0].start) if root.pairs else 0
    edits.replace(at, at, f"{gap}\n{' ' * column}works:\n{_block(head, added, column + 2)}")


def fill_list(edits: Edits, key: Node, value: Node, head: list[str], added: Sequence[Added]
              ) -> None:
    """The same where there is a list, in block style, with nothing in it yet."""
    text = edits.text
    at = _next_line(text, key.end)
    if value.end > value.start:
        edits.replace(value.start, value.end, "")  # [], ~ or null
        at = _next_line(text, value.end)
    said = _block(head, added, _column(text, key.start) + 2, text[at - 1:at] != "\n")
    edits.replace(at, at, said)


def change_list(edits: Edits, key: Node, value: Node, gone: Collection[int], head: list[str],
                added: Sequence[Added]) -> None:
    """Cut entries out of a list with dashes, each with the comment above it, and add others.

    Parameters
    ----------
    gone : collection of int
        Which of its entries.
    """
    text, column = edits.text, _column(edits.text, value.dashes[0])
    lines = _Lines(text)
    said, starts = lines.said, lines.starts
    dashes = [lines.of(dash) for dash in value.dashes]
    bounds = [*dashes[1:], lines.of(value.end) + 1]
    while bounds[-1] < len(said) and (not said[bounds[-1]].strip() or (
            said[bounds[-1]].lstrip().startswith("#"))):
        bounds[-1] += 1
    ends = [_end(said, dash, bound, column, lines.of(item.end)) for dash, bound, item in zip(
        dashes, bounds, value.items, strict=True)]
    first_line = lines.of(key.end) + 1
    last = max((dash for number, dash in enumerate(dashes) if number not in gone), default=-1)
    for number, (dash, end) in enumerate(zip(dashes, ends, strict=True)):
        if number not in gone:
            continue
        first = dash
        while first > first_line and said[first - 1].lstrip().startswith("#"):
            first -= 1
        while first > first_line and not said[first - 1].strip():
            first -= 1
        if dash < last and first < dash and not said[first].strip() and (
                said[first - 1].lstrip().startswith("#")):
            first += 1  # a comment that stands apart still does
        edits.replace(starts[first], starts[end], "")
    if head:
        at = starts[first_line]
        gap = [""] if _goes_on(edits, at) else []
        edits.made[at] = _before(edits, at, _indented([*head, *gap], column))
    last_ones = [one for one in added if one.before is None]
    if last_ones:
        at = starts[ends[-1]]
        words = _block([], last_ones, column, at == len(text) and not text.endswith("\n"))
        edits.made[at] = _before(edits, at, words)
    for one in reversed(added):
        if one.before is None:
            continue
        first, least = dashes[one.before], ends[one.before - 1] if one.before else first_line
        while first > least and said[first - 1].lstrip().startswith("#"):
            first -= 1
        while first > least and not said[first - 1].strip():
            first -= 1
        edits.made[starts[first]] = _before(edits, starts[first], _block([], [one], column))


def in_brackets(kept: list[str], head: list[str], added: Sequence[Added]) -> str:
    """A list in brackets: entries that are text already, and others."""
    told = [f"  {line}" for line in head]
    entries: list[tuple[list[str], str]] = [([], item) for item in kept]
    for entry in added:
        for number, work in enumerate(entry.works):
            why = comment(entry.why, 4) if number == 0 else []
            entries.append((why, " ".join(as_yaml(work, flow=True))))
    for number, (why, words) in enumerate(entries):
        told += [f"  {line}" for line in why]
        told.append(f"  {words}{',' if number < len(entries) - 1 else ''}")
    return "\n".join(["[", *told, "  ]"]) if entries else "[]"


class _Lines:
    """Lines of a text as YAML counts them: what each says, and where it begins."""

    def __init__(self, text: str) -> None:
        self.starts = [0]
        for at, letter in enumerate(text):
            if letter == "\n" or (letter == "\r" and text[at + 1:at + 2] != "\n"):
                self.starts.append(at + 1)
        self.said = [text[start:end].rstrip("\r\n") for start, end in zip(
            self.starts, [*self.starts[1:], len(text)], strict=True)]
        self.starts.append(len(text))

    def of(self, at: int) -> int:
        """The number of the line of a place, from 0."""
        return bisect_right(self.starts, at, hi=len(self.said)) - 1


def _column(text: str, at: int) -> int:
    return at - (max(text.rfind("\n", 0, at), text.rfind("\r", 0, at)) + 1)


def _goes_on(edits: Edits, at: int) -> bool:
    """Whether a line that is no blank one follows a place, what is taken out there aside."""
    after = edits.made.get(at, (at, ""))[0]
    while after in edits.made and edits.made[after][0] > after:
        after = edits.made[after][0]
    return bool(edits.text[after:_next_line(edits.text, after)].strip())


def _before(edits: Edits, at: int, said: str) -> tuple[int, str]:
    """Words put before a place, and before what is put in its stead already."""
    end, by = edits.made.get(at, (at, ""))
    return end, said + by


def _end(lines: list[str], dash: int, bound: int, column: int, last: int) -> int:
    """The line after an item: a comment at the dashes' own depth belongs to the next, and one that
    stands apart from it to neither."""
    end = last + 1
    for number in range(end, bound):
        told = lines[number].strip()
        deep = len(lines[number]) - len(lines[number].lstrip()) > column
        if told and (not told.startswith("#") or (deep and end == number)):
            end = number + 1
    return end


def _next_line(text: str, at: int) -> int:
    """Where the line after a place begins, or the text's end."""
    end = text.find("\n", at)
    return len(text) if end < 0 else end + 1


def _block(head: list[str], added: Sequence[Added], column: int, on_new_line: bool = False) -> str:
    """Entries with dashes at a column."""
    told = list(head)
    for entry in added:
        told += ["", *comment(entry.why, column)]
        for work in entry.works:
            lines = as_yaml(work)
            told += [f"- {lines[0]}", *(f"  {line}" for line in lines[1:])]
    return ("\n" if on_new_line else "") + _indented(told, column)


def _indented(lines: list[str], column: int) -> str:
    return "".join(f"{' ' * column}{line}".rstrip() + "\n" for line in lines)
