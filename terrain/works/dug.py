"""A basin that is dug: a level floor, sides at a batter, the drawn rim at the water's edge."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.elevation import Dem
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works.basin import Basin, cells_of, drowning, earth_above
from terrain.works.rules import OWNER, Rulebook
from terrain.works.setbacks import buried_lines
from terrain.works.sill import Sill
from terrain.works.store import Curve


def design_dug(terrain: Terrain, rim: Sequence[tuple[float, float]], depth: float,
               batter: float, rules: Rulebook, where: str, rock: float | None = None) -> Basin:
    """Design a basin dug below the ground.

    The rim is the water's edge.  Water stands up to the lowest ground on it; the sides go down
    from that level at `batter` (H:V) to a level floor `depth` below it.  Where the ground on
    the rim stands higher the sides go on up, and the cut reaches out beyond the rim.

    Parameters
    ----------
    rim : three or more points
        [m]
    depth : float
        Of the floor below the lowest ground on the rim. [m]
    batter : float
        Horizontal over vertical. [-]
    rock : float, optional
        Depth below the ground at which rock lies. [m]

    Raises
    ------
    InputError
        If the shape crosses itself, is off the raster, is too narrow for its depth, or goes
        down into the rock.
    """
    dem = terrain.dem
    shape = outlined(rim, dem, where)
    edge = shape.exterior
    level, low_x, low_y = lowest_of_rim(dem, shape)
    refuse_rock(dem, shape, level - depth, batter * depth, rock, where)
    rises = np.linspace(0.0, depth, 41)
    if inset_area(shape, batter * depth) <= 0:
        raise InputError(where, f"sides of {batter:g}:1 meet before they are {depth:.2f} m deep",
                         "Widen the shape, or make it shallower or steeper")
    curve = _prismoidal(level - depth + rises, shape, depth, batter)
    above, beyond = earth_above(dem, shape, level, batter)
    cut = curve.capacity + above
    sill = Sill(level, rules["sill shortest"], 0.0, 0.0, rules["sill coefficient"])
    cautions = []
    if depth > rules["drowning depth"]:
        cautions.append(drowning(depth, rules))
    cautions += pit_cautions(depth, beyond, batter, rules)
    return Basin("dug", np.asarray(edge.coords, float), level, sill, low_x, low_y,
                 curve.capacity, curve.capacity, curve, curve, float(curve.areas[-1]), 0.0, cut,
                 0.0, depth, cells_of(dem, shape), shape, tuple(cautions), batter, pit=cut,
                 topsoil=min(rules["topsoil depth"] * shape.area, cut))


def outlined(rim: Sequence[tuple[float, float]], dem: Dem, where: str) -> Any:
    """The drawn shape of a pit.

    Raises
    ------
    InputError
        If it crosses itself or is off the raster.
    """
    from shapely.geometry import Polygon

    shape = Polygon(rim)
    if not shape.is_valid or shape.area == 0:
        raise InputError(where, "the dug shape crosses itself or has no area",
                         "Draw its corners in order around it")
    for x, y in rim:
        dem.cell_of(x, y, where)
    return shape


def lowest_of_rim(dem: Dem, shape: Any) -> tuple[float, float, float]:
    """Level and place of the lowest ground on the rim of a shape. [m]"""
    edge = shape.exterior
    spots = [edge.interpolate(s) for s in np.arange(0.0, edge.length, min(dem.cell, 1.0) / 2)]
    ground = dem.height_at([p.x for p in spots], [p.y for p in spots])
    lowest = int(np.nanargmin(ground))
    return float(ground[lowest]), float(spots[lowest].x), float(spots[lowest].y)


def refuse_rock(dem: Dem, shape: Any, floor: float, inset: float, rock: float | None, where: str
                ) -> None:
    """Refuse a floor that lies deeper than rock anywhere.

    Parameters
    ----------
    floor : float
        Level of the floor. [m]
    inset : float
        Of the floor's edge from the shape's. [m]
    rock : float, optional
        Depth of rock below the ground. [m]

    Raises
    ------
    InputError
    """
    if rock is None:
        return
    level_floor = shape.buffer(-inset, join_style="mitre") if inset > 1e-9 else shape
    level_floor = shape if level_floor.is_empty else level_floor
    cells = cells_of(dem, level_floor)
    deepest = float(np.nanmax(dem.heights[cells[:, 0], cells[:, 1]])) - floor
    if deepest > rock + 1e-6:
        raise InputError(where, f"its floor lies up to {in_both(deepest, 'level')} below the "
                         f"ground, and rock is said to be at {in_both(rock, 'level')}",
                         f"Make it {in_both(deepest - rock, 'level')} shallower, or move it")


def pit_cautions(depth: float, beyond: float, batter: float, rules: Rulebook) -> list[str]:
    """Cautions that any pit earns.

    Parameters
    ----------
    depth, beyond : float
        Depth, and how far its sides reach beyond the drawn shape. [m]
    """
    said = []
    if depth >= rules["trench deepest"]:
        said.append(f"It is {in_both(depth, 'level')} deep: a pit "
                    f"{in_both(rules['trench deepest'], 'level')} deep or more must be sloped or "
                    f"shored while people are in it ({rules.cited('trench deepest')}).")
    if beyond > 0.1:
        said.append(f"Ground on its rim stands up to {in_both(beyond / batter, 'level')} above "
                    f"the level its sides are drawn from: there the cut at {batter:g}:1 reaches "
                    f"{in_both(beyond, 'length')} beyond the drawn shape; {OWNER} whether there is "
                    "room.")
    said.append(buried_lines(rules))
    return said


def inset_area(shape: Any, inset: float) -> float:
    """Area of a shape drawn in by `inset` on all sides. [m2]"""
    if inset < 1e-9:  # the library makes nothing at all of so small a step
        return float(shape.area)
    return float(shape.buffer(-inset, join_style="mitre").area)


def _prismoidal(levels: NDArray[np.float64], shape: Any, depth: float, batter: float) -> Curve:
    """Volumes by the prismoidal rule, exact for straight-sided pits."""
    def area(rise: float) -> float:
        return inset_area(shape, batter * (depth - rise))

    rises = levels - levels[0]
    areas = np.array([area(r) for r in rises])
    middles = np.array([area(r) for r in (rises[1:] + rises[:-1]) / 2])
    slices = np.diff(rises) * (areas[1:] + 4 * middles + areas[:-1]) / 6
    return Curve(levels, areas, np.concatenate([[0.0], np.cumsum(slices)]))
