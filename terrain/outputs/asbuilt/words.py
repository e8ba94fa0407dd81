"""What a survey says of each line, storage and spill, in a person's units."""

from __future__ import annotations

from collections.abc import Iterable

from terrain.asbuilt.compared import LineFound
from terrain.asbuilt.designed_lines import DesignedLine
from terrain.asbuilt.matching import Measured
from terrain.asbuilt.mending import Mend
from terrain.asbuilt.said import SAME_STORAGE
from terrain.asbuilt.work_found import WorkFound
from terrain.units import printed, shown

#: What each line is called.
NAMES = {"sill": "sill", "lip": "lip", "bed": "bed", "check": "checks", "berm": "berm's crest",
         "wall": "wall's crest", "cut-off": "cut-off trench", "rim": "rim", "floor": "floor",
         "bund": "bund's crest"}

#: Less earth than this is told as less. [m3 or yd3]
LEAST = 0.01


def small(metres: float | None, system: str, signed: bool = False) -> str:
    """A small height, in mm, or in feet as the staff and all levels are; with its sign where it is
    a difference."""
    if metres is None:
        return "unknown"
    words = (shown(abs(metres), "level", "us", 3) if system == "us" else
             shown(abs(metres) * 1000, "rain", system, 0))
    if not signed or not any(digit in words for digit in "123456789"):
        return words
    return ("+" if metres > 0 else "−") + words


def level(metres: float, system: str) -> str:
    """A level to the millimetre or the thousandth of a foot."""
    return shown(metres, "level", system, 3)


def tolerance(line: DesignedLine, system: str) -> str:
    """How far a line may lie below and above its design."""
    if line.low == line.high:
        return f"± {small(line.high, system)}"
    return f"−{small(line.low, system).split(' ')[0]} to +{small(line.high, system)}"


def at(point: Measured, line: DesignedLine, system: str) -> str:
    """Where a point lies on its line."""
    given = point.point
    if line.area is None:
        return f"at {shown(point.station, 'length', system)}"
    if given.name:
        return f"at point {given.name}"
    if given.stake is not None:
        return f"at stake {given.stake}"
    if given.at is not None:
        east, north = (f"{part:.{6 if given.lonlat else 1}f}" for part in given.at)
        return f"at {east}, {north}"
    return f"at station {shown(point.station, 'length', system)} of its edge"


def verdict_words(found: LineFound, mends: Iterable[Mend]) -> str:
    """What is to be said of a line: its verdict, or that what is off may stay as it is."""
    own = [mend for mend in mends if mend.line is found.line]
    if not own or any(mend.needed for mend in own):
        return found.verdict
    return f"{found.verdict.removeprefix('too ')}, may stay"


def is_to_mend(found: LineFound, mends: Iterable[Mend]) -> bool:
    """Whether anything must be done to a line."""
    return any(mend.needed and mend.line is found.line for mend in mends)


def line_row(found: LineFound, mends: Iterable[Mend], system: str) -> list[str]:
    """One row of a table: line, points, tolerance, highest, lowest, verdict."""
    high, low, line = found.highest, found.lowest, found.line
    return [NAMES[line.name], str(len(found.points)), tolerance(line, system),
            f"{small(high.difference, system, True)} {at(high, line, system)}",
            f"{small(low.difference, system, True)} {at(low, line, system)}",
            verdict_words(found, mends)]


LINE_HEAD = ["", "points", "tolerance", "highest", "lowest", "verdict"]


def held_words(work: WorkFound, system: str) -> str:
    """What it holds beside what it was to hold."""
    was, now = work.held_designed, work.held
    share = now / was - 1 if was > 0 else 0.0
    if abs(share) < SAME_STORAGE:
        return f"{shown(now, 'volume', system)}, as designed"
    return (f"{shown(now, 'volume', system)}, {abs(share):.0%} "
            f"{'less' if share < 0 else 'more'} than the {shown(was, 'volume', system)} designed")


def spill_words(work: WorkFound, system: str) -> str:
    """Where and at what level it first spills."""
    spill = work.spill
    if spill is None:
        return "holds no water of its own"
    off = spill.level - work.planned.store.sill.level
    beside = ("at the level designed" if abs(off) < 0.0015 else
              f"{small(off, system)} {'below' if off < 0 else 'above'} the sill's designed level")
    counts = "" if spill.surveyed else " (not surveyed: as designed)"
    return (f"over the {NAMES[spill.line.name]} at {shown(spill.station, 'length', system)}"
            f"{counts}, {level(spill.level, system)}, {beside}")


def mend_words(mend: Mend, system: str) -> str:
    """What to do about one stretch, as a sentence."""
    line, stretch = mend.line, mend.stretch
    name = NAMES[line.name]
    where = (f"over {shown(stretch.length, 'area', system, 1)}" if line.area is not None else
             f"from {shown(stretch.start, 'length', system)} to "
             f"{shown(stretch.end, 'length', system)}")
    how = {"shave": f"Shave the {name} {where}", "dig": f"Dig the {name} deeper {where}",
           "fill": f"Fill the {name} {where}", "raise": f"Raise the {name} {where}"}[mend.action]
    if not mend.needed:
        harm = {"shave": "higher than asked, which does no harm",
                "fill": "deeper than asked, which does no harm" if line.role != "lip" else
                "under the berm, where it does no harm"}[mend.action]
        return (f"The {name} {where} may stay as it is: up to {small(stretch.most, system)} "
                f"{harm}.")
    long = "" if line.area is not None else f"{shown(stretch.length, 'length', system)} long, "
    least = LEAST / printed("earth", system)[1]
    earth = ("" if stretch.volume is None else
             f", {shown(stretch.volume, 'earth', system, 2)} of earth"
             if stretch.volume >= least else
             f", less than {shown(least, 'earth', system, 2)} of earth")
    return f"{how}: {long}up to {small(stretch.most, system)}{earth}."
