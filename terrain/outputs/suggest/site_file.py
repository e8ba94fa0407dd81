"""A proposal as a site file: the owner's own, with other works."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path, PurePath
from typing import Any

from terrain.files import fingerprint
from terrain.inputs.site import Site
from terrain.outputs.site_text.comments import clean, comment
from terrain.outputs.site_text.works_list import (
    Added,
    add_list,
    change_list,
    fill_list,
    in_brackets,
)
from terrain.outputs.site_text.written_work import levels_and_all, written
from terrain.outputs.site_text.yaml_text import Edits, composed, found, is_list, paths_moved
from terrain.outputs.site_text.yaml_tree import Node, tree
from terrain.outputs.suggest.figures import cost_words
from terrain.outputs.suggest.words import why_lines
from terrain.suggest.suggestion import Chosen, Proposal, Suggestion


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
        works = [_added(chosen, site.units, suggestion) for chosen in proposal.works
                 if chosen.candidate.kind != "own"]
    edits, root = Edits(text), composed(text)
    paths_moved(edits, root, Site, _way(site.folder, folder))
    _with_works(edits, root, site, proposal, works)
    head = comment([_head(suggestion, proposal), _told(suggestion, proposal)])
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


def _added(chosen: Chosen, system: str, suggestion: Suggestion) -> Added:
    """A chosen work as it is written: its comment, and the entries of the site file."""
    why = [*why_lines(chosen, suggestion, system),
           f"Costs {cost_words(chosen.cost, suggestion, system)}."]
    return Added([levels_and_all(written(work, system)) for work in chosen.candidate.works], why)


def _with_works(edits: Edits, root: Any, site: Site, proposal: Proposal, works: list[Added]
                ) -> None:
    """Take out what the proposal leaves out, and add what it has chosen."""
    given, places = found(root, "works"), tree(edits.text)
    head = _list_head(proposal)
    if given is None:
        add_list(edits, places, head, works)
        return
    listed = places.pair("works")
    if listed is None:
        raise ValueError("the list of works stands nowhere in the text")
    key, value = listed
    items = given[1].value if is_list(given[1]) else []
    gone = {number for number, item in enumerate(items) if _name(item) in proposal.leaves_out}
    for number, item in enumerate(items):
        if number not in gone:
            _spills_nowhere(edits, item, proposal.leaves_out)
    if not items and not places.flow:
        fill_list(edits, key, value, head, works)
    elif value.flow or not items:
        kept = [_cut(edits, item) for number, item in enumerate(value.items) if number not in gone]
        edits.replace(value.start, value.end, in_brackets(kept, head, works))
    else:
        change_list(edits, key, value, gone, head, works)


def _name(item: Any) -> str:
    given = found(item, "name") if item.id == "mapping" else None
    return "" if given is None else str(given[1].value)


def _spills_nowhere(edits: Edits, item: Any, gone: Sequence[str]) -> None:
    """A work that stays spills over the ground where it spilled to one that goes."""
    given = found(item, "spills to") if item.id == "mapping" else None
    if given is not None and given[1].value in gone:
        start, end = given[1].start_mark.index, given[1].end_mark.index
        rest = edits.text[end:].partition("\n")[0]
        told = "" if item.flow_style or rest.strip() else (
            f"   # not {clean(given[1].value)}, which this proposal leaves out")
        edits.replace(start, end, "null" + told)


def _cut(edits: Edits, item: Node) -> str:
    """The text of an item in brackets, with what is changed in it."""
    part = Edits(edits.text[item.start:item.end])
    for at in [at for at in edits.made if item.start <= at < item.end]:
        stop, by = edits.made.pop(at)
        part.replace(at - item.start, stop - item.start, by)
    return part.done()


def _list_head(proposal: Proposal) -> list[str]:
    """Comment at the head of the list: what is not in it any more."""
    if not proposal.leaves_out:
        return []
    return comment([f"The proposal \"{proposal.name}\" leaves out: "
                     f"{', '.join(clean(name) for name in proposal.leaves_out)}."])
