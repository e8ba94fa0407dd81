"""The lines that stakes stand on, with their levels: what a phone, a drawing and a machine show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.plan.planned import Plan, PlannedStore
from terrain.works.designed_ground import level_line
from terrain.works.ground_of_bank import spillway_floor

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class FieldLine:
    """A line of a work.

    Attributes
    ----------
    work, name : str
        Whose it is, and what.
    points : float64, shape (n, 3)
        East, north and design level in the working frame. [m]
    start : float
        Station of its first point in the table of stakes. [m]
    """

    work: str
    name: str
    points: FloatArray
    start: float = 0.0


def lines_of(plan: Plan) -> list[FieldLine]:
    """Lips, walls, rims, bunds, sills and furrows, in the site file's order."""
    found = []
    for planned in plan.stores:
        if planned.store.kind not in ("tank", "hollow"):
            found += [FieldLine(planned.store.name, name, np.asarray(points, np.float64),
                                planned.swale.sill_from if planned.swale is not None
                                and name == "sill" else 0.0)
                      for name, points in _lines(plan, planned)]
        made = planned.furrow
        if made is not None:
            line = np.asarray(made.line)
            found.append(FieldLine(planned.store.name, "furrow",
                                   level_line(line, np.asarray(made.bed(_along(line))))))
    return found


def _lines(plan: Plan, planned: PlannedStore) -> list[tuple[str, FloatArray]]:
    swale, drain, basin = planned.swale, planned.drain, planned.basin
    tree = planned.placed.tree
    if swale is not None:
        return [("lip", level_line(np.asarray(swale.route.line), swale.sill.level)),
                ("sill", level_line(_between(np.asarray(swale.route.line), swale.sill_from,
                                             swale.sill_to), swale.sill.level))]
    if drain is not None:
        line = np.asarray(drain.route.line)
        levels = np.array([drain.route.lip(float(s)) for s in _along(line)])
        return [("lip", level_line(line, levels))]
    if basin is not None and basin.profile is not None:
        line, wall = np.asarray(basin.line), basin.profile
        at = np.unique(np.concatenate([_along(line), wall.stations[
            (wall.stations >= 0) & (wall.stations <= _along(line)[-1])]]))
        xy = np.column_stack([np.interp(at, _along(line), line[:, i]) for i in (0, 1)])
        found = [("crest as built", level_line(xy, np.interp(at, wall.stations, wall.built)))]
        if basin.rim is not None:
            found.append(("rim", level_line(np.asarray(basin.rim),
                                            basin.floor + basin.pit_depth)))
        _, lip = spillway_floor(plan.inputs.dem, basin)
        return [*found, ("sill", level_line(np.asarray(lip), basin.sill.level))]
    if basin is not None:
        return [("water edge", level_line(np.asarray(basin.line), basin.sill.level))]
    if tree is not None and tree.crescent is not None:
        return [("bund", level_line(np.asarray(tree.crescent.arc),
                                    tree.crescent.level + tree.crescent.freeboard))]
    if tree is not None:
        ring = np.asarray(tree.outline.exterior.coords)[:, :2]
        return [("water edge" if tree.form == "bowl" else "trench", level_line(ring, tree.level))]
    return []


def _along(line: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])


def _between(line: FloatArray, start: float, end: float) -> FloatArray:
    """The part of a line between two chainages."""
    along = _along(line)
    at = np.concatenate([[start], along[(along > start) & (along < end)], [end]])
    return np.column_stack([np.interp(at, along, line[:, i]) for i in (0, 1)])
