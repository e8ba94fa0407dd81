"""Culverts and bridges of a vector layer."""

from __future__ import annotations

from pathlib import Path

from terrain.errors import InputError
from terrain.inputs.dem import Extent, refuse_beyond
from terrain.inputs.layers import read_layer
from terrain.inputs.site import NamedLayer
from terrain.surface.conditioning import Culvert


def read_culverts(spec: NamedLayer, folder: Path, extent: Extent, where: str
                  ) -> tuple[Culvert, ...]:
    """Read lines along which water passes under a bank, each from end to end.

    A feature without a name is called by its number.

    Raises
    ------
    InputError
        If the layer cannot be read, or holds shapes that are no lines or end off the elevation.
    """
    layer = read_layer(spec, folder, extent, where)
    names = layer[spec.name_field] if spec.name_field in layer.columns else [None] * len(layer)
    found = []
    for number, (name, shape) in enumerate(zip(names, layer.geometry, strict=True), start=1):
        if shape.geom_type == "MultiLineString" and len(shape.geoms) == 1:
            shape = shape.geoms[0]
        if shape.geom_type != "LineString" or shape.length == 0:
            raise InputError(f"{where}, {spec.file}, feature {number}", "a culvert or a bridge is "
                             f"a line, and this is a {shape.geom_type}", "Draw one line from "
                             "where the water goes in to where it comes out")
        for x, y in (shape.coords[0], shape.coords[-1]):
            refuse_beyond(extent, x, y, f"{where}, {spec.file}, feature {number}")
        found.append(Culvert(str(name) if name is not None and name == name else
                             f"culvert {number}", shape))
    return tuple(found)
