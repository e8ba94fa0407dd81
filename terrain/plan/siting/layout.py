"""The owner's works laid out on the terrain: where each stands and what it is shaped like."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, MultiPoint, Point

from terrain.errors import InputError, kept, refuse
from terrain.inputs import site_works as asked
from terrain.inputs.dem import Dem, placed_on
from terrain.inputs.site import Site
from terrain.plan.siting.drain_line import lead_drain
from terrain.plan.siting.swale_layout import LaidSwale, Traced, lay_swale
from terrain.plan.siting.tank_works import JoinedTank, followers, leader_of
from terrain.plan.siting.tree_climate import TreeClimate
from terrain.plan.siting.tree_design import row_below, shapes_of
from terrain.plan.siting.tree_stands import stand_of
from terrain.runoff.ground import Ground
from terrain.surface.terrain import LEAST_HOLLOW, Terrain
from terrain.units import in_both
from terrain.works import basin as basins
from terrain.works import drain as drains
from terrain.works import swale as swales
from terrain.works.dug import design_dug
from terrain.works.natural_hollow import (
    NaturalHollow,
    hollow_at,
    natural_hollow,
    nearest_hollow,
)
from terrain.works.rules import Rulebook
from terrain.works.sill import Sill
from terrain.works.store import TANK_HEIGHT, Curve, tank_curve
from terrain.works.tree_basin import TreeShape
from terrain.works.tree_row import along_line
from terrain.works.tree_stand import TreeStand
from terrain.works.wall import design_wall
from terrain.works.wall_and_pit import design_wall_and_pit

#: A hollow that a point misses is looked for this far about it. [m]
HOLLOW_NEAR = 50.0


@dataclass(frozen=True)
class Placed:
    """A work on the terrain, before anything is known of the water that comes to it.

    Attributes
    ----------
    name, kind : str
    work : the site file's entry
    cells : int64, shape (n, 2)
        Cells where water from upslope enters it; none for a tank.
    curve : Curve
    sill_level : float
        Of a tank the height of its overflow above its foot. [m]
    x, y, spill_x, spill_y : float
        [m]
    route : SwaleLine or None
    section : (float, float, float) or None
        Of a swale: water depth and bed width [m], side slope of its berm (H:V).
    swale : LaidSwale or None
    basin : Basin or None
    hollow : NaturalHollow or None
    tree : TreeShape or None
    drain : DrainLine or None
    outline : shapely geometry
        What to draw.
    dig : float
        Earth to take out for a tree basin, bank measure. [m3]
    joined : tuple of JoinedTank
        Tanks joined with this one below; its curve is that of all together.
    stand : TreeStand or None
        Trees that live from what a swale or basin soaks in.
    """

    name: str
    kind: str
    work: Any
    cells: NDArray[np.int64]
    curve: Curve
    sill_level: float
    x: float
    y: float
    spill_x: float
    spill_y: float
    outline: Any
    route: swales.SwaleLine | None = None
    section: tuple[float, float, float] | None = None
    swale: LaidSwale | None = None
    basin: basins.Basin | None = None
    dig: float = 0.0
    hollow: NaturalHollow | None = None
    tree: TreeShape | None = None
    drain: drains.DrainLine | None = None
    joined: tuple[JoinedTank, ...] = ()
    stand: TreeStand | None = None


class Places:
    """Points as the site file states them, moved into the working frame."""

    def __init__(self, site: Site, terrain: Terrain) -> None:
        self.site, self.dem = site, terrain.dem

    def point(self, given: tuple[float, float], where: str) -> tuple[float, float]:
        """A point in the working frame, on ground of known height."""
        x, y = placed_on(self.dem, given, self.site.points == "lonlat", where)
        self.dem.cell_of(x, y, where)
        return x, y

    def points(self, given: list[tuple[float, float]], where: str) -> list[tuple[float, float]]:
        """Several points."""
        return [self.point(p, where) for p in given]


def place_works(site: Site, terrain: Terrain, ground: Ground, rules: Rulebook,
                design_runoff: NDArray[np.float64], climate: TreeClimate | None = None,
                soft: Dem | None = None, standing: Sequence[Placed] = ()) -> list[Placed]:
    """Lay out every work of the site file.

    Parameters
    ----------
    design_runoff : float64, shape (rows, columns)
        Runoff of each cell in the design storm, for swales whose size is left open. [m3]
    climate : TreeClimate, optional
        For tree basins whose size is left open.
    soft : Dem, optional
        The ground as `terrain.works.swale.smoothed` gives it, to spare the time.
    standing : sequence of Placed, optional
        Works as they were laid out before on the same ground: those that the site file states
        as they were, and that lean on no other, are not laid out again.

    Raises
    ------
    InputError
        For all works that cannot lie where they are, or clash; those that lean on others are
        tried only where all others can.
    """
    places = Places(site, terrain)
    soft = swales.smoothed(terrain.dem) if soft is None else soft
    placed: list[Placed] = []

    def lay(work: Any) -> list[Placed]:
        if not isinstance(work, asked.Drain | asked.Tank) and not _stands_along(work):
            there = [place for place in standing if place.work == work]
            if there:
                return there
        return _lay(work, places, terrain, soft, ground, rules, design_runoff, climate, placed)

    wrong: list[InputError] = []
    for work in site.works:  # a row along a swale and a drain need to know where others stand
        if not isinstance(work, asked.Drain) and not _stands_along(work):
            with kept(wrong):
                placed += lay(work)
    if not wrong:
        for work in site.works:
            if _stands_along(work):
                placed += lay(work)
        for work in _drains_in_order(site):
            placed += lay(work)
        placed = [_with_stand(place, site, rules) for place in placed]
    listed = [work.name for work in site.works]
    placed.sort(key=lambda place: listed.index(place.work.name))
    stood = {id(place) for place in standing}  # these were looked at when they were laid out
    for index, place in enumerate(placed):
        if id(place) not in stood:
            with kept(wrong):
                _refuse_misplaced(place, site, ground)
        for other in placed[:index]:
            if not stood.issuperset((id(place), id(other))):
                with kept(wrong):
                    refuse_clash(place, other, site)
    refuse(wrong)
    return placed


def place_again(work: Any, site: Site, terrain: Terrain, soft: Dem, ground: Ground,
                rules: Rulebook, design_runoff: NDArray[np.float64], climate: TreeClimate | None,
                placed: Sequence[Placed], traced: Traced | None = None) -> list[Placed]:
    """One work of the site laid out otherwise, all others left as they stand.

    Parameters
    ----------
    work : the site file's entry, changed
    soft : Dem
        The ground as `terrain.works.swale.smoothed` gives it.
    placed : sequence of Placed
        All works as `place_works` laid them out.
    traced : Traced, optional
        The contour of a swale, where what is changed leaves it as it was.

    Raises
    ------
    InputError
        If it cannot lie there so.
    """
    others = [place for place in placed if place.work.name != work.name]
    found = [_with_stand(place, site, rules) for place in _lay(
        work, Places(site, terrain), terrain, soft, ground, rules, design_runoff, climate, others,
        traced)]
    for place in found:
        _refuse_misplaced(place, site, ground)
        for other in others:
            refuse_clash(place, other, site)
    return found


def _with_stand(place: Placed, site: Site, rules: Rulebook) -> Placed:
    """A work with the trees that the site file states beside it."""
    length = None if place.route is None else place.route.length
    stand = stand_of(place.work, site.where_work(place.work.name), length,
                     float(place.curve.areas[-1]), rules)
    return place if stand == place.stand else replace(place, stand=stand)


def _stands_along(work: Any) -> bool:
    """Whether a work is a row of trees along a swale."""
    return isinstance(work, asked.TreeBasin) and isinstance(work.along, str)


def _lay(work: Any, places: Places, terrain: Terrain, soft: Dem, ground: Ground, rules: Rulebook,
         design_runoff: NDArray[np.float64], climate: TreeClimate | None, placed: list[Placed],
         traced: Traced | None = None) -> list[Placed]:
    """One work of the site file, where those that it leans on stand already."""
    where = places.site.where_work(work.name)
    if isinstance(work, asked.Swale):
        return [_swale(work, where, places, terrain, soft, ground, rules, design_runoff,
                       traced)]
    if isinstance(work, asked.Basin):
        return [_basin(work, where, places, terrain, rules)]
    if isinstance(work, asked.TreeBasin):
        return _tree_basins(work, where, places, terrain, rules, design_runoff, climate, placed)
    if isinstance(work, asked.Hollow):
        return [_hollow(work, where, places, terrain, rules)]
    if isinstance(work, asked.Drain):
        return [_drain(work, where, places, terrain, soft, ground, rules, placed)]
    # Tanks joined below are one store, which stands where the first of them does.
    return [_tank(work, where, places)] if leader_of(places.site, work.name) == work.name else []


def refuse_clash(place: Placed, other: Placed, site: Site) -> None:
    """No two stores of one name, and none that share more than a sliver of ground."""
    where = site.where_work(place.work.name)
    if place.name == other.name:
        raise InputError(where, f"two stores would be called \"{place.name}\"",
                         "Give one of the works another name")
    smaller = min(place.outline.area, other.outline.area)
    if smaller and place.outline.intersection(other.outline).area > 0.05 * smaller:
        raise InputError(where, f"\"{place.name}\" and \"{other.name}\" lie on the same ground",
                         "Move one of the two")
    for line, area in ((place, other), (other, place)):
        if line.route is None or not area.outline.area or not line.outline.intersects(area.outline):
            continue
        if not any(area.outline.covers(Point(end)) for end in (line.route.line[0],
                                                               line.route.line[-1])):
            raise InputError(where, f"\"{line.name}\" runs through \"{area.name}\"",
                             "Move one of the two, or end the swale in the basin")


def _refuse_misplaced(place: Placed, site: Site, ground: Ground) -> None:
    """No work off the property, and none but a tank under a roof."""
    where = site.where_work(place.work.name)
    body = LineString(place.basin.line) if place.basin is not None else place.outline
    kept = body if place.hollow is None else Point(place.x, place.y)
    if not ground.boundary.buffer(0.01).covers(kept):
        raise InputError(where, f"\"{place.name}\" reaches beyond the boundary",
                         "Keep it on the property")
    for roof in ground.roofs:
        if place.kind != "tank" and body.intersects(roof.outline):
            raise InputError(where, f"\"{place.name}\" runs into the roof \"{roof.name}\"",
                             "Move it clear of the building" if place.hollow is None else
                             "Leave it out: the raster's ground under a building is a guess")


def _swale(work: asked.Swale, where: str, places: Places, terrain: Terrain, soft: Dem,
           ground: Ground, rules: Rulebook, design_runoff: NDArray[np.float64],
           traced: Traced | None) -> Placed:
    made = lay_swale(work, where, places.point, terrain, soft, ground, rules, design_runoff,
                     traced)
    middle = LineString(made.route.line).interpolate(0.5, normalized=True)
    section = (made.section.depth, made.section.width, made.berm_side_slope)
    return Placed(work.name, work.kind, work, swales.line_cells(terrain.dem, made.route.line),
                  made.curve, made.route.level, float(middle.x), float(middle.y), made.sill_x,
                  made.sill_y, LineString(made.route.line), route=made.route, section=section,
                  swale=made)


def _basin(work: asked.Basin, where: str, places: Places, terrain: Terrain, rules: Rulebook
           ) -> Placed:
    wall = places.points(work.wall or [], f"{where}, wall")
    rim = places.points(work.dug or [], f"{where}, dug")
    if rim and wall and work.crest is not None:
        made = design_wall_and_pit(terrain, wall, work.crest, work.sill, rim, work.depth,
                                   work.batter, rules, where, work.rock_at)
    elif work.crest is not None:
        made = design_wall(terrain, wall, work.crest, work.sill, rules, where, work.rock_at)
    else:
        assert work.depth is not None  # the site file was refused without one
        made = design_dug(terrain, rim, work.depth, work.batter, rules, where, work.rock_at)
    centre = made.outline.representative_point()
    return Placed(work.name, work.kind, work, made.cells, made.curve, made.sill.level,
                  float(centre.x), float(centre.y), made.sill_x, made.sill_y, made.outline,
                  basin=made)


def _tree_basins(work: asked.TreeBasin, where: str, places: Places, terrain: Terrain,
                 rules: Rulebook, design_runoff: NDArray[np.float64],
                 climate: TreeClimate | None, placed: Sequence[Placed] = ()) -> list[Placed]:
    if work.at is not None:
        spots = np.array([places.point(given, f"{where}, at, point {i + 1}")
                          for i, given in enumerate(work.at)])
    elif isinstance(work.along, str):
        spots = _row_below(work, where, places, rules, placed)
    else:
        line = places.points(work.along or [], f"{where}, along")
        try:
            spots = along_line(line, work.spacing, work.count)
        except ValueError as error:
            raise InputError(f"{where}, along", str(error), "Change the row") from None
    for x, y in spots:
        terrain.dem.cell_of(float(x), float(y), where)
    shapes = shapes_of(work, where, spots, terrain, rules, design_runoff, climate)
    found = []
    for i, shape in enumerate(shapes):
        name = work.name if len(shapes) == 1 else f"{work.name} {i + 1}"
        found.append(Placed(name, work.kind, work, basins.cells_of(terrain.dem, shape.outline),
                            shape.curve, shape.level, shape.x, shape.y, shape.spill_x,
                            shape.spill_y, shape.outline, dig=shape.dig, tree=shape))
    return found


def _row_below(work: asked.TreeBasin, where: str, places: Places, rules: Rulebook,
               placed: Sequence[Placed]) -> NDArray[np.float64]:
    swale = next((place for place in placed
                  if place.name == work.along and place.route is not None), None)
    if swale is None or swale.route is None or swale.section is None:
        there = ", ".join(f'"{place.name}"' for place in placed if place.route is not None)
        what = ("is no swale" if any(given.name == work.along for given in places.site.works)
                else "is not there")
        raise InputError(f"{where}, along", f"the row stands along \"{work.along}\", which {what} "
                         f"(swales: {there or 'none'})",
                         "Name a swale, or draw the row as a line of points")
    crest = None if swale.swale is None else swale.swale.crest
    return row_below(work, where, places.dem, swale.route, swale.section[2], rules, crest)


def _hollow(work: asked.Hollow, where: str, places: Places, terrain: Terrain, rules: Rulebook
            ) -> Placed:
    where = f"{where}, at"
    x, y = places.point(work.at, where)
    found = hollow_at(terrain, *terrain.dem.cell_of(x, y, where))
    if found is None:
        raise _no_hollow(x, y, where, terrain)
    made = natural_hollow(terrain, found, rules["hollow rim"])
    return Placed(work.name, work.kind, work, made.cells, made.curve, found.spill_level, x, y,
                  made.sill_x, made.sill_y, made.outline, hollow=made)


def _no_hollow(x: float, y: float, where: str, terrain: Terrain) -> InputError:
    dem = terrain.dem
    least, reach = in_both(LEAST_HOLLOW, "volume"), in_both(HOLLOW_NEAR, "length", 0)
    what = f"the point {dem.named(x, y)} lies in no hollow that holds more than {least}"
    near = nearest_hollow(terrain, x, y, HOLLOW_NEAR)
    if near is None:
        return InputError(where, f"{what}, and none is within {reach}",
                          "Move the point, or leave the work out; survey lists the hollows")
    place = dem.named(*(float(v) for v in dem.xy(near.row, near.column)))
    return InputError(where, what, f"The nearest, of {in_both(near.volume, 'volume')}, is at "
                                   f"{place}; move the point there, or leave the work out")


def _drains_in_order(site: Site) -> list[asked.Drain]:
    """The drains, each behind those that it leads to."""
    waiting = [work for work in site.works if isinstance(work, asked.Drain)]
    ready: list[asked.Drain] = []
    while waiting:
        named = {work.name for work in waiting}
        free = [work for work in waiting if work.to not in named]
        if not free:
            ring = [waiting[0]]
            while ring[-1].to not in [work.name for work in ring]:
                ring.append(next(work for work in waiting if work.name == ring[-1].to))
            names = [f"\"{work.name}\"" for work in ring] + [f"\"{ring[-1].to}\""]
            raise InputError(f"{site.where_work(ring[0].name)}, to",
                             f"drains run in a circle: {' to '.join(names)}",
                             "Lead one of them elsewhere")
        ready += free
        waiting = [work for work in waiting if work not in free]
    return ready


def _drain(work: asked.Drain, where: str, places: Places, terrain: Terrain, soft: Any,
           ground: Ground, rules: Rulebook, placed: list[Placed]) -> Placed:
    start = places.point(work.from_, f"{where}, from")
    goal = (None if isinstance(work.to, str) else places.point(work.to, f"{where}, to"))
    route = lead_drain(work, where, start, goal, terrain, soft, ground, rules, placed)
    deepest = float(route.above.max()) + (work.depth or rules["drain shallowest"])
    if work.rock_at is not None and deepest > work.rock_at + 1e-6:
        raise InputError(f"{where}, rock at", f"its bed would lie up to "
                         f"{in_both(deepest, 'size')} below the ground, and rock is said to be at "
                         f"{in_both(work.rock_at, 'size')}", "Make it shallower, or move it")
    cells = swales.line_cells(terrain.dem, route.line)
    taken = {(int(r), int(c)) for place in placed for r, c in place.cells}
    cells = np.array([cell for cell in cells.tolist() if tuple(cell) not in taken],
                     np.int64).reshape(-1, 2)
    if not len(cells):
        raise InputError(f"{where}, from", "it lies wholly on other works",
                         "Begin it further off, or leave it out")
    level = route.end_level
    curve = Curve(np.array([level - rules["drain shallowest"], level]), np.zeros(2), np.zeros(2))
    middle = LineString(route.line).interpolate(0.5, normalized=True)
    end_x, end_y = (float(v) for v in route.line[-1])
    return Placed(work.name, work.kind, work, cells, curve, level, float(middle.x),
                  float(middle.y), end_x, end_y, LineString(route.line), drain=route)


def _tank(work: asked.Tank, where: str, places: Places) -> Placed:
    x, y = places.point(work.at, f"{where}, at")
    joined = tuple(JoinedTank(other.name, *places.point(
        other.at, f"{places.site.where_work(other.name)}, at"), other.volume)
        for other in followers(places.site, work))
    curve = tank_curve(work.volume + sum(other.volume for other in joined),
                       TANK_HEIGHT if work.height is None else work.height)
    outline = MultiPoint([(x, y), *((other.x, other.y) for other in joined)]) if joined else (
        Point(x, y))
    return Placed(work.name, work.kind, work, np.empty((0, 2), np.int64), curve,
                  float(curve.levels[-1]), x, y, x, y, outline, joined=joined)


def first_sill(placed: Placed, rules: Rulebook) -> Sill:
    """A sill to start from, before the design peak is known."""
    length = rules["sill shortest"]
    if isinstance(placed.work, asked.Swale) and placed.work.sill_length:
        length = placed.work.sill_length
    if placed.tree is not None:
        length = placed.tree.lip
    if placed.hollow is not None:
        length = placed.hollow.sill_length
    return Sill(placed.sill_level, length, 0.0, 0.0, rules["sill coefficient"])
