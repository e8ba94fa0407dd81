"""Where a work's spill goes: led by the owner's word, a drain or a furrow, else down the ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from shapely import Point

from terrain.errors import InputError
from terrain.inputs.site import Site
from terrain.inputs.site_works import OFF_SITE
from terrain.plan.siting.layout import Placed, Places, first_sill
from terrain.plan.siting.tank_works import leader_of
from terrain.surface.terrain import Terrain
from terrain.units import either, first_system, in_both
from terrain.works.furrow import Furrow, furrow, furrow_line
from terrain.works.ground_of_bank import spillway_outlet
from terrain.works.rules import Rulebook
from terrain.works.store import TANK_HEIGHT


def out_level(terrain: Terrain, place: Placed) -> float:
    """Level from which a store's spill is led: its sill; of a tank the overflow where a pipe or a
    pump's line carries it, else the ground that it falls on. [m]"""
    if place.kind != "tank":
        return place.sill_level
    if place.work.pipe is not None or place.work.pump:
        return in_level(terrain, place)
    return float(terrain.dem.height_at(place.x, place.y))


def in_level(terrain: Terrain, place: Placed) -> float:
    """Level at which a full store takes water: its sill, or the top of a tank. [m]"""
    if place.kind != "tank":
        return place.sill_level
    return float(terrain.dem.height_at(place.x, place.y)) + place.sill_level


def heights_assumed(placed: list[Placed]) -> list[str]:
    """A note about tanks whose height nobody states; none where all are stated."""
    taken = [f"\"{place.name}\"" for place in placed
             if place.kind == "tank" and place.work.height is None]
    if not taken:
        return []
    return [f"Nobody says how high {', '.join(taken)} {'is' if len(taken) == 1 else 'are'}: the "
            f"overflow is taken {in_both(TANK_HEIGHT, 'length')} above the ground, which counts "
            "where water goes in, where a pipe leads the overflow on and where a pump lifts it; "
            f"state it (height: {'7 ft' if first_system() == 'us' else '2.2 m'})."]


def _refuse_uphill(site: Site, terrain: Terrain, place: Placed, to: Placed, rules: Rulebook
                   ) -> None:
    """No water is given to a store that stands above the one it comes from."""
    out, into = out_level(terrain, place), in_level(terrain, to)
    if place.work.pump:
        return
    helps = "Choose a lower work, or state a pump (pump: true)"
    if place.kind == "tank" and place.work.pipe is None:
        helps = ("Choose a lower work, lead its overflow there in a pipe (pipe:), which starts at "
                 "the tank's top, or state a pump (pump: true)")
    if into > out + (rules["level tolerance"] if to.drain is None else 0.0):
        raise InputError(site.where_work(place.work.name, "spills to"),
                         f"\"{to.name}\" takes water at "
                         f"{either(f'{into:.2f} m', into, 'level')}, above the "
                         f"{either(f'{out:.2f} m', out, 'level')} at which "
                         f"\"{place.name}\" lets it go, and no pump is named",
                         helps)


def _rise(terrain: Terrain, place: Placed, path: NDArray[np.float64], to: Placed | None
          ) -> float | None:
    """Height that a pump lifts a work's spill by; None without a pump. [m]"""
    if not place.work.pump or (to is not None and to.work.name == place.work.name):
        return None
    ends = []
    if place.work.pipe is not None:
        x, y = path[len(place.work.pipe) - 1]
        ends.append(float(terrain.dem.height_at(x, y)))
    if place.work.spills_to is not None and to is not None:
        ends.append(in_level(terrain, to))
    return max(ends) - out_level(terrain, place) if ends else None


class Spill(NamedTuple):
    """Where a work's spill goes; each as the `Node` of the cascade has it."""

    to: int | None
    path: NDArray[np.float64]
    led: str = ""
    led_points: int = 0
    furrow: Furrow | None = None
    rise: float | None = None
    lifts: float | None = None
    over_to: int | None = None
    over_path: NDArray[np.float64] = np.zeros((0, 2))


def spill_of(site: Site, terrain: Terrain, place: Placed, index: int, marks: NDArray[np.int32],
             placed: list[Placed], rules: Rulebook) -> Spill:
    """Find where a work's spill goes, and its way.

    Parameters
    ----------
    index : int
        The work's place in `placed`.
    marks : int32, shape (rows, columns)
        Index + 1 of the work that takes each cell; 0 for none.

    Raises
    ------
    InputError
        If it cannot be led as the site file says.
    """
    found = _way(site, terrain, place, index, marks, placed, rules)
    taker = None if found.to is None else placed[found.to]
    if found.led == "furrow" and taker is not None:
        found = found._replace(furrow=_furrow(terrain, place, taker, found.path, rules))
    rise = _rise(terrain, place, found.path, taker)
    if rise is None:
        return found
    to, path = _overland(terrain, place, index, marks, [(place.spill_x, place.spill_y)])
    lifts = None if isinstance(place.work.pump, bool) else place.work.pump
    return found._replace(rise=rise, lifts=lifts, over_to=to, over_path=path)


def _way(site: Site, terrain: Terrain, place: Placed, index: int, marks: NDArray[np.int32],
         placed: list[Placed], rules: Rulebook) -> Spill:
    """Where a store's spill goes, the way it takes, what leads it and how many points of that."""
    dem = terrain.dem
    x, y = place.spill_x, place.spill_y
    lead = [(x, y)]
    if place.drain is not None and place.drain.to:
        leads_to = next(i for i, other in enumerate(placed) if other.name == place.drain.to)
        return Spill(leads_to, np.asarray(lead), "drain", 1)
    lower = _next_bowl(place, placed, rules)
    if lower is not None:
        to = placed[lower]
        path = furrow_line((x, y), (to.x, to.y), place.outline, to.outline)
        return Spill(lower, path, "furrow", len(path))
    led = "" if place.work.pipe is None else "pump" if place.work.pump else "pipe"
    if place.work.pipe is not None:
        where = site.where_work(place.work.name, "pipe")
        lead = Places(site, terrain).points(place.work.pipe, where)
        x, y = lead[-1]
        end_level = float(dem.height_at(x, y))
        uphill = end_level > out_level(terrain, place) + rules["level tolerance"]
        if uphill and not place.work.pump:
            out = out_level(terrain, place)
            raise InputError(where, "the pipe's end stands at "
                             f"{either(f'{end_level:.2f} m', end_level, 'level')}, above the "
                             f"{either(f'{out:.2f} m', out, 'level')} that water comes out at, "
                             "and no pump is named", "End it lower, or state a pump (pump: true)")
    if place.work.spills_to is not None:
        target = _named_target(site, place, placed)
        if target is None:
            return Spill(None, np.asarray(lead), led or "word", len(lead))
        to = placed[target]
        _refuse_uphill(site, terrain, place, to, rules)
        if led:
            return Spill(target, np.asarray(lead), led, len(lead))
        end = _entry(to, x, y, out_level(terrain, place))
        if place.work.pump or "tank" in (place.kind, to.kind):
            return Spill(target, np.asarray([*lead, end]),
                         "pump" if place.work.pump else "pipe", 2)
        path = furrow_line((x, y), end, place.outline, to.outline)
        return Spill(target, path, "furrow", len(path))
    dem.cell_of(x, y, site.where_work(place.work.name))
    if not led and place.basin is not None and place.basin.has_wall:
        way = _from_spillway(terrain, place, index, marks, rules)
        if way is not None:
            return Spill(*way)
    found, path = _overland(terrain, place, index, marks, lead)
    return Spill(found, path, led, len(lead) if led else 0)


def _furrow(terrain: Terrain, place: Placed, to: Placed, path: NDArray[np.float64],
            rules: Rulebook) -> Furrow | None:
    """The furrow that leads a spill along its way."""
    rim = in_level(terrain, to)
    if to.drain is not None:
        station = float(to.outline.project(Point(path[-1])))
        rim = to.drain.start_level - to.drain.grade * station
    return furrow(path, terrain.dem.height_at, out_level(terrain, place), rim,
                  rules["furrow width"], rules["furrow depth"], rules["furrow fall"])


def _overland(terrain: Terrain, place: Placed, index: int, marks: NDArray[np.int32],
              lead: Sequence[tuple[float, float]]) -> tuple[int | None, NDArray[np.float64]]:
    """Who takes a spill from the end of a line on, down the ground, and its way."""
    dem = terrain.dem
    row, column = (int(v) for v in dem.row_column(*lead[-1]))
    # From a pipe's end or a tank the very first cell may be another store's already.
    here = int(marks[row, column])
    if here > 0 and here != index + 1:
        return here - 1, np.asarray(lead)
    path = terrain.path(row, column, (marks > 0) & (marks != index + 1))
    met = int(marks[path[-1][0], path[-1][1]])
    own = np.flatnonzero(marks[path[:, 0], path[:, 1]] == index + 1)
    if own.size and len(lead) == 1:
        path = path[own[-1]:]
    way = np.stack(dem.xy(path[:, 0], path[:, 1]), 1)
    way = np.concatenate([np.asarray(lead), way])
    return (met - 1 if met > 0 and met != index + 1 else None), way


def _from_spillway(terrain: Terrain, place: Placed, index: int, marks: NDArray[np.int32],
                   rules: Rulebook) -> tuple[int | None, NDArray[np.float64]] | None:
    """Who takes what a wall's spillway lets go, and its way from there; None where that lies off
    the known ground, or the way down runs into its own pool."""
    dem = terrain.dem
    assert place.basin is not None  # asked for walls alone
    x, y = spillway_outlet(dem, replace(place.basin, sill=first_sill(place, rules)))
    if not np.isfinite(float(dem.height_at(x, y))):
        return None
    row, column = (int(v) for v in dem.row_column(x, y))
    if marks[row, column] == index + 1:
        return None
    found, path = _overland(terrain, place, index, marks, [(x, y)])
    rows, columns = dem.row_column(path[1:, 0], path[1:, 1])
    if (marks[rows, columns] == index + 1).any():
        return None
    return found, path


def _entry(to: Placed, x: float, y: float, out: float) -> tuple[float, float]:
    """Where water from a place joins a store: a drain as near by as it lies low enough."""
    if to.drain is None:
        return to.x, to.y
    low = to.drain.stations[to.drain.start_level - to.drain.grade * to.drain.stations <= out]
    points = [to.outline.interpolate(station) for station in (*low, to.drain.length)]
    near = min(points, key=lambda p: float(np.hypot(p.x - x, p.y - y)))
    return float(near.x), float(near.y)


def _next_bowl(place: Placed, placed: list[Placed], rules: Rulebook) -> int | None:
    """In a group of tree basins each passes its spill to the next one listed, unless that
    stands higher by more than the level tolerance."""
    if place.kind != "tree basin":
        return None
    group = [i for i, other in enumerate(placed) if other.work.name == place.work.name]
    position = next(n for n, i in enumerate(group) if placed[i].name == place.name)
    if position + 1 == len(group):
        return None
    rise = placed[group[position + 1]].sill_level - place.sill_level
    return group[position + 1] if rise <= rules["level tolerance"] else None


def _named_target(site: Site, place: Placed, placed: list[Placed]) -> int | None:
    name = place.work.spills_to
    if name == OFF_SITE:
        return None
    name = leader_of(site, name)
    here = [i for i, other in enumerate(placed) if other.work.name == name or other.name == name]
    where = site.where_work(place.work.name, "spills to")
    if not here:
        there = ", ".join(f'"{work.name}"' for work in site.works)
        raise InputError(where, f"there is no work \"{name}\" (there are: {there})",
                         f"Name one of them, or write: {OFF_SITE}")
    if placed[here[0]].work.name == place.work.name:
        raise InputError(where, f"\"{place.name}\" spills to itself", "Name another work")
    return here[0]  # of a group of tree basins the first takes the water


