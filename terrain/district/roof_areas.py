"""Roofs as footprints that share no ground, each with a name of its own."""

from __future__ import annotations

import geopandas
import numpy as np

from terrain.district.copies import ORDER, copied, numbered, words_of
from terrain.district.footprints import SetApart, set_apart
from terrain.errors import InputError
from terrain.inputs.district import District
from terrain.inputs.layers import column
from terrain.inputs.site import Roofs
from terrain.runoff.roof_layer import gutters_by_roof, roof_share
from terrain.units import in_both


def roof_areas(layer: geopandas.GeoDataFrame, spec: Roofs, district: District
               ) -> tuple[geopandas.GeoDataFrame, list[str]]:
    """Footprints that share no ground, each with a name of its own, and notes.

    Raises
    ------
    InputError
        If a feature is no area, or the share of rain that reaches its gutters is none.
    """
    where = district.where("roofs")
    here = f"{where}, {spec.file}"
    given, notes = words_of(layer, spec.name_field), []
    if spec.material_field is not None:
        column(layer, spec.material_field, here)
    shares, materials = (words_of(layer, field) for field in (spec.efficiency_field,
                                                            spec.material_field))
    names: list[str] = []
    taken = {name for name in given if name is not None}
    again = 0
    met: set[str] = set()
    for number, (name, shape) in enumerate(zip(given, layer.geometry, strict=True), start=1):
        feature = f"{here}, feature {number}"
        if shape.geom_type not in ("Polygon", "MultiPolygon"):
            raise InputError(feature, "a roof is an area, and this is a "
                             f"{shape.geom_type}", "Draw its outline")
        share = roof_share(spec, shares[number - 1], materials[number - 1], feature)[0]
        try:
            fair = 0 < float(share) <= 1
        except ValueError:
            fair = False
        if not fair:
            raise InputError(feature, f"its {spec.efficiency_field} '{share}' is not between 0 "
                             "and 1", "Give the share of rain that reaches the gutter, such as 0.9")
        again += name in met
        own = name or f"roof {number}"
        while own in met or (own != name and own in taken):
            own = f"{own} ({number})"
        met.add(own)
        names.append(own)
    gutters_by_roof(district.site_of("district"), names)
    if again:
        notes.append(f"{again:,} {'roof has' if again == 1 else 'roofs have'} the name of another; "
                     "the number in the layer was put behind it.")
    apart = set_apart(np.asarray(layer.geometry.array, dtype=object))
    notes += _set_apart_notes(apart, spec.file.name)
    copy = copied(layer, spec.efficiency_field, spec.material_field)
    held = {name: copy[name].to_numpy()[apart.places] for name in copy.columns
            if name not in (ORDER, copy.geometry.name)}
    return numbered(apart.shapes, **held, **{spec.name_field: np.array(names, object)[
        apart.places]}), notes


def _set_apart_notes(apart: SetApart, file: str) -> list[str]:
    said = []
    if apart.merged:
        said.append(f"{apart.merged:,} of them shared more than half of another and " + (
            "was" if apart.merged == 1 else "were") + " merged with it")
    if apart.trimmed:
        said.append(f"{apart.trimmed:,} lost what lay in an earlier one, "
                    f"{in_both(apart.cut, 'area')} in all")
    if apart.gone:
        said.append(f"{apart.gone:,} lay in earlier ones and fell away")
    return [f"Roofs of {file} lie over each other: {'; '.join(said)}."] if said else []
