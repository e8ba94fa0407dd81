"""Basins dug below a road, where it should let its water go, and the short drains to them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely import LineString, Point, Polygon

from terrain.errors import InputError
from terrain.inputs.dem import Dem
from terrain.inputs.site_works import Basin, Drain
from terrain.suggest.candidate import Candidate
from terrain.suggest.cells import arriving, is_open, known, onward_of, spill_below, touched
from terrain.suggest.floors import near_rock, soaked_depth
from terrain.suggest.look import Look, look_at
from terrain.suggest.naming import free_names
from terrain.suggest.road_ways import Way, as_stated, road_ways
from terrain.surface.accumulation import accumulate
from terrain.surface.graded_walk import ARRIVED, graded_walk
from terrain.units import in_both
from terrain.works.drain import describe, design_section, finish
from terrain.works.footprints import drain_footprint
from terrain.works.lie import lie_of
from terrain.works.lining import ERODIBLE
from terrain.works.pit import inset_area, lowest_of_rim, pit_in, prismoidal
from terrain.works.swale import line_cells

FloatArray = NDArray[np.float64]

#: A basin begins so far from its turn-out, along the way to it; common practice, no source. [m]
AWAY = (5.0, 10.0, 16.0, 24.0)
#: It holds these shares of what comes to the turn-out in the design storm, on no more ground than
#: this; common practice, no source. [-], [m2]
SHARES, LARGEST = (1.0, 0.5), 200.0
#: Its depth at least and at most; common practice, no source. [m]
SHALLOWEST, DEEPEST = 0.2, 0.8
#: Its sides, H:V, are those of a basin of which the site file says nothing.
BATTER = 3.0
#: It is so much longer along the contour than across it; common practice, no source.
LONGER = 2.5
#: Its sides are followed uphill so far beyond its rim. [m]
FURTHEST_OUT = 20.0
#: Corners of its rim.
CORNERS = 16
#: Less than this is not worth a basin; common practice, no source. [m3]
LEAST = 0.5
#: A drain is clear of the road so far from where it begins. [m]
CLEAR_AFTER = 4.0
#: Its channel takes no more of the road's surface, where it begins at the edge. [m2]
ON_ROAD = 1.0
#: A pit's earth is summed over about so many cells.
PIT_CELLS = 4_000
#: What comes to a turn-out in the design storm is taken to run off within so long, for the size
#: of the drain; common practice, no source. [s]
RUNS_OFF_IN = 3600.0


@dataclass(frozen=True)
class _Basin:
    """A basin as it would lie."""

    shape: Polygon
    body: Any
    cells: NDArray[np.int64]
    depth: float
    level: float
    sill: tuple[float, float]
    storage: float


@dataclass(frozen=True)
class _Led:
    """The drain to it."""

    line: FloatArray
    body: Any
    cells: NDArray[np.int64]
    cut: float
    bank: float


@dataclass(frozen=True)
class _Found:
    """A basin and its drain; `comes` is what the ground brings to them in the design storm, `cut`
    and `topsoil` are the basin's. [m3]"""

    way: Way
    basin: _Basin
    led: _Led | None
    cells: NDArray[np.int64]
    spill: tuple[int, int]
    comes: float
    cut: float
    topsoil: float

    @property
    def worth(self) -> float:
        """Water kept for each m3 of earth. [-]"""
        earth = self.cut + (self.led.cut if self.led is not None else 0.0)
        return min(self.basin.storage, self.comes) / max(earth, 1e-9)


def road_places(look: Look, most: int) -> list[Candidate]:
    """Basins below the turn-outs of roads, best first: most water kept for the earth dug.

    Each lies 5 to 25 m from its turn-out, in open ground that lies lower, and holds all or half
    of what comes to the turn-out in the design storm.  Either the natural way of the water from
    there crosses it, or a drain at one of the rules' grades (`drain grade`, `drain steep`) leads
    to it along the slope.  It is as deep as drains within the rules' `standing water`.

    Parameters
    ----------
    most : int
        Basins at most.
    """
    ways = road_ways(look, LEAST, max(AWAY) + math.sqrt(LARGEST))
    if not ways:
        return []
    site = _Ground.of(look)
    found: list[_Found] = []
    for way in ways:
        for away in AWAY:
            for share in SHARES:
                made = _try(look, site, way, away, share * way.turnout.volume, found)
                if made is not None:
                    found.append(made)
    order = sorted(range(len(found)), key=lambda i: (-round(found[i].worth, 6), i))[:most]
    return [_candidate(look, found[i], name)
            for i, name in zip(order, free_names(look, "road basin"), strict=False)]


@dataclass(frozen=True)
class _Ground:
    """What all of them share.

    Attributes
    ----------
    room : float32, shape (rows, columns)
        As `Look.room`, but for what roads keep off. [m]
    codes : int32, same shape
        Where a drain may not run.
    storm : float64, same shape
        What gathers at each cell in the design storm. [m3]
    onward : int64, shape (cells,)
        The cell that each hands its water to; -1 where it leaves.
    """

    room: NDArray[np.float32]
    codes: NDArray[np.int32]
    storm: FloatArray
    onward: NDArray[np.int64]

    @classmethod
    def of(cls, look: Look) -> _Ground:
        inputs, terrain = look.inputs, look.inputs.terrain
        without = replace(inputs, ground=replace(inputs.ground, roads=()))
        codes = np.zeros(inputs.dem.shape, np.int32)
        wide = np.ones((3, 3))
        codes[ndimage.binary_dilation(~inputs.ground.inside, wide)] = ARRIVED + 1
        for roof in inputs.ground.roofs:
            codes[ndimage.binary_dilation(roof.cells, wide)] = ARRIVED + 1
        for place in look.stands:
            codes[place.cells[:, 0], place.cells[:, 1]] = ARRIVED + 1
        return cls(look_at(without, look.asked, look.stands).room, codes,
                   accumulate(terrain.direction, look.design_runoff),
                   onward_of(terrain.direction))


def _try(look: Look, site: _Ground, way: Way, away: float, volume: float, others: list[_Found]
         ) -> _Found | None:
    """A basin so far along a way; None where it cannot lie there, or as good as lies there."""
    line = LineString(way.line)
    if line.length < away:
        return None
    # A drain comes to its end along the contour, water of itself to its side.
    across = 1.0 if way.grade is not None else 1 / LONGER
    guess = _sized(look, line.interpolate(away), volume)
    if guess is None:
        return None
    sized = _sized(look, line.interpolate(away + guess[0] * across), volume)
    if sized is None:
        return None
    basin = _basin(look, way, line.interpolate(away + sized[0] * across), *sized)
    if basin is None or any(_same(way, basin, other) for other in others):
        return None
    led, own = None, basin.cells
    if way.grade is not None:
        led = _lead(look, site, way, basin)
        if led is None:
            return None
        own = np.concatenate([basin.cells, led.cells])
    elif not shapely.contains_xy(basin.shape, way.line).any() or basin.level > way.turnout.level:
        return None
    comes = arriving(site.storm, site.onward, own)
    row, column = look.inputs.dem.row_column(*basin.sill)
    spill = spill_below(look, (int(row), int(column)), own, back=True)
    if comes < LEAST or spill is None:
        return None
    earth = _earth(look, basin)
    return None if earth is None else _Found(way, basin, led, own, spill, comes, *earth)


def _between(way: Way, shape: Polygon) -> bool:
    gap = shape.distance(Point(way.turnout.x, way.turnout.y))
    found: bool = AWAY[0] - 1.0 <= gap <= AWAY[-1] + 1.0
    return found


def _same(way: Way, basin: _Basin, other: _Found) -> bool:
    """Whether a basin lies all but on the same ground as another and holds the same."""
    return (way.grade is None) == (other.led is None) and (
        basin.shape.centroid.distance(other.basin.shape.centroid) < 1.0
        and abs(basin.storage - other.basin.storage) < 0.1 * other.basin.storage)


def _sized(look: Look, centre: Point, volume: float) -> tuple[float, float] | None:
    """Half the length of a basin for a volume, and its depth; None where it would not drain in
    time. [m]"""
    dem = look.inputs.dem
    row, column = dem.row_column(centre.x, centre.y)
    if not (0 <= row < dem.shape[0] and 0 <= column < dem.shape[1]):
        return None
    rate = look.soaks(np.array([[int(row), int(column)]])).rate
    depth = math.floor(100 * min(soaked_depth(look, rate), DEEPEST) + 1e-9) / 100
    if depth < SHALLOWEST:
        return None
    widest = math.sqrt(LARGEST / (math.pi * LONGER))
    while depth > SHALLOWEST and (_narrowest(depth) > widest
                                  or _holds(_narrowest(depth), depth) > volume):
        depth = max(round(depth - 0.05, 2), SHALLOWEST)
    short = _narrowest(depth)
    while short < widest and _holds(short, depth) < volume:
        short += 0.1
    return LONGER * min(short, widest), depth


def _narrowest(depth: float) -> float:
    """Half the width of the narrowest basin of a depth that has a floor to walk on. [m]"""
    return BATTER * depth + 0.4


def _holds(short: float, depth: float) -> float:
    """What a basin half so wide holds, by the prismoidal rule. [m3]"""
    top, middle, floor = (max(_ellipse(short, BATTER * inset), 0.0)
                          for inset in (0.0, depth / 2, depth))
    return depth / 6 * (top + 4 * middle + floor)


def _ellipse(short: float, inset: float) -> float:
    """Area of an ellipse drawn in on all sides: A - P t + pi t2 (Steiner); its length round by
    Ramanujan's first formula, 1914. [m2]"""
    long = LONGER * short
    around = math.pi * (3 * (long + short) - math.sqrt((3 * long + short) * (long + 3 * short)))
    return math.pi * long * short - around * inset + math.pi * inset**2


def _basin(look: Look, way: Way, centre: Point, half: float, depth: float) -> _Basin | None:
    dem, rules = look.inputs.dem, look.inputs.rules
    short = half / LONGER
    row, column = dem.row_column(centre.x, centre.y)
    if look.room[row, column] <= short:
        return None
    try:
        lie = lie_of(dem, centre.x, centre.y, short)
    except ValueError:
        return None
    if lie.slope > rules["swale steepest"]:
        return None
    turn = np.linspace(0.0, 2 * np.pi, CORNERS, endpoint=False)
    along, down = half * np.cos(turn), short * np.sin(turn)
    rim = [as_stated(look, centre.x - a * lie.down_y + d * lie.down_x,
                      centre.y + a * lie.down_x + d * lie.down_y)
           for a, d in zip(along, down, strict=True)]
    shape = Polygon(rim)
    if not shapely.box(*dem.bounds).buffer(-dem.cell).covers(shape) or not _between(way, shape):
        return None
    cells = known(dem, touched(dem, shape))
    if not is_open(dem, look.room, shape) or look.channel[tuple(cells.T)].any():
        return None
    if look.drains_in(cells, depth) > rules["standing water"] + 1e-6 or (
            inset_area(shape, BATTER * depth) <= 0):
        return None
    level, x, y = lowest_of_rim(dem, shape)
    body = _opened(dem, shape, level)
    if (not is_open(dem, look.room, body) or look.channel[tuple(touched(dem, body).T)].any()
            or near_rock(look, body, level - depth)):
        return None
    return _Basin(shape, body, cells, depth, level, (x, y),
                  prismoidal(level, shape, depth, BATTER).capacity)


def _earth(look: Look, basin: _Basin) -> tuple[float, float] | None:
    """What a basin's pit takes, and the topsoil of it; None where its sides find no ground. [m3]"""
    try:
        pit = pit_in(look.inputs.dem, basin.shape, BATTER, "suggest", basin.level, PIT_CELLS)
    except InputError:
        return None
    cut = pit.cut(basin.depth)
    return cut, min(look.inputs.rules["topsoil depth"] * pit.area(basin.depth), cut)


def _opened(dem: Dem, shape: Polygon, level: float) -> Any:
    """The ground that a pit opens: where its sides, gone on above its rim, come out of it."""
    rim = shape.segmentize(1.0).exterior
    corners = np.asarray(rim.coords)[:-1]
    way = np.roll(corners, -1, 0) - np.roll(corners, 1, 0)
    out = np.stack([way[:, 1], -way[:, 0]], 1) * (1 if rim.is_ccw else -1)
    out /= np.hypot(*out.T)[:, None]
    far = np.arange(0.0, FURTHEST_OUT, dem.cell / 4)
    places = corners[:, None, :] + out[:, None, :] * far[:, None]
    ground = dem.height_at(places[..., 0], places[..., 1])
    within = np.nan_to_num(ground, nan=np.inf) > level + far / BATTER
    reach = np.where(within.all(axis=1), far[-1], far[np.argmin(within, axis=1)])
    return shapely.union(Polygon(corners + out * reach[:, None]).buffer(0), shape)


def _lead(look: Look, site: _Ground, way: Way, basin: _Basin) -> _Led | None:
    """The drain to a basin, as the plan will lay it out; None where it does not come there."""
    inputs, rules = look.inputs, look.inputs.rules
    dem = inputs.dem
    assert way.grade is not None
    start_level = float(look.soft.height_at(*way.start))
    if basin.level > start_level:
        return None
    codes = site.codes.copy()
    codes[basin.cells[:, 0], basin.cells[:, 1]] = ARRIVED
    row, column = dem.row_column(*way.start)
    if codes[row, column] == ARRIVED:
        return None
    walks = [graded_walk(look.soft, codes, way.start, way.grade, side, rules["drain longest"])
             for side in (1, -1)]
    arrived = [walk for walk in walks if walk.ended == ARRIVED]
    if not arrived:
        return None
    walk = min(arrived, key=lambda walk: walk.length)
    line = np.asarray(LineString(walk.line).simplify(min(dem.cell / 8, 0.05)).coords)
    route = describe(dem, line, start_level, way.grade, "")
    if route.end_level < basin.level or route.length > AWAY[-1] + 2 * math.sqrt(LARGEST):
        return None
    soil = look.soil_of(basin.cells)
    section = design_section(way.turnout.volume / RUNS_OFF_IN, way.grade, rules, "bare",
                             ERODIBLE[soil])
    made = finish(route, section, rules)
    channel, bank = drain_footprint(made, dem)
    body = channel if bank is None else shapely.union(channel, bank)
    if any(body.intersection(road.surface).area > ON_ROAD for road in inputs.ground.roads):
        return None
    on = line_cells(dem, line)
    taken = {tuple(cell) for cell in basin.cells.tolist()}
    taken |= {tuple(cell) for place in look.stands for cell in place.cells.tolist()}
    own = np.array([cell for cell in on.tolist() if tuple(cell) not in taken],
                   np.int64).reshape(-1, 2)
    clear = shapely.ops.substring(LineString(line), min(CLEAR_AFTER, route.length), route.length)
    later = line_cells(dem, np.asarray(clear.coords))
    if (not len(own) or not section.holds or not is_open(dem, site.room, body)
            or not (look.room[tuple(later.T)] > 0).all()
            or look.channel[tuple(touched(dem, body).T)].any()):
        return None
    return _Led(line, body, own, made.cut, made.bank)


def _candidate(look: Look, found: _Found, name: str) -> Candidate:
    rules = look.inputs.rules
    lies, led, turnout = found.basin, found.led, found.way.turnout
    entry: dict[str, Any] = {
        "name": name, "kind": "basin", "depth": lies.depth, "batter": BATTER,
        "dug": [list(look.stated(*p)) for p in list(lies.shape.exterior.coords)[:-1]]}
    if look.asked.infiltration is not None:
        entry["infiltration"] = look.asked.infiltration
    basin = Basin.model_validate(entry)
    soil = look.soil_of(lies.cells)
    loose = rules[f"loose per bank {soil}"] / rules["spoil thickness"]
    cost = look.cost(found.cut, 0.0, soil, found.topsoil,
                     seeded=(found.cut - found.topsoil) * loose)
    said = [f"Road \"{turnout.road}\" should let its water go here: "
            f"{in_both(turnout.volume, 'volume')} come to this place of it in the design storm, "
            f"{in_both(turnout.own, 'volume')} of them from the road itself."]
    works: tuple[Any, ...] = (basin,)
    footprint = lies.body
    if led is None:
        said.append("The natural way of the water from there crosses it, so it needs no drain.")
    else:
        drain = Drain.model_validate({
            "name": f"{name} drain", "kind": "drain", "from": look.stated(*found.way.start),
            "to": name, "grade": found.way.grade, "soil": soil})
        by_drain = look.cost(led.cut, led.bank, soil, seeded=led.cut * loose)
        money = None if cost.money is None or by_drain.money is None else (
            cost.money + by_drain.money)
        cost = replace(cost, money=money, hours=cost.hours + by_drain.hours,
                       earth=cost.earth + by_drain.earth)
        works = (drain, basin)
        footprint = shapely.union(lies.body, led.body)
        said.append(f"A drain {in_both(LineString(led.line).length, 'length', 0)} long that falls "
                    f"by {found.way.grade:.1%} leads it there.")
    return Candidate(name, "road basin", works, found.cells, found.spill, footprint, lies.storage,
                     float(lies.shape.area), look.soaks(lies.cells).rate, cost, said=tuple(said))
