"""Earth and water of the bowls or crescents of a row of trees."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.suggest.tree_forms import CORNERS, bowl_reach
from terrain.suggest.tree_rows import Row
from terrain.suggest.tree_spots import Spots
from terrain.works.crescent import chord_offset, crescent_volume
from terrain.works.rules import Rulebook
from terrain.works.tree_basin import bowl

FloatArray = NDArray[np.float64]

#: Crescents of a row that hold less than this share of what they would on an even slope, all
#: together and each, are left out: their ground is uneven. Common practice, no source.
EVEN, EACH_EVEN = 0.6, 0.25
#: Places in a bowl or crescent on which the ground is sampled, to each side. [-]
ACROSS = 32
#: Points along a bund.
RIDGE = 61


@dataclass(frozen=True)
class Bodies:
    """Earth and water of each tree of a row."""

    outlines: NDArray[Any]
    footprints: NDArray[Any]
    levels: FloatArray
    storage: FloatArray
    water: FloatArray
    dig: FloatArray
    bank: FloatArray
    seeded: float
    spills: FloatArray
    deepest: float

    @classmethod
    def of_bowls(cls, dem: Dem, row: Row, depth: float, rules: Rulebook) -> Bodies | None:
        """Bowls: what they hold in closed form, and their cut from the ground."""
        spots, radius, side = row.spots, row.form.radius, rules["tree bowl side slope"]
        outlines = shapely.buffer(shapely.points(spots.at), radius)
        ring = shapely.get_coordinates(outlines).reshape(len(spots.at), -1, 2)
        heights = dem.height_at(ring[..., 0], ring[..., 1])
        lowest = heights.argmin(axis=1)
        levels = heights.min(axis=1)
        curve = bowl(2 * radius, depth, 0.0, rules)
        reach = float(spots.reach.max())
        step = 2 * reach / ACROSS
        middles = (np.arange(ACROSS) + 0.5) * step - reach
        east, north = (part.ravel() for part in np.meshgrid(middles, middles))
        apart = np.hypot(east, north) - radius
        over = dem.height_at(spots.at[:, :1] + east, spots.at[:, 1:] + north) - levels[:, None]
        above = np.maximum(np.maximum(over, 0) - np.maximum(apart, 0) / side, 0)
        lies_open = np.where(apart < 0, np.minimum(np.maximum(-over, 0),
                                                   np.minimum(-apart / side, depth)), 0)
        dig = curve.capacity + (above - lies_open).sum(axis=1) * step**2
        if not np.isfinite(dig).all():
            return None
        many = len(spots.at)
        loose = float(dig.sum()) * rules["loose per bank loam"]
        return cls(outlines, _drawn_bowls(row, rules), levels, np.full(many, curve.capacity),
                   np.full(many, float(curve.areas[-1])), dig, np.zeros(many),
                   loose / rules["spoil thickness"], ring[np.arange(many), lowest], depth)

    @classmethod
    def of_crescents(cls, dem: Dem, row: Row, depth: float, rules: Rulebook) -> Bodies | None:
        """Crescents as `terrain.works.crescent.crescent_at` lays them out, all at once."""
        spots, radius = row.spots, row.form.radius
        side, top = rules["crescent side slope"], rules["crescent top width"]
        deep = np.minimum(depth, radius * spots.slope)
        chord = np.array([chord_offset(radius, float(d), float(s))
                          for d, s in zip(deep, spots.slope, strict=True)])
        angle = np.arccos(np.minimum(chord / radius, 1.0))
        turn = np.linspace(-1.0, 1.0, RIDGE)
        arc = _around(spots, np.full(len(deep), radius), angle[:, None] * turn)
        tips = dem.height_at(arc[:, [0, -1], 0], arc[:, [0, -1], 1])
        levels, lower = tips.min(axis=1), tips.argmin(axis=1)
        step = 2 * radius / ACROSS
        middles = (np.arange(ACROSS) + 0.5) * step - radius
        along, across = (part.ravel() for part in np.meshgrid(middles, middles))
        within = ((np.hypot(along, across) <= radius)
                  & (along >= chord[:, None]))
        x, y = _moved(spots, along[None, :], across[None, :])
        under = np.where(within, np.maximum(levels[:, None] - dem.height_at(x, y), 0), 0)
        storage = under.sum(axis=1) * step**2
        even = np.array([crescent_volume(radius, float(d), float(s))
                         for d, s in zip(deep, spots.slope, strict=True)])
        if not (storage.sum() >= EVEN * even.sum() and (storage >= EACH_EVEN * even).all()):
            return None
        crest = levels + rules["berm freeboard"]
        far = radius + side * (crest - (levels - deep)) + top / 2
        angle = np.arccos(np.minimum(chord / far, 1.0))
        around = angle[:, None] * turn
        ridge = _around(spots, far, around)
        ground = dem.height_at(ridge[..., 0], ridge[..., 1])
        built = np.maximum(crest[:, None] - ground, 0) * (1 + rules["berm settlement"])
        inward = far[:, None] * (angle[:, None] - abs(around))
        stands = np.clip(levels[:, None] - ground + inward / side, 0, built)
        ends = (top + 2 * side * (built - stands) + side * stands) * stands
        bank = np.trapezoid(ends, around, axis=1) * far
        wide = top + 2 * side * built.max(axis=1)[:, None] * (1 - turn**2)
        outer = _around(spots, radius + wide, np.arccos(np.minimum(chord / radius, 1.0))[:, None]
                        * turn)
        if not np.isfinite(bank).all():
            return None
        whole = shapely.polygons(np.concatenate([arc, outer[:, ::-1]], axis=1))
        pools = shapely.polygons(np.concatenate([arc, arc[:, :1]], axis=1))
        chosen = np.where(lower == 0, 0, RIDGE - 1)
        return cls(pools, shapely.union(whole, pools), levels, storage,
                   (under > 0).sum(axis=1) * step**2, bank / rules["compacted per bank"], bank,
                   float(shapely.area(whole).sum()), arc[np.arange(len(deep)), chosen],
                   float(under.max()))


def _moved(spots: Spots, along: FloatArray, across: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Places so far down the slope and so far across it from the trunks. [m]"""
    down_x, down_y = spots.down[:, :1], spots.down[:, 1:]
    return (spots.at[:, :1] + along * down_x - across * down_y,
            spots.at[:, 1:] + along * down_y + across * down_x)


def _around(spots: Spots, radius: FloatArray, turn: FloatArray) -> FloatArray:
    """Points about the trunks, by the angle from the way down the slope."""
    far = radius[:, None] if radius.ndim == 1 else radius
    return np.stack(_moved(spots, far * np.cos(turn), far * np.sin(turn)), axis=-1)


def _drawn_bowls(row: Row, rules: Rulebook) -> NDArray[Any]:
    """The ground that bowls open, on the planes that fit it."""
    spots = row.spots
    reach = bowl_reach(spots.slope, row.form.radius, rules)
    angles = np.linspace(0.0, 2 * np.pi, CORNERS, endpoint=False) + np.pi  # the first is uphill
    out = np.stack(_moved(spots, reach * np.cos(angles), reach * np.sin(angles)), axis=-1)
    return np.asarray(shapely.polygons(out))
