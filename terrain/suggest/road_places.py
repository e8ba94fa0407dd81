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
from terrain.plan.siting.road_turnouts import Turnout, road_turnouts
from terrain.suggest.candidate import Candidate
from terrain.suggest.look import Look, look_at
from terrain.suggest.tree_places import free_names, onward_of, over_rock, spill_of, touched
from terrain.surface.accumulation import accumulate
from terrain.surface.graded_walk import ARRIVED, graded_walk
from terrain.units import in_both
from terrain.works.drain import describe, design_section, finish
from terrain.works.footprints import drain_footprint
from terrain.works.lie import lie_of
from terrain.works.lining import ERODIBLE
from terrain.works.pit import inset_area, lowest_of_rim, pit_in, prismoidal

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
#: A drain begins so far off the road's edge, and is clear of the road so far on. [m]
OFF_EDGE, CLEAR_AFTER = 0.5, 4.0
#: Its channel takes no more of the road's surface, where it begins at the edge. [m2]
ON_ROAD = 1.0
#: A pit's earth is summed over about so many cells.
PIT_CELLS = 4_000
#: What comes to a turn-out in the design storm is taken to run off within so long, for the size
#: of the drain; common practice, no source. [s]
RUNS_OFF_IN = 3600.0


@dataclass(frozen=True)
class _Way:
    """The way that water takes from a turn-out: down the ground (no grade), or in a drain."""

    turnout: Turnout
    start: tuple[float, float]
    line: FloatArray
    grade: float | None = None
    side: int = 0


@dataclass(frozen=True)
class _Dug:
    """A basin as it would be dug."""

    shape: Polygon
    body: Any
    cells: NDArray[np.int64]
    depth: float
    level: float
    sill: tuple[float, float]
    storage: float
    cut: float
    topsoil: float


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
    """A basin and its drain; `comes` is what the ground brings to them in the design storm. [m3]"""

    way: _Way
    dug: _Dug
    led: _Led | None
    comes: float

    @property
    def worth(self) -> float:
        """Water kept for each m3 of earth. [-]"""
        earth = self.dug.cut + (self.led.cut if self.led is not None else 0.0)
        return min(self.dug.storage, self.comes) / max(earth, 1e-9)


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
    ways = _ways(look)
    if not ways:
        return []
    site = _Ground.of(look)
    found: list[_Found] = []
    for way in ways:
        for away in AWAY:
            for share in SHARES:
                made = _try(look, site, way, away, share * way.turnout.volume)
                if made is not None and not any(_same(made, other) for other in found):
                    found.append(made)
    order = sorted(range(len(found)), key=lambda i: (-round(found[i].worth, 6), i))[:most]
    return [_candidate(look, site, found[i], name)
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

    def comes(self, cells: NDArray[np.int64]) -> float:
        """What the ground brings to some cells in the design storm, each drop once. [m3]"""
        columns = self.storm.shape[1]
        flat = cells[:, 0] * columns + cells[:, 1]
        last = ~np.isin(self.onward[flat], flat)
        return float(np.nan_to_num(self.storm.ravel()[flat[last]]).sum())


def _ways(look: Look) -> list[_Way]:
    """The ways from each turn-out that brings enough, in the order of the roads."""
    inputs, rules = look.inputs, look.inputs.rules
    furthest = max(AWAY) + math.sqrt(LARGEST)
    found = []
    for turnout in road_turnouts(inputs, list(look.stands)):
        if turnout.volume < LEAST:
            continue
        start = _off_the_road(look, turnout)
        row, column = inputs.dem.row_column(turnout.x, turnout.y)
        down = inputs.terrain.path(int(row), int(column))[:int(2 * furthest / inputs.dem.cell)]
        line = np.stack(inputs.dem.xy(down[:, 0], down[:, 1]), 1)
        found.append(_Way(turnout, (turnout.x, turnout.y), line))
        if start is None:
            continue
        free = np.zeros(inputs.dem.shape, np.int32)
        for grade in sorted({rules["drain grade"], rules["drain steep"]}):
            for side in (1, -1):
                walk = graded_walk(look.soft, free, start, grade, side, furthest)
                found.append(_Way(turnout, start, walk.line, grade, side))
    return [way for way in found if len(way.line) > 1]


def _off_the_road(look: Look, turnout: Turnout) -> tuple[float, float] | None:
    """A point just off the road's edge on its downhill side, as the site file would state it; None
    where the ground there does not lie low enough or is not the owner's."""
    ground, dem = look.inputs.ground, look.inputs.dem
    spot = Point(turnout.x, turnout.y)
    lines = [line for road in ground.roads if road.name == turnout.road for line in road.lines]
    line = min(lines, key=lambda one: one.distance(spot))
    surface = shapely.union_all([road.surface for road in ground.roads])
    at = line.project(spot)
    before, after = line.interpolate(max(at - 1.0, 0.0)), line.interpolate(at + 1.0)
    way = np.array([after.x - before.x, after.y - before.y])
    way /= max(float(np.hypot(*way)), 1e-9)
    sides = []
    for square in ((-way[1], way[0]), (way[1], -way[0])):
        ray = LineString([(spot.x, spot.y), (spot.x + 30 * square[0], spot.y + 30 * square[1])])
        beyond = ray.difference(surface)
        parts = [part for part in getattr(beyond, "geoms", [beyond]) if part.length > OFF_EDGE]
        if parts:
            edge = min(ray.project(Point(part.coords[0])) for part in parts)
            off = ray.interpolate(edge + OFF_EDGE)
            level = float(look.soft.height_at(off.x, off.y))
            if math.isfinite(level):
                sides.append((level, float(off.x), float(off.y)))
    if not sides:
        return None
    level, x, y = min(sides)
    x, y = _as_stated(look, x, y)
    row, column = dem.row_column(x, y)
    if level > turnout.level + look.inputs.rules["level tolerance"]:
        return None
    if not ground.boundary.covers(Point(x, y)) or not ground.inside[row, column]:
        return None
    return x, y


def _as_stated(look: Look, x: float, y: float) -> tuple[float, float]:
    """A point as it is read again from the site file, rounded. [m]"""
    frame = look.inputs.dem.frame
    move = frame.from_lonlat if look.inputs.site.points == "lonlat" else frame.to_working
    east, north = (float(v) for v in move(*look.stated(x, y)))
    return east, north


def _try(look: Look, site: _Ground, way: _Way, away: float, volume: float) -> _Found | None:
    """A basin so far along a way; None where it cannot lie there."""
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
    dug = _dig(look, line.interpolate(away + sized[0] * across), *sized)
    if dug is None or not _between(way, dug):
        return None
    led = None
    if way.grade is not None:
        led = _lead(look, site, way, dug)
        if led is None:
            return None
    else:
        inside = shapely.contains_xy(dug.shape, way.line)
        if not inside.any() or dug.level > way.turnout.level:
            return None
    own = dug.cells if led is None else np.concatenate([led.cells, dug.cells])
    comes = site.comes(own)
    return _Found(way, dug, led, comes) if comes >= LEAST else None


def _between(way: _Way, dug: _Dug) -> bool:
    gap = dug.shape.distance(Point(way.turnout.x, way.turnout.y))
    return AWAY[0] - 1.0 <= gap <= AWAY[-1] + 1.0


def _same(one: _Found, other: _Found) -> bool:
    """Whether two lie all but on the same ground and hold the same."""
    return (one.led is None) == (other.led is None) and (
        one.dug.shape.centroid.distance(other.dug.shape.centroid) < 1.0
        and abs(one.dug.storage - other.dug.storage) < 0.1 * other.dug.storage)


def _sized(look: Look, centre: Point, volume: float) -> tuple[float, float] | None:
    """Half the length of a basin for a volume, and its depth; None where it would not drain in
    time. [m]"""
    dem, rules = look.inputs.dem, look.inputs.rules
    row, column = dem.row_column(centre.x, centre.y)
    if not (0 <= row < dem.shape[0] and 0 <= column < dem.shape[1]):
        return None
    rate = look.soaks(np.array([[int(row), int(column)]])).rate
    depth = math.floor(100 * min(rate * rules["standing water"] / 1000, DEEPEST) + 1e-9) / 100
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


def _dig(look: Look, centre: Point, half: float, depth: float) -> _Dug | None:
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
    rim = [_as_stated(look, centre.x - a * lie.down_y + d * lie.down_x,
                      centre.y + a * lie.down_x + d * lie.down_y)
           for a, d in zip(along, down, strict=True)]
    shape = Polygon(rim)
    if not shapely.box(*dem.bounds).buffer(-dem.cell).covers(shape):
        return None
    if not _roomy(look.room, cells := touched(dem, shape)) or look.channel[tuple(cells.T)].any():
        return None
    if look.drains_in(cells, depth) > rules["standing water"] + 1e-6 or (
            inset_area(shape, BATTER * depth) <= 0):
        return None
    level, x, y = lowest_of_rim(dem, shape)
    body = _opened(dem, shape, level)
    wide = touched(dem, body)
    if not _roomy(look.room, wide) or look.channel[tuple(wide.T)].any():
        return None
    deepest = float(np.nanmax(dem.height_at(*np.asarray(shape.exterior.coords).T))) - level + depth
    if over_rock(look, body, deepest):
        return None
    try:
        pit = pit_in(dem, shape, BATTER, "suggest", level, PIT_CELLS)
    except InputError:
        return None
    curve = prismoidal(level, shape, depth, BATTER)
    cut = pit.cut(depth)
    return _Dug(shape, body, cells, depth, level, (x, y), curve.capacity, cut,
                min(rules["topsoil depth"] * pit.area(depth), cut))


def _roomy(room: NDArray[np.float32], cells: NDArray[np.int64]) -> bool:
    return bool((room[cells[:, 0], cells[:, 1]] > 0).all())


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


def _lead(look: Look, site: _Ground, way: _Way, dug: _Dug) -> _Led | None:
    """The drain to a basin, as the plan will lay it out; None where it does not come there."""
    inputs, rules = look.inputs, look.inputs.rules
    dem = inputs.dem
    assert way.grade is not None
    start_level = float(look.soft.height_at(*way.start))
    if dug.level > start_level:
        return None
    codes = site.codes.copy()
    codes[dug.cells[:, 0], dug.cells[:, 1]] = ARRIVED
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
    if route.end_level < dug.level or route.length > AWAY[-1] + 2 * math.sqrt(LARGEST):
        return None
    soil = look.soil_of(dug.cells)
    section = design_section(way.turnout.volume / RUNS_OFF_IN, way.grade, rules, "bare",
                             ERODIBLE[soil])
    made = finish(route, section, rules)
    channel, bank = drain_footprint(made, dem)
    body = channel if bank is None else shapely.union(channel, bank)
    if any(body.intersection(road.surface).area > ON_ROAD for road in inputs.ground.roads):
        return None
    wide = touched(dem, body)
    on = _line_cells(dem, line)
    taken = {tuple(cell) for cell in dug.cells.tolist()}
    taken |= {tuple(cell) for place in look.stands for cell in place.cells.tolist()}
    own = np.array([cell for cell in on.tolist() if tuple(cell) not in taken],
                   np.int64).reshape(-1, 2)
    clear = shapely.ops.substring(LineString(line), min(CLEAR_AFTER, route.length), route.length)
    later = _line_cells(dem, np.asarray(clear.coords))
    if (not len(own) or not section.holds or not _roomy(site.room, wide)
            or not _roomy(look.room, later) or look.channel[tuple(wide.T)].any()):
        return None
    return _Led(line, body, own, made.cut, made.bank)


def _line_cells(dem: Dem, line: FloatArray) -> NDArray[np.int64]:
    from terrain.works.swale import line_cells

    return line_cells(dem, line)


def _candidate(look: Look, site: _Ground, found: _Found, name: str) -> Candidate:
    dem, rules = look.inputs.dem, look.inputs.rules
    dug, led, turnout = found.dug, found.led, found.way.turnout
    entry: dict[str, Any] = {
        "name": name, "kind": "basin", "depth": dug.depth, "batter": BATTER,
        "dug": [list(look.stated(*p)) for p in list(dug.shape.exterior.coords)[:-1]]}
    if look.asked.infiltration is not None:
        entry["infiltration"] = look.asked.infiltration
    basin = Basin.model_validate(entry)
    soil = look.soil_of(dug.cells)
    loose = rules[f"loose per bank {soil}"] / rules["spoil thickness"]
    cost = look.cost(dug.cut, 0.0, soil, dug.topsoil, seeded=(dug.cut - dug.topsoil) * loose)
    said = [f"Road \"{turnout.road}\" should let its water go here: "
            f"{in_both(turnout.volume, 'volume')} come to this place of it in the design storm, "
            f"{in_both(turnout.own, 'volume')} of them from the road itself."]
    works: tuple[Any, ...] = (basin,)
    cells, footprint = dug.cells, dug.body
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
        cells = np.concatenate([dug.cells, led.cells])
        footprint = shapely.union(dug.body, led.body)
        said.append(f"A drain {in_both(LineString(led.line).length, 'length', 0)} long that falls "
                    f"by {found.way.grade:.1%} leads it there.")
    return Candidate(name, "road basin", works, cells, spill_of(dem, site.onward, cells, *dug.sill),
                     footprint, dug.storage, float(dug.shape.area), look.soaks(dug.cells).rate,
                     cost, said=tuple(said))
