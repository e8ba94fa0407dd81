"""A raster, and what the person says of it, made ready for a quick question."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.dem import Dem, placed_on
from terrain.inputs.elevation import ElevationFiles, open_elevation
from terrain.inputs.voids import FILL_UP_TO
from terrain.runoff.cover import SOIL_GROUPS, curve_numbers_of, is_road, paver, published_classes
from terrain.runoff.storms import Hyetograph, storm_shape
from terrain.runoff.travel_time import Timing
from terrain.surface.conditioning import Conditioning
from terrain.surface.terrain import Terrain
from terrain.surface.window import Bounds, hold
from terrain.units import LEAST_STORM, LONGEST_STORM, MOST_STORM, SHORTEST_STORM

if TYPE_CHECKING:
    from terrain.inputs.site import Cover


@dataclass(frozen=True)
class RasterWords:
    """What the person says of the raster, beside its file name."""

    crs: str | None = None
    plan_unit: str | None = None
    height_unit: str | None = None
    nodata: float | None = None
    fill_holes: float | None = None
    cell: float | None = None
    columns: str | None = None
    breach_depth: float = 0.0
    breach_length: float = 0.0
    culverts: Path | None = None
    lonlat: bool = False


@dataclass(frozen=True)
class GroundWords:
    """What the person says of the ground: one curve number, or cover and soils."""

    curve_number: float | None = None
    cover: Path | None = None
    cover_layer: str | None = None
    codes: str | None = None
    soils: str | None = None
    soils_layer: str | None = None


@dataclass(frozen=True)
class RainWords:
    """What the person says of the rain: depths [mm] of one shape, and what tells travel time.

    Attributes
    ----------
    depths : tuple of float
        [mm]
    duration : float
        [h]
    pattern : str
        See `terrain.runoff.storms.storm_shape`.
    two_year_day : float or None
        The 2-year 24-hour rain. [mm]
    """

    depths: tuple[float, ...] = ()
    duration: float = 24.0
    pattern: str = "II"
    two_year_day: float | None = None

    def __post_init__(self) -> None:
        """Refuse what no storm is.

        Raises
        ------
        InputError
        """
        day = () if self.two_year_day is None else (self.two_year_day,)
        for option, depths in (("--storm", self.depths), ("--two-year-day", day)):
            for depth in depths:
                if not LEAST_STORM <= depth <= MOST_STORM:
                    raise InputError(option, f"{depth:g} mm of rain is not between "
                                     f"{LEAST_STORM:g} and {MOST_STORM:,.0f} mm",
                                     "Give it with its unit, such as 30mm or 1.2in")
        if not SHORTEST_STORM <= self.duration <= LONGEST_STORM:
            raise InputError("--duration", f"a storm of {self.duration:g} h is not between a "
                             "minute and a year long", "Give it with its unit, such as 45min or "
                             "6h")

    @property
    def shape(self) -> Hyetograph:
        """The shape of every storm."""
        return storm_shape(self.pattern, self.duration)

    @property
    def timing(self) -> Timing:
        """How travel time is told."""
        return Timing(self.two_year_day)

    @property
    def deepest(self) -> float:
        """The deepest storm, 0 where none was asked for. [mm]"""
        return max(self.depths, default=0.0)


@dataclass(frozen=True)
class CoverArea:
    """How much of a piece of ground a class of cover takes. [m2]"""

    name: str
    area: float
    road: bool


@dataclass(frozen=True)
class GroundThere:
    """The ground of the raster.

    Attributes
    ----------
    curve_number : float64, shape (rows, columns)
    cover : int16, same shape
        Index into `classes`; -1 where nothing was said.
    classes : tuple of str
    soil : int8, same shape
        0 to 3 for soil groups A to D; -1 where nothing was said.
    notes : tuple of str
    """

    curve_number: NDArray[np.float64]
    cover: NDArray[np.int16]
    classes: tuple[str, ...]
    soil: NDArray[np.int8]
    notes: tuple[str, ...]

    def areas_of(self, cells: NDArray[np.bool_], cell_area: float) -> tuple[CoverArea, ...]:
        """What covers some cells, the most of it first; none where no cover was told."""
        kinds = self.cover[cells & (self.cover >= 0)]
        counts = np.bincount(kinds, minlength=len(self.classes))
        return tuple(CoverArea(self.classes[i], float(counts[i]) * cell_area,
                               is_road(self.classes[i]))
                     for i in np.argsort(-counts, kind="stable") if counts[i])


@dataclass(frozen=True)
class Question:
    """The raster, or the part of it that matters, made ready for a question."""

    terrain: Terrain
    words: RasterWords

    @property
    def dem(self) -> Dem:
        """The heights that were read."""
        return self.terrain.dem

    def point(self, given: tuple[float, float], option: str) -> tuple[float, float]:
        """A point in the working frame, on ground of known height."""
        x, y = placed_on(self.dem, given, self.words.lonlat, option)
        self.dem.cell_of(x, y, option)
        return x, y


def opened(path: Path, words: RasterWords) -> ElevationFiles:
    """Open a raster, the tiles of a pattern, or surveyed points."""
    fill_holes = FILL_UP_TO if words.fill_holes is None else words.fill_holes
    return open_elevation(path, crs=words.crs, plan_unit=words.plan_unit,
                          height_unit=words.height_unit, nodata=words.nodata, cell=words.cell,
                          columns=words.columns, fill_holes=fill_holes)


def conditioning(words: RasterWords, files: ElevationFiles) -> Conditioning:
    """How the surface is made ready for routing, as the person says.

    Raises
    ------
    InputError
        If one bound of breaching is given without the other, or the culverts cannot be read.
    """
    if (words.breach_depth > 0) != (words.breach_length > 0):
        raise InputError("--breach-depth", "breaching needs both a depth and a length",
                         "Give --breach-depth and --breach-length")
    if words.culverts is None:
        return Conditioning(words.breach_depth, words.breach_length, ())
    from terrain.inputs.site import Culverts
    from terrain.surface.culverts import read_culverts

    culverts = read_culverts(Culverts(file=words.culverts), Path(), files, "--culverts")
    return Conditioning(words.breach_depth, words.breach_length, culverts)


def held(path: Path, words: RasterWords, place: Callable[[ElevationFiles], Bounds],
         cells: Callable[[Question], NDArray[np.int64]]) -> Question:
    """As much of a raster as holds all that drains to some cells (rows, columns)."""
    files = opened(path, words)

    def outlet(terrain: Terrain) -> NDArray[np.bool_]:
        return marked(terrain.dem, cells(Question(terrain, words)))
    return Question(hold(files, place(files), outlet, conditioning(words, files)), words)


def marked(dem: Dem, cells: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Cells (rows, columns) as a mask of the raster."""
    marks = np.zeros(dem.shape, bool)
    marks[cells[:, 0], cells[:, 1]] = True
    return marks


def around(points: Sequence[tuple[float, float]], words: RasterWords, option: str,
           reach: float = 0.0) -> Callable[[ElevationFiles], Bounds]:
    """The rectangle about points of an option, and so far beyond them."""
    def place(files: ElevationFiles) -> Bounds:
        there = [placed_on(files, point, words.lonlat, option) for point in points]
        xs, ys = zip(*there, strict=True)
        return min(xs) - reach, min(ys) - reach, max(xs) + reach, max(ys) + reach
    return place


def ground_there(question: Question, words: GroundWords, storms: Sequence[float]) -> GroundThere:
    """The ground, from what the person says of it, and what was assumed.

    Raises
    ------
    InputError
        If storms are asked for and the ground is not described, or is described by a raster
        whose codes nobody explains; or what goes with a cover layer is given without one.
    """
    dem = question.dem
    unsaid = (np.full(dem.shape, -1, np.int16), (), np.full(dem.shape, -1, np.int8))
    number = words.curve_number
    if number is not None and not 1 <= number <= 100:
        raise InputError("--cn", f"{number:g} is no curve number", "Give one from 1 to 100")
    if number is not None and (words.cover is not None or words.soils is not None):
        raise InputError("--cn", "one curve number for all the ground and layers of it were both "
                         "given", "Give --cn, or --cover with --soils")
    for option, given in (("--soils", words.soils), ("--soils-layer", words.soils_layer),
                          ("--codes", words.codes), ("--cover-layer", words.cover_layer)):
        if words.cover is None and given is not None:
            raise InputError(option, "it is of use only beside --cover, which is not given",
                             f"Add --cover with a file, or leave {option} out")
    if number is not None:
        return GroundThere(_known(dem, number), *unsaid, ())
    if words.cover is None:
        if storms:
            raise InputError("--storm", "the runoff of a storm depends on what covers the ground",
                             "Add --cn with a curve number, or --cover and --soils")
        return GroundThere(_known(dem, 80.0), *unsaid, ())
    if words.soils is None:
        raise InputError("--cover", "a curve number needs the soil group as well",
                         "Add --soils with a file or one of A, B, C, D")
    from terrain.inputs.ground_cover import cover_cells, is_raster

    layer = _cover_of(words)
    if is_raster(layer.file) and words.codes is None:
        raise InputError("--cover", f"nothing says what the codes of {words.cover} mean",
                         "Add --codes worldcover or --codes nlcd; other codes are explained in a "
                         "site file, under cover, classes")
    here = Path()
    known = dict(published_classes())
    cover, names, notes = cover_cells(layer, here, dem, tuple(known), "--cover", paver(known))
    if words.soils in SOIL_GROUPS:
        soil = np.full(dem.shape, SOIL_GROUPS.index(words.soils), np.int8)
    else:
        if words.soils_layer is None and _no_file(words.soils):
            raise InputError("--soils", f"'{words.soils}' is neither a soil group nor a file",
                             "Give A, B, C or D, or a layer of soil groups")
        from terrain.inputs.ground_soil import soil_cells
        from terrain.inputs.site import Soils

        groups = Soils.model_validate({"file": words.soils, "layer": words.soils_layer})
        soil, said = soil_cells(groups, here, dem, "--soils")
        notes = [*notes, *said]
    numbers = curve_numbers_of(cover, [known[name] for name in names], soil)
    return GroundThere(_known(dem, numbers), cover, tuple(names), soil, tuple(notes))


def _cover_of(words: GroundWords) -> Cover:
    """The layer of `--cover`, or the one class that it names for all the ground.

    Raises
    ------
    InputError
        If it is neither, naming the nearest classes.
    """
    from terrain.inputs.site import Cover

    given = str(words.cover)
    classes = {name.lower(): name for name in published_classes()}
    named = classes.get(given.strip().lower())
    if (named is None and not _no_file(given)) or os.path.exists(given):
        return Cover.model_validate({"file": words.cover, "layer": words.cover_layer,
                                     "codes": words.codes})
    if named is None:
        near = [classes[name] for name in get_close_matches(given.strip().lower(), classes, n=3,
                                                            cutoff=0.5)]
        raise InputError("--cover", f"'{given}' is neither a file nor a class of cover"
                         + (f"; the nearest are {', '.join(repr(name) for name in near)}"
                            if near else ""),
                         "Give a layer of what covers the ground, one class of docs/site-file.md "
                         "where all of it is alike, or a curve number with --cn")
    for option, beside in (("--codes", words.codes), ("--cover-layer", words.cover_layer)):
        if beside is not None:
            raise InputError(option, "it says how a file is read, and --cover names a class",
                             "Leave it out")
    return Cover.model_validate({"otherwise": named})


def _no_file(given: str) -> bool:
    """Whether a word is neither a file nor looks like the name of one."""
    return not Path(given).suffix and not os.path.exists(given)


def _known(dem: Dem, numbers: NDArray[np.float64] | float) -> NDArray[np.float64]:
    return np.where(np.isnan(dem.heights), np.nan, numbers)


def require_numbers(numbers: NDArray[np.float64], cells: NDArray[np.bool_], question: Question
                    ) -> None:
    """Refuse to go on if some of the cells have no curve number.

    Raises
    ------
    InputError
    """
    gap = cells & np.isnan(numbers)
    if gap.any():
        row, column = np.argwhere(gap)[0]
        at = question.dem.named(*(float(v) for v in question.dem.xy(row, column)))
        raise InputError("--cover", f"{gap.sum() * question.dem.cell_area:,.0f} m2 of the "
                         f"catchment, such as at {at}, has no cover class or soil group with a "
                         "curve number", "Add polygons there, or use --cn")
