"""Where each part of a YAML text stands, with aliases left as they are written.

Unlike composed nodes an alias is a node of its own here, and a part in block style ends where its
last word does, not where the next part begins.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

_COMMENT = re.compile(r"(?<!\S)#[^\r\n]*")
_COLON = re.compile(r"[ \t]*:")


@dataclass
class Node:
    """A part of a YAML text.

    Attributes
    ----------
    kind : str
        "scalar", "list", "mapping" or "alias".
    start, end : int
        Its piece of the text, its anchor and tag included.
    inside : int
        Where what a bracket or brace holds begins.
    value : str
        What a scalar says, or which anchor an alias names.
    style : str or None
        The quote of a scalar, or the sign of a block; None of plain words.
    items : list of Node
        Of a list.
    dashes : list of int
        Where the dash of each item of a list in block style stands.
    pairs : list of (Node, Node)
        Of a mapping.
    """

    kind: str
    start: int
    end: int
    flow: bool = False
    inside: int = 0
    anchor: str | None = None
    tag: str | None = None
    value: str = ""
    style: str | None = None
    items: list[Node] = field(default_factory=list)
    dashes: list[int] = field(default_factory=list)
    pairs: list[tuple[Node, Node]] = field(default_factory=list)

    def pair(self, name: str) -> tuple[Node, Node] | None:
        """Key and value of a field that a mapping has itself."""
        return next((pair for pair in self.pairs if pair[0].value == name), None)

    def parts(self) -> Iterator[Node]:
        """All nodes of it, itself the first, in the order of the text."""
        yield self
        for key, value in self.pairs:
            yield from key.parts()
            yield from value.parts()
        for item in self.items:
            yield from item.parts()


@lru_cache(maxsize=64)
def tree(text: str) -> Node:
    """The first document of a YAML text; nobody may change it.

    Raises
    ------
    ruamel.yaml.error.YAMLError
        If it is no YAML.
    """
    from ruamel.yaml import YAML

    events = iter(YAML(typ="rt").parse(text))
    event = next(events)
    while type(event).__name__ in ("StreamStartEvent", "DocumentStartEvent"):
        event = next(events)
    if type(event).__name__ == "StreamEndEvent":
        return Node("scalar", len(text), len(text))
    return _node(text, event, events)


def _node(text: str, event: Any, events: Iterator[Any]) -> Node:
    start, end = event.start_mark.index, event.end_mark.index
    name = type(event).__name__
    if name == "AliasEvent":
        return Node("alias", start, end, value=event.anchor)
    tag = getattr(event, "tag", None)
    if name == "ScalarEvent":
        if event.style in ("|", ">"):  # the blank lines behind it are not its own
            end = start + len(text[start:end].rstrip())
        return Node("scalar", start, end, anchor=event.anchor, tag=tag, value=event.value,
                    style=event.style)
    node = Node("list" if name == "SequenceStartEvent" else "mapping", start, end,
                bool(event.flow_style), end, event.anchor, tag)
    while True:
        event = next(events)
        if type(event).__name__ in ("SequenceEndEvent", "MappingEndEvent"):
            break
        part = _node(text, event, events)
        if node.kind == "list":
            node.items.append(part)
        else:
            value = _node(text, next(events), events)
            if value.kind == "scalar" and text[value.start:value.end] == "":
                value.start = value.end = _past_colon(text, part.end)
            node.pairs.append((part, value))
    if node.flow:
        node.end = event.end_mark.index
    else:
        last = node.items or [value for _, value in node.pairs]
        node.end = max(last[-1].end, node.start)
        for before, item in zip([node.start, *(item.end for item in node.items)], node.items,
                                strict=False):
            node.dashes.append(_dash(text, before, item.start))
    return node


def _dash(text: str, before: int, start: int) -> int:
    """Where the dash before an item stands."""
    between = _COMMENT.sub(lambda said: " " * len(said[0]), text[before:start])
    return before + between.rfind("-")


def _past_colon(text: str, end: int) -> int:
    """Where a value that is not there would stand, behind its key's colon if there is one."""
    colon = _COLON.match(text, end)
    return colon.end() if colon else end
