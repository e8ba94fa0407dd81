"""Sets of layers copied into the folder of tiles, of which a task reads what lies near.

Each set has a folder of its own for all that it was made of: where any of that has changed, others
are made beside it, and a run under way that shares the folder of tiles still reads the old ones.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pyogrio
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.files import fingerprint, put_whole
from terrain.inputs.csv_table import cell_text
from terrain.inputs.layers import column
from terrain.surface.tiled.kept_tiles import DRAFT

#: The folder of the copies, and their column that says in which order features stand.
FOLDER, ORDER = "layers", "levelsill_order"
#: Of notes that say the same of many features so many are given.
ALIKE = 3

Frames = dict[str, geopandas.GeoDataFrame]


def kept_set(folder: Path, name: str, made_of: Any, make: Callable[[], tuple[Frames, list[str]]]
             ) -> tuple[Path, dict[str, str], tuple[str, ...]]:
    """A set of copies, made where there is none of just that yet, or one is spoilt.

    Parameters
    ----------
    folder : Path
        Of all copies; made if it is not there.
    made_of : anything that JSON holds
        A set that was made of something else stays beside this one.
    make : callable
        Gives layers by name, and notes.

    Returns
    -------
    folder : Path
        Of the set.
    prints : dict of str to str
        The SHA-256 of each copy's bytes.
    notes : tuple of str

    Raises
    ------
    InputError
        If a copy cannot be written.
    """
    stamp = digest_of(made_of)
    folder = folder / f"{name}-{stamp}"
    seal = folder / f"{name}.json"
    try:
        told = json.loads(seal.read_text(encoding="utf-8"))
        if told["stamp"] == stamp and all(fingerprint(folder / f"{copy}.fgb") == sha for copy, sha
                                          in told["copies"].items()):
            return folder, dict(told["copies"]), tuple(told["notes"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        pass
    frames, notes = make()
    prints: dict[str, str] = {}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for copy, frame in frames.items():
            draft = folder / f"{DRAFT}{os.getpid()}-{copy}.fgb"
            try:
                with warnings.catch_warnings():  # a copy is in the working frame, and names none
                    warnings.filterwarnings("ignore", "'crs' was not provided")
                    pyogrio.write_dataframe(frame, draft, layer=copy, driver="FlatGeobuf",
                                            geometry_type="Unknown", promote_to_multi=False)
                prints[copy] = fingerprint(draft)
                os.replace(draft, folder / f"{copy}.fgb")
            finally:
                draft.unlink(missing_ok=True)
        said = condensed(notes)
        put_whole(seal, json.dumps({"stamp": stamp, "copies": prints, "notes": said}).encode(),
                  draft_name=DRAFT)
    except (OSError, pyogrio.errors.DataSourceError) as error:
        raise InputError(str(folder), f"copies of the layers cannot be written ({error})",
                         "Free some space, or name another folder for the tiles") from None
    return folder, prints, tuple(said)


def near(file: Path, bounds: tuple[float, float, float, float]) -> geopandas.GeoDataFrame:
    """The features of a copy whose bounds touch a rectangle, in their order. [m]"""
    found: geopandas.GeoDataFrame = pyogrio.read_dataframe(file, bbox=bounds)
    return found.sort_values(ORDER, ignore_index=True)


def numbered(shapes: Sequence[Any] | NDArray[Any], **columns: Any) -> geopandas.GeoDataFrame:
    """Shapes in their order."""
    geometry = np.empty(len(shapes), object)
    geometry[:] = list(shapes)
    return geopandas.GeoDataFrame({ORDER: np.arange(len(shapes)), **columns}, geometry=geometry)


def copied(layer: geopandas.GeoDataFrame, *columns: str | None) -> geopandas.GeoDataFrame:
    """Features in their order, with those of the columns that the layer has."""
    wanted = {name.strip().lower() for name in columns if name is not None}
    held = {}
    for name in layer.columns:
        if name != layer.geometry.name and str(name).strip().lower() in wanted:
            values = layer[name]
            held[str(name)] = (values.to_numpy() if values.dtype.kind in "iufb" else
                               np.array([cell_text(value) or None for value in values], object))
    return numbered(layer.geometry, **held)


def words_of(layer: geopandas.GeoDataFrame, field: str | None) -> list[Any]:
    """A column as text, None where nothing stands; all None where there is no such column."""
    has = [str(name).strip().lower() for name in layer.columns]
    if field is None or field.strip().lower() not in has:
        return [None] * len(layer)
    return [cell_text(value) or None for value in column(layer, field, "layer")]


def digest_of(of: Any) -> str:
    """Sixteen letters for what JSON holds; something else has others."""
    return hashlib.sha256(json.dumps(of, sort_keys=True).encode()).hexdigest()[:16]


def condensed(notes: Sequence[str]) -> list[str]:
    """Notes with those that say the same of many features cut to a few and a count."""
    alike: dict[str, list[str]] = {}
    for note in dict.fromkeys(notes):
        alike.setdefault(re.sub(r"\"[^\"]*\"|\([^)]*\)|[\d,.]+", "#", note), []).append(note)
    said = []
    for group in alike.values():
        said += group[:ALIKE]
        if len(group) > ALIKE:
            said.append(f"The same was noted of {len(group) - ALIKE:,} more: \""
                        f"{group[0][:60].rstrip()}...\".")
    return said
