"""How a headline and its range are called and printed, in charts and in tables."""

from __future__ import annotations

from collections.abc import Iterator

from terrain.plan.doubt.doubt_found import Doubt, Headline, Range
from terrain.units import shown

#: What a headline is called in a table.
NAMES = {"passive": "passive capture", "roof": "roof capture", "left site": "left the site",
         "share kept": "kept, of all that came"}


def periods(doubt: Doubt) -> Iterator[tuple[str, dict[str, Headline]]]:
    """What the headlines are of, and the headlines."""
    for name, told in ((f"the storm \"{doubt.design_storm}\"", doubt.storm),
                       ("an average year", doubt.year), ("any one year", doubt.one_year)):
        if told:
            yield name, told


def figure(value: float | None, name: str, system: str, with_unit: bool = True) -> str:
    """A headline's figure as it is printed."""
    if value is None:
        return "–"
    if name == "share kept":
        return f"{value:.1%}".replace("%", " %" if with_unit else "").strip()
    return shown(value, "volume", system, with_unit=with_unit)


def span(found: Range, name: str, system: str) -> str:
    """A range as one: its ends, and the unit once."""
    low = figure(found.low, name, system, with_unit=False)
    return f"{low} – {figure(found.high, name, system)}"
