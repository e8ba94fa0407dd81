"""Retention basins and small ponds: a pool behind a wall, or a dug shape."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.elevation import Dem
from terrain.inputs.layers import rasterized
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works.cross_section import bank_area, bank_under_water
from terrain.works.rules import Rulebook
from terrain.works.sill import Sill
from terrain.works.store import Curve

#: The ground behind a wall is worked on cells of about this size, interpolated. [m]
FINE_CELL = 0.5
#: A pool's cells are never interpolated into more than this many.
MOST_FINE = 4_000_000


@dataclass(frozen=True)
class Pool:
    """The water behind a thin wall.

    Attributes
    ----------
    curve : Curve
        Gross: as if the wall had no thickness.
    cells : int64, shape (n, 2)
        Rows and columns of the raster's cells that the full pool covers.
    outline : shapely geometry
        Of the full pool, in the working frame.
    beside_void : bool
        It borders on cells of unknown height, or on the raster's edge.
    """

    curve: Curve
    cells: NDArray[np.int64]
    outline: Any
    beside_void: bool


@dataclass(frozen=True)
class Basin:
    """A basin as it is to be built.

    Attributes
    ----------
    form : str
        "wall" or "dug".
    line : float64, shape (points, 2)
        The wall's centreline, or the dug shape's rim. [m]
    crest : float
        Settled crest of the wall; for a dug shape the lowest ground on its rim. [m]
    sill : Sill
    sill_x, sill_y : float
        Where it overflows. [m]
    gross, storage : float
        Held up to the sill behind a thin wall, and less the bank's own volume. [m3]
    curve : Curve
        Net: scaled so that it ends at `storage`.
    wall, cut : float
        Earth in the bank as settled (compacted measure), and earth dug (bank measure). [m3]
    height : float
        Of the settled crest above the lowest ground on the wall line. [m]
    water_at_wall : float
        Depth of water there, or over a dug floor, full to the sill. [m]
    batter : float
        Slope of a dug basin's sides, H:V. [-]
    """

    form: str
    line: NDArray[np.float64]
    crest: float
    sill: Sill
    sill_x: float
    sill_y: float
    gross: float
    storage: float
    gross_curve: Curve
    curve: Curve
    pool_area: float
    wall: float
    cut: float
    height: float
    water_at_wall: float
    cells: NDArray[np.int64]
    outline: Any
    cautions: tuple[str, ...]
    batter: float = 0.0


def sill_below(crest: float, rules: Rulebook) -> float:
    """Sill level under a crest: freeboard and the spillway's own depth of flow. [m]"""
    return crest - rules["basin freeboard"] - rules["spillway head"]


def flood(terrain: Terrain, wall: Sequence[tuple[float, float]], sill_level: float, where: str
          ) -> Pool:
    """Find the pool that a wall holds back up to a level.

    Parameters
    ----------
    wall : two or more points
        Centreline of the wall. [m]
    sill_level : float
        [m]

    Raises
    ------
    InputError
        If the wall holds nothing, or water of that level gets round one of its ends.

    Notes
    -----
    The ground is interpolated bilinearly to finer cells.  Cells under the wall line count
    where their centre lies on the pool's side of it.
    """
    from scipy import ndimage
    from shapely.geometry import LineString

    from terrain.works.swale import line_cells

    dem = terrain.dem
    line = LineString(wall)
    low = _lowest_on(dem, line)
    if low[2] >= sill_level:
        raise InputError(where, f"the sill at {sill_level:.2f} m is not above the ground on the "
                         f"wall's line, whose lowest point is at {low[2]:.2f} m",
                         "Raise the crest or the sill, or move the wall to lower ground")
    reach = max(line.length, 20.0)
    while True:
        fine, edge_cut = _window(dem, line, reach)
        barrier = np.zeros(fine.shape, bool)
        barrier[tuple(line_cells(fine, np.asarray(line.coords, float)).T)] = True
        wet = (fine.heights < sill_level) & ~barrier
        label, _ = ndimage.label(wet, structure=np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]]))
        main, up, down = _sides(terrain, fine, line, label)
        if not main:
            raise InputError(where, "no ground below the sill lies on its uphill side, so the "
                             "wall holds nothing", "Move the wall across the way the water takes")
        pool = np.isin(label, sorted({main} | up - down))
        border = np.zeros_like(pool)
        border[0, :] = border[-1, :] = border[:, 0] = border[:, -1] = True
        open_side = bool((pool & border).any())
        if main in down:
            raise InputError(where, f"water at {sill_level:.2f} m gets round an end of the wall",
                             "Lengthen the wall into higher ground, or lower the crest")
        if not open_side or edge_cut:
            break
        reach *= 2
    if open_side:
        raise InputError(where, f"the pool at {sill_level:.2f} m runs on beyond {dem.source}",
                         "Lower the crest, or use a raster that reaches further")
    side = _uphill_of(fine, line, pool)
    under = barrier & (fine.heights < sill_level) & side & ndimage.binary_dilation(
        pool, np.ones((3, 3)))
    pool |= under
    depths = sill_level - fine.heights[pool].astype(np.float64)
    curve = _hypsometry(depths, sill_level, fine.cell_area)
    x, y = fine.xy(*np.nonzero(pool))
    row, column = dem.row_column(x, y)
    cells = np.unique(np.stack([row, column], 1), axis=0)
    from terrain.surface.catchments import outline

    touches = bool(terrain.edge[cells[:, 0], cells[:, 1]].any())
    return Pool(curve, cells, outline(pool, fine.transform), touches)


def _hypsometry(depths: NDArray[np.float64], sill_level: float, cell_area: float,
                slices: int = 40) -> Curve:
    """Exact volumes of columns of water at evenly spaced levels."""
    depths = np.sort(depths[depths > 0])
    levels = np.linspace(sill_level - depths[-1], sill_level, slices + 1)
    total = np.concatenate([[0.0], np.cumsum(depths)])
    areas, volumes = np.empty(slices + 1), np.empty(slices + 1)
    for i, level in enumerate(levels):
        dry = sill_level - level
        first = int(np.searchsorted(depths, dry, side="right"))
        count = len(depths) - first
        areas[i] = count * cell_area
        volumes[i] = (total[-1] - total[first] - count * dry) * cell_area
    volumes[0] = 0.0
    return Curve(levels, areas, np.maximum.accumulate(volumes))


def design_wall(terrain: Terrain, wall: Sequence[tuple[float, float]], crest: float,
                sill_level: float | None, rules: Rulebook, where: str) -> Basin:
    """Design a basin behind a wall across a valley.

    Parameters
    ----------
    wall : two or more points
        Centreline. [m]
    crest : float
        Settled. [m]
    sill_level : float, optional
        The crest less `basin freeboard` and `spillway head` if left out. [m]

    Raises
    ------
    InputError
        If the ends lie lower than the crest's sill, the sill is not below the crest, or the
        wall holds nothing.
    """
    from shapely.geometry import LineString

    dem = terrain.dem
    for x, y in wall:
        dem.cell_of(x, y, where)
    level = sill_below(crest, rules) if sill_level is None else sill_level
    if level >= crest:
        raise InputError(where, f"the sill at {level:.2f} m is not below the crest at "
                         f"{crest:.2f} m", "Lower the sill or raise the crest")
    line = LineString(wall)
    ends = dem.height_at([wall[0][0], wall[-1][0]], [wall[0][1], wall[-1][1]])
    if (ends < level).any():
        i = int(np.argmin(ends))
        raise InputError(where, f"the ground at the wall's end {dem.named(*wall[-i])} is at "
                         f"{ends[i]:.2f} m, below the sill at {level:.2f} m, so water would run "
                         "round it", "Lengthen the wall into higher ground, or lower the crest")
    pool = flood(terrain, wall, level, where)
    spacing = min(dem.cell, 1.0) / 2
    count = max(int(np.ceil(line.length / spacing)), 8)
    stations = (np.arange(count) + 0.5) / count * line.length
    points = [line.interpolate(s) for s in stations]
    ground = dem.height_at([p.x for p in points], [p.y for p in points])
    if np.isnan(ground).any() or np.isnan(ends).any():
        raise InputError(where, f"the wall crosses ground of which {dem.source} has no height",
                         "Move the wall, or use a raster without that hole")
    step = line.length / count
    fill = np.maximum(crest - ground, 0.0)
    water = np.maximum(level - ground, 0.0)
    top, wet, dry = rules["wall top width"], rules["wall wet slope"], rules["wall dry slope"]
    earth = float(sum(bank_area(h, top, wet, dry) for h in fill) * step)
    in_pool = float(sum(bank_under_water(h, top, wet, d)
                        for h, d in zip(fill, water, strict=True)) * step)
    gross = pool.curve.capacity
    storage = max(gross - in_pool, 0.0)
    height, depth = float(fill.max()), float(water.max())
    spill = wall[0] if ends[0] <= ends[1] else wall[-1]  # the lower end needs less cutting
    sill = Sill(level, rules["sill shortest"], 0.0, 0.0, rules["sill coefficient"])
    cautions = _wall_cautions(height, depth, storage, in_pool, gross, rules)
    if pool.beside_void:
        cautions.append(f"The pool borders on ground of which {dem.source} has no height: it may "
                        "hold more, or run out there.")
    if (ends < crest).any():
        cautions.append("The ground at an end of the wall is lower than the crest: tie the bank "
                        "back into ground at crest level.")
    return Basin("wall", np.asarray(wall, float), crest, sill, float(spill[0]), float(spill[1]),
                 gross, storage, pool.curve, scaled(pool.curve, storage),
                 float(pool.curve.areas[-1]), earth, 0.0, height, depth, pool.cells,
                 pool.outline, tuple(cautions))


def design_dug(terrain: Terrain, rim: Sequence[tuple[float, float]], depth: float,
               batter: float, rules: Rulebook, where: str) -> Basin:
    """Design a basin dug below the ground.

    The rim is the water's edge.  Water stands up to the lowest ground on it; the sides go down
    from that level at `batter` (H:V) to a level floor `depth` below it.  Where the ground on
    the rim stands higher the sides go on up, and the cut reaches out beyond the rim.

    Raises
    ------
    InputError
        If the shape crosses itself, is off the raster, or is too narrow for its depth.
    """
    from shapely.geometry import Polygon

    dem = terrain.dem
    shape = Polygon(rim)
    if not shape.is_valid or shape.area == 0:
        raise InputError(where, "the dug shape crosses itself or has no area",
                         "Draw its corners in order around it")
    for x, y in rim:
        dem.cell_of(x, y, where)
    edge = shape.exterior
    spots = [edge.interpolate(s) for s in np.arange(0.0, edge.length, min(dem.cell, 1.0) / 2)]
    ground = dem.height_at([p.x for p in spots], [p.y for p in spots])
    lowest = int(np.nanargmin(ground))
    level = float(ground[lowest])
    rises = np.linspace(0.0, depth, 41)
    if _inset_area(shape, batter * depth) <= 0:
        raise InputError(where, f"sides of {batter:g}:1 meet before they are {depth:.2f} m deep",
                         "Widen the shape, or make it shallower or steeper")
    curve = _prismoidal(level - depth + rises, shape, depth, batter)
    above, beyond = earth_above(dem, shape, level, batter)
    cut = curve.capacity + above
    sill = Sill(level, rules["sill shortest"], 0.0, 0.0, rules["sill coefficient"])
    cautions = []
    if depth > rules["drowning depth"]:
        cautions.append(_drowning(depth, rules))
    if depth >= 1.5:
        cautions.append("A pit 1.5 m deep or more must be sloped or shored while people are in it "
                        "(OSHA Technical Manual, section V, chapter 2).")
    if beyond > 0.1:
        cautions.append(f"Ground on its rim stands up to {in_both(beyond / batter, 'level')} above "
                        f"the water: there the cut at {batter:g}:1 reaches "
                        f"{in_both(beyond, 'length')} beyond the drawn shape.")
    cautions.append("Have buried pipes and cables located before digging.")
    rim_line = np.asarray(edge.coords, float)
    return Basin("dug", rim_line, level, sill, float(spots[lowest].x), float(spots[lowest].y),
                 curve.capacity, curve.capacity, curve, curve, float(curve.areas[-1]), 0.0, cut,
                 0.0, depth, cells_of(dem, shape), shape, tuple(cautions), batter)


def scaled(curve: Curve, capacity: float) -> Curve:
    """The same curve with areas and volumes shrunk so that it ends at `capacity`."""
    share = capacity / curve.capacity if curve.capacity else 0.0
    return replace(curve, areas=curve.areas * share, volumes=curve.volumes * share)


def _inset_area(shape: Any, inset: float) -> float:
    """Area of a shape drawn in by `inset` on all sides. [m2]"""
    if inset < 1e-9:  # the library makes nothing at all of so small a step
        return float(shape.area)
    return float(shape.buffer(-inset, join_style="mitre").area)


def _prismoidal(levels: NDArray[np.float64], shape: Any, depth: float, batter: float) -> Curve:
    """Volumes by the prismoidal rule, exact for straight-sided pits."""
    def area(rise: float) -> float:
        return _inset_area(shape, batter * (depth - rise))

    rises = levels - levels[0]
    areas = np.array([area(r) for r in rises])
    middles = np.array([area(r) for r in (rises[1:] + rises[:-1]) / 2])
    slices = np.diff(rises) * (areas[1:] + 4 * middles + areas[:-1]) / 6
    return Curve(levels, areas, np.concatenate([[0.0], np.cumsum(slices)]))


def earth_above(dem: Dem, shape: Any, level: float, batter: float) -> tuple[float, float]:
    """Earth to take out above the water of a dug shape, and how far the cut reaches beyond it.

    Within the shape all ground above `level`; along its rim a wedge at `batter` (H:V) up to
    ground that is taken as level outward. [m3], [m]
    """
    cells = cells_of(dem, shape)
    heights = dem.heights[cells[:, 0], cells[:, 1]].astype(np.float64)
    within = float(np.nanmean(np.maximum(heights - level, 0.0))) * shape.area
    edge = shape.exterior
    count = max(int(edge.length / (min(dem.cell, 1.0) / 2)), 8)
    spots = [edge.interpolate(i / count, normalized=True) for i in range(count)]
    rise = np.maximum(dem.height_at([p.x for p in spots], [p.y for p in spots]) - level, 0.0)
    wedge = float(np.nanmean(rise**2)) * batter / 2 * edge.length
    return within + wedge, float(np.nanmax(rise)) * batter


def cells_of(dem: Dem, shape: Any) -> NDArray[np.int64]:
    """Cells of known height that a shape touches."""
    mask = rasterized([(shape, 1)], dem, 0, np.uint8, all_touched=True).astype(bool)
    cells = np.argwhere(mask & np.isfinite(dem.heights))
    return cells if len(cells) else np.array([dem.row_column(shape.centroid.x, shape.centroid.y)])


def _lowest_on(dem: Dem, line: Any) -> tuple[float, float, float]:
    spots = [line.interpolate(s) for s in
             np.linspace(0, line.length, max(int(line.length / dem.cell * 2), 4))]
    ground = dem.height_at([p.x for p in spots], [p.y for p in spots])
    low = int(np.nanargmin(ground))
    return float(spots[low].x), float(spots[low].y), float(ground[low])


def _window(dem: Dem, line: Any, reach: float) -> tuple[Dem, bool]:
    """The ground about a wall on fine cells, and whether the raster cuts the window."""
    west, south, east, north = line.buffer(reach).bounds
    top, left = (int(i) for i in dem.row_column(west, north))
    bottom, right = (int(i) for i in dem.row_column(east, south))
    rows, columns = dem.shape
    cut = top < 0 or left < 0 or bottom >= rows or right >= columns
    top, left = max(top, 0), max(left, 0)
    bottom, right = min(bottom, rows - 1), min(right, columns - 1)
    tall, wide = bottom - top + 1, right - left + 1
    factor = max(int(np.ceil(dem.cell / FINE_CELL)), 2)
    while factor > 1 and tall * wide * factor * factor > MOST_FINE:
        factor -= 1
    cell = dem.cell / factor
    x = dem.left + left * dem.cell + (np.arange(wide * factor) + 0.5) * cell
    y = dem.top - top * dem.cell - (np.arange(tall * factor) + 0.5) * cell
    heights = dem.height_at(*np.meshgrid(x, y)).astype(np.float32)
    return replace(dem, heights=heights, left=dem.left + left * dem.cell,
                   top=dem.top - top * dem.cell, cell=cell), cut


def _sides(terrain: Terrain, fine: Dem, line: Any, label: NDArray[np.int32]
           ) -> tuple[int, set[int], set[int]]:
    """Pieces of wet ground that the wall's main water comes from, that any water comes from,
    and that it goes to."""
    dem = terrain.dem
    from terrain.works.swale import line_cells

    cells = line_cells(dem, np.asarray(line.coords, float))
    on_wall = np.zeros(dem.shape, bool)
    on_wall[cells[:, 0], cells[:, 1]] = True
    gathers = terrain.contributing_area[cells[:, 0], cells[:, 1]]
    # The way down from where most water crosses the wall marks the downhill side.
    main = cells[int(np.nanargmax(gathers))]
    path = terrain.path(int(main[0]), int(main[1]))
    past = [cell for cell in path if not on_wall[cell[0], cell[1]]]
    downhill = _labels_at(dem, fine, past[:max(int(line.length / dem.cell), 3)], label)
    upstream = terrain.catchment(on_wall) & ~on_wall
    rows, columns = np.nonzero(upstream)
    x, y = dem.xy(rows, columns)
    from shapely import distance, points

    near = np.asarray(distance(points(x, y), line)) <= 2.5 * dem.cell
    cells_near = np.stack([rows[near], columns[near]], 1)
    order = np.argsort(-terrain.contributing_area[rows[near], columns[near]], kind="stable")
    uphill = _labels_at(dem, fine, list(cells_near), label)
    first = (_labels_at(dem, fine, [cell], label) for cell in cells_near[order])
    return next((piece.pop() for piece in first if piece), 0), uphill, downhill


def _labels_at(dem: Dem, fine: Dem, cells: list[Any], label: NDArray[np.int32]) -> set[int]:
    if not cells:
        return set()
    place = np.asarray(cells)
    x, y = dem.xy(place[:, 0], place[:, 1])
    row, column = fine.row_column(x, y)
    rows, columns = fine.shape
    inside = (row >= 0) & (column >= 0) & (row < rows) & (column < columns)
    return set(np.unique(label[row[inside], column[inside]]).tolist()) - {0}


def _uphill_of(fine: Dem, line: Any, pool: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Fine cells nearer to the pool's side of the wall line than to the other."""
    coords = np.asarray(line.coords, float)
    rows, columns = np.indices(fine.shape)
    x, y = fine.xy(rows, columns)
    best = np.full(fine.shape, np.inf)
    side = np.zeros(fine.shape)
    for (x0, y0), (x1, y1) in pairwise(coords):
        dx, dy = x1 - x0, y1 - y0
        along = np.clip(((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy), 0, 1)
        gap = np.hypot(x - x0 - along * dx, y - y0 - along * dy)
        nearer = gap < best
        best = np.where(nearer, gap, best)
        side = np.where(nearer, np.sign((x - x0) * dy - (y - y0) * dx), side)
    mostly = np.sign((side[pool] / np.maximum(best[pool], fine.cell)).sum())
    return np.asarray(side == mostly)


def _wall_cautions(height: float, depth: float, storage: float, bank: float, gross: float,
                   rules: Rulebook) -> list[str]:
    said = []
    if depth >= rules["engineer water"]:
        said.append(f"{in_both(depth, 'level')} of water against the bank: this is a dam. From "
                    f"{in_both(rules['engineer water'], 'length')} on have it designed and "
                    f"permitted by licensed people before any digging "
                    f"({rules.source('engineer water')}).")
    elif depth >= rules["embankment water"]:
        said.append(f"{in_both(depth, 'level')} of water against the bank: from "
                    f"{in_both(rules['embankment water'], 'length')} on the rules for dams apply "
                    f"({rules.source('embankment water')}); ask the local authority before "
                    "digging.")
    if depth > rules["drowning depth"]:
        said.append(_drowning(depth, rules))
    said.append(f"The bank is {in_both(height, 'level')} high and holds "
                f"{in_both(storage, 'volume', 0)}: build it in thin, "
                "damp, rolled layers on stripped ground with a cut-off trench; pressing with the "
                "bucket or tracks is not compaction. Keep trees off it.")
    if bank > 0.5 * gross:
        said.append("More than half of the pool would be filled by the bank itself: a wall "
                    "elsewhere, or a dug basin, holds more for the earth.")
    said.append("The spillway goes into natural ground beside the wall, never over the fill.")
    return said


def _drowning(depth: float, rules: Rulebook) -> str:
    return (f"Water {in_both(depth, 'level')} deep can drown a child: fence it, keep one side 3:1 "
            "or flatter, and hang a rope (warned above "
            f"{in_both(rules['drowning depth'], 'level')}, {rules.source('drowning depth')}).")

