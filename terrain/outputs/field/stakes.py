"""What stakes there are: of each work its stations, places and levels."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from shapely import LineString, Point, Polygon
from shapely.ops import substring

from terrain.inputs.elevation import Dem
from terrain.outputs.field.spillway_corners import spillway_corners
from terrain.outputs.field.stations import corners_of, evenly, stations_along
from terrain.plan.planned import Plan, PlannedStore
from terrain.works.basin import Basin
from terrain.works.bowl_rim import bowl_rim
from terrain.works.drain import Drain
from terrain.works.furrow import Furrow
from terrain.works.ground_of_bank import spillway_floor, wet_left
from terrain.works.rules import Rulebook
from terrain.works.swale_built import Swale
from terrain.works.tree_basin import MOUND, TreeShape, mound_over
from terrain.works.wall_profile import WallProfile

#: What the stake at a trunk marks where its mound is left standing.
MOUND_STAKE = "top of the mound to leave"
#: Stakes on walls and rims stand at most this far apart; common practice, no source. [m]
CLOSE = 5.0
#: A bowl's edge is staked at its quarters, but where its sill is; common practice, no source.
QUARTERS = 4
#: A stretch of crest shorter than this is not staked. [m]
SHORTEST = 0.05
#: A bank lower than this has no foot to stake. [m]
LOW = 1e-3
#: A stake of a lip or a rim that would stand closer to one of its sill is left out. [m]
APART = 0.5
#: How far to each side of a line it is looked for where uphill is. [m]
BESIDE = 3.0

Pair = tuple[float, float]


@dataclass(frozen=True)
class Stake:
    """A stake.

    Attributes
    ----------
    work, mark : str
        Whose it is, and what it marks: line and end (a swale's downhill lip), sill, bed, check,
        berm, wall, cut-off, wet and dry foot, rim, floor, inlet and outlet (corners of a spillway),
        tree, bund (a crescent's).
    station : float
        Distance along the line, the rim or the floor's edge. [m]
    x, y : float
        In the working frame. [m]
    ground, design : float
        Raster's ground, and the level to make. [m]
    design_of : str
        What the design level is of.
    away : (float, float) or None
        Unit vector square to its line, uphill, out of a ring, or off a wall to its water side; None
        of a single point.
    ring : bool
        Whether its line is closed.
    sides : (str, str)
        What the side that `away` points to is called, and the other one.
    """

    work: str
    mark: str
    station: float
    x: float
    y: float
    ground: float
    design: float
    design_of: str
    away: Pair | None = None
    ring: bool = False
    sides: tuple[str, str] = ("uphill", "downhill")

    @property
    def cut(self) -> float:
        """Depth to dig; a fill where it is below 0. [m]"""
        return self.ground - self.design


class _Row:
    """Makes the stakes of one work."""

    def __init__(self, work: str, dem: Dem) -> None:
        self.work, self.dem = work, dem

    def stake(self, mark: str, station: float, x: float, y: float, design: float, of: str,
              away: Pair | None = None, ring: bool = False,
              sides: tuple[str, str] = ("uphill", "downhill")) -> Stake:
        return Stake(self.work, mark, station, x, y, float(self.dem.height_at(x, y)), design, of,
                     away, ring, sides)

    def along(self, line: LineString, stations: list[float], mark: str, design: float, of: str,
              ring: bool = False) -> list[Stake]:
        points = [line.interpolate(station) for station in stations]
        away = square_to(line, self.dem, ring)
        return [self.stake(mark, station, point.x, point.y, design, of, away(station), ring)
                for station, point in zip(stations, points, strict=True)]


def square_to(line: LineString, dem: Dem, ring: bool) -> Callable[[float], Pair]:
    """Gives at a station of a line the unit vector square to it: out of a ring, else to the side
    of the line that lies higher on the whole."""
    if ring:
        return _square(line, -1.0 if Polygon(line.coords).exterior.is_ccw else 1.0, ring)
    return _square(line, _higher(line, dem), ring)


def _higher(line: LineString, dem: Dem) -> float:
    """The side of a line that lies higher on the whole: 1 its left, -1 its right."""
    sides = []
    for side in (1.0, -1.0):
        moved = line.offset_curve(side * BESIDE)
        xy = np.concatenate([np.asarray(part.coords) for part in
                             getattr(moved, "geoms", [moved]) if not part.is_empty]
                            or [np.zeros((0, 2))])
        heights = dem.height_at(*xy.T) if len(xy) else np.array([np.nan])
        sides.append(float(np.nan_to_num(np.nanmean(heights), nan=-1e9))
                     if np.isfinite(heights).any() else -1e9)
    return 1.0 if sides[0] >= sides[1] else -1.0


def _square(line: LineString, left: float, ring: bool) -> Callable[[float], Pair]:
    """Gives at a station the unit vector square to a line, to its left (1) or right (-1)."""
    step = min(0.25, line.length / 10)

    def away(station: float) -> Pair:
        before, after = (np.array(line.interpolate(s).coords[0]) for s in
                         (max(station - step, 0.0), min(station + step, line.length)))
        if ring and not step < station < line.length - step:
            before, after = (np.array(line.interpolate(s % line.length).coords[0]) for s in
                             (station - step, station + step))
        way = (after - before) / np.hypot(*(after - before))
        return float(-way[1] * left), float(way[0] * left)

    return away


def stakes_of(plan: Plan) -> list[Stake]:
    """All stakes of a plan, in the site file's order; a natural hollow has none."""
    rules = plan.inputs.rules
    found: list[Stake] = []
    for planned in plan.stores:
        if planned.store.kind not in ("tank", "hollow"):
            found += _stakes(planned, plan.inputs.dem, rules)
        if planned.furrow is not None:
            found += _of_furrow(planned.furrow, planned.spills_to,
                                _Row(planned.store.name, plan.inputs.dem), rules)
    return found


def _stakes(planned: PlannedStore, dem: Dem, rules: Rulebook) -> list[Stake]:
    row = _Row(planned.store.name, dem)
    if planned.drain is not None:
        return _of_drain(planned.drain, row, rules)
    if planned.swale is not None:
        return _of_swale(planned.swale, row, rules)
    if planned.basin is not None:
        basin = planned.basin
        return _of_wall(basin, row) if basin.has_wall else _of_dug(basin, row)
    store, tree = planned.store, planned.placed.tree
    if tree is not None and tree.form != "bowl":
        return _of_crescent(tree, row) if tree.form == "crescent" else _of_trench(tree, row)
    out = np.array([planned.placed.spill_x - store.x, planned.placed.spill_y - store.y])
    away = out / max(float(np.hypot(*out)), 1e-9)
    floor = float(store.curve.levels[0])
    # The mound about the trunk is left standing, so its stake must not tell to dig it away.
    found = [row.stake("tree", 0.0, store.x, store.y, store.sill.level
                       + mound_over(tree, planned.over_sill, rules)
                       if tree is not None else floor, MOUND_STAKE
                       if tree is not None else "floor"),
             row.stake("sill", 0.0, planned.placed.spill_x, planned.placed.spill_y,
                       store.sill.level, "sill", (float(away[0]), float(away[1])), ring=True)]
    if tree is not None:  # how wide it is, from its highest side round
        x, y = (tree.x, tree.y) + away * max(
            tree.crown / 2 - rules["tree bowl side slope"] * tree.depth, MOUND / 2)
        found.append(row.stake("floor", 0.0, float(x), float(y), floor, "floor"))
        rim = LineString(bowl_rim(tree.x, tree.y, tree.crown, tree.spill_x, tree.spill_y))
        found += row.along(rim, [rim.length * i / QUARTERS for i in range(QUARTERS)
                                 if i != QUARTERS // 2], "rim", store.sill.level, "water edge",
                           ring=True)
    return found


def _of_swale(swale: Swale, row: _Row, rules: Rulebook) -> list[Stake]:
    """The line is the downhill lip of the trench; its bed lies uphill, its berm downhill."""
    line = LineString(swale.route.line)
    level = swale.sill.level
    sill = _along_sill(line, swale.sill_from, swale.sill_to, rules)
    kinks = corners_of(line)
    stations = [at for at in stations_along(line, rules)[1:-1]
                if not sill[0] <= at <= sill[-1]
                and (min(abs(at - other) for other in sill) >= APART or at in kinks)]
    found = [*row.along(line, [0.0, line.length], "end", level, "lip"),
             *row.along(line, stations, "line", level, "lip"),
             *row.along(line, sill, "sill", level, "sill")]
    bed = _moved(line, row.dem, swale.section.top_width() / 2)
    if bed is not None:
        found += row.along(bed, _floor_stations(bed, swale, rules), "bed", level - swale.depth,
                           "bed")
        for check in swale.checks:
            x, y = line.interpolate(check.chainage).coords[0]
            spot = bed.interpolate(bed.project(Point(x, y)))
            found.append(row.stake("check", check.chainage, spot.x, spot.y,
                                   level - swale.depth + check.height, "check top"))
    crest = _moved(line, row.dem,
                   -swale.berm_side_slope * swale.berm_height_built - swale.berm_top / 2)
    if crest is not None:
        for start, end in _crests(swale, line, crest):
            stations = [start + s for s in stations_along(substring(crest, start, end), rules)]
            found += row.along(crest, stations, "berm", level + swale.berm_height_built,
                               "crest as built")
    order = ("end", "line", "sill", "bed", "check", "berm")
    groups = {"end": 0, "line": 0, "sill": 0, "bed": 1, "check": 1, "berm": 2}
    return sorted(found, key=lambda stake: (groups[stake.mark], stake.station,
                                            order.index(stake.mark)))


def _floor_stations(bed: LineString, swale: Swale, rules: Rulebook) -> list[float]:
    """Stations of the bed's stakes: its first and last stand at the toe of an end as steep as its
    sides, for at the very end natural ground is left."""
    toe = swale.section.side_slope * swale.depth
    if not 0 < toe < bed.length / 4:
        return stations_along(bed, rules)
    return [toe + s for s in stations_along(substring(bed, toe, bed.length - toe), rules)]


def _crests(swale: Swale, line: LineString, crest: LineString) -> list[Pair]:
    """Stretches of the crest's line on which the berm is whole: it slopes down to the sill's ends
    as its sides do, and is left out between them. [m]"""
    back = swale.berm_side_slope * swale.berm_height_built
    first, last = (float(crest.project(line.interpolate(at)))
                   for at in (swale.sill_from, swale.sill_to))
    return [span for span in ((0.0, first - back), (last + back, crest.length))
            if span[1] - span[0] > SHORTEST]


def _ends_and_middle(start: float, end: float) -> list[float]:
    """A sill's ends and its middle."""
    return [start, (start + end) / 2, end]


def _along_sill(line: LineString, start: float, end: float, rules: Rulebook) -> list[float]:
    """Stations of a sill on a line: its ends, its middle, and between them no fewer than a line
    has; no others stand within it."""
    middle = (start + end) / 2
    return [start, *(low + s for low, high in ((start, middle), (middle, end))
                     for s in stations_along(substring(line, low, high), rules)[1:])]


def _of_drain(drain: Drain, row: _Row, rules: Rulebook) -> list[Stake]:
    """The line is the downhill lip; the bed lies uphill of it. Both fall from stake to stake."""
    line, section, route = LineString(drain.route.line), drain.section, drain.route
    stations = stations_along(line, rules)
    found = []
    for station in stations:
        mark = "end" if station in (stations[0], stations[-1]) else "line"
        found += row.along(line, [station], mark, route.lip(station), "lip")
    moved = _moved(line, row.dem, section.side_slope * section.depth + section.width / 2)
    if moved is not None:
        away = square_to(moved, row.dem, ring=False)
        for station in stations_along(moved, rules):
            point = moved.interpolate(station)
            along = float(line.project(point))
            found.append(row.stake("bed", along, point.x, point.y, drain.bed(along), "bed",
                                   away(station)))
    return found


def _moved(line: LineString, dem: Dem, uphill: float) -> LineString | None:
    """The line moved uphill (or down, below 0) by a distance, if it stays in one piece."""
    sides = []
    for offset in (uphill, -uphill):
        moved = line.offset_curve(offset)
        if moved.geom_type == "LineString" and not moved.is_empty:
            x, y = np.asarray(moved.coords).T
            sides.append((float(np.nanmean(dem.height_at(x, y))), moved))
    if len(sides) < 2:
        return None
    return max(sides, key=lambda side: side[0] * (1 if uphill > 0 else -1))[1]


def _of_furrow(made: Furrow, to: str, row: _Row, rules: Rulebook) -> list[Stake]:
    """Both ends of a furrow, places between and the high points of the ground over its bed."""
    line = LineString(made.line)
    stations = sorted({*evenly(made.length, rules["stake spacing"]), *made.high_points})
    of = ("furrow bed" if made.falls else
          f"furrow bed; lower \"{to}\" first: its rim is too high")
    return [stake for station in stations for stake in
            row.along(line, [station], "furrow", float(made.bed(station)), of)]


def _of_wall(basin: Basin, row: _Row) -> list[Stake]:
    line, wall = LineString(basin.line), basin.profile
    assert wall is not None
    # Where its crest runs into natural ground there is nothing to build.
    first, last = wall.stands
    stations = [first + s for s in evenly(last - first, CLOSE)]
    grounds = np.interp(stations, wall.stations, wall.ground)
    stations = [s for s, ground in zip(stations, grounds, strict=True)
                if ground <= wall.crest + 1e-6]
    away = _square(line, 1.0 if wet_left(np.asarray(basin.line), basin.outline) else -1.0,
                   ring=False)
    found = []
    for station in stations:
        built = float(np.interp(station, wall.stations, wall.built))
        x, y = line.interpolate(station).coords[0]
        found.append(row.stake("wall", station, x, y, built, "crest as built", away(station),
                               sides=("water side", "dry side")))
    for station in stations:
        ground = float(np.interp(station, wall.stations, wall.ground))
        trench = ground - wall.strip - wall.cutoff_depth
        found += row.along(line, [station], "cut-off", trench, "floor of the cut-off trench")
    for mark in ("wet foot", "dry foot"):
        for station in stations:
            foot = _foot(basin, wall, line, station, mark == "wet foot", row.dem)
            if foot is not None:
                x, y = foot
                found.append(row.stake(mark, station, x, y, float(row.dem.height_at(x, y)),
                                       "foot of the bank"))
    if basin.rim is not None:
        level = basin.floor + basin.pit_depth
        found += _pit_stakes(LineString(basin.rim), level, basin.pit_depth, basin.batter, row,
                             "rim at this level")
    # The spillway goes into natural ground, outward from the foot of the bank's end.
    _, lip = spillway_floor(row.dem, basin)
    ends = np.asarray(lip)
    for distance, (x, y) in zip(_ends_and_middle(0.0, basin.sill.length),
                                (ends[0], ends.mean(axis=0), ends[1]), strict=True):
        found.append(row.stake("sill", distance, float(x), float(y), basin.sill.level, "sill"))
    batter = min(wall.wet_slope, wall.dry_slope)
    for corner in spillway_corners(row.dem, basin):
        found.append(row.stake(corner.mark, corner.station, corner.x, corner.y, basin.sill.level,
                               f"spillway floor, {corner.side}; sides {batter:g}:1"))
    return found


def _foot(basin: Basin, wall: WallProfile, line: LineString, station: float, wet: bool, dem: Dem
          ) -> tuple[float, float] | None:
    """Where a side of the bank as built meets the ground, square to its line at a station."""
    built = float(np.interp(station, wall.stations, wall.built))
    on = np.array(line.interpolate(station).coords[0])
    step = min(0.1, line.length / 10)
    near = [np.array(line.interpolate(s).coords[0]) for s in
            (max(station - step, 0.0), min(station + step, line.length))]
    along = (near[1] - near[0]) / np.hypot(*(near[1] - near[0]))
    away = np.array([-along[1], along[0]])
    pool = np.array(basin.outline.representative_point().coords[0])
    if ((pool - on) @ away > 0) != wet:
        away = -away
    slope = wall.wet_slope if wet else wall.dry_slope
    high = built - float(dem.height_at(*on))
    out = np.linspace(wall.top / 2, wall.top / 2 + 3 * slope * max(high, 0.0), 300)
    x, y = on[0] + out * away[0], on[1] + out * away[1]
    bank = built - (out - wall.top / 2) / slope
    met = np.flatnonzero(dem.height_at(x, y) >= bank)
    if high <= LOW or not met.size:
        return None
    return float(x[met[0]]), float(y[met[0]])


def _pit_stakes(rim: LineString, level: float, depth: float, batter: float, row: _Row, of: str
                ) -> list[Stake]:
    """Rim and floor of a pit."""
    found = row.along(rim, evenly(rim.length, CLOSE)[:-1], "rim", level, of, ring=True)
    floor = Polygon(rim.coords).buffer(-batter * depth, join_style="mitre")
    for part in getattr(floor, "geoms", [floor]):
        edge = LineString(part.exterior.coords)
        found += row.along(edge, evenly(edge.length, CLOSE)[:-1], "floor", level - depth,
                           "floor", ring=True)
    return found


def _of_dug(basin: Basin, row: _Row) -> list[Stake]:
    rim = LineString(basin.line)
    level = basin.sill.level
    found = _pit_stakes(rim, level, basin.water_at_wall, basin.batter, row, "water edge")
    middle = float(rim.project(Point(basin.sill_x, basin.sill_y)))
    half = min(basin.sill.length, rim.length / 2) / 2
    steps = evenly(half, CLOSE)
    places = [at % rim.length for at in (*(middle - s for s in steps[:0:-1]),
                                         *(middle + s for s in steps))]
    found = [stake for stake in found if stake.mark != "rim" or abs(
        (stake.station - middle + rim.length / 2) % rim.length - rim.length / 2) >= half + APART]
    return found + row.along(rim, places, "sill", level, "sill", ring=True)


def _of_crescent(tree: TreeShape, row: _Row) -> list[Stake]:
    """The trunk, both tips on one contour, and the bund's inner foot between them."""
    made = tree.crescent
    assert made is not None
    arc = LineString(made.arc)
    crest = made.level + made.freeboard
    found = [row.stake("tree", 0.0, tree.x, tree.y, made.level, "water level")]
    found += row.along(arc, [0.0, arc.length], "sill", made.level, "tip")
    inner = evenly(arc.length, CLOSE / 2)[1:-1]
    return found + row.along(arc, inner, "bund", crest, "settled crest, set at its inner foot")


def _of_trench(tree: TreeShape, row: _Row) -> list[Stake]:
    """The trunk, and the trench's corners with its floor, lower side first."""
    x, y = np.asarray(tree.outline.exterior.coords)[:4].T
    floor = tree.level - tree.depth
    found = [row.stake("tree", 0.0, tree.x, tree.y, float(row.dem.height_at(tree.x, tree.y)),
                       "ground at the trunk")]
    found += [row.stake("floor", 0.0, float(east), float(north), floor, "floor")
              for east, north in zip(x, y, strict=True)]
    lower = LineString([(x[0], y[0]), (x[1], y[1])])
    return found + row.along(lower, _ends_and_middle(0.0, lower.length), "sill", tree.level, "sill")

