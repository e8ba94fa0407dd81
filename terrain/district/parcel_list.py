"""The parcels of a district: read, named, and set apart where their outlines overlap."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain.district.screened import Parcel
from terrain.errors import InputError
from terrain.inputs.csv_table import cell_text
from terrain.inputs.dem import Extent
from terrain.inputs.district import District
from terrain.inputs.layers import OVERHANG, area_of, column, read_layer
from terrain.units import in_both

#: Parcels that share less of the smaller one than this are said to adjoin: outlines are drawn no
#: better; common practice, no source.
TRIFLE = 0.01
YES, NO = ("yes", "y", "true", "1"), ("", "no", "n", "false", "0")


@dataclass(frozen=True)
class ParcelList:
    """Parcels, and what is to be said of them.

    Attributes
    ----------
    parcels : tuple of Parcel
        In the layer's order.
    faults : dict of int to str
        Why a parcel cannot be screened, by its number.
    told : dict of int to tuple of str
        What is to be said of a parcel beside its figures, by its number, in whole sentences.
    notes : tuple of str
        What is to be said of all.
    """

    parcels: tuple[Parcel, ...]
    faults: dict[int, str]
    told: dict[int, tuple[str, ...]]
    notes: tuple[str, ...]


def read_parcels(district: District, extent: Extent) -> ParcelList:
    """Read the parcels of a district.

    A parcel off the elevation stays, with a fault.  Where parcels overlap, the ground is the
    first one's of the layer, and the others are told so.

    Parameters
    ----------
    extent : Extent
        The elevation.

    Raises
    ------
    InputError
        If a parcel has no name, another's name or no area, or a page is asked for one that is not
        there.
    """
    spec, where = district.parcels, district.where("parcels")
    layer = read_layer(spec, district.folder, extent, where)
    here = f"{where}, {spec.file}"
    names = _names(column(layer, spec.name_field, here), spec.name_field, here)
    wanted = _asked(layer, district, here)
    for index, name in enumerate(district.pages):
        wanted.add(_number(name, names, f"{district.where('pages', index)}, pages"))
    outlines = [area_of(shape, f"{here}, feature {number}")
                for number, shape in enumerate(layer.geometry, start=1)]
    parcels = tuple(Parcel(number, name, outline, number in wanted) for number, (name, outline)
                    in enumerate(zip(names, outlines, strict=True), start=1))
    faults, told = _against(extent, parcels)
    notes = list(layer.attrs["notes"])
    if faults:
        notes.append(f"{len(faults):,} of {len(parcels):,} parcels "
                     f"{'lies' if len(faults) == 1 else 'lie'} off {extent.source}.")
    overlapping = 0
    for later, earlier, area in _overlaps(parcels):
        told.setdefault(later, []).append(
            f"{in_both(area, 'area')} of it, {_share(area, parcels[later - 1].area)}, lie in the "
            f"parcel \"{parcels[earlier - 1].name}\" too, and count as that one's, which stands "
            "before it in the layer.")
        overlapping += 1
    if overlapping:
        notes.append(f"{overlapping:,} {'pair' if overlapping == 1 else 'pairs'} of parcels "
                     "overlap by more than a hundredth of the smaller one; ground of two parcels "
                     "was counted to the one that stands first in the layer.")
    return ParcelList(parcels, faults, {number: tuple(said) for number, said in told.items()},
                      tuple(notes))


def _names(given: Any, field: str, here: str) -> list[str]:
    """A name for each feature, no two alike."""
    first: dict[str, int] = {}
    for number, value in enumerate(given, start=1):
        name = cell_text(value)
        feature = f"{here}, feature {number}"
        if not name:
            raise InputError(feature, f"its {field} is empty", "Give each parcel a name, or say "
                             "which column holds one (name field: under parcels)")
        if name in first:
            raise InputError(feature, f"its {field} \"{name}\" is that of feature {first[name]} "
                             "too", "Give each parcel its own, or merge the two into one feature")
        first[name] = number
    return list(first)


def _asked(layer: Any, district: District, here: str) -> set[int]:
    """Numbers of the parcels whose own row asks for a page."""
    field = district.parcels.page_field
    has = [str(name).strip().lower() for name in layer.columns]
    if field.strip().lower() not in has and "page_field" not in district.parcels.model_fields_set:
        return set()
    found = set()
    for number, value in enumerate(column(layer, field, here), start=1):
        word = cell_text(value).lower()
        if word not in YES + NO:
            raise InputError(f"{here}, feature {number}", f"its {field} '{value}' is neither yes "
                             "nor no", "Write yes for a page of its own, or leave it empty")
        if word in YES:
            found.add(number)
    return found


def _number(name: str, names: list[str], where: str) -> int:
    if name in names:
        return names.index(name) + 1
    near = get_close_matches(name, names, 1)
    raise InputError(where, f"there is no parcel \"{name}\"", f"Perhaps \"{near[0]}\" was meant"
                     if near else "Write the name as it stands in the layer of parcels")


def _against(extent: Extent, parcels: tuple[Parcel, ...]
             ) -> tuple[dict[int, str], dict[int, list[str]]]:
    """What lies off the elevation, wholly or in part."""
    outlines = np.array([parcel.outline for parcel in parcels])
    west, south, east, north = extent.bounds
    box = shapely.box(west, south, east, north)
    faults: dict[int, str] = {}
    told: dict[int, list[str]] = {}
    x0, y0, x1, y1 = shapely.bounds(outlines).T
    over = np.max([west - x0, south - y0, x1 - east, y1 - north], axis=0)
    for index in np.flatnonzero(over > OVERHANG):
        parcel = parcels[index]
        on = float(shapely.area(shapely.intersection(parcel.outline, box)))
        if on <= 0:
            faults[parcel.number] = f"it lies off {extent.source}"
        else:
            off = parcel.area - on
            told[parcel.number] = [f"{in_both(off, 'area')} of it, {_share(off, parcel.area)}, "
                                   f"lie off {extent.source} and are not counted."]
    return faults, told


def _overlaps(parcels: tuple[Parcel, ...]) -> list[tuple[int, int, float]]:
    """Numbers of a parcel and of an earlier one that shares more than a trifle with it; how much.
    [m2]"""
    outlines: NDArray[Any] = np.array([parcel.outline for parcel in parcels])
    later, earlier = shapely.STRtree(outlines).query(outlines, predicate="intersects")
    later, earlier = later[earlier < later], earlier[earlier < later]
    shared = shapely.area(shapely.intersection(outlines[later], outlines[earlier]))
    area = shapely.area(outlines)
    much = shared > TRIFLE * np.minimum(area[later], area[earlier])
    return sorted(zip((later[much] + 1).tolist(), (earlier[much] + 1).tolist(),
                      shared[much].tolist(), strict=True))


def _share(part: float, whole: float) -> str:
    return f"{100 * part / whole:.0f} %" if part >= 0.01 * whole else "less than 1 %"
