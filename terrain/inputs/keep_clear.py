"""Things that works are to keep clear of, read and moved into the working frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from terrain.errors import InputError
from terrain.inputs.dem import Extent, placed_on
from terrain.inputs.layers import area_of, column, read_layer
from terrain.inputs.site import Layer, Site
from terrain.inputs.site_keep_clear import DEEP, HIGH, SHAPES, KeepClear
from terrain.units import read_quantity

_KINDS = {"Point": "point", "MultiPoint": "point", "LineString": "line", "MultiLineString": "line",
          "LinearRing": "line", "Polygon": "area", "MultiPolygon": "area"}


@dataclass(frozen=True)
class Thing:
    """Something that works are to keep clear of.

    Attributes
    ----------
    kind : str
        One of `terrain.inputs.site_keep_clear.SHAPES`.
    name : str
    shape : shapely geometry
        A point, a line or an area; of a tree drawn as an area the outline of its crown. [m]
    distance : float or None
        To keep, as the owner says. [m]
    measure : float or None
        Diameter of a tree's crown, height of a wall or fill, depth of rock or wet ground. [m]
    """

    kind: str
    name: str
    shape: BaseGeometry
    distance: float | None = None
    measure: float | None = None

    @property
    def called(self) -> str:
        """E.g. ``the private well "old well"``; its kind alone where it has no other name."""
        return (f"the {self.kind}" if self.name == self.kind else
                f"the {self.kind} \"{self.name}\"")


def read_keep_clear(site: Site, extent: Extent) -> tuple[tuple[Thing, ...], list[str]]:
    """Read everything that the site file says to keep clear of.

    Parameters
    ----------
    extent : Dem or other Extent
        The raster, all of it.

    Returns
    -------
    things : tuple of Thing
        In the site file's order.
    notes : list of str
        What was assumed, or left out.

    Raises
    ------
    InputError
        If a layer cannot be read or is off the raster, a feature is of a shape that its kind does
        not have, or a tree has no crown, a wall no height, rock no depth.
    """
    found: list[Thing] = []
    notes: list[str] = []
    for index, entry in enumerate(site.keep_clear):
        where = f"{site.where('keep clear', index)}, keep clear, {entry.what}"
        found += (_layer(entry, where, site, extent, notes) if entry.file is not None else
                  _drawn(entry, where, site, extent))
    return tuple(found), notes


def _drawn(entry: KeepClear, where: str, site: Site, extent: Extent) -> list[Thing]:
    field = next(name for name in ("at", "along", "around") if getattr(entry, name) is not None)
    points = [placed_on(extent, point, site.points == "lonlat", f"{where}, {field}, point {i}")
              for i, point in enumerate(getattr(entry, field), 1)]
    shapes: list[Any]
    if field == "at":
        shapes = [shapely.Point(point) for point in points]
    elif field == "along":
        shapes = [shapely.LineString(points)]
        if not shapes[0].length > 0:
            raise InputError(f"{where}, along", "all its points are one", "Draw it again")
    else:
        shapes = [shapely.Polygon(points)]
        if not shapes[0].is_valid or not shapes[0].area > 0:
            raise InputError(f"{where}, around", "the area crosses itself or encloses no ground",
                             "Draw its corners in order around it")
    measure = entry.crown or entry.height or entry.depth
    name = entry.name or entry.what
    return [Thing(entry.what, name if len(shapes) == 1 else f"{name} {i}", shape, entry.distance,
                  measure) for i, shape in enumerate(shapes, 1)]


def _layer(entry: KeepClear, where: str, site: Site, extent: Extent, notes: list[str]
           ) -> list[Thing]:
    assert entry.file is not None
    spec = Layer(file=entry.file, layer=entry.layer, crs=entry.crs)
    table = read_layer(spec, site.folder, extent, where)
    notes += table.attrs.get("notes", [])
    box = shapely.box(*extent.bounds)
    given, field = _stated(entry)
    names, measures = _column(table, entry.name_field), _column(table, field)
    if any(str(value).strip().replace(".", "").isdigit() for value in measures):
        notes.append(f"Numbers without a unit in the column {field} of {entry.file} were taken in "
                     f"{'feet' if site.units == 'us' else 'metres'}.")
    found: list[Thing] = []
    beyond: list[str] = []
    for i, shape in enumerate(table.geometry):
        here = f"{where}, {entry.file}, feature {i + 1}"
        name = names[i] or (entry.name or entry.what) + (f" {i + 1}" if len(table) > 1 else "")
        if not shape.intersects(box):
            beyond.append(name)
            continue
        kind = _KINDS.get(shape.geom_type, "mixed collection")
        if kind == "line" and "line" not in SHAPES[entry.what] and "area" in SHAPES[entry.what]:
            shape, kind = area_of(shape, here), "area"
        if kind not in SHAPES[entry.what]:
            raise InputError(here, f"a {entry.what} is drawn as {_or(SHAPES[entry.what])}, and "
                             f"this is {_an(kind)}", "Draw it again, or name another layer")
        measure = _measure(measures[i], given, site, f"{here}, {field}")
        if measure is None:
            _refuse_unmeasured(entry, kind, here, field)
        found.append(Thing(entry.what, str(name), shape, entry.distance, measure))
    if not found:
        raise InputError(f"{where}, {entry.file}", f"all of it lies off {extent.source}",
                         "Check the layer's CRS, or leave it out")
    if beyond:
        notes.append(f"Of the layer {entry.file} to keep clear of, {', '.join(map(str, beyond))} "
                     f"{'lies' if len(beyond) == 1 else 'lie'} off the raster, and "
                     f"{'was' if len(beyond) == 1 else 'were'} left out.")
    return found


def _stated(entry: KeepClear) -> tuple[float | None, str]:
    """The measure stated for all of a layer, and the name of the column that gives each its own."""
    if entry.what in HIGH:
        return entry.height, entry.height_field
    if entry.what in DEEP:
        return entry.depth, entry.depth_field
    return entry.crown, entry.crown_field


def _column(table: Any, field: str) -> list[Any]:
    """A column if the layer has it; None where it has not, or the cell is empty."""
    import pandas as pd

    if field.lower() not in [str(name).lower() for name in table.columns]:
        return [None] * len(table)
    return [None if pd.isna(value) or not str(value).strip() else value
            for value in column(table, field, "layer")]


def _measure(given: Any, otherwise: float | None, site: Site, where: str) -> float | None:
    if given is None:
        return otherwise
    try:
        value = read_quantity(str(given).strip(), "length", site.units)
    except ValueError as error:
        raise InputError(where, str(error), "Write a length such as 6 m or 20 ft") from None
    if not 0 < value < 1e4:
        raise InputError(where, f"'{given}' is no length that this can have",
                         "Write a length such as 6 m or 20 ft")
    return value


def _refuse_unmeasured(entry: KeepClear, kind: str, where: str, field: str) -> None:
    """Refuse a tree without a crown, a wall without a height, rock without a depth."""
    lacks = ("the width of its crown" if entry.what == "tree" and kind == "point" else
             "its height" if entry.what in HIGH else
             "the depth at which it lies" if entry.what in DEEP else "")
    if lacks and (entry.distance is None or entry.what in DEEP):
        raise InputError(where, f"nothing says {lacks}", f"Write it in a column '{field}', or "
                         "state it for all of the layer in the site file")


def _an(kind: str) -> str:
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"


def _or(kinds: tuple[str, ...]) -> str:
    return " or ".join(_an(kind) for kind in kinds)
