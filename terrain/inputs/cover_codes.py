"""Public lists of land-cover codes, and the class of cover that stands in for each code."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources


@dataclass(frozen=True)
class ListedCode:
    """A code of a public list: what it means there, and what it is taken for.

    `use` is ``class`` (then `cover` is a published class of cover), ``no data`` or ``ask``.
    """

    meaning: str
    use: str
    cover: str


@lru_cache(maxsize=1)
def code_lists() -> dict[str, dict[str, ListedCode]]:
    """The lists by name, each by code as text.

    Which class stands in for a code is this tool's judgement: common practice, no source.
    """
    text = resources.files("terrain.inputs").joinpath("cover_codes.csv").read_text("utf-8")
    lists: dict[str, dict[str, ListedCode]] = {}
    for row in csv.DictReader(line for line in text.splitlines() if not line.startswith("#")):
        lists.setdefault(row["list"], {})[row["code"]] = ListedCode(row["meaning"], row["use"],
                                                                    row["class"])
    return lists
