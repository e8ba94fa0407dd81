"""What soil lies under the ground, cell by cell."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from terrain.errors import InputError
from terrain.inputs.csv_table import cell_text
from terrain.inputs.elevation import Dem
from terrain.inputs.layers import (
    area_of,
    column,
    features_told,
    rasterized,
    read_layer,
    unseen,
)
from terrain.inputs.site import Soils
from terrain.inputs.soil_units import GROUPS, joined_groups, read_unit_groups


def soil_cells(spec: Soils, folder: Path, dem: Dem, where: str
               ) -> tuple[NDArray[np.int8], list[str]]:
    """Hydrologic soil group of each cell of the raster.

    Of a dual group such as B/D the second letter is taken, that of undrained ground, or the first
    where the ground is drained (NRCS, National Engineering Handbook part 630, chapter 7, 2009).
    With a table of map units, the groups are those of the table.

    Returns
    -------
    cells : int8, the raster's shape
        0 to 3 for A to D; -1 where neither the layer nor `spec.otherwise` says.
    notes : list of str
        What was assumed or repaired.

    Raises
    ------
    InputError
        If a feature's group is none of A to D, or empty with no `otherwise`.
    """
    if spec.file is None:
        assert spec.otherwise is not None  # as `Soils` makes sure
        return np.full(dem.shape, "ABCD".index(spec.otherwise), np.int8), [
            f"Soils: no layer is named; all ground was taken as group {spec.otherwise}."]
    layer = read_layer(spec, folder, dem, where)
    notes: list[str] = list(layer.attrs["notes"])
    here = f"{where}, {spec.file}"
    groups, told = _groups(layer, spec, folder, where, here)
    notes += told
    pairs: list[tuple[BaseGeometry, int]] = []
    dual: dict[str, list[int]] = {}
    empty: list[int] = []
    for number, (shape, text) in enumerate(zip(layer.geometry, groups, strict=True), start=1):
        feature = f"{here}, feature {number}"
        if not text:
            if spec.otherwise is None:
                unit = "" if spec.table is None else (
                    f", map unit {cell_text(column(layer, spec.key, here).iloc[number - 1])},")
                raise InputError(feature, f"its {spec.field} is empty" if not unit else
                                 f"its soil{unit} has no group in {spec.table}, as water and rock "
                                 "have none",
                                 "Give it a soil group A to D, or state 'otherwise' under soils")
            empty.append(number)
            text = spec.otherwise
        elif "/" in text:
            dual.setdefault(text, []).append(number)
        pairs.append((area_of(shape, feature), "ABCD".index(text[0 if spec.drained else -1])))
    state, end = ("drained", 0) if spec.drained else ("undrained", -1)
    notes += [f"Soils: {features_told(numbers, f'of dual group {text}')} taken as {text[end]}, the "
              f"group of {state} ground." for text, numbers in sorted(dual.items())]
    if empty:
        notes.append(f"Soils: {features_told(empty, 'without a group')} taken as {spec.otherwise}.")
    notes += unseen([shape for shape, _ in pairs], dem, "Soils")
    cells = rasterized(pairs, dem, -1, np.int8)
    bare = cells < 0
    if bare.any():
        share = f"{100 * bare.mean():.1f} % of the raster"
        if spec.otherwise is None:
            notes.append(f"Soils: {share} has no soil group.")
        else:
            cells[bare] = "ABCD".index(spec.otherwise)
            notes.append(f"Soils: {share} is not in {spec.file.name}; it was taken as group "
                         f"{spec.otherwise}.")
    return cells, notes


def _groups(layer: Any, spec: Soils, folder: Path, where: str, here: str
            ) -> tuple[list[str], list[str]]:
    """Soil group of each feature, from its own column or by its map unit; empty where none."""
    has = [str(name).strip().lower() for name in layer.columns]
    has_group = spec.field.strip().lower() in has
    if spec.table is not None:
        units = read_unit_groups(folder / spec.table, spec.key, spec.field,
                                 f"{where}, {spec.table}")
        keys = column(layer, spec.key, here)
        groups, notes = joined_groups(list(keys), str(keys.name), units, here, str(spec.table))
        if has_group:
            notes.append(f"Soils: the column {spec.field} was not used, for {spec.table} gives the "
                         "groups.")
        return groups, notes
    if not has_group and spec.key.strip().lower() in has:
        raise InputError(here, f"it has keys of map units ({column(layer, spec.key, here).name}) "
                         f"but no column '{spec.field}' of soil groups",
                         "Name the table that gives each map unit its group, as 'table:' under "
                         "soils in a site file")
    groups = []
    for number, given in enumerate(column(layer, spec.field, here), start=1):
        text = cell_text(given).upper().replace(" ", "")
        if text and text not in GROUPS:
            raise InputError(f"{here}, feature {number}", f"its {spec.field} '{given}' is not a "
                             "soil group", "Use A, B, C or D, or a dual group such as B/D")
        groups.append(text)
    return groups, []
