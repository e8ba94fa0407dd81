"""The designed ground of a drain: a channel that falls along its line, and its bank."""

from __future__ import annotations

from functools import partial

import numpy as np
from shapely import LineString

from terrain.inputs.dem import Dem
from terrain.works.cross_section import Section
from terrain.works.designed_ground import (
    Breakline,
    FloatArray,
    Grid,
    WorkShape,
    along,
    bounds_of,
)
from terrain.works.drain import LEAST_BANK, Drain
from terrain.works.ground_of_swale import floor_at


def drain_shape(dem: Dem, drain: Drain, name: str) -> WorkShape:
    """What a drain makes of the ground.

    The line is its downhill lip.  Where the ground lies below the lip a bank brings it up to
    there, higher by what it settles.  Both of its ends are square.
    """
    route, side = drain.route, drain.section.side_slope
    steep = min(float(route.cross_slopes.max(initial=0.0)) + 0.05, 0.9 / side)
    section = Section("trapezoid", drain.section.depth, drain.section.width, side)
    off_level = float(np.abs(route.above).max()) + 0.2
    reach = 1.0 + (section.top_width() + drain.bank_top + 2 * side * off_level) / (1 - side * steep)
    narrowest = min(section.width or section.top_width() / 2,
                    drain.bank_top if drain.bank else np.inf)
    return WorkShape(name, bounds_of(route.line, reach), max(narrowest, 0.2),
                     partial(_levels, drain, section, reach), tuple(_breaklines(drain, section)))


def _levels(drain: Drain, section: Section, reach: float, grid: Grid
            ) -> tuple[FloatArray, FloatArray]:
    route = drain.route
    place = along(route.line, grid, reach)
    uphill = place.off if route.left else -place.off
    beside = np.isfinite(uphill) & (place.past == 0)
    lip = route.start_level - route.grade * place.chainage
    floor = floor_at(section, uphill)
    low = np.interp(place.chainage, route.stations, np.maximum(-route.above, 0.0))
    high = drain.settlement * low
    side = section.side_slope
    bank = high - np.maximum(-uphill - side * high - drain.bank_top, 0.0) / side
    bank = np.minimum(bank, -uphill / side)
    bank = np.where(uphill <= 0, bank, np.where(uphill <= section.top_width() / 2, floor, -np.inf))
    return (np.where(beside, lip + floor, np.inf),
            np.where(beside & (low > LEAST_BANK), lip + bank, -np.inf))


def _breaklines(drain: Drain, section: Section) -> list[Breakline]:
    route = drain.route
    line, sign = LineString(route.line), 1.0 if route.left else -1.0
    foot = section.side_slope * section.depth
    found = []
    for name, off, below in (("lip", 0.0, 0.0), ("bed, downhill edge", foot, section.depth),
                             ("bed, uphill edge", foot + section.width, section.depth)):
        moved = line.offset_curve(sign * off) if off else line
        if moved.geom_type != "LineString" or moved.is_empty:
            continue
        xy = np.asarray(moved.coords, float)
        share = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        levels = route.start_level - route.grade * route.length * share / share[-1] - below
        found.append(Breakline(name, np.column_stack([xy, levels])))
    return found
