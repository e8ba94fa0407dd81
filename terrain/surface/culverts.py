"""Culverts and bridges of a vector layer."""

from __future__ import annotations

from pathlib import Path

from terrain.errors import InputError
from terrain.inputs.dem import Extent, refuse_beyond
from terrain.inputs.layers import read_layer
from terrain.inputs.site import Culverts
from terrain.surface.conditioning import Culvert
from terrain.units import read_quantity

#: No culvert's pipe is wider; a larger figure is one in other units. [m]
LARGEST_PIPE = 10.0


def read_culverts(spec: Culverts, folder: Path, extent: Extent, where: str, system: str = "metric"
                  ) -> tuple[Culvert, ...]:
    """Read lines along which water passes under a bank, each from end to end.

    A feature without a name is called by its number; a diameter without a unit is in m or ft, as
    `system` says.

    Raises
    ------
    InputError
        If the layer cannot be read, or holds shapes that are no lines or end off the elevation.
    """
    layer = read_layer(spec, folder, extent, where)
    names = layer[spec.name_field] if spec.name_field in layer.columns else [None] * len(layer)
    wide = (layer[spec.diameter_field] if spec.diameter_field in layer.columns
            else [None] * len(layer))
    found = []
    for number, (name, given, shape) in enumerate(zip(names, wide, layer.geometry, strict=True),
                                                  start=1):
        if shape.geom_type == "MultiLineString" and len(shape.geoms) == 1:
            shape = shape.geoms[0]
        if shape.geom_type != "LineString" or shape.length == 0:
            raise InputError(f"{where}, {spec.file}, feature {number}", "a culvert or a bridge is "
                             f"a line, and this is a {shape.geom_type}", "Draw one line from "
                             "where the water goes in to where it comes out")
        for x, y in (shape.coords[0], shape.coords[-1]):
            refuse_beyond(extent, x, y, f"{where}, {spec.file}, feature {number}")
        found.append(Culvert(str(name) if name is not None and name == name else
                             f"culvert {number}", shape, _diameter(
                                 given, system, f"{where}, {spec.file}, feature {number}, "
                                 f"{spec.diameter_field}")))
    return tuple(found)


def _diameter(given: object, system: str, where: str) -> float | None:
    """A pipe's diameter as written; None where nothing is. [m]"""
    if given is None or given != given or not str(given).strip():
        return None
    try:
        diameter = read_quantity(str(given), "length", system)
    except ValueError as error:
        raise InputError(where, str(error), "Write a diameter such as 450 mm or 18 in") from None
    if not 0 < diameter <= LARGEST_PIPE:
        raise InputError(where, f"no pipe has a diameter of {given} (read as {diameter:g} m)",
                         "Write it with its unit, such as 450 mm, or leave it empty")
    return diameter
