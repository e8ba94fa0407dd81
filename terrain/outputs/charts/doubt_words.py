"""How a headline and its range are called and printed, in charts and in tables."""

from __future__ import annotations

from collections.abc import Iterator

from terrain.plan.doubt.doubt_found import Doubt, Headline, Range
from terrain.units import per_cent, shown

#: Doubts whose shares lie no further apart are named together; common practice, no source.
NEARLY = 0.10
#: What a headline is called in a table.
NAMES = {"passive": "passive capture", "roof": "roof capture", "left site": "left the site",
         "share kept": "kept, of all that came"}


def periods(doubt: Doubt) -> Iterator[tuple[str, dict[str, Headline]]]:
    """What the headlines are of, and the headlines."""
    for name, told in ((f"the storm \"{doubt.design_storm}\"", doubt.storm),
                       ("an average year", doubt.year), ("any one year", doubt.one_year)):
        if told:
            yield name, told


def mattering(headline: Headline) -> str:
    """The doubt that matters most, with those that matter nearly as much."""
    most = headline.most
    if most is None:
        return "nothing"
    least = headline.shares[most] - NEARLY
    return " and ".join([most, *(doubt for doubt, share in headline.shares.items()
                                 if doubt != most and share >= least and share > 0)])


def figure(value: float | None, name: str, system: str, with_unit: bool = True) -> str:
    """A headline's figure as it is printed."""
    if value is None:
        return "–"
    if name == "share kept":
        return per_cent(value, 1) if with_unit else f"{100 * value:.1f}"
    return shown(value, "volume", system, with_unit=with_unit)


def span(found: Range, name: str, system: str) -> str:
    """A range as one: its ends, and the unit once."""
    low = figure(found.low, name, system, with_unit=False)
    return f"{low} – {figure(found.high, name, system)}"
