"""Outlines of parcels, of which those that are none do not keep the others from being read."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pyogrio
import shapely
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.dem import Extent
from terrain.inputs.layers import area_of, layer_crs, read_layer, way_between
from terrain.inputs.site import Layer

_DRAW = "Draw it in the layer of parcels, or delete it there"


def read_outlines(spec: Layer, folder: Path, extent: Extent, where: str
                  ) -> tuple[geopandas.GeoDataFrame, dict[int, str]]:
    """Read a layer of parcels as `read_layer` does, but pass over shapes that enclose no ground.

    Returns
    -------
    layer : GeoDataFrame
        Its shapes are areas; an empty one where a feature has none. [m]
    faults : dict of int to str
        What is wrong with these, by their numbers from 1.

    Raises
    ------
    InputError
        If the layer cannot be read or placed, or none of its shapes encloses ground.
    """
    here = f"{where}, {spec.file}"
    faults: dict[int, str] = {}
    try:
        layer = read_layer(spec, folder, extent, where)
    except InputError as error:
        layer, faults = _usable(spec, folder, extent, here, error)
    shapes: list[Any] = []
    for number, shape in enumerate(layer.geometry, start=1):
        try:
            shapes.append(shape if number in faults else area_of(shape, ""))
        except InputError as error:
            faults[number] = f"{error.what}. {_DRAW}."
            shapes.append(shapely.Polygon())
    if len(faults) == len(layer):
        raise InputError(here, f"no feature of it is an area; feature 1: {faults[1]}",
                         "Draw each parcel as a polygon")
    held = np.empty(len(shapes), object)
    held[:] = shapes
    notes = layer.attrs["notes"]
    layer = layer.set_geometry(geopandas.GeoSeries(held, index=layer.index, crs=layer.crs))
    layer.attrs["notes"] = notes
    return layer, faults


def _usable(spec: Layer, folder: Path, extent: Extent, here: str, refused: InputError
            ) -> tuple[geopandas.GeoDataFrame, dict[int, str]]:
    """A layer that was refused, without the shapes that are none; if there are none of these it
    is refused."""
    path = folder / spec.file
    try:
        if spec.layer is None and len(pyogrio.list_layers(path)) > 1:
            raise refused
        frame = pyogrio.read_dataframe(path, layer=spec.layer)
    except (OSError, ValueError, pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError,
            shapely.errors.ShapelyError):
        raise refused from None
    if not isinstance(frame, geopandas.GeoDataFrame):
        raise refused
    shapes = shapely.force_2d(np.asarray(frame.geometry.array, dtype=object))
    faults = {number: f"{what}. {_DRAW}." for number, what in
              ((number, _fault(shape)) for number, shape in enumerate(shapes, start=1)) if what}
    good = np.array([number not in faults for number in range(1, len(shapes) + 1)], bool)
    if good.all() or not good.any():
        raise refused
    own, notes = layer_crs(path, frame.crs, spec.crs, shapes[good], extent, here)
    working, scale = extent.frame.working, extent.frame.metres_per_unit
    if own is None or working is None:
        shapes[good] = shapely.transform(shapes[good], lambda xy: xy * scale)
    else:
        way, said = way_between(own, working, extent, here)
        notes += said
        if way is not None:
            shapes[good] = shapely.transform(
                shapes[good], lambda xy: np.column_stack(way.transform(xy[:, 0], xy[:, 1])))
    for number in (np.flatnonzero(good) + 1).tolist():
        shape = shapes[number - 1]
        if not np.isfinite(shapely.get_coordinates(shape)).all():
            faults[number] = ("it lies too far off to be moved into "
                                   f"{working.name if working else 'the elevation'}. {_DRAW}.")
        elif not shape.is_valid:
            shapes[number - 1] = _repaired(shape)
            notes.append(f"{here}, feature {number}: its outline is faulty; it was repaired.")
    for number in faults:
        shapes[number - 1] = shapely.Polygon()
    frame = frame.set_geometry(geopandas.GeoSeries(shapes, index=frame.index), crs=None)
    frame = frame.set_crs(working, allow_override=True)
    frame.attrs["notes"] = notes
    return frame, faults


def _fault(shape: Any) -> str:
    """Why a shape is none; empty where it is one."""
    if shape is None or shape.is_empty:
        return "it has no shape"
    if not np.isfinite(shapely.get_coordinates(shape)).all():
        return "one of its points has no coordinates"
    if not shape.is_valid and shapely.get_dimensions(_repaired(shape)) < shapely.get_dimensions(
            shape):
        return ("all its points are one" if shapely.get_dimensions(shape) < 2
                else "its outline encloses no ground")
    return ""


def _repaired(shape: Any) -> Any:
    """A shape made whole; of an area the parts that are areas, if there are any."""
    whole = shapely.make_valid(shape)
    if shapely.get_dimensions(shape) < 2:
        return whole
    parts: NDArray[Any] = shapely.get_parts(whole)
    areas = [part for part in parts if shapely.get_dimensions(part) == 2]
    return shapely.union_all(areas) if areas else whole
