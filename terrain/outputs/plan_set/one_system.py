"""Sentences with figures in one system of units alone, as whoever digs reads one staff and tape."""

from __future__ import annotations

import re

#: Units of figures that stand in both systems, one behind the other in brackets.
_METRIC = ("mm/day", "mm/h", "mm", "m/s", "m³", "m²", "m", "ha", "L/s", "L")
_US = ("in/day", "in/h", "in", "ft/s", "ft²", "ft", "yd³", "gal", "acre-ft", "acre", "cfs")


def _figure(units: tuple[str, ...]) -> str:
    longest = "|".join(re.escape(unit) for unit in sorted(units, key=len, reverse=True))
    return rf"[-−]?\d[\d,]*(?:\.\d+)?[ \u00a0](?:{longest})"


_PAIRS = {"metric": (re.compile(rf"({_figure(_METRIC)}) \({_figure(_US)}\)"),
                     re.compile(rf"{_figure(_US)} \(({_figure(_METRIC)})\)")),
          "us": (re.compile(rf"({_figure(_US)}) \({_figure(_METRIC)}\)"),
                 re.compile(rf"{_figure(_METRIC)} \(({_figure(_US)})\)"))}


def in_one_system(said: str, system: str) -> str:
    """A sentence that tells figures in both systems, told in one: metric or us.

    A figure that stands in one system alone, as in the words of a source, stays as it is.
    """
    for pair in _PAIRS[system]:
        said = pair.sub(r"\1", said)
    return said
