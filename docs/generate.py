"""Write the tables of fields in the reference pages anew, from the schema that files are read by.

Run:  .venv/bin/python docs/generate.py

A page holds a table between ``<!-- fields: Kind, Kind -->`` and ``<!-- end of fields -->``: the
fields that those kinds of part declare themselves, with what they take, what they are when left
out, and what their docstring in `terrain/inputs/` says. All else on the page is written by hand.
"""

from __future__ import annotations

import ast
import inspect
import re
import textwrap
import types
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from terrain.inputs.described import parts_of
from terrain.inputs.district import District
from terrain.inputs.fields import MOST_OF_ALL, Part, Point, Quantity, Written, bound
from terrain.inputs.site import Site
from terrain.units import DIMENSIONS, NAMES

DOCS = Path(__file__).parent
#: The pages that hold tables of fields, and the kind of file that each describes.
PAGES: dict[str, type[BaseModel]] = {"site-file.md": Site, "district.md": District}
BLOCK = re.compile(r"(<!-- fields: ([\w, ]+) -->\n).*?(<!-- end of fields -->)", re.DOTALL)
HEAD = "| field | takes | left out | what it is |\n| --- | --- | --- | --- |\n"
#: A bound that keeps a number within what a machine holds, and says nothing to a person.
ENDLESS = 2**63
#: Numbers in words, for lists that want so many entries at least.
WORDS = {1: "one", 2: "two", 3: "three"}
PLAIN = {str: "text", bool: "`true` or `false`", int: "whole number", float: "number",
         Path: "file's name", Point: "point"}


def kinds_of(file: type[BaseModel]) -> dict[str, type[BaseModel]]:
    """Every kind of part that a file may have, and what it is built on, by name."""
    return {base.__name__: base for part in parts_of(file) for base in part.__mro__
            if issubclass(base, Part) and base is not Part}


def declared(kind: type[BaseModel]) -> list[str]:
    """Fields that a kind declares itself, in their order."""
    return [name for name in kind.model_fields if name in inspect.get_annotations(kind)]


def described(kind: type[BaseModel]) -> dict[str, str]:
    """What the docstring behind each field that a kind declares itself says."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(kind)))
    body = tree.body[0].body  # type: ignore[attr-defined]
    found = {}
    for field, behind in pairwise(body):
        if isinstance(field, ast.AnnAssign) and isinstance(behind, ast.Expr):
            words = ast.literal_eval(behind.value)
            found[field.target.id] = inspect.cleandoc(words).strip()  # type: ignore[union-attr]
    return found


def takes(kind: Any, bounds: tuple[Any, ...] = ()) -> str:
    """What a field may be given, with its unit and bounds, in words."""
    words = next((b.words for b in bounds if isinstance(b, Written)), None)
    if words is not None:
        return words
    quantity = next((b.func for b in bounds if isinstance(getattr(b, "func", None), Quantity)),
                    None)
    if quantity is not None:
        return _quantity(quantity)
    origin, parts = get_origin(kind), get_args(kind)
    if kind in PLAIN:
        return PLAIN[kind] + _limits(bounds)
    if origin is Annotated:
        return takes(parts[0], (*bounds, *parts[1:]))
    if origin is Literal:
        return ", ".join(f"`{one}`" for one in parts)
    if origin in (Union, types.UnionType):
        several = [takes(part, bounds) for part in parts if part is not type(None)]
        if _is_part(kind):
            return "fields"
        return ", or ".join(dict.fromkeys(several))
    if origin in (list, tuple):
        return _list_of(parts, bounds)
    return "fields"


def _list_of(parts: tuple[Any, ...], bounds: tuple[Any, ...]) -> str:
    least = next((b.min_length for b in bounds if hasattr(b, "min_length")), 0)
    most = next((b.max_length for b in bounds if hasattr(b, "max_length")), None)
    if parts[0] == Point:
        return {0: "points"}.get(least, f"points, {WORDS[least or 1]} or more")
    what = takes(parts[0])
    if _is_part(parts[0]):
        return "list of fields"
    return f"list of {most}: {what}" if most else f"list: {what}"


def _is_part(kind: Any) -> bool:
    if isinstance(kind, type):
        return issubclass(kind, BaseModel)
    return bool(get_args(kind)) and _is_part(get_args(kind)[0])


def _quantity(quantity: Quantity) -> str:
    free = quantity.least is None and quantity.above is None
    name = ("level" if free and quantity.dimension == "length" else
            NAMES[quantity.dimension].partition(" ")[2])
    metric, us = (unit.replace("**", "").replace("2", "²").replace("3", "³")
                  for unit in DIMENSIONS[quantity.dimension][1:])
    within = []
    if quantity.least:
        within.append(f"from {bound(quantity.least, quantity.dimension)}")
    elif quantity.above is not None:
        within.append("above 0")
    if quantity.most != MOST_OF_ALL:
        within.append(f"up to {bound(quantity.most, quantity.dimension)}")
    units = metric if metric == us else f"{metric}; {us}"
    return f"{name} ({units})" + "".join(f", {one}" for one in within)


def _limits(bounds: tuple[Any, ...]) -> str:
    said: list[str] = []
    for sign, word in (("gt", "above"), ("ge", "from"), ("lt", "below"), ("le", "up to")):
        said += [f", {word} {getattr(one, sign):,g}" for one in bounds
                 if getattr(one, sign, ENDLESS) != ENDLESS]
    return "".join(said)


def left_out(field: FieldInfo, words: str) -> str:
    """What a field is when it is left out: as the schema has it, or its docstring where that has
    nothing to count with.

    Raises
    ------
    ValueError
        If both say it.
    """
    if field.is_required():
        return "**needed**"
    usual = field.get_default(call_default_factory=True)
    if words:
        if isinstance(usual, str | bool) or (isinstance(usual, int | float) and usual):
            raise ValueError(f"the schema says {usual}, and the docstring: {words}")
        return words
    if isinstance(usual, BaseModel):
        return "as with its fields left out"
    if usual in (None, [], {}, (0.0, 0.0)):
        return "–"
    if isinstance(usual, str | bool):
        return f"`{str(usual).lower() if isinstance(usual, bool) else usual}`"
    quantity = next((b.func for b in field.metadata
                     if isinstance(getattr(b, "func", None), Quantity)), None)
    if quantity is None or not usual:
        return f"{usual:,g}"
    unit = DIMENSIONS[quantity.dimension][0].replace("**", "")
    return f"{usual:,g} {unit}".replace("m2", "m²").replace("m3", "m³")


def row(kind: type[BaseModel], name: str, words: str) -> str:
    """A row of the table."""
    field = kind.model_fields[name]
    text, _, usual = words.partition("\nLeft out: ")
    cells = [f"`{field.alias or name.replace('_', ' ')}`",
             takes(field.annotation, tuple(field.metadata)),
             left_out(field, " ".join(usual.split()).removesuffix(".")),
             " ".join(text.split())]
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |\n"


def table(kinds: list[type[BaseModel]]) -> str:
    """A table of the fields that these kinds declare themselves.

    Raises
    ------
    KeyError
        If nothing describes a field.
    """
    return HEAD + "".join(row(kind, name, described(kind)[name])
                          for kind in kinds for name in declared(kind))


def kinds_told(text: str) -> Iterator[str]:
    """Names of the kinds whose fields a page lists."""
    for block in BLOCK.finditer(text):
        yield from block.group(2).split(", ")


def written(text: str, file: type[BaseModel]) -> str:
    """A page with its tables as the schema has them."""
    kinds = kinds_of(file)

    def block(found: re.Match[str]) -> str:
        return (found.group(1) + "\n" + table([kinds[name] for name in found.group(2).split(", ")])
                + "\n" + found.group(3))
    return BLOCK.sub(block, text)


def main() -> None:
    """Rewrite the pages."""
    for name, file in PAGES.items():
        page = DOCS / name
        page.write_text(written(page.read_text(encoding="utf-8"), file), encoding="utf-8")


if __name__ == "__main__":
    main()
