"""The owner's works laid out on the terrain: where each stands and what it is shaped like."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Point

from terrain.errors import InputError
from terrain.inputs import site as asked
from terrain.inputs.site import Site
from terrain.runoff.ground import Ground
from terrain.surface.terrain import LEAST_HOLLOW, Terrain
from terrain.units import in_both
from terrain.works import basin as basins
from terrain.works import swale as swales
from terrain.works.natural_hollow import (
    NaturalHollow,
    hollow_at,
    natural_hollow,
    nearest_hollow,
)
from terrain.works.rules import Rulebook
from terrain.works.sill import Sill
from terrain.works.store import Curve, tank_curve
from terrain.works.swale_size import size_swale
from terrain.works.tree_basin import bowl, depth_for

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
        [m]
    x, y, spill_x, spill_y : float
        [m]
    route : SwaleLine or None
    basin : Basin or None
    hollow : NaturalHollow or None
    outline : shapely geometry
        What to draw.
    dig : float
        Earth to take out for a tree basin, bank measure. [m3]
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
    basin: basins.Basin | None = None
    dig: float = 0.0
    hollow: NaturalHollow | None = None


class Places:
    """Points as the site file states them, moved into the working frame."""

    def __init__(self, site: Site, terrain: Terrain) -> None:
        self.site, self.dem = site, terrain.dem

    def point(self, given: tuple[float, float], where: str) -> tuple[float, float]:
        """A point in the working frame, on ground of known height."""
        frame = self.dem.frame
        move = frame.from_lonlat if self.site.points == "lonlat" else frame.to_working
        x, y = (float(v) for v in move(*given))
        self.dem.cell_of(x, y, where)
        return x, y

    def points(self, given: list[tuple[float, float]], where: str) -> list[tuple[float, float]]:
        """Several points."""
        return [self.point(p, where) for p in given]


def place_works(site: Site, terrain: Terrain, ground: Ground, rules: Rulebook,
                design_runoff: NDArray[np.float64]) -> list[Placed]:
    """Lay out every work of the site file.

    Parameters
    ----------
    design_runoff : float64, shape (rows, columns)
        Runoff of each cell in the design storm, for swales whose size is left open. [m3]
    """
    places = Places(site, terrain)
    soft = swales.smoothed(terrain.dem)
    placed: list[Placed] = []
    for work in site.works:
        where = site.where_work(work.name)
        if isinstance(work, asked.Swale):
            placed.append(_swale(work, where, places, terrain, soft, ground, rules, design_runoff))
        elif isinstance(work, asked.Basin):
            placed.append(_basin(work, where, places, terrain, rules))
        elif isinstance(work, asked.TreeBasin):
            placed += _tree_basins(work, where, places, terrain, rules, design_runoff)
        elif isinstance(work, asked.Hollow):
            placed.append(_hollow(work, where, places, terrain, rules))
        else:
            placed.append(_tank(work, where, places))
    for index, place in enumerate(placed):
        _refuse_misplaced(place, site, ground)
        for other in placed[:index]:
            _refuse_clash(place, other, site)
    return placed


def _refuse_clash(place: Placed, other: Placed, site: Site) -> None:
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


def _swale(work: asked.Swale, where: str, places: Places, terrain: Terrain, soft: Any,
           ground: Ground, rules: Rulebook, design_runoff: NDArray[np.float64]) -> Placed:
    x, y = places.point(work.through, f"{where}, through")
    reach = rules["swale longest"] / 2 if work.length is None else work.length
    route, along = swales.trace(terrain, soft, x, y, where, rules, reach)
    route, along = _within(route, along, x, y, terrain, ground, where)
    size = size_swale(terrain, route, along, rules, design_runoff, work.length, work.depth,
                      work.width, work.side_slope)
    section = (size.depth, size.width, size.side_slope)
    route = swales.cut_to(terrain, route, size.start, size.end)
    if work.length is not None and route.length < work.length * 0.98:
        raise InputError(f"{where}, length", f"only {route.length:.0f} m of contour are fit for a "
                         f"swale there, and {work.length:.0f} m were asked for (it ends at the "
                         "boundary, at steep ground, or where the contour closes)",
                         "Shorten it or move its point")
    buildings = np.zeros(terrain.dem.shape, bool)
    for roof in ground.roofs:
        buildings |= roof.cells
    if work.sill_at is not None:
        sill_x, sill_y = _onto(route, places.point(work.sill_at, f"{where}, sill at"), where)
    else:
        sill_x, sill_y = swales.place_sill(terrain, route, buildings)

    cells = swales.line_cells(terrain.dem, route.line)
    from terrain.works.store import channel_curve

    curve = channel_curve(route.level, section[0], section[1], section[2], route.length)
    middle = LineString(route.line).interpolate(0.5, normalized=True)
    return Placed(work.name, work.kind, work, cells, curve, route.level, float(middle.x),
                  float(middle.y), sill_x, sill_y, LineString(route.line), route=route,
                  section=section)


def _within(route: swales.SwaleLine, along: float, x: float, y: float, terrain: Terrain,
            ground: Ground, where: str) -> tuple[swales.SwaleLine, float]:
    """The stretch about the point that stays within the boundary."""
    shape = LineString(route.line)
    if not ground.boundary.covers(Point(x, y)):
        raise InputError(f"{where}, through", "the point lies outside the boundary",
                         "Move it onto the property")
    kept = shape.intersection(ground.boundary)
    parts = [p for p in getattr(kept, "geoms", [kept]) if p.geom_type == "LineString"]
    part = min(parts, key=lambda p: p.distance(Point(x, y)))
    ends = (part.coords[0], part.coords[-1])
    start, end = sorted(float(shape.project(Point(end))) for end in ends)
    cut = swales.cut_to(terrain, route, start, end)
    return cut, float(LineString(cut.line).project(Point(x, y)))


def _onto(route: swales.SwaleLine, point: tuple[float, float], where: str
          ) -> tuple[float, float]:
    shape = LineString(route.line)
    gap = shape.distance(Point(point))
    if gap > 10:
        raise InputError(f"{where}, sill at", f"the point lies {gap:.0f} m from the swale",
                         "Choose a point on the swale's line")
    found = shape.interpolate(shape.project(Point(point)))
    return float(found.x), float(found.y)


def _basin(work: asked.Basin, where: str, places: Places, terrain: Terrain, rules: Rulebook
           ) -> Placed:
    if work.wall is not None and work.crest is not None:
        wall = places.points(work.wall, f"{where}, wall")
        made = basins.design_wall(terrain, wall, work.crest, work.sill, rules, where)
    else:
        assert work.dug is not None
        assert work.depth is not None
        rim = places.points(work.dug, f"{where}, dug")
        made = basins.design_dug(terrain, rim, work.depth, work.batter, rules, where)
    centre = made.outline.representative_point()
    return Placed(work.name, work.kind, work, made.cells, made.curve, made.sill.level,
                  float(centre.x), float(centre.y), made.sill_x, made.sill_y, made.outline,
                  basin=made)


def _tree_basins(work: asked.TreeBasin, where: str, places: Places, terrain: Terrain,
                 rules: Rulebook, design_runoff: NDArray[np.float64]) -> list[Placed]:
    dem, side = terrain.dem, rules["tree bowl side slope"]
    spots = [places.point(given, f"{where}, at, point {i + 1}")
             for i, given in enumerate(work.at)]
    discs = [Point(x, y).buffer(work.crown / 2) for x, y in spots]
    touched = [basins.cells_of(dem, disc) for disc in discs]
    brings = _brought(terrain, touched, design_runoff)
    placed = []
    for i, ((x, y), disc, cells) in enumerate(zip(spots, discs, touched, strict=True)):
        ring = dem.height_at(*np.asarray(disc.exterior.coords).T)
        low = int(np.nanargmin(ring))
        level, spill = float(ring[low]), disc.exterior.coords[low]
        depth = work.depth or depth_for(work.crown, brings[i], rules)
        try:
            curve = bowl(work.crown, depth, level, rules)
        except ValueError as error:
            raise InputError(f"{where}, depth", str(error), "Make it shallower or wider") from None
        name = work.name if len(work.at) == 1 else f"{work.name} {i + 1}"
        dig = curve.capacity + basins.earth_above(dem, disc, level, side)[0]
        placed.append(Placed(name, work.kind, work, cells, curve, level, x, y, float(spill[0]),
                             float(spill[1]), disc, dig=dig))
    return placed


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


def _brought(terrain: Terrain, groups: list[NDArray[np.int64]], runoff: NDArray[np.float64]
             ) -> list[float]:
    """Runoff that reaches each of several groups of cells before the others. [m3]"""
    marks = np.zeros(terrain.dem.shape, np.int32)
    for number, cells in enumerate(groups, 1):
        marks[cells[:, 0], cells[:, 1]] = number
    sums = np.bincount(terrain.labels(marks).ravel(), weights=np.nan_to_num(runoff).ravel(),
                       minlength=len(groups) + 1)
    return [float(total) for total in sums[1:]]


def _tank(work: asked.Tank, where: str, places: Places) -> Placed:
    x, y = places.point(work.at, f"{where}, at")
    curve = tank_curve(work.volume)
    return Placed(work.name, work.kind, work, np.empty((0, 2), np.int64), curve,
                  float(curve.levels[-1]), x, y, x, y, Point(x, y))


def first_sill(placed: Placed, rules: Rulebook) -> Sill:
    """A sill to start from, before the design peak is known."""
    length = rules["sill shortest"]
    if isinstance(placed.work, asked.Swale) and placed.work.sill_length:
        length = placed.work.sill_length
    if isinstance(placed.work, asked.TreeBasin):
        length = placed.work.crown / 3  # a lip on the bowl's low side
    if placed.hollow is not None:
        length = placed.hollow.sill_length
    return Sill(placed.sill_level, length, 0.0, 0.0, rules["sill coefficient"])
