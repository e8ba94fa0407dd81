"""What to shave and what to fill, so that a work is as it was designed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from terrain.asbuilt.compared import LineFound, Stretch
from terrain.asbuilt.designed_lines import DesignedLine

#: What is done to a line that is too high and one that is too low, and whether it must be.
ACTIONS = {"sill": (("shave", True), ("fill", True)),
           "crest": (("shave", False), ("raise", True)),
           "rim": (("shave", False), ("raise", True)),
           "edge": (("shave", False), ("fill", False)),
           "lip": (("shave", False), ("fill", False)),
           "bed": (("dig", True), ("fill", False)),
           "floor": (("dig", True), ("fill", False)),
           "trench": (("dig", True), ("fill", False))}


@dataclass(frozen=True)
class Mend:
    """One thing to do.

    Attributes
    ----------
    line : DesignedLine
    stretch : Stretch
    action : str
        "shave", "dig", "fill" or "raise".
    needed : bool
        False where it does no harm to leave it.
    """

    line: DesignedLine
    stretch: Stretch
    action: str
    needed: bool


def mends(lines: Iterable[LineFound]) -> tuple[Mend, ...]:
    """What to do to lines that are out of tolerance, what must be done first."""
    found = []
    for line in lines:
        for stretch in line.stretches:
            action, needed = ACTIONS[line.line.role][0 if stretch.high else 1]
            found.append(Mend(line.line, stretch, action, needed))
    return tuple(sorted(found, key=lambda mend: not mend.needed))
