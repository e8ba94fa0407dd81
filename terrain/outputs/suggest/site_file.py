"""A proposal as a site file: the owner's own, with other works."""

from __future__ import annotations

import os
import re
import textwrap
import unicodedata
from collections.abc import Sequence
from pathlib import Path, PurePath
from typing import Any

from terrain.files import fingerprint
from terrain.inputs.site import Site
from terrain.outputs.one_system import ANY_UNIT
from terrain.outputs.suggest.words import cost_words, why_lines
from terrain.outputs.suggest.written_work import as_yaml, levels_and_all, written
from terrain.outputs.suggest.yaml_text import Edits, composed, found, is_list, paths_moved
from terrain.suggest.suggestion import Chosen, Proposal, Suggestion

#: Width of a comment. [letters]
WIDE = 96
#: A blank between a figure and its unit, at which no line breaks.
_FIGURE = re.compile(rf"(?<=\d) (?=(?:{ANY_UNIT})(?!\w))")


def site_file(suggestion: Suggestion, proposal: Proposal, folder: Path) -> str:
    """The text of a site file with the works of a proposal.

    All else is the owner's own file to the letter; only its paths start from the folder that the
    new file is to stand in.

    Parameters
    ----------
    folder : Path
        That folder; it need not be there yet.
    """
    site = suggestion.site
    text = site.path.read_text(encoding="utf-8").removeprefix("\ufeff")
    with suggestion.inputs.told():
        works = [_Entry(chosen, site.units, suggestion) for chosen in proposal.works
                 if chosen.candidate.kind != "own"]
    edits, root = Edits(text), composed(text)
    paths_moved(edits, root, Site, _way(site.folder, folder))
    _with_works(edits, root, site, proposal, works)
    head = _comment([_head(suggestion, proposal), _told(suggestion, proposal)])
    return "\n".join(head) + "\n\n" + edits.done()


def _way(start: Path, folder: Path) -> str:
    """The way from a folder to another as a file states it."""
    goal, here = os.path.realpath(start), os.path.realpath(folder)
    try:
        way = os.path.relpath(goal, here)
    except ValueError:  # on another drive
        way = goal
    return PurePath(way).as_posix()


def _head(suggestion: Suggestion, proposal: Proposal) -> str:
    path = suggestion.site.path
    return (f"Proposal \"{proposal.name}\" of levelsill suggest: {path.name} with other works, and "
            "paths that start from here. Edit it, and plan it like any site file.")


def _told(suggestion: Suggestion, proposal: Proposal) -> str:
    path = suggestion.site.path
    return (f"Made from {path.name}, SHA-256 {fingerprint(path)}. A proposal is a sketch: look at "
            "each place on the ground, plan it, prove it. Local codes and licensed people come "
            "first.")


class _Entry:
    """A chosen work as it is written: its comment, and the entries of the site file."""

    def __init__(self, chosen: Chosen, system: str, suggestion: Suggestion) -> None:
        self.why = [*why_lines(chosen, suggestion, system),
                    f"Costs {cost_words(chosen.cost, suggestion, system)}."]
        self.works = [levels_and_all(written(work, system)) for work in chosen.candidate.works]


def _with_works(edits: Edits, root: Any, site: Site, proposal: Proposal, works: list[_Entry]
                ) -> None:
    """Take out what the proposal leaves out, and add what it has chosen."""
    given = found(root, "works")
    head = _list_head(proposal)
    if given is None:
        _add_list(edits, root, head, works)
        return
    key, value = given
    items = value.value if is_list(value) else []
    gone = [item for item in items if _name(item) in proposal.leaves_out]
    stay = [item for item in items if item not in gone]
    for item in stay:
        _spills_nowhere(edits, item, proposal.leaves_out)
    if not items:
        start = value.start_mark.index
        if root.flow_style:
            edits.replace(start, value.end_mark.index, _flow_list([], head, works))
            return
        if value.start_mark.line == key.end_mark.line and value.end_mark.index > start:
            edits.replace(start, value.end_mark.index, "")  # [], ~ or null
        at = _next_line(edits.text, key.end_mark.index)
        column = key.start_mark.column + 2
        edits.replace(at, at, _block(head, works, column, edits.text[at - 1:at] != "\n"))
    elif value.flow_style:
        kept = [_cut(edits, item) for item in stay]
        edits.replace(value.start_mark.index, value.end_mark.index, _flow_list(kept, head, works))
    else:
        _in_block(edits, key, value, gone, head, works)


def _in_block(edits: Edits, key: Any, value: Any, gone: list[Any], head: list[str],
              works: list[_Entry]) -> None:
    """The same in a list with dashes."""
    text, column = edits.text, value.start_mark.column
    lines = text.split("\n")
    starts = _line_starts(lines)
    dashes = [_dash(lines, item, column) for item in value.value]
    over = value.end_mark.index >= len(text)
    bounds = [*dashes[1:], len(lines) if over else value.end_mark.line]
    ends = [_end(lines, dash, bound, column) for dash, bound in zip(dashes, bounds, strict=True)]
    last = max((dash for item, dash in zip(value.value, dashes, strict=True) if item not in gone),
               default=-1)
    for item, dash, end in zip(value.value, dashes, ends, strict=True):
        if item not in gone:
            continue
        first = dash
        while first > key.end_mark.line + 1 and lines[first - 1].lstrip().startswith("#"):
            first -= 1
        while first > key.end_mark.line + 1 and not lines[first - 1].strip():
            first -= 1
        if dash < last and first < dash and not lines[first].strip() and (
                lines[first - 1].lstrip().startswith("#")):
            first += 1  # a comment that stands apart still does
        edits.replace(starts[first], starts[end], "")
    if head:
        at = starts[key.end_mark.line + 1]
        gap = [""] if _goes_on(edits, at) else []
        edits.made[at] = _before(edits, at, _indented([*head, *gap], column))
    if works:
        at = starts[ends[-1]]
        said = _block([], works, column, at == len(text) and not text.endswith("\n"))
        edits.made[at] = _before(edits, at, said)


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


def _line_starts(lines: list[str]) -> list[int]:
    """Where each line begins, and where the text ends."""
    starts = [0]
    for line in lines:
        starts.append(starts[-1] + len(line) + 1)
    starts[-1] -= 1
    return starts


def _dash(lines: list[str], item: Any, column: int) -> int:
    """The line with the dash of an item."""
    line = int(item.start_mark.line)
    while line > 0 and not (lines[line][:column].strip() == ""
                            and lines[line][column:column + 1] == "-"):
        line -= 1
    return line


def _end(lines: list[str], dash: int, bound: int, column: int) -> int:
    """The line after an item: a comment at the dashes' own depth belongs to the next, and one that
    stands apart from it to neither."""
    end = dash + 1
    for number in range(dash + 1, bound):
        told = lines[number].strip()
        deep = len(lines[number]) - len(lines[number].lstrip()) > column
        if told and (not told.startswith("#") or (deep and end == number)):
            end = number + 1
    return end


def _next_line(text: str, at: int) -> int:
    """Where the line after a place begins, or the text's end."""
    end = text.find("\n", at)
    return len(text) if end < 0 else end + 1


def _name(item: Any) -> str:
    given = found(item, "name") if item.id == "mapping" else None
    return "" if given is None else str(given[1].value)


def _spills_nowhere(edits: Edits, item: Any, gone: Sequence[str]) -> None:
    """A work that stays spills over the ground where it spilled to one that goes."""
    given = found(item, "spills to") if item.id == "mapping" else None
    if given is not None and given[1].value in gone:
        start, end = given[1].start_mark.index, given[1].end_mark.index
        rest = edits.text[end:_next_line(edits.text, end)]
        told = "" if item.flow_style or rest.strip() else (
            f"   # not {_clean(given[1].value)}, which this proposal leaves out")
        edits.replace(start, end, "null" + told)


def _cut(edits: Edits, item: Any) -> str:
    """The text of an item in brackets, with what is changed in it."""
    start, end = item.start_mark.index, item.end_mark.index
    part = Edits(edits.text[start:end])
    for at in [at for at in edits.made if start <= at < end]:
        stop, by = edits.made.pop(at)
        part.replace(at - start, stop - start, by)
    return part.done()


def _flow_list(kept: list[str], head: list[str], works: list[_Entry]) -> str:
    """A list in brackets."""
    told = [f"  {line}" for line in head]
    entries: list[tuple[list[str], str]] = [([], item) for item in kept]
    for entry in works:
        for number, work in enumerate(entry.works):
            why = _comment(entry.why, 4) if number == 0 else []
            entries.append((why, " ".join(as_yaml(work, flow=True))))
    for number, (why, words) in enumerate(entries):
        told += [f"  {line}" for line in why]
        told.append(f"  {words}{',' if number < len(entries) - 1 else ''}")
    return "\n".join(["[", *told, "  ]"]) if entries else "[]"


def _add_list(edits: Edits, root: Any, head: list[str], works: list[_Entry]) -> None:
    """A list of works where the file has none."""
    if not works:
        return
    text = edits.text
    if root.flow_style:
        at = root.end_mark.index - 1
        comma = "" if text[:at].rstrip().endswith((",", "{")) else ","
        edits.replace(at, at, f"{comma} \"works\": {_flow_list([], head, works)}")
        return
    at = len(text)
    lines = text.split("\n")
    for number, start in enumerate(_line_starts(lines)[:-1]):
        if number >= root.end_mark.line and lines[number].rstrip() == "...":
            at = start
            break
    gap = "" if text[:at].endswith("\n") else "\n"
    column = root.start_mark.column
    edits.replace(at, at, f"{gap}\n{' ' * column}works:\n{_block(head, works, column + 2)}")


def _list_head(proposal: Proposal) -> list[str]:
    """Comment at the head of the list: what is not in it any more."""
    if not proposal.leaves_out:
        return []
    return _comment([f"The proposal \"{proposal.name}\" leaves out: "
                     f"{', '.join(_clean(name) for name in proposal.leaves_out)}."])


def _block(head: list[str], works: list[_Entry], column: int, on_new_line: bool = False) -> str:
    """Entries with dashes at a column."""
    told = list(head)
    for entry in works:
        told += ["", *_comment(entry.why, column)]
        for work in entry.works:
            lines = as_yaml(work)
            told += [f"- {lines[0]}", *(f"  {line}" for line in lines[1:])]
    return ("\n" if on_new_line else "") + _indented(told, column)


def _indented(lines: list[str], column: int) -> str:
    return "".join(f"{' ' * column}{line}".rstrip() + "\n" for line in lines)


def _comment(sentences: Sequence[str], column: int = 0) -> list[str]:
    """Sentences as a comment that nothing in them can end."""
    words = _FIGURE.sub("\u00a0", " ".join(_clean(sentence) for sentence in sentences))
    return [f"# {line}".replace("\u00a0", " ") for line in textwrap.wrap(
        words, max(WIDE - column - 2, 40), break_long_words=False, break_on_hyphens=False)]


def _clean(words: str) -> str:
    """Words on one line, without what no text may hold."""
    shown = "".join(" " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else
                    "" if unicodedata.category(c)[0] == "C" else c for c in words)
    return " ".join(shown.split(" ")).strip()
