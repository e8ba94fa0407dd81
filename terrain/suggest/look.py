"""The site as the search looks at it: what is asked, what stands, and where earth may be moved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely import Polygon

from terrain.errors import InputError
from terrain.inputs.dem import Dem, Extent, placed_on
from terrain.inputs.layers import area_of, rasterized, read_layer
from terrain.inputs.site import Layer, Site
from terrain.inputs.site_keep_clear import DEEP
from terrain.inputs.site_suggest import KeepOut, Suggest
from terrain.plan.earth.cost import bill, quantities
from terrain.plan.safety.clearances import steep_ground
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.runoff.infiltration import FloorRate, rate_of
from terrain.suggest.candidate import Cost
from terrain.works.setbacks import setback_of
from terrain.works.swale import smoothed

#: Works keep so far from a road's edge, and from works that stand; common practice, no source. [m]
BESIDE_ROAD, BESIDE_WORKS = 1.0, 2.0
#: Places are stated to this many decimals: of metres or feet, and of degrees.
DECIMALS, DEGREE_DECIMALS = 2, 7


@dataclass(frozen=True)
class Look:
    """What the search looks at.

    Attributes
    ----------
    inputs : Inputs
    asked : Suggest
    stands : tuple of Placed
        Works that stand in every layout: dug already, tanks, and what these lean on.
    room : float32, shape (rows, columns)
        Distance to ground on which no earth may be moved, 0 there. [m]
    channel : bool, shape (rows, columns)
        Cells of watercourses, which only a wall may cross.
    """

    inputs: Inputs
    asked: Suggest
    stands: tuple[Placed, ...]
    room: NDArray[np.float32]
    channel: NDArray[np.bool_]

    @cached_property
    def soft(self) -> Dem:
        """The ground as lines are traced on it."""
        return smoothed(self.inputs.dem)

    @cached_property
    def design_runoff(self) -> NDArray[np.float64]:
        """Of each cell in the design storm; 0 where its ground is not known. [m3]"""
        return np.nan_to_num(self.inputs.runoff(self.inputs.site.rain.design.depth))

    def stated(self, x: float, y: float) -> tuple[float, float]:
        """A point of the working frame as the site file would state it."""
        frame = self.inputs.dem.frame
        if self.inputs.site.points == "lonlat":
            moved, decimals = frame.to_lonlat(x, y), DEGREE_DECIMALS
            assert moved is not None  # such a site file was refused without a CRS
        else:
            moved, decimals = frame.to_source(x, y), DECIMALS
        return round(float(moved[0]), decimals), round(float(moved[1]), decimals)

    def soaks(self, cells: NDArray[np.int64]) -> FloorRate:
        """How fast a floor on some cells takes water. [mm/h]"""
        group = self.inputs.ground.soil_group_of(cells)
        return rate_of(self.asked.infiltration, None, group)

    def drains_in(self, cells: NDArray[np.int64], depth: float) -> float:
        """Hours until water of a depth has soaked into a level floor. [h]"""
        rate = self.soaks(cells).rate
        return depth * 1000 / rate if rate > 0 else float("inf")

    def soil_of(self, cells: NDArray[np.int64]) -> str:
        """clay, loam or sand, by the soil group of some cells."""
        from terrain.works.swale_built import SOIL_OF_GROUP

        return SOIL_OF_GROUP.get(self.inputs.ground.soil_group_of(cells) or "", "loam")

    def cost(self, cut: float, bank: float, soil: str, topsoil: float = 0.0, trees: int = 0,
             seeded: float = 0.0) -> Cost:
        """What a work takes by its earth, as the plan reckons it; stone is left out.

        Parameters
        ----------
        cut, bank : float
            As for `terrain.plan.earth.cost.quantities`. [m3]
        seeded : float
            Bank and spread earth to seed. [m2]
        """
        rules, money = self.inputs.rules, self.inputs.site.money
        rates = None if money is None else money.machine_hour
        amount = quantities(cut, bank, rules, None if money is None else money.machine_output,
                            rates, "", topsoil, soil, rules["hard ground share"])
        billed = bill((amount.hours, amount.hours_most), 0.0, 0.0, rules, rates)
        paid = None
        if money is not None:
            assert billed.money is not None
            paid = sum(billed.money) / 2
            paid += trees * sum(money.tree or (0.0, 0.0)) / 2
            paid += seeded * sum(money.seed.range if money.seed else (0.0, 0.0)) / 2
        return Cost(paid, sum(billed.hours) / 2, amount.cut)


def look_at(inputs: Inputs, asked: Suggest, stands: tuple[Placed, ...],
            kept_out: Sequence[Any] | None = None) -> Look:
    """Find where earth may be moved.

    Parameters
    ----------
    kept_out : sequence of shapely geometry, optional
        As `keep_out` gives them, where they are read already. [m]

    Raises
    ------
    InputError
        If a layer to keep out of cannot be read.
    """
    dem, terrain = inputs.dem, inputs.terrain
    if kept_out is None:
        kept_out = keep_out(inputs.site, asked, dem)
    shut = rasterized([(shape, 1) for shape in [*_shut(inputs, stands), *kept_out]
                       if not shape.is_empty], dem, 0, np.uint8, all_touched=True).astype(bool)
    shut |= ~inputs.ground.inside | ~np.isfinite(dem.heights) | _near_steep(inputs)
    padded = np.pad(~shut, 1)  # beyond the raster nothing may be moved
    away = ndimage.distance_transform_edt(padded)[1:-1, 1:-1] * dem.cell
    room = np.maximum(away - dem.cell / 2, 0.0).astype(np.float32)
    channel = terrain.contributing_area >= inputs.site.runoff.channel_from
    return Look(inputs, asked, stands, room, channel)


def _shut(inputs: Inputs, stands: tuple[Placed, ...]) -> list[Any]:
    """Ground on which no earth may be moved: each rule of siting as a shape. [m]"""
    rules, ground, dem = inputs.rules, inputs.ground, inputs.dem
    box = shapely.box(*dem.bounds)
    apart = rules["building setback"]
    found = [box.difference(ground.boundary.buffer(-apart))]
    found += [roof.outline.buffer(apart) for roof in ground.roofs]
    found += [road.surface.buffer(BESIDE_ROAD) for road in ground.roads]
    found += [place.outline.buffer(BESIDE_WORKS) for place in stands if place.kind != "tank"]
    for thing in ground.keep_clear:
        setback = setback_of(thing, rules)
        if setback is not None:
            found.append(thing.shape.buffer(max(setback.distance, 0.0)))
        elif thing.kind in DEEP and (thing.measure or 0.0) < (
                rules["rock or wet ground below"] + rules["swale shallowest"]):
            found.append(thing.shape)
    return found


def keep_out(site: Site, asked: Suggest, extent: Extent) -> list[Any]:
    """Ground that nothing is to be dug on, as the site file says. [m]

    Parameters
    ----------
    extent : Dem or other Extent
        The raster, all of it.

    Raises
    ------
    InputError
        If a layer cannot be read, or what is drawn is no area or off the raster.
    """
    return [shape for index, entry in enumerate(asked.keep_out)
            for shape in _kept_out(site, entry, index, extent)]


def _near_steep(inputs: Inputs) -> NDArray[np.bool_]:
    """Cells nearer to the foot of steep ground than works may come."""
    dem, toes = inputs.dem, steep_ground(inputs.terrain, inputs.rules).toes
    away = np.ones(dem.shape, bool)
    if toes.is_empty:
        return ~away
    row, column = dem.row_column(*shapely.get_coordinates(toes).T)
    away[row, column] = False
    near = inputs.rules["steep toe setback"] + dem.cell
    return np.asarray(ndimage.distance_transform_edt(away) * dem.cell < near)


def _kept_out(site: Site, entry: KeepOut, index: int, extent: Extent) -> list[Any]:
    where = f"{site.where('suggest', 'keep out', index)}, suggest, keep out"
    if entry.file is not None:
        table = read_layer(Layer(file=entry.file, layer=entry.layer, crs=entry.crs), site.folder,
                           extent, where)
        return [area_of(shape, f"{where}, feature {number}")
                for number, shape in enumerate(table.geometry, 1)]
    lonlat = site.points == "lonlat"
    shape = Polygon([placed_on(extent, point, lonlat, f"{where}, around, point {i}")
                     for i, point in enumerate(entry.around or [], 1)])
    if not shape.is_valid or not shape.area > 0:
        raise InputError(f"{where}, around", "the area crosses itself or encloses no ground",
                         "Draw its corners in order around it")
    return [shape]


