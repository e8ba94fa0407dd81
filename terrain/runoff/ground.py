"""`Ground`: cover, soil and curve number of every cell, and what is built on it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.elevation import Dem
from terrain.inputs.ground_cover import cover_cells
from terrain.inputs.ground_soil import soil_cells
from terrain.inputs.keep_clear import Thing
from terrain.inputs.layers import column, rasterized, read_layer
from terrain.inputs.site import Land, Roads, Roofs
from terrain.inputs.site_tanks import GutterSpec
from terrain.runoff.catchment import Numbered
from terrain.runoff.cover import SOIL_GROUPS, CoverClass, curve_numbers_of, paver
from terrain.runoff.cover_table import classes_in_force
from terrain.runoff.roof_layer import gutters_by_roof, roof_share
from terrain.units import in_both

#: Width of a road whose width nobody wrote down; common practice, no source. [m]
ROAD_WIDTH = 3.5
#: No road is wider; common practice, no source. [m]
WIDEST = 200.0
ROOF_CLASS = "roof or paving"


@dataclass(frozen=True)
class Road:
    """A road: its name, its surface in plan, its cells, the class that covers it, and its lines
    as they were drawn (none for one drawn as an area)."""

    name: str
    surface: Any
    cells: NDArray[np.bool_]
    cover: str
    lines: tuple[Any, ...] = ()


@dataclass(frozen=True)
class Roof:
    """A roof: its name, outline in plan, area [m2], share of rain that reaches the gutter, what
    it is made of, what that share rests on, and its gutter where one is stated."""

    name: str
    outline: Any
    area: float
    efficiency: float
    cells: NDArray[np.bool_]
    material: str = ""
    basis: str = ""
    gutter: GutterSpec | None = None


@dataclass(frozen=True)
class Ground:
    """What covers the ground, cell by cell.

    Attributes
    ----------
    curve_number : float64, shape (rows, columns)
        Average runoff condition, initial abstraction 0.2 S; NaN where cover or soil is not known,
        or the class has no number on that soil. [-]
    cover : int16, same shape
        Index into `classes`; -1 where unknown.
    classes : list of str
        The classes met, each a name in `known`.
    known : dict
        All classes in force, by name: the published ones, the user's own, and those of ground
        that is partly roofed or paved.
    soil : int8, same shape
        0 to 3 for groups A to D; -1 where unknown.
    boundary : shapely geometry
    inside : bool, same shape
        Cells whose centre lies within the boundary.
    roads, roofs : tuple
    notes : tuple of str
    keep_clear : tuple of Thing
        What works are to keep clear of.
    """

    curve_number: NDArray[np.float64]
    cover: NDArray[np.int16]
    classes: list[str]
    known: dict[str, CoverClass]
    soil: NDArray[np.int8]
    boundary: Any
    inside: NDArray[np.bool_]
    roads: tuple[Road, ...]
    roofs: tuple[Roof, ...]
    notes: tuple[str, ...]
    keep_clear: tuple[Thing, ...] = ()

    @cached_property
    def numbered(self) -> Numbered:
        """Its curve numbers, sorted."""
        return Numbered.of(self.curve_number)

    def soil_group_of(self, cells: NDArray[np.int64]) -> str | None:
        """The commonest soil group of some cells."""
        groups = self.soil[cells[:, 0], cells[:, 1]]
        groups = groups[groups >= 0]
        return SOIL_GROUPS[int(np.bincount(groups).argmax())] if groups.size else None


def read_ground(site: Land, dem: Dem, boundary: Any) -> Ground:
    """Read every layer of a site onto the raster's cells.

    Parameters
    ----------
    boundary : shapely geometry
        Of the site, in the working frame. [m]

    Raises
    ------
    InputError
        If a layer cannot be read or placed, or holds a class that is not known.
    """
    known, notes = classes_in_force(site.cover, site.folder, site.where("cover", "table"))
    stated = tuple(known)
    inside = rasterized([(boundary, 1)], dem, 0, np.uint8).astype(bool)
    cover, classes, said = cover_cells(site.cover, site.folder, dem, stated,
                                       site.where("cover"), paver(known))
    notes += said
    soil, said = soil_cells(site.soils, site.folder, dem, site.where("soils"))
    notes += said
    classes = list(classes)
    roads = _roads(site.roads, site, dem, known, notes) if site.roads else []
    roofs = _roofs(site.roofs, site, dem, notes) if site.roofs else []
    if (roads or roofs) and any(name not in stated for name in classes):
        notes.append("Cells of roads and roofs that are drawn as layers count wholly as such; "
                     "percentages of roofs and paving in the cover layer should leave them out.")
    for surface, name in [(road.cells, road.cover) for road in roads] + [
            (roof.cells, ROOF_CLASS) for roof in roofs]:
        if name not in classes:
            classes.append(name)
        cover[surface] = classes.index(name)
    numbers = curve_numbers_of(cover, [known[name] for name in classes], soil)
    numbers[np.isnan(dem.heights)] = np.nan
    return Ground(numbers, cover, classes, known, soil, boundary, inside, tuple(roads),
                  tuple(roofs), tuple(notes))


def require_known(ground: Ground, cells: NDArray[np.bool_], dem: Dem, site: Land) -> None:
    """Refuse to go on if some ground that matters has no curve number.

    Raises
    ------
    InputError
        Naming the layer that leaves a gap, and how large it is.
    """
    gap = cells & np.isnan(ground.curve_number) & np.isfinite(dem.heights)
    if not gap.any():
        return
    row, column_ = np.argwhere(gap)[0]
    at = dem.named(*(float(v) for v in dem.xy(row, column_)))
    size = f"{gap.sum() * dem.cell_area:,.0f} m2 of the ground that matters, such as at {at}"
    if (gap & (ground.cover < 0)).any():
        raise InputError(site.where("cover"), f"the cover layer says nothing about {size}",
                         "Add polygons there, or state a class for the rest (otherwise:)")
    if (gap & (ground.soil < 0)).any():
        raise InputError(site.where("soils"), f"the soil layer says nothing about {size}",
                         "Add polygons there, or state a group for the rest (otherwise:)")
    name = ground.classes[int(ground.cover[row, column_])]
    group = SOIL_GROUPS[int(ground.soil[row, column_])]
    source = ("TR-55" if ground.known[name].table.startswith("2-2")
              else ground.known[name].table)
    raise InputError(site.where("cover"), f"{source} gives no curve number for \"{name}\" on soil "
                     f"group {group}, found on {size}", "Choose another class for that ground, or "
                     "give it a number in a table of your own (table: under cover)")


def _roads(spec: Roads, site: Land, dem: Dem, known: dict[str, CoverClass], notes: list[str]
           ) -> list[Road]:
    where = site.where("roads")
    layer = read_layer(spec, site.folder, dem, where)
    notes += layer.attrs.get("notes", [])
    names = _named(layer, spec.name_field, "road")
    widths = _optional(layer, spec.width_field)
    covers = _optional(layer, spec.cover_field)
    plain = {name.lower(): name for name in known}
    roads = []
    for i, shape in enumerate(layer.geometry):
        width = _width(widths[i], spec.width, site.units,
                       f"{where}, feature {i + 1}, {spec.width_field}")
        if width is None:
            width = ROAD_WIDTH
            notes.append(f"The road \"{names[i]}\" has no width; "
                         f"{in_both(ROAD_WIDTH, 'length')} was assumed.")
        elif str(widths[i]).strip().replace(".", "").isdigit():
            notes.append("Widths of roads without a unit were taken in "
                         f"{'feet' if site.units == 'us' else 'metres'}.")
        word = spec.cover if covers[i] is None else str(covers[i])
        cover = plain.get(" ".join(word.lower().split()))
        if cover is None:
            raise InputError(f"{where}, feature {i + 1}", f"the cover \"{word}\" is not known",
                             "Use a class of docs/site-file.md, such as dirt road")
        surface = (shape if shape.geom_type in ("Polygon", "MultiPolygon")
                   else shape.buffer(width / 2, cap_style="flat"))
        cells = rasterized([(surface, 1)], dem, 0, np.uint8).astype(bool)
        if not cells.any():
            cells = rasterized([(shape, 1)], dem, 0, np.uint8, all_touched=True).astype(bool)
        if not cells.any():
            notes.append(f"The road \"{names[i]}\" lies off the raster and was left out.")
            continue
        lines = tuple(part for part in getattr(shape, "geoms", [shape])
                      if part.geom_type == "LineString")
        roads.append(Road(names[i], surface, cells, cover, lines))
    return _merged(roads)


def _merged(roads: list[Road]) -> list[Road]:
    """Features of one name and cover are one road."""
    together: dict[tuple[str, str], Road] = {}
    for road in roads:
        key = (road.name, road.cover)
        if key in together:
            first = together[key]
            road = Road(road.name, first.surface.union(road.surface), first.cells | road.cells,
                        road.cover, first.lines + road.lines)
        together[key] = road
    return list(together.values())


def _roofs(spec: Roofs, site: Land, dem: Dem, notes: list[str]) -> list[Roof]:
    where = site.where("roofs")
    layer = read_layer(spec, site.folder, dem, where)
    notes += layer.attrs.get("notes", [])
    names = _named(layer, spec.name_field, "roof")
    shares = _optional(layer, spec.efficiency_field)
    if spec.material_field is not None:
        column(layer, spec.material_field, where)
    materials = _optional(layer, spec.material_field or "")
    gutters = gutters_by_roof(site, names)
    roofs: list[Roof] = []
    met: set[str] = set()
    over = _lie_over(layer.geometry.to_numpy())
    for i, shape in enumerate(layer.geometry):
        if shape.geom_type not in ("Polygon", "MultiPolygon"):
            raise InputError(f"{where}, feature {i + 1} \"{names[i]}\"", "a roof is an area, and "
                             f"this is a {shape.geom_type}", "Draw its outline")
        if names[i] in met:
            raise InputError(f"{where}, feature {i + 1}", f"two roofs are called \"{names[i]}\"",
                             "Give each its own name")
        share, material, basis = roof_share(spec, shares[i], materials[i],
                                            f"{where}, feature {i + 1} \"{names[i]}\"")
        try:
            share = float(share)
        except (TypeError, ValueError):
            share = -1.0
        if not 0 < share <= 1:
            raise InputError(f"{where}, feature {i + 1} \"{names[i]}\"",
                             f"its {spec.efficiency_field} '{shares[i]}' is not between 0 and 1",
                             "Give the share of rain that reaches the gutter, such as 0.9")
        if i in over:
            raise InputError(f"{where}, feature {i + 1} \"{names[i]}\"",
                             f"it lies over the roof \"{names[over[i]]}\", and rain would be "
                             "counted twice",
                             "Leave one of the two out, or draw them side by side")
        cells = rasterized([(shape, 1)], dem, 0, np.uint8).astype(bool)
        met.add(names[i])
        roofs.append(Roof(names[i], shape, float(shape.area), share, cells, material, basis,
                          gutters.get(names[i])))
    return roofs


def _lie_over(shapes: NDArray[Any]) -> dict[int, int]:
    """Of each shape that lies over an earlier one by a twentieth of the smaller, the first such."""
    later, earlier = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    later, earlier = later[earlier < later], earlier[earlier < later]
    area = shapely.area(shapes)
    shared = shapely.area(shapely.intersection(shapes[later], shapes[earlier]))
    twice = shared > 0.05 * np.minimum(area[later], area[earlier])
    found: dict[int, int] = {}
    for one, other in sorted(zip(later[twice].tolist(), earlier[twice].tolist(), strict=True)):
        found.setdefault(one, other)
    return found


def _named(layer: Any, field: str, kind: str) -> list[str]:
    values = _optional(layer, field)
    return [str(value) if value is not None and str(value).strip() else f"{kind} {i + 1}"
            for i, value in enumerate(values)]


def _optional(layer: Any, field: str) -> list[Any]:
    """A column if the layer has it; None where it has not, or the cell is empty."""
    import pandas as pd

    if field.lower() not in [str(name).lower() for name in layer.columns]:
        return [None] * len(layer)
    values = column(layer, field, "layer")
    return [None if pd.isna(value) else value for value in values]


def _width(given: Any, default: float | None, system: str, where: str) -> float | None:
    from terrain.units import read_quantity

    if given is None or str(given).strip() == "":
        return default
    text = str(given).strip()
    try:
        width = read_quantity(text, "length", system)
    except ValueError as error:
        raise InputError(where, str(error), "Write a width such as 3.5 m or 12 ft") from None
    if not width > 0:
        raise InputError(where, f"a width of {text} is not above 0", "Write the road's width")
    if width > WIDEST:
        raise InputError(where, f"a road {width:,.4g} m wide is wider than any", "Write its width "
                         "such as 3.5 m or 12 ft")
    return width
