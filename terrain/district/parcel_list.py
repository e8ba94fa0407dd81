"""The parcels of a district: read, named, and set apart where their outlines overlap."""

from __future__ import annotations

from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain.district.parcel_outlines import read_outlines
from terrain.district.screened import Parcel
from terrain.errors import InputError
from terrain.inputs.csv_table import cell_text
from terrain.inputs.dem import Extent
from terrain.inputs.district import District
from terrain.inputs.layers import OVERHANG, column
from terrain.units import in_both

#: Parcels that share less of the smaller one than this are said to adjoin: outlines are drawn no
#: better; common practice, no source.
TRIFLE = 0.01
#: Less than this is the rounding of coordinates. [m2]
ROUNDING = 1e-6
#: So many examples are given of names that cannot be used.
EXAMPLES = 3
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
    parts : dict of int to shapely geometry
        What of a parcel counts, by its number, where that is not its whole outline: on the
        elevation, and in no earlier parcel. [m]
    """

    parcels: tuple[Parcel, ...]
    faults: dict[int, str]
    told: dict[int, tuple[str, ...]]
    notes: tuple[str, ...]
    parts: dict[int, Any] = field(default_factory=dict)


def read_parcels(district: District, extent: Extent) -> ParcelList:
    """Read the parcels of a district.

    A parcel off the elevation stays, with a fault; so does one without an outline, whose outline
    is then an empty one.  Where parcels overlap, the ground is the first one's of the layer, and
    the others are told so.

    Parameters
    ----------
    extent : Extent
        The elevation.

    Raises
    ------
    InputError
        If a parcel has no name or another's name, none has an outline, or a page is asked for one
        that is not there.
    """
    spec, where = district.parcels, district.where("parcels")
    layer, faults = read_outlines(spec, district.folder, extent, where)
    here = f"{where}, {spec.file}"
    names = _names(column(layer, spec.name_field, here), spec.name_field, here)
    wanted = _asked(layer, district, here)
    for index, name in enumerate(district.pages):
        wanted.add(_number(name, names, f"{district.where('pages', index)}, pages"))
    parcels = tuple(Parcel(number, name, outline, number in wanted) for number, (name, outline)
                    in enumerate(zip(names, layer.geometry, strict=True), start=1))
    notes = list(layer.attrs["notes"])
    many = f"of {len(parcels):,} parcels"
    if faults:
        notes.append(f"{len(faults):,} {many} {'has' if len(faults) == 1 else 'have'} no outline "
                     "that can be used; the others were screened.")
    off, told = _against(extent, parcels)
    if len(off) + len(faults) == len(parcels):
        raise _all_off(parcels, extent, here)
    if told:
        some = _some([f"\"{parcels[number - 1].name}\"" for number in told])
        notes.append(f"{len(told):,} {many} {'reaches' if len(told) == 1 else 'reach'} off "
                     f"{extent.source}, and what lies there is not counted: {some}.")
    if off:
        notes.append(f"{len(off):,} {many} {'lies' if len(off) == 1 else 'lie'} off "
                     f"{extent.source}.")
    faults |= off
    shared = _overlaps(parcels)
    overlapping: list[str] = []
    for later, earlier, area in shared:
        if area <= TRIFLE * min(parcels[later - 1].area, parcels[earlier - 1].area):
            continue
        told.setdefault(later, []).append(
            f"{in_both(area, 'area')} of it, {_share(area, parcels[later - 1].area)}, lie in the "
            f"parcel \"{parcels[earlier - 1].name}\" too, and count as that one's, which stands "
            "before it in the layer.")
        overlapping.append(f"\"{parcels[earlier - 1].name}\" and \"{parcels[later - 1].name}\"")
    if overlapping:
        notes.append(f"{len(overlapping):,} {'pair' if len(overlapping) == 1 else 'pairs'} of "
                     "parcels overlap by more than a hundredth of the smaller one, and that ground "
                     "was counted to the one that stands first in the layer: "
                     f"{_some(overlapping)}.")
    return ParcelList(parcels, faults, {number: tuple(said) for number, said in told.items()},
                      tuple(notes), _parts(extent, parcels, shared))


def _all_off(parcels: tuple[Parcel, ...], extent: Extent, here: str) -> InputError:
    """Why a layer of parcels is not that of this elevation."""
    boxes = [shapely.total_bounds([parcel.outline for parcel in parcels]), extent.bounds]
    apart = float(shapely.distance(*(shapely.box(*box) for box in boxes)))
    return InputError(here, f"not one of its {len(parcels):,} parcels lies on {extent.source}: "
                      f"they are {in_both(apart, 'length')} away", "Check the layer's coordinate "
                      "system (crs: under parcels), or give the elevation of that ground")


def _names(given: Any, field: str, here: str) -> list[str]:
    """A name for each feature, no two alike."""
    names = [cell_text(value) for value in given]
    empty = [str(number) for number, name in enumerate(names, start=1) if not name]
    if empty:
        raise InputError(here, f"the {field} of {len(empty):,} "
                         f"{'feature' if len(empty) == 1 else 'features'} is empty: "
                         f"{_some(empty)}", "Give each parcel a name, or say which column holds "
                         "one (name field: under parcels)")
    bearers: dict[str, list[int]] = {}
    for number, name in enumerate(names, start=1):
        bearers.setdefault(name, []).append(number)
    twins = [f"\"{name}\" (features {', '.join(map(str, some[:EXAMPLES]))}"
             f"{' and more' if len(some) > EXAMPLES else ''})"
             for name, some in bearers.items() if len(some) > 1]
    if twins:
        raise InputError(here, f"{len(twins):,} {'name' if len(twins) == 1 else 'names'} in the "
                         f"column {field} {'is' if len(twins) == 1 else 'are'} given to more than "
                         f"one parcel: {_some(twins)}",
                         "Give each parcel its own, or merge its parts into one feature")
    return names


def _some(examples: list[str]) -> str:
    more = len(examples) - EXAMPLES
    return ", ".join(examples[:EXAMPLES]) + (f" and {more:,} more" if more > 0 else "")


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
    over = np.max([west - x0, south - y0, x1 - east, y1 - north], axis=0)  # NaN of an empty one
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
    """Numbers of a parcel and of an earlier one that shares ground with it; how much. [m2]"""
    outlines: NDArray[Any] = np.array([parcel.outline for parcel in parcels])
    later, earlier = shapely.STRtree(outlines).query(outlines, predicate="intersects")
    later, earlier = later[earlier < later], earlier[earlier < later]
    shared = shapely.area(shapely.intersection(outlines[later], outlines[earlier]))
    much = shared > ROUNDING
    return sorted(zip((later[much] + 1).tolist(), (earlier[much] + 1).tolist(),
                      shared[much].tolist(), strict=True))


def _parts(extent: Extent, parcels: tuple[Parcel, ...], shared: list[tuple[int, int, float]]
           ) -> dict[int, Any]:
    """What of each parcel counts, where that is not all of it."""
    box = shapely.box(*extent.bounds)
    outlines = np.array([parcel.outline for parcel in parcels])
    cut = np.flatnonzero((shapely.area(outlines) > 0) & ~shapely.covers(box, outlines))
    found = {parcels[index].number: shapely.intersection(outlines[index], box) for index in cut}
    earlier: dict[int, list[Any]] = {}
    for number, other, _ in shared:
        earlier.setdefault(number, []).append(outlines[other - 1])
    for number, others in earlier.items():
        found[number] = shapely.difference(found.get(number, outlines[number - 1]),
                                           shapely.union_all(others))
    return found


def _share(part: float, whole: float) -> str:
    return f"{100 * part / whole:.0f} %" if part >= 0.01 * whole else "less than 1 %"
