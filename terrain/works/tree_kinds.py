"""Kinds of fruit and other trees by their published crop coefficients."""

from __future__ import annotations

import csv
import difflib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources


@dataclass(frozen=True)
class TreeKind:
    """A kind of tree.

    Attributes
    ----------
    name : str
    crop : str
        As the published table calls it.
    start, middle, end : float
        Crop coefficients of the season's parts; the middle one serves as the plant factor. [-]
    """

    name: str
    crop: str
    start: float
    middle: float
    end: float


@lru_cache(maxsize=1)
def tree_kinds() -> dict[str, TreeKind]:
    """All kinds by their names.

    References
    ----------
    .. [1] Allen et al., FAO Irrigation and Drainage Paper 56, 1998, Table 12; from memory.
    """
    text = resources.files("terrain.works").joinpath("tree_kinds.csv").read_text("utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    found = {}
    for row in csv.DictReader(lines):
        for plain in row["names"].split("/"):
            name = plain + (f", {row['variant']}" if row["variant"] else "")
            found[name] = TreeKind(name, row["crop"], float(row["kc_ini"]), float(row["kc_mid"]),
                                   float(row["kc_end"]))
    return found


def tree_named(name: str) -> TreeKind:
    """A kind by its name.

    Raises
    ------
    ValueError
        If no kind is called so; the message names the nearest.
    """
    kinds = tree_kinds()
    if name not in kinds:
        near = difflib.get_close_matches(name.lower(), kinds, 1, 0)[0]
        plain = ", ".join(kind for kind in kinds if "," not in kind)
        raise ValueError(f"there is no tree '{name}'; the nearest is '{near}' (there are {plain})")
    return kinds[name]
