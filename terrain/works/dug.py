"""A basin that is dug: a level floor, sides at a batter, the drawn rim at the water's edge."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from terrain.errors import InputError
from terrain.inputs.elevation import Dem
from terrain.surface.terrain import Terrain
from terrain.units import in_both
from terrain.works.basin import Basin, cells_of, drowning
from terrain.works.pit import Pit, inset_area, lowest_of_rim, pit_in, prismoidal
from terrain.works.rules import OWNER, Rulebook
from terrain.works.setbacks import buried_lines
from terrain.works.sill import Sill


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
        If the shape crosses itself, is off the raster, is too narrow for its depth, goes down
        into the rock, or the ground is too steep for its sides.
    """
    dem = terrain.dem
    shape = outlined(rim, dem, where)
    edge = shape.exterior
    level, low_x, low_y = lowest_of_rim(dem, shape)
    refuse_rock(dem, shape, level - depth, batter * depth, rock, where)
    if inset_area(shape, batter * depth) <= 0:
        raise InputError(where, f"sides of {batter:g}:1 meet before they are {depth:.2f} m deep",
                         "Widen the shape, or make it shallower or steeper")
    curve = prismoidal(level, shape, depth, batter)
    pit = pit_in(dem, shape, batter, where)
    cut = pit.cut(depth)
    sill = Sill(level, rules["sill shortest"], 0.0, 0.0, rules["sill coefficient"])
    cautions = []
    if depth > rules["drowning depth"]:
        cautions.append(drowning(depth, rules))
    cautions += pit_cautions(depth, pit, rules)
    return Basin("dug", np.asarray(edge.coords, float), level, sill, low_x, low_y,
                 curve.capacity, curve.capacity, curve, curve, float(curve.areas[-1]), 0.0, cut,
                 0.0, depth, cells_of(dem, shape), shape, tuple(cautions), batter, pit=cut,
                 topsoil=min(rules["topsoil depth"] * pit.area(depth), cut))


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
        raise InputError(where, f"its floor lies up to {in_both(deepest, 'size')} below the "
                         f"ground, and rock is said to be at {in_both(rock, 'size')}",
                         f"Make it {in_both(deepest - rock, 'size')} shallower, or move it")


def pit_cautions(depth: float, pit: Pit, rules: Rulebook) -> list[str]:
    """Cautions that any pit earns.

    Parameters
    ----------
    depth : float
        [m]
    """
    said, beyond = [], pit.beyond
    if depth >= rules["trench deepest"]:
        said.append(f"It is {in_both(depth, 'size')} deep: a pit "
                    f"{in_both(rules['trench deepest'], 'size')} deep or more must be sloped or "
                    f"shored while people are in it ({rules.cited('trench deepest')}).")
    if beyond > 0.1:
        said.append("Ground on its rim stands above the level its sides are drawn from: there "
                    f"the cut at {pit.batter:g}:1 reaches up to {in_both(beyond, 'length')} "
                    f"beyond the drawn shape; {OWNER} whether there is room.")
    if pit.runs_off:
        said.append("Its sides come to ground whose height is not known before they meet the "
                    "ground: what they cut there is not counted. Measure that ground, or move the "
                    "pit; what you find decides.")
    said.append(buried_lines(rules))
    return said
