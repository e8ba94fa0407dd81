"""A survey of two works, as dug."""

from __future__ import annotations

from pathlib import Path

import numpy as np

#: The survey: how many mm too high each point was dug, in order along its line.
SURVEY = {
    ("upper swale", "sill", 5): (1, 4, 9, 14, 20),
    ("upper swale", "line", 9): (4, -11, 6, 12, -3, 8, 15, -6, 9),
    ("upper swale", "bed", 10): (-8, 12, 21, -4, 9, 48, 41, 6, -11, 3),
    ("upper swale", "berm", 11): (14, 6, 3, 19, 8, -260, 11, 5, 2, 16, 9),
    ("road basin", "sill", 3): (-2, 3, 1),
    ("road basin", "floor", 6): (12, -9, 55, 8, -14, 4)}


def survey_rows(folder: Path) -> str:
    """A survey of two works with a dumpy level, as levelled from a peg at each: invented, with a
    sill that rises 20 mm to one end and a low place in a berm where goats cross it."""
    from terrain.asbuilt.designed_lines import designed_lines
    from terrain.plan.plan import make_plan

    plan = make_plan(folder / "site.yaml")
    lines = designed_lines(plan)
    rows = ["# Invented, as all of Quailstone: what a dumpy level might read on two works as dug.",
            "work,mark,station_m,set-up,elevation_m,reading_m"]
    for set_up, work in (("A", "upper swale"), ("B", "road basin")):
        peg = round(next(line for line in lines if line.work == work and line.name == "sill")
                    .levels[0] + 0.35, 2)
        sight = peg + 1.312
        rows.append(f",peg,,{set_up},{peg:.3f},1.312")
        for (name, mark, count), errors in SURVEY.items():
            if name != work:
                continue
            own = [line for line in lines if line.work == work and mark in line.marks]
            line = own[0]
            first, last = line.spans[0][0], line.spans[-1][1]
            if mark == "floor":
                at = np.linspace(0.0, line.shape.length, count, endpoint=False)
            else:
                at = np.linspace(first, last, count)
            for station, error in zip(at, errors, strict=True):
                if mark == "berm" and not line.counts(station):  # left out there for the sill
                    continue
                level = float(line.level_at(station)) + error / 1000
                rows.append(f"{work},{mark},{station:.2f},{set_up},,{sight - level:.3f}")
        rows.append(f",peg,,{set_up},{peg:.3f},1.314")
    return "\n".join(rows) + "\n"
