"""Changes to the text of a site file: all that is not changed stays, to the letter.

ruamel.yaml says where each part of the text stands; the text itself is cut and joined, as a file
that is loaded and written anew loses its line breaks and moves comments of what is taken out.
"""

from __future__ import annotations

import json
import re
import types
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePath
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel

#: Words that stand in YAML without quotes, whatever is about them.
_PLAIN = re.compile(r"[A-Za-z0-9_./][\w./ ()+-]*[\w)]")


@dataclass
class Edits:
    """Pieces of a text to be replaced, by where they begin."""

    text: str
    made: dict[int, tuple[int, str]] = field(default_factory=dict)

    def replace(self, start: int, end: int, by: str) -> None:
        """Put something in the place of a piece; of two at one place the first stands."""
        self.made.setdefault(start, (end, by))

    def done(self) -> str:
        """The text with all of it."""
        parts, at = [], 0
        for start, (end, by) in sorted(self.made.items()):
            if start < at:  # within what is gone
                continue
            parts += [self.text[at:start], by]
            at = end
        return "".join([*parts, self.text[at:]])


def composed(text: str) -> Any:
    """The nodes of a YAML text, with where each stands."""
    from ruamel.yaml import YAML

    return YAML(typ="rt").compose(text)


def pairs(node: Any) -> Iterator[tuple[Any, Any]]:
    """Keys and values of a mapping's node, those that it takes over from another included."""
    for key, value in node.value:
        if key.value == "<<":
            for one in value.value if is_list(value) else [value]:
                yield from pairs(one)
        else:
            yield key, value


def is_list(node: Any) -> bool:
    """Whether a node is a sequence."""
    return bool(node.id == "sequence")


def found(node: Any, name: str) -> Any:
    """The key and the value of a field, or None."""
    return next(((key, value) for key, value in pairs(node) if key.value == name), None)


def quoted(words: str, plain: bool) -> str:
    """Words as YAML, in quotes unless they may go without."""
    return words if plain and _PLAIN.fullmatch(words) else json.dumps(words, ensure_ascii=False)


def paths_moved(edits: Edits, node: Any, model: Any, way: str) -> None:
    """Rewrite every path of a part of the site file so that it starts from another folder.

    Parameters
    ----------
    node : of `composed`
    model : type
        The pydantic model that reads it.
    way : str
        From the other folder to the file's own.
    """
    if node.id != "mapping":
        if node.id == "scalar" and "file" in model.model_fields:  # its file alone
            _move(edits, node, way)
        return
    named = {field.alias or name: field.annotation for name, field in model.model_fields.items()}
    for key, value in pairs(node):
        kinds = list(_kinds(named.get(key.value)))
        values = value.value if is_list(value) else [value]
        models = [kind for kind in kinds if issubclass(kind, BaseModel)]
        for one in values:
            if Path in kinds and one.id == "scalar":
                _move(edits, one, way)
            elif len(models) == 1:
                paths_moved(edits, one, models[0], way)


def _kinds(annotation: Any) -> Iterator[type]:
    """Types that an annotation names, within lists and unions too."""
    if isinstance(annotation, type) and get_origin(annotation) is None:
        yield annotation
    elif get_origin(annotation) in (Union, types.UnionType, list, tuple):
        for part in get_args(annotation):
            yield from _kinds(part)


def _move(edits: Edits, node: Any, way: str) -> None:
    given = node.value
    if node.tag.endswith(":null") or not given or PurePath(given).is_absolute():
        return
    block = node.style in ("|", ">")
    edits.replace(node.start_mark.index, node.end_mark.index,
                  quoted(f"{way.rstrip('/')}/{Path(given).as_posix()}", node.style is None)
                  + "\n" * block)
