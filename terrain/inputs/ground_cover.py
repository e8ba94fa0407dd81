"""What covers the ground, cell by cell."""

from __future__ import annotations

from collections.abc import Callable, Collection
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from terrain.errors import InputError
from terrain.inputs.class_codes import class_codes
from terrain.inputs.cover_codes import code_lists
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
from terrain.inputs.site import Cover, Layer
from terrain.units import in_both

#: From a class's name, the share of roofs and paving on it and the share of those that is
#: unconnected [%]: the name of the class of such ground, and what it "was taken as" if not as
#: stated; raises ValueError where there can be no such class.
Paver = Callable[[str, float, float], tuple[str, str]]


def is_raster(file: Path | None) -> bool:
    """Whether a cover layer holds class codes cell by cell, told by the ending of its name."""
    return file is not None and file.suffix.lower() in (".tif", ".tiff", ".vrt", ".img", ".asc")


def cover_cells(spec: Cover, folder: Path, dem: Dem, known: Collection[str], where: str,
                paver: Paver | None = None) -> tuple[NDArray[np.int16], list[str], list[str]]:
    """What covers each cell of the raster.

    Parameters
    ----------
    spec : Cover
        Polygons with a class each, or a raster (.tif, .tiff, .vrt, .img, .asc) of class codes; or
        no layer, only `otherwise`.
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
    names: list[str] = []
    notes: list[str] = []
    if spec.file is None:
        cells = np.full(dem.shape, -1, np.int16)
    elif is_raster(spec.file):
        cells, names, notes = _cover_raster(spec, folder / spec.file, dem, known, where,
                                            drawn >= 0)
    elif spec.codes is not None:
        raise InputError(where, f"codes says what the cells of a raster mean, and {spec.file} is "
                         "none", "Say what its words mean under 'classes:', and leave codes out")
    else:
        cells, names, notes = _cover_polygons(spec, spec, folder, dem, known, where, paver)
    layers = "in no layer, as none is named" if spec.file is None else f"not in {spec.file.name}"
    if spec.drawn is not None:
        layers = (f"not in {spec.drawn.file.name}" if spec.file is None else
                  f"neither in {spec.file.name} nor in {spec.drawn.file.name}")
        notes += said if spec.file is None else [
            *said, _resting(cells, drawn, spec.file, spec.drawn.file, dem)]
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
            notes.append(f"Cover: no layer is named; all ground was taken as {name}."
                         if spec.file is None and bare.all() else
                         f"Cover: {share} is {layers}; it was taken as {name}.")
    return cells, names, notes


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
        notes.append(f"Cover: {features_told(empty, 'without a class')} taken as {otherwise}.")
    if paver is not None:
        classes, said = _partly_paved(classes, layer, spec, paver, here)
        notes += [f"{what}: {each}" for each in said]
    notes += unseen(shapes, dem, what)
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
        notes.append(f"{features_told(mixed, 'partly roofed or paved')} given a curve number "
                     "between that of the class and 98 (TR-55, 1986, figures 2-3 and 2-4).")
    notes += [f"{features_told(numbers)} taken as {taken_as}."
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
        notes.append(f"{features_told(empty, f'without a number in {name}')} taken as 0 %.")
    if 0 < max(found, default=0.0) <= 1:
        notes.append(f"no number in {name} is over 1; they were taken as percent, not as shares "
                     "of one.")
    return found, notes


def _cover_raster(spec: Cover, path: Path, dem: Dem, known: Collection[str], where: str,
                  drawn: NDArray[np.bool_]) -> tuple[NDArray[np.int16], list[str], list[str]]:
    """Classes of a raster's codes, but where areas are drawn over it."""
    here = f"{where}, {spec.file}"
    codes, missing, notes = class_codes(path, spec, dem, here)
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
