"""Cautions in order of their gravity: what may kill or spoil for good first, advice to all last.

Where room is short, as on a sheet, the first ones are read and the last ones are left out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

#: What gives a caution away, the gravest first: words that it holds, as a pattern.
_GRAVE = (
    # Lines in the ground that it crosses or comes near to, septic fields, wells, buildings.
    r"have the line marked before anybody digs",
    r"septic field|private well|public well|well head",
    r"from the roof \"|the foundation|clear of buildings|the retaining wall",
    # Banks that break, and what runs over or round them.
    r"If its bank is overtopped or fails|would be overtopped|comes over its crest|"
    r"spillway is sized for the storm",
    r"this is a dam|rules for dams|Engineer and permit check|under federal law|"
    r"some states regulate dams from",
    r"slide\b|slope looked at|no section fits there|nearly as steep",
    r"drown",
    r"sloped or shored",
    # Less bank above the design peak than is asked for, or none.
    r"of bank is left above|of berm above it|over the berm's settled crest",
    r"above the rock|of the rock\b|the rock, said|top of the|Rock at",
    r"freeboard|is asked for|overflows its lip",
    r"get round the wall|run out there|berm's end|end of the wall is|washed out|wash out|"
    r"no trees on a bank",
    r"across the road|runs over|property line|leaves the property|crosses a way of gathered",
    r"^It (changes|overlaps)|scours|stone lip|runs over its sill|spills\b|spillway",
)
#: From this one of them on they are of works that spoil, not of people or of what stands.
_LESSER = 9
#: What every work of its kind earns, whatever lies about it.
_GENERAL = (
    r"^Build the bank in thin, damp, rolled layers",
    r"^The spillway goes into natural ground",
    r"under the .* from which some states regulate dams",
    r"catchment reaches (the edge of|a hole in)",
    r"^Set the trunk",
    r"^Keep mulch",
    r"^Roof water is not fit to drink",
    r"^Have buried pipes and cables located",
)
_MARKS = tuple(re.compile(words) for words in _GRAVE)
_ADVICE = tuple(re.compile(words) for words in _GENERAL)


def gravity(caution: str) -> int:
    """How grave a caution is; the least the gravest."""
    for number, words in enumerate(_ADVICE):
        if words.search(caution):
            return len(_MARKS) + 1 + number
    return next((number for number, words in enumerate(_MARKS) if words.search(caution)),
                len(_MARKS))


def is_grave(caution: str) -> bool:
    """Whether somebody may be hurt, or something spoilt for good, where it is not heeded: it is of
    lines in the ground, wells, buildings, banks, dams, slides, drowning, trench walls or water too
    near a bank's crest."""
    return gravity(caution) < _LESSER


def by_gravity(cautions: Iterable[str]) -> tuple[str, ...]:
    """Cautions, the gravest first; those of one gravity as they came."""
    return tuple(sorted(cautions, key=gravity))
