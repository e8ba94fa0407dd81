"""What covers the ground and what soil lies under it, cell by cell."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from terrain.errors import InputError
from terrain.inputs.cover_codes import code_lists
from terrain.inputs.csv_table import cell_text
from terrain.inputs.elevation import MOST_CELLS, Dem
from terrain.inputs.layers import (
    area_of,
    column,
    in_short,
    layer_crs,
    rasterized,
    read_layer,
    way_between,
)
from terrain.inputs.site import Cover, Layer, Soils
from terrain.inputs.soil_units import GROUPS, joined_groups, read_unit_groups
from terrain.inputs.virtual_raster import refuse_wild
from terrain.inputs.whole_bytes import is_no_file
from terrain.units import in_both

#: From a class's name, the share of roofs and paving on it and the share of those that is
#: unconnected [%]: the name of the class of such ground, and what it "was taken as" if not as
#: stated; raises ValueError where there can be no such class.
Paver = Callable[[str, float, float], tuple[str, str]]


def is_raster(file: Path) -> bool:
    """Whether a cover layer holds class codes cell by cell, told by the ending of its name."""
    return file.suffix.lower() in (".tif", ".tiff", ".vrt", ".img", ".asc")


def cover_cells(spec: Cover, folder: Path, dem: Dem, known: Collection[str], where: str,
                paver: Paver | None = None) -> tuple[NDArray[np.int16], list[str], list[str]]:
    """What covers each cell of the raster.

    Parameters
    ----------
    spec : Cover
        Polygons with a class each, or a raster (.tif, .tiff, .vrt, .img, .asc) of class codes.
        `spec.classes` maps the layer's own words or codes to known classes, `spec.codes` those
        codes of a public list that `spec.classes` does not. Where polygons of `spec.drawn` lie,
        their classes count and nothing else; codes only under them need no class.
    known : collection of str
        The classes that have curve numbers.
    paver : function, optional
        Names the class of polygons that are partly roofed or paved; without it, columns that say
        so are not read.

    Returns
    -------
    cells : int16, the raster's shape
        Position in `names`; -1 where neither a layer nor `spec.otherwise` says.
    names : list of str
        The classes that were met.
    notes : list of str
        What was assumed or repaired.

    Raises
    ------
    InputError
        If a class is not known, naming feature and class and the nearest known ones; or a share
        of roofs and paving cannot be used, naming feature and column; or a drawn area has no
        class.
    """
    if spec.otherwise is not None:
        _known_class(spec.otherwise, spec, known, f"{where}, otherwise")
    drawn, drawn_names, said = (_drawn_areas(spec, spec.drawn, folder, dem, known, where, paver)
                                if spec.drawn is not None
                                else (np.full(dem.shape, -1, np.int16), [], []))
    if is_raster(spec.file):
        cells, names, notes = _cover_raster(spec, folder, dem, known, where, drawn >= 0)
    elif spec.codes is not None:
        raise InputError(where, f"codes says what the cells of a raster mean, and {spec.file} is "
                         "none", "Say what its words mean under 'classes:', and leave codes out")
    else:
        cells, names, notes = _cover_polygons(spec, spec, folder, dem, known, where, paver)
    layers = f"not in {spec.file.name}"
    if spec.drawn is not None:
        layers = f"neither in {spec.file.name} nor in {spec.drawn.file.name}"
        notes += [*said, _resting(cells, drawn, spec.file, spec.drawn.file, dem)]
        for position in np.unique(drawn[drawn >= 0]):
            name = drawn_names[position]
            if name not in names:
                names.append(name)
            cells[drawn == position] = names.index(name)
    bare = cells < 0
    if bare.any():
        share = f"{100 * bare.mean():.1f} % of the raster"
        if spec.otherwise is None:
            notes.append(f"Cover: {share} has no cover class.")
        else:
            name = _known_class(spec.otherwise, spec, known, where)
            if name not in names:
                names.append(name)
            cells[bare] = names.index(name)
            notes.append(f"Cover: {share} is {layers}; it was taken as {name}.")
    return cells, names, notes


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
    notes += [f"Soils: {_features(numbers, f'of dual group {text}')} taken as {text[end]}, the "
              f"group of {state} ground." for text, numbers in sorted(dual.items())]
    if empty:
        notes.append(f"Soils: {_features(empty, 'without a group')} taken as {spec.otherwise}.")
    notes += _unseen([shape for shape, _ in pairs], dem, "Soils")
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


def _drawn_areas(spec: Cover, drawn: Layer, folder: Path, dem: Dem, known: Collection[str],
                 where: str, paver: Paver | None
                 ) -> tuple[NDArray[np.int16], list[str], list[str]]:
    where = f"{where}, drawn"
    if is_raster(drawn.file):
        raise InputError(where, f"{drawn.file} is a raster, and drawn areas are polygons",
                         "Give a layer of polygons, or name the raster as 'file:' under cover")
    return _cover_polygons(spec, drawn, folder, dem, known, where, paver)


def _resting(cells: NDArray[np.int16], drawn: NDArray[np.int16], file: Path, drawn_file: Path,
             dem: Dem) -> str:
    """A note on how much of the raster each of the two layers speaks for."""
    over = drawn >= 0
    rest = float(((cells >= 0) & ~over).mean())
    return (f"Cover: the areas drawn in {drawn_file.name} give the class of "
            f"{in_both(float(over.sum()) * dem.cell_area, 'area')}, {100 * over.mean():.1f} % of "
            f"the raster, whatever {file.name} says there; {100 * rest:.1f} % still rests on "
            + (f"the land-cover raster {file.name}." if is_raster(file) else f"{file.name}."))


def _cover_polygons(spec: Cover, of: Layer, folder: Path, dem: Dem, known: Collection[str],
                    where: str, paver: Paver | None
                    ) -> tuple[NDArray[np.int16], list[str], list[str]]:
    """Classes of a layer's polygons: of the cover's own, or of those drawn over it."""
    what, otherwise = ("Cover", spec.otherwise) if of is spec else ("Drawn cover", None)
    layer = read_layer(of, folder, dem, where)
    notes: list[str] = list(layer.attrs["notes"])
    here = f"{where}, {of.file}"
    classes: list[str] = []
    shapes: list[BaseGeometry] = []
    empty: list[int] = []
    try:
        words = column(layer, spec.field, here)
    except InputError as error:
        if of is spec:
            raise
        raise InputError(error.where, error.what, "Name its column of classes as the cover "
                         "layer's is named (field: under cover)") from None
    for number, (shape, given) in enumerate(zip(layer.geometry, words, strict=True), start=1):
        feature = f"{here}, feature {number}"
        word = cell_text(given)
        if not word:
            if otherwise is None:
                raise InputError(feature, f"its {spec.field} is empty", "Give it a class" + (
                    ", or state 'otherwise' under cover" if of is spec else
                    ", or delete it from the layer"))
            empty.append(number)
            word = otherwise
        classes.append(_known_class(word, spec, known, feature))
        shapes.append(area_of(shape, feature))
    if empty:
        notes.append(f"Cover: {_features(empty, 'without a class')} taken as {otherwise}.")
    if paver is not None:
        classes, said = _partly_paved(classes, layer, spec, paver, here)
        notes += [f"{what}: {each}" for each in said]
    notes += _unseen(shapes, dem, what)
    names = list(dict.fromkeys(classes))
    pairs = [(shape, names.index(name)) for shape, name in zip(shapes, classes, strict=True)]
    return rasterized(pairs, dem, -1, np.int16), names, notes


def _partly_paved(classes: list[str], layer: Any, spec: Cover, paver: Paver, here: str
                  ) -> tuple[list[str], list[str]]:
    """The features' classes with their shares of roofs and paving reckoned in, and notes.

    The notes lack their start, the layer's name.
    """
    notes: list[str] = []
    shares, said = _percents(layer, spec, "impervious_field", here)
    notes += said
    apart, said = _percents(layer, spec, "unconnected_field", here)
    notes += said
    made: list[str] = []
    mixed: list[int] = []
    otherwise: dict[str, list[int]] = {}
    for number, (name, share, loose) in enumerate(zip(classes, shares, apart, strict=True),
                                                  start=1):
        if share == 0:
            made.append(name)
            continue
        try:
            paved, taken_as = paver(name, share, loose)
        except ValueError as error:
            raise InputError(f"{here}, feature {number}, {spec.impervious_field}", str(error),
                             "Leave the percentage out there, or give the class of the ground "
                             "between the roofs and paving, such as open space, good") from None
        made.append(paved)
        mixed.append(number)
        if taken_as:
            otherwise.setdefault(taken_as, []).append(number)
    if mixed:
        notes.append(f"{_features(mixed, 'partly roofed or paved')} given a curve number "
                     "between that of the class and 98 (TR-55, 1986, figures 2-3 and 2-4).")
    notes += [f"{_features(numbers)} taken as {taken_as}."
              for taken_as, numbers in otherwise.items()]
    return made, notes


def _percents(layer: Any, spec: Cover, which: str, here: str) -> tuple[list[float], list[str]]:
    """A column of percentages; 0 where there is no such column, or it is empty."""
    name = getattr(spec, which)
    has = [str(column_).strip().lower() for column_ in layer.columns]
    if name.strip().lower() not in has and which not in spec.model_fields_set:
        return [0.0] * len(layer), []
    found: list[float] = []
    empty: list[int] = []
    for number, given in enumerate(column(layer, name, here), start=1):
        text = cell_text(given)
        try:
            value = float(text.removesuffix("%")) if text else 0.0
        except ValueError:
            value = float("nan")
        if not 0 <= value <= 100:
            raise InputError(f"{here}, feature {number}, {name}", f"'{text}' is "
                             + ("not a number" if value != value else "not between 0 and 100"),
                             "Give a percentage from 0 to 100")
        found.append(value)
        if not text:
            empty.append(number)
    notes = []
    if empty and any(found):
        notes.append(f"{_features(empty, f'without a number in {name}')} taken as 0 %.")
    if 0 < max(found, default=0.0) <= 1:
        notes.append(f"no number in {name} is over 1; they were taken as percent, not as shares "
                     "of one.")
    return found, notes


def _cover_raster(spec: Cover, folder: Path, dem: Dem, known: Collection[str], where: str,
                  drawn: NDArray[np.bool_]) -> tuple[NDArray[np.int16], list[str], list[str]]:
    """Classes of a raster's codes, but where areas are drawn over it."""
    path = folder / spec.file
    here = f"{where}, {spec.file}"
    codes, missing, notes = _codes(path, spec, dem, here)
    missing |= drawn
    listed = code_lists()[spec.codes] if spec.codes is not None else {}
    names: list[str] = []
    cells = np.full(dem.shape, -1, np.int16)
    unknown: list[str] = []
    taken: list[tuple[float, str]] = []
    for code in np.unique(codes[~missing]):
        word = f"{int(code)}"
        own = word in spec.classes
        if not own and (word not in listed or listed[word].use == "ask"):
            unknown.append(f"{word} ({listed[word].meaning})" if word in listed else word)
            continue
        there = (codes == code) & ~missing
        told = f"{word} ({listed[word].meaning})" if word in listed else word
        if not own and listed[word].use == "no data":
            taken.append((float(there.mean()), f"{told} as not known"))
            continue
        name = _known_class(word if own else listed[word].cover, spec, known,
                            f"{here}, code {word}")
        if name not in names:
            names.append(name)
        cells[there] = names.index(name)
        taken.append((float(there.mean()), f"{told} as {name}"
                      + (" (as 'classes:' says)" if own else "")))
    if unknown:
        first = unknown[0].partition(" ")[0]
        raise InputError(here, f"its codes {', '.join(unknown)} have no class" if len(unknown) > 1
                         else f"its code {unknown[0]} has no class",
                         f"Say what they mean under 'classes:', e.g. \"{first}\": bare soil")
    if taken and spec.codes is not None:
        shares = "; ".join(f"{told} on {100 * share:.1f} %"
                           for share, told in sorted(taken, key=lambda each: -each[0]))
        notes.append(f"Cover: of the codes of {spec.codes}, {shares} of the raster. Which class "
                     "stands in for a code is common practice, no source; drawn polygons or a "
                     "finer layer would be better.")
    return cells, names, notes


def _codes(path: Path, spec: Cover, dem: Dem, here: str
           ) -> tuple[NDArray[Any], NDArray[np.bool_], list[str]]:
    """Codes of a raster at the cells of the grid, the nearest cell's; and where there is none."""
    import rasterio
    from rasterio.crs import CRS as RasterCRS
    from rasterio.transform import Affine, array_bounds
    from rasterio.warp import Resampling, reproject

    from terrain.inputs.raster_faults import UNREADABLE

    if not os.path.exists(path):
        raise InputError(here, "there is no such file", "Check its name and folder")
    if is_no_file(path):
        raise InputError(here, "this is a pipe or a device, not a raster", "Give a file")
    refuse_wild(path)
    try:
        with rasterio.open(path) as source:
            if source.count != 1:
                raise InputError(here, f"it has {source.count} bands, as a picture has",
                                 "Give a raster with one band of class codes")
            stated = CRS.from_user_input(source.crs) if source.crs else None
            own, notes = layer_crs(path, stated, spec.crs, np.array([], object), dem, here)
            grid, working = dem.transform, dem.frame.working
            if own is None or working is None:
                start = end = RasterCRS.from_epsg(3857)  # any plane will do: nothing is moved
                per_metre = 1 / dem.frame.metres_per_unit
                grid = Affine(grid.a * per_metre, 0, grid.c * per_metre, 0, grid.e * per_metre,
                              grid.f * per_metre)  # the grid in the raster's own unit
            else:
                notes += way_between(own, working, dem, here)[1]
                start = RasterCRS.from_wkt(own.to_2d().to_wkt())
                end = RasterCRS.from_wkt(working.to_wkt())
            void = float(np.iinfo(np.int32).min)
            kind = np.dtype(source.dtypes[0]).kind
            if kind == "c":
                raise InputError(here, "its values are complex numbers, which are no class codes",
                                 "Give a raster of whole numbers")
            whole = kind in "iu"
            codes = np.full(dem.shape, void, np.int32 if whole else np.float64)
            window = _window(source, array_bounds(*dem.shape, grid), start, end)
            if window is not None:
                if window.width * window.height > MOST_CELLS:
                    raise InputError(here, f"{window.width * window.height:,.0f} of its cells lie "
                                     f"on {dem.source}, more than the {MOST_CELLS:,} that are "
                                     "read at once", "Give a coarser raster")
                reproject(source.read(1, window=window).astype(codes.dtype), codes,
                          src_transform=source.window_transform(window), src_crs=start,
                          src_nodata=source.nodata, dst_transform=grid, dst_crs=end,
                          dst_nodata=void, resampling=Resampling.nearest)
            unit = own.axis_info[0].unit_name if own else "units"
            size = f"{abs(source.transform.a):.3g} {unit}"
    except UNREADABLE as error:
        raise InputError(here, f"it cannot be read as a raster ({in_short(error)})",
                         "Give a GeoTIFF of class codes, or polygons") from None
    missing = (codes == void) | ~np.isfinite(codes)
    if missing.all():
        raise InputError(here, f"it holds no code anywhere on {dem.source}",
                         "Check its CRS, or use one that reaches the raster")
    odd = codes[~missing] % 1 != 0
    if odd.any():
        raise InputError(here, f"its value {codes[~missing][odd].flat[0]:g} is no class code",
                         "Give a raster of whole numbers")
    notes.append(f"Cover: taken from the raster {path.name}, the nearest of its cells ({size} "
                 "wide) each; roofs, yards and tracks smaller than that show only where drawn.")
    return codes, missing, notes


def _window(source: Any, bounds: tuple[float, float, float, float], start: Any, end: Any) -> Any:
    """The part of a raster that reaches over the grid, with a margin; None where none does."""
    from rasterio.errors import WindowError
    from rasterio.warp import transform_bounds
    from rasterio.windows import Window

    west, south, east, north = transform_bounds(end, start, *bounds)
    back = ~source.transform
    x, y = np.array([west, west, east, east]), np.array([south, north, south, north])
    columns, rows = back.a * x + back.b * y + back.c, back.d * x + back.e * y + back.f
    if not (np.isfinite(columns).all() and np.isfinite(rows).all()):
        return None
    left, top = int(np.floor(columns.min())) - 2, int(np.floor(rows.min())) - 2
    wanted = Window(left, top, int(np.ceil(columns.max())) + 2 - left,
                    int(np.ceil(rows.max())) + 2 - top)
    try:
        return wanted.intersection(Window(0, 0, source.width, source.height))
    except WindowError:
        return None


def _known_class(word: str, spec: Cover, known: Collection[str], where: str) -> str:
    """The known class that a layer's word or code stands for."""
    from difflib import get_close_matches

    own = {key.strip().lower(): value for key, value in spec.classes.items()}
    meant = own.get(word.strip().lower(), word).strip()
    plain = {name.lower(): name for name in known}
    if meant.lower() in plain:
        return plain[meant.lower()]
    near = [plain[name] for name in get_close_matches(meant.lower(), plain, n=3, cutoff=0.5)]
    told = f"'{word}'" if meant == word.strip() else f"'{word}', taken as '{meant}',"
    raise InputError(where, f"the class {told} is not known" + (
        f"; the nearest are {', '.join(repr(name) for name in near)}" if near else ""),
        f"Use a known class, or say what it means under 'classes:', e.g. \"{word}\": "
        f"{near[0] if near else 'bare soil'}")


def _unseen(shapes: list[BaseGeometry], dem: Dem, what: str) -> list[str]:
    """A note on polygons that hold no cell's centre and so do not count."""
    box = shapely.box(*dem.bounds)
    outside = [n for n, shape in enumerate(shapes, start=1) if not shape.intersects(box)]
    small = [n for n, shape in enumerate(shapes, start=1) if n not in outside
             and shape.area < dem.cell_area]
    notes = [f"{what}: {_features(outside, f'outside {dem.source}')} not used."] if outside else []
    if small:
        notes.append(f"{what}: {_features(small)} found smaller than a cell, and may not show.")
    return notes


def _features(numbers: list[int], which: str = "") -> str:
    """The start of a note on some features, its verb included."""
    listed = ", ".join(str(n) for n in numbers[:8]) + (
        f" and {len(numbers) - 8} more" if len(numbers) > 8 else "")
    noun, verb = ("feature", "was") if len(numbers) == 1 else ("features", "were")
    return " ".join(filter(None, (noun, listed, which, verb)))
