"""What a survey gives cause to warn of, and what its answers rest on, in whole sentences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from terrain.asbuilt.compared import ROUNDED
from terrain.asbuilt.work_found import StormBeside, WorkFound
from terrain.plan.planned import Plan
from terrain.units import in_both
from terrain.works.rules import DAMS, ENGINEER, Rulebook

#: Points whose differences spread less than this share of their median are off by one amount, if
#: so large a share of them does.
ALIKE, MOST = 0.5, 0.8
#: Points no further apart than this were surveyed at one place. [m]
ONE_PLACE = 0.05
#: Water no higher than this over a crest is not told. [m]
SHOWN = 0.001
#: A work whose storage differs by a smaller share holds what was designed. [-]
SAME_STORAGE = 0.01


def cautions_of(plan: Plan, work: WorkFound, design: StormBeside | None) -> tuple[str, ...]:
    """Cautions that a work earns as it was built.

    Parameters
    ----------
    design : StormBeside or None
        The design storm at it.
    """
    said: list[str] = []
    spill, planned = work.spill, work.planned
    if spill is not None and spill.line.role in ("crest", "rim"):
        said.append(f"Water first leaves over its {spill.line.name}, not over its sill, at "
                    f"{in_both(spill.level, 'level', 3)}: earth that water runs over is soon cut "
                    "through. Do not fill it before that place is raised.")
    said += _freeboard(plan, work, design)
    said += _over_bank(work)
    if spill is not None and planned.swale is not None:
        said += _ends(work, spill.level)
    basin = planned.basin
    if spill is not None and basin is not None and basin.outflank is not None and (
            basin.outflank.level < spill.level):
        said.append("By the raster, ground by which water would get round the wall lies at "
                    f"{in_both(basin.outflank.level, 'level')}, below where it first spills as "
                    f"surveyed: survey that ground; {ENGINEER}.")
    for found in work.lines:
        if found.few:
            said.append(f"Its {found.line.name} has too few points to judge: {found.few}.")
    missing = [line.name for line in work.unsurveyed if line.role in ("sill", "crest")]
    if missing and spill is not None:
        said.append(f"Nobody surveyed its {' and '.join(dict.fromkeys(missing))}: what it holds "
                    "and where it spills count that as designed.")
    said += _twice(work)
    said += _drain(work)
    return tuple(said)


def _freeboard(plan: Plan, work: WorkFound, design: StormBeside | None) -> list[str]:
    if design is None or design.freeboard_settled is None or not any(
            line.line.role == "crest" for line in work.lines):
        return []
    rules, planned = plan.inputs.rules, work.planned
    basin = planned.basin
    rule = "basin freeboard" if basin is not None else "berm freeboard"
    left, wanted = design.freeboard_settled, rules[rule]
    low = any(line.line.role == "crest" and any(line.state(i) == "low"
                                                for i in range(len(line.points)))
              for line in work.lines)
    said = []
    if left < wanted - 0.005 and (low or left < (design.freeboard_designed or 0.0) - 0.005):
        gone = ("no freeboard is left: the water would stand "
                f"{in_both(-left, 'level')} over its lowest crest" if left <= 0 else
                f"{in_both(left, 'level')} of freeboard is left")
        said.append(f"In the storm \"{design.name}\" {gone} once the bank has settled, and "
                    f"{in_both(wanted, 'level')} is asked for ({rules.cited(rule)}). Do not fill "
                    "it before the crest is mended; until then keep its overflow open and let "
                    "nobody stand below it in a storm.")
    if basin is not None and basin.has_wall and low:
        dam = basin.water_at_wall >= rules["embankment water"]
        said.append("Its wall stands below its height. "
                    + (f"Water stands {in_both(basin.water_at_wall, 'level')} deep against it, so "
                       f"it is an embankment dam (embankment water, "
                       f"{rules.source('embankment water')}): its repair is licensed practice; "
                       f"{DAMS}." if dam else
                       f"Raise it with rolled layers bound into the old crest; {ENGINEER} how."))
    return said


def _over_bank(work: WorkFound) -> list[str]:
    """Storms in which water stands over the lowest crest, now or once the bank has settled."""
    told, designed = [], []
    for storm in work.storms:
        now, later = storm.freeboard, storm.freeboard_settled
        if now is None or later is None or min(now, later) > -SHOWN:
            continue
        how = (f"{in_both(-later, 'level')} once the bank has settled" if now > -SHOWN else
               f"{in_both(-now, 'level')} as the bank stands" + (
                   f", {in_both(-later, 'level')} once it has settled" if later < now - SHOWN
                   else ""))
        told.append(f"in \"{storm.name}\" by {how}")
        if (storm.freeboard_designed or 0.0) <= -SHOWN:
            designed.append(f"\"{storm.name}\"")
    if not told:
        return []
    anyway = ("" if not designed else
              f" In {' and '.join(designed)} it would with its crest as designed too, so mending "
              "alone does not keep that water in.")
    return [f"Water would run over its lowest crest: {'; '.join(told)}. A bank that water runs "
            "over is soon cut through: mend the crest before such a storm, and let nobody stand "
            f"below it in one.{anyway}"]


def _ends(work: WorkFound, level: float) -> list[str]:
    swale = work.planned.swale
    assert swale is not None
    tips = [swale.sill.level + swale.berm_height_built - end.tip for end in swale.returns]
    low = [(name, tip) for name, tip in zip(("start", "end"), tips, strict=True)
           if tip < level - 0.005]
    if not low:
        return []
    where = " and ".join(f"at its {name} at {in_both(tip, 'level')}" for name, tip in low)
    return [f"By the raster, the ground at the tip of its berm lies {where}, below where it first "
            "spills as surveyed: survey the ends, for water may get round there first."]


def _drain(work: WorkFound) -> list[str]:
    """Where a drain's bed rises the way it should fall."""
    if work.planned.drain is None:
        return []
    said = []
    for found in work.lines:
        if found.line.name != "bed" or len(found.points) < 2:
            continue
        rises = [(a.station, b.station) for a, b in zip(found.points, found.points[1:],
                                                        strict=False)
                 if b.surveyed > a.surveyed + 1e-3 and b.station > a.station + 0.1]
        if rises:
            first, last = rises[0][0], rises[-1][1]
            said.append(f"Its bed rises the way it should fall between stations "
                        f"{in_both(first, 'length')} and {in_both(last, 'length')}: water will "
                        "stand there and drop its silt.")
    return said


def whole_cautions(works: Sequence[WorkFound], rules: Rulebook) -> list[str]:
    """Cautions of a survey as a whole, or of works that lie too high or too low as a whole."""
    shift = _shift(works, rules)
    if shift is not None:
        return [_of_shift("Most points lie", shift, works)
                + "before anything is dug, check the benchmark's level and reading, the unit, and "
                  "the height datum of the survey."]
    said = []
    for work in works:
        shift = _shift([work], rules) if len({line.line.role for line in work.lines}) > 1 else None
        if shift is not None:
            said.append(_of_shift(f"Most points of {work.name} lie", shift, [work])
                        + "before anything is dug there, check the set-up that read them and its "
                          "reading on the benchmark; if they hold, the whole work was set out at "
                          "another level.")
    return said


def _shift(works: Sequence[WorkFound], rules: Rulebook) -> float | None:
    """By how much most points are off alike; None where they are not. [m]"""
    every = np.array([m.difference for work in works for line in work.lines for m in line.points])
    if every.size < 4:
        return None
    middle = float(np.median(every))
    near = np.abs(every - middle) <= ALIKE * abs(middle)
    # No less than what makes a sill too high or too low.
    if abs(middle) <= rules["sill off level"] + ROUNDED or near.mean() < MOST:
        return None
    return middle


def _of_shift(who: str, shift: float, works: Sequence[WorkFound]) -> str:
    every = [(line.line, m) for work in works for line in work.lines for m in line.points]
    good = sum(-line.low - ROUNDED <= m.difference - shift <= line.high + ROUNDED
               for line, m in every)
    return (f"{who} about {in_both(abs(shift), 'level', 3)} too {'high' if shift > 0 else 'low'}, "
            f"all alike, and with that taken off {good} of {len(every)} are within their "
            "tolerance: ")


def _twice(work: WorkFound) -> list[str]:
    """Points that were surveyed at one place and do not agree."""
    said = []
    for found in work.lines:
        worst = 0.0
        for i, one in enumerate(found.points):
            for other in found.points[i + 1:]:
                if np.hypot(one.x - other.x, one.y - other.y) <= ONE_PLACE:
                    worst = max(worst, abs(one.difference - other.difference))
        if worst > found.line.low + found.line.high:
            said.append(f"On its {found.line.name} two points at one place differ by "
                        f"{in_both(worst, 'level', 3)}: one of them is wrong, and all that is told "
                        "of that place is a mean of both. Take the wrong one out.")
    return said


def notes_of(works: Sequence[WorkFound], settled: bool) -> list[str]:
    """What the answers rest on."""
    said = ["Between surveyed points every difference from the design is a guess: it runs straight "
            "from point to point along a line, and beyond the last point it stays as it is there."]
    if any(work.planned.swale is not None for work in works):
        said.append("A swale's storage is the integral of its section over the bed as surveyed, up "
                    "to the lowest place of sill or berm; its sides count as designed, and where "
                    "lip and bed lie off alike they lie off with them.")
    if any(line.line.area is not None for work in works for line in work.lines):
        said.append("Over a floor differences run straight within triangles between points "
                    "(Delaunay), and are the nearest point's beyond them; a pit's sides count as "
                    "designed.")
    if any(work.lip is not None for work in works):
        said.append("In the storms a level sill stands for sill and crest as surveyed: it lies at "
                    "the lowest place and passes the design peak at the same depth.")
    if any(line.role == "crest" for work in works
           for line in (*work.unsurveyed, *(found.line for found in work.lines))):
        said.append("Banks were held against the levels they settle to." if settled else
                    "Banks were held against the levels they are built to, before they settle; "
                    "give --settled once they have had a wet season.")
    return said
