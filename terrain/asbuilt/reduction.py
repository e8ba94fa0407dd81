"""Levels from staff readings, and how well the survey closes on its benchmark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from terrain.errors import InputError
from terrain.inputs.asbuilt_points import BenchmarkRow, SurveyFile
from terrain.units import METRES, in_both
from terrain.works.rules import Rulebook

#: Levels of one benchmark that differ by less are the same. [m]
SAME = 0.0015


@dataclass(frozen=True)
class Reduced:
    """Levels of surveyed points.

    Attributes
    ----------
    levels : tuple of float
        Of each point, in the file's order. [m]
    instruments : tuple of (str, float)
        Each set-up that readings were taken from, and the level of its line of sight. [m]
    closing : float or None
        The widest difference between lines of sight that readings of benchmark and pegs give one
        set-up, or between the benchmark's surveyed and known level; None where it was met once or
        never. [m]
    notes, cautions : tuple of str
    """

    levels: tuple[float, ...]
    instruments: tuple[tuple[str, float], ...]
    closing: float | None
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def reduced(survey: SurveyFile, known: float | None, rules: Rulebook) -> Reduced:
    """Reduce a survey to levels by the height of the instrument.

    Parameters
    ----------
    known : float, optional
        Level of the site's benchmark. [m]

    Raises
    ------
    InputError
        If a set-up reads neither benchmark nor peg, the benchmark's level is nowhere said, or it is
        said to be at two.

    Notes
    -----
    The line of sight lies the reading above the benchmark's or peg's level, the mean where there
    are more than one; a point lies its own reading below that.

    References
    ----------
    .. [1] US Army FM 5-233, Construction Surveying, 1985, differential leveling, from memory.
    """
    from_staff = sorted({p.set_up for p in survey.points if p.reading is not None})
    instruments: dict[str, float] = {}
    closings: list[float] = []
    notes: list[str] = []
    for set_up in from_staff:
        here = f"Set-up {set_up}" if set_up else "The survey"
        sights = _sights(survey.path, set_up, survey.benchmarks, known)
        instruments[set_up] = sum(sights) / len(sights)
        if len(sights) > 1:
            closings.append(max(sights) - min(sights))
            notes.append(f"{here} read benchmark or peg {len(sights)} times; its line of sight "
                         f"comes out {in_both(closings[-1], 'level', 3)} apart, and the mean was "
                         "taken.")
        else:
            notes.append(f"{here} read the benchmark once, so nothing shows whether the "
                         "instrument moved: read it again at the end.")
    for row in survey.benchmarks:
        if row.reading is None and row.level is not None and known is not None:
            closings.append(abs(row.level - known))
            notes.append(f"The benchmark was surveyed {in_both(row.level - known, 'level', 3)} "
                         "from the level that the site file states; no level was moved for that.")
    levels = []
    for point in survey.points:
        if point.level is not None:
            levels.append(point.level)
        else:
            assert point.reading is not None
            levels.append(instruments[point.set_up] - point.reading)
    closing = max(closings) if closings else None
    cautions = []
    least = rules["benchmark read again"]
    if closing is not None and closing > least + 1e-9:
        cautions.append(f"The survey closes on its benchmark by {in_both(closing, 'level', 3)} and "
                        f"{in_both(least, 'level', 3)} is allowed "
                        f"({rules.cited('benchmark read again')}): no difference below that is "
                        "sure. Level it again before anything is trimmed.")
    return Reduced(tuple(levels), tuple(instruments.items()), closing, tuple(notes),
                   tuple(cautions))


#: No instrument moves so far within a set-up: a level or reading is wrong. Common practice, no
#: source. [m]
FAR_APART = 5.0
#: One level is taken to be the other in another unit where it is so near that many times it. [-]
NEAR = 0.01


def _sights(path: Path, set_up: str, rows: Sequence[BenchmarkRow], known: float | None
            ) -> list[float]:
    """Levels of a set-up's line of sight, by each reading of the benchmark or a peg. [m]"""
    where = f"{path}, set-up {set_up}" if set_up else str(path)
    read = [row for row in rows if row.set_up == set_up and row.reading is not None]
    if not read:
        raise InputError(where, "it holds staff readings and none on a benchmark",
                         "Add a row with 'benchmark' as its mark and the staff reading on it")
    stated = [(row.place, row.level) for row in read if row.level is not None and not row.peg]
    for place, level in stated:
        other = known if known is not None else stated[0][1]
        if abs(level - other) > SAME:
            raise InputError(place, f"it puts the benchmark at {in_both(level, 'level', 3)}, and "
                             f"{'the site file' if known is not None else stated[0][0]} at "
                             f"{in_both(other, 'level', 3)}",
                             "Correct the one that is wrong, or call it a peg if it is another "
                             "point")
    bench = known if known is not None else stated[0][1] if stated else None
    sights, levels = [], []
    for row in read:
        sighted = row.level if row.peg else bench
        if sighted is None:
            raise InputError(row.place, "the benchmark's level is said neither there nor in the "
                             "site file", "Give its level in that row, or benchmark in the site "
                             "file")
        assert row.reading is not None
        levels.append(sighted)
        sights.append(sighted + row.reading)
    low, high = (pick(range(len(read)), key=sights.__getitem__) for pick in (min, max))
    if sights[high] - sights[low] > FAR_APART:
        feet = levels[low] and abs(levels[high] / levels[low] * METRES["ft"] - 1) < NEAR
        raise InputError(read[low].place, f"its level, {in_both(levels[low], 'level')}, puts the "
                         "line of sight "
                         f"{in_both(sights[high] - sights[low], 'level')} below that of "
                         f"{read[high].place}, {in_both(levels[high], 'level')}",
                         "One looks like metres and the other like feet: give both in the unit of "
                         "the column" if feet else "Correct the one that is wrong")
    return sights
