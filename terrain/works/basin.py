"""A basin as it is to be built, in any of its forms; and the ground that a drawn shape covers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain.inputs.elevation import Dem
from terrain.units import in_both
from terrain.works.pool import Pass
from terrain.works.rules import Rulebook
from terrain.works.sill import Sill
from terrain.works.store import Curve
from terrain.works.wall_profile import WallProfile

#: A shape covers a part of a cell from this share of it on.
LEAST_COVERED = 1e-6


@dataclass(frozen=True)
class Basin:
    """A basin as it is to be built.

    Attributes
    ----------
    form : str
        "wall", "dug", or "wall and pit": a wall, and behind it a pit whose spoil builds it.
    line : float64, shape (points, 2)
        The wall's centreline, or the dug shape's rim. [m]
    crest : float
        Settled crest of the wall; for a dug shape the lowest ground on its rim. [m]
    sill : Sill
    sill_x, sill_y : float
        Where it overflows; of a wall, the end of its bank where the spillway begins. [m]
    gross, storage : float
        Held up to the sill behind a thin wall, and less the bank's own volume. [m3]
    gross_curve, curve : Curve
        Of the two.
    pool_area : float
        Of the water full to the sill, beside the bank. [m2]
    wall, cut : float
        Earth in the bank as settled (compacted measure), and all earth dug (bank measure): pit,
        cut-off trench and topsoil. [m3]
    height : float
        Of the settled crest above the lowest ground on the wall line. [m]
    water_at_wall : float
        Depth of water there, as behind a thin wall; or over a dug floor; full to the sill. [m]
    batter : float
        Slope of a pit's sides, H:V. [-]
    profile : WallProfile or None
        The wall along its line.
    outflank : Pass or None
        The lowest place, below the crest, where water would get round the wall.
    pit, topsoil : float
        Of the cut, what comes from the pit; and what is topsoil, no use in a bank. [m3]
    rim : float64, shape (points, 2), or None
        Outline of the pit behind a wall. [m]
    pit_depth, floor : float
        Of the pit behind a wall, below the lowest ground on its rim; level of its floor. [m]
    balanced : bool
        The pit is as deep as makes what it and the cut-off trench give build the wall; the
        spillway's earth comes beside that.
    spillway : float
        Cut of the wall's spillway in natural ground, once its sill is sized; beside `cut`. [m3]
    pool_depth : float
        Of the deepest water behind a wall, over the ground or the bank's face. [m]
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
    profile: WallProfile | None = None
    outflank: Pass | None = None
    pit: float = 0.0
    topsoil: float = 0.0
    rim: NDArray[np.float64] | None = None
    pit_depth: float = 0.0
    floor: float = float("nan")
    balanced: bool = False
    spillway: float = 0.0
    pool_depth: float = 0.0

    @property
    def has_wall(self) -> bool:
        """Whether water stands against a bank of earth."""
        return self.profile is not None

    @property
    def deepest_water(self) -> float:
        """Over the lowest ground that water stands on, full to the sill. [m]"""
        if not self.has_wall:
            return self.water_at_wall
        return (self.pool_depth if self.rim is None else
                max(self.pool_depth, self.sill.level - self.floor))

    @property
    def gross_area(self) -> float:
        """Of the water full to the sill, behind a thin wall. [m2]"""
        return float(self.gross_curve.areas[-1])

    @property
    def usable(self) -> float:
        """Earth dug that can go into a bank, bank measure. [m3]"""
        return self.dug - self.topsoil

    @property
    def dug(self) -> float:
        """All earth dug, the spillway's too, bank measure. [m3]"""
        return self.cut + self.spillway

    @property
    def fill(self) -> float:
        """Earth that its bank takes as it is built, cut-off trench and stripped ground filled
        again, compacted measure; 0 without a wall. [m3]"""
        return 0.0 if self.profile is None else self.profile.fill

    def spare(self, rules: Rulebook) -> float:
        """What the usable spoil leaves over once its bank is built, compacted measure; below 0
        what must be brought. [m3]"""
        return self.usable * rules["compacted per bank"] - self.fill


def cells_of(dem: Dem, shape: Any) -> NDArray[np.int64]:
    """Cells of known height of which a shape covers a part; that of its middle if there is none.

    Notes
    -----
    A cell is none of them for being met along an edge or at a corner alone.  That is reckoned from
    areas here, as rasterising libraries differ there from version to version.
    """
    shape = shape if shape.is_valid else shapely.make_valid(shape)
    west, south, east, north = shape.bounds
    first = np.maximum(np.stack(dem.row_column(west, north)) - 1, 0)
    last = np.clip(np.stack(dem.row_column(east, south)) + 2, 0, dem.shape)
    rows, columns = np.mgrid[first[0]:last[0], first[1]:last[1]].reshape(2, -1)
    left, top = dem.left + columns * dem.cell, dem.top - rows * dem.cell
    squares = shapely.box(left, top - dem.cell, left + dem.cell, top)
    shapely.prepare(shape)
    covered = shapely.contains_properly(shape, squares)
    meets = shapely.intersects(shape, squares) & ~covered
    covered[meets] = (shapely.area(shapely.intersection(squares[meets], shape))
                      > LEAST_COVERED * dem.cell_area)
    found = covered & np.isfinite(dem.heights[rows, columns])
    cells = np.stack([rows[found], columns[found]], 1)
    return cells if len(cells) else np.array([dem.row_column(shape.centroid.x, shape.centroid.y)])


def drowning(depth: float, rules: Rulebook) -> str:
    """The caution about water of a depth. [m]"""
    return (f"Water {in_both(depth, 'size')} deep can drown a child: fence it, keep one side 3:1 "
            "or flatter, and hang a rope (warned above "
            f"{in_both(rules['drowning depth'], 'size')}; {rules.cited('drowning depth')}).")
