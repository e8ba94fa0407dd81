"""One call for each quick question about water, asked straight of a raster."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.dem import Dem, Extent
from terrain.inputs.elevation import TOO_COARSE, ElevationFiles
from terrain.inputs.layers import read_layer
from terrain.inputs.site import Layer
from terrain.plan.earth.cost import Quantities, quantities
from terrain.plan.question import (
    GroundThere,
    GroundWords,
    Question,
    RainWords,
    RasterWords,
    around,
    ground_there,
    held,
    marked,
    require_numbers,
)
from terrain.plan.safety.cautions import beyond_matters, reaches_edge
from terrain.plan.safety.gravity import by_gravity
from terrain.plan.water.basin_facts import earth_words, rim_words, spillway_words
from terrain.plan.water.catches import CatchCurve, catch_curve
from terrain.plan.water.routing import storm_steps
from terrain.runoff.catchment import Catchment, gather, on_ground
from terrain.runoff.curve_number import runoff_depth
from terrain.runoff.flow_way import mean_rational_c, reaches_of, timed
from terrain.runoff.hydrograph import STANDARD_PEAK_FACTOR
from terrain.runoff.peak import Peaks, peaks_of
from terrain.surface.catchments import outline
from terrain.surface.flow_paths import longest_path_to
from terrain.surface.terrain import Terrain
from terrain.surface.window import Bounds
from terrain.units import in_both
from terrain.works import swale as swales
from terrain.works.basin import Basin
from terrain.works.dug import design_dug
from terrain.works.ground_of_bank import with_spillway
from terrain.works.rules import Rulebook
from terrain.works.sill import design_sill
from terrain.works.spillway import spillway
from terrain.works.swale_built import Swale, finish
from terrain.works.swale_checks import checks_of
from terrain.works.swale_size import Wanted, size_swale
from terrain.works.wall import design_wall, outflanking
from terrain.works.wall_and_pit import design_wall_and_pit

#: No swale is laid out shorter than this; common practice, no source. [m]
SHORTEST = 2.0


@dataclass(frozen=True)
class StormAnswer:
    """A storm on one catchment and, where there is one, its store. [mm], [m3]

    `by_mean_number` is the runoff that the weighted curve number would give; `caught_dry` and
    `caught_wet` are what is caught on ground of antecedent condition I and III.
    """

    rain: float
    runoff: float
    caught: float = 0.0
    spilled: float = 0.0
    by_mean_number: float = 0.0
    peaks: Peaks | None = None
    caught_dry: float = 0.0
    caught_wet: float = 0.0


class WetterPlace(NamedTuple):
    """A place close by where much more water passes; [m], [m2].

    The area is a lower bound where the ground that drains there was not all read.
    """

    x: float
    y: float
    area: float
    at_least: bool


@dataclass(frozen=True)
class ShedAnswer:
    """The ground that drains to a point."""

    question: Question
    at: tuple[float, float]
    cells: NDArray[np.bool_]
    outline: Any
    catchment: Catchment
    longest_path: float
    storms: tuple[StormAnswer, ...]
    better: WetterPlace | None
    rests_on: tuple[str, ...] = field(default=())


def catchment_of_point(path: Path, at: tuple[float, float], rain: RainWords,
                       ground: GroundWords, words: RasterWords) -> ShedAnswer:
    """The catchment of a point, and what runs off it in each storm.

    Parameters
    ----------
    at : (float, float)
        In the raster's CRS, or longitude and latitude where `words` says so.
    storms : sequence of float
        [mm]

    Raises
    ------
    InputError
        If the point is off the raster, or storms are asked for ground nobody described.
    """
    def cell(question: Question) -> NDArray[np.int64]:
        return np.array([question.dem.cell_of(*question.point(at, "--at"), "--at")])
    question = held(path, words, around([at], words, "--at"), cell)
    dem, terrain = question.dem, question.terrain
    x, y = question.point(at, "--at")
    row, column = dem.cell_of(x, y, "--at")
    cells = terrain.catchment(marked(dem, cell(question)))
    there = ground_there(question, ground, rain.depths)
    catchment = _gathered(question, there, cells, np.array([[row, column]]), rain)
    return ShedAnswer(question, (x, y), cells, outline(cells, dem.transform), catchment,
                      catchment.longest_path, _storms(catchment, None, rain),
                      _wetter_nearby(terrain, row, column),
                      (*there.notes, *_rests(rain, there, False)))


def _gathered(question: Question, there: GroundThere, cells: NDArray[np.bool_],
              feet: NDArray[np.int64], rain: RainWords) -> Catchment:
    """The catchment of cells, its longest way ending at one of `feet` (rows, columns)."""
    numbers, terrain, dem = there.curve_number, question.terrain, question.dem
    require_numbers(numbers, cells, question)
    row, column = max(feet, key=lambda foot: terrain.path_length[foot[0], foot[1]])
    found = on_ground(gather(numbers, cells, dem.cell_area), terrain, cells,
                      float(terrain.path_length[row, column]))
    path = longest_path_to(terrain.direction, terrain.path_length, dem.cell, row, column)
    reaches = reaches_of(terrain, path, terrain.contributing_area, there.cover,
                         there.classes, rain.timing)
    coefficient = mean_rational_c(there.cover, there.classes, there.soil, cells, found.slope)
    return replace(timed(found, reaches, rain.timing, STANDARD_PEAK_FACTOR),
                   rational_c=coefficient)


def _wetter_nearby(terrain: Terrain, row: int, column: int, reach: float = 10.0
                   ) -> WetterPlace | None:
    """A place within reach where ten times as much water passes."""
    span = max(int(reach / terrain.dem.cell), 1)
    top, left = max(row - span, 0), max(column - span, 0)
    near = terrain.contributing_area[top:row + span + 1, left:column + span + 1]
    if not np.isfinite(near).any():
        return None
    r, c = np.unravel_index(int(np.nanargmax(near)), near.shape)
    if near[r, c] < 10 * terrain.contributing_area[row, column]:
        return None
    x, y = terrain.dem.xy(top + int(r), left + int(c))
    return WetterPlace(float(x), float(y), float(near[r, c]), any(terrain.dem.goes_on))


@dataclass(frozen=True)
class SwaleAnswer:
    """One swale on contour."""

    question: Question
    swale: Swale
    catchment: Catchment
    cells: NDArray[np.bool_]
    outline: Any
    storage: float
    storms: tuple[StormAnswer, ...]
    quantities: Quantities
    spill_path: NDArray[np.float64]
    cautions: tuple[str, ...]
    rests_on: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class SwaleWords:
    """What the person says of a swale: where it lies, and what is fixed of it.

    Attributes
    ----------
    through, near : (float, float) or None
        In the raster's CRS, or longitude and latitude; `near` with a level.
    level : float or None
        Of the contour, near a point or along a drawn line. [m]
    along : sequence of (float, float)
        A drawn line.
    wanted : Wanted
        Its sizes, as far as they are fixed; `depth` or `length` left open are found.
    radius : float or None
        Least digging radius. [m]
    soil : str
        What its berm is made of: clay, loam or sand.
    system : {"metric", "us"}
        Whose rules of the trade hold.
    """

    through: tuple[float, float] | None = None
    near: tuple[float, float] | None = None
    level: float | None = None
    along: Sequence[tuple[float, float]] = ()
    wanted: Wanted = field(default_factory=Wanted)
    radius: float | None = None
    soil: str = "loam"
    system: str = "metric"


def swale_of(path: Path, said: SwaleWords, rain: RainWords, ground: GroundWords,
             words: RasterWords, rates: tuple[float, float] | None = None) -> SwaleAnswer:
    """Lay out a swale on a contour, and size it.

    Parameters
    ----------
    rain : RainWords
        The first storm sizes a swale that leaves a size open; the deepest sizes its sill.

    Raises
    ------
    InputError
        If no swale can lie there.
    """
    rules, wanted = Rulebook(system=said.system), said.wanted
    option, points = _swale_place(said)
    if wanted.contradiction is not None:
        raise InputError("swale", wanted.contradiction, "Leave one of them out")
    if said.along and (wanted.length is not None or wanted.solve == "length"):
        raise InputError("--along", "the drawn line gives the swale its length",
                         "Leave --length out")
    length = wanted.length
    if length is not None and length < SHORTEST:
        raise InputError("--length", f"{in_both(length, 'size')} is too short for a swale",
                         f"Ask for {in_both(SHORTEST, 'length')} or more")
    reach = max(rules["swale longest"] / 2, length or 0.0)

    def trace(question: Question) -> tuple[swales.SwaleLine, float, tuple[str, ...]]:
        soft, terrain = swales.smoothed(question.dem), question.terrain
        there = [question.point(point, option) for point in points]
        if said.along:
            route, along, pulled = swales.trace_along(terrain, soft, there, option, rules,
                                                      said.level, said.radius)
            return route, along, (f"The drawn line was pulled by up to "
                                  f"{in_both(pulled, 'length')} on to the contour.",)
        where = "--level" if said.level is not None else option
        return *swales.trace(terrain, soft, *there[0], where, rules, reach, said.level,
                             said.radius), ()

    def longest_line(question: Question) -> NDArray[np.int64]:
        return swales.line_cells(question.dem, trace(question)[0].line)
    question = held(path, words, around(points, words, option, reach), longest_line)
    dem, terrain = question.dem, question.terrain
    storms = rain.depths
    there = ground_there(question, ground, storms)
    route, along, notes = trace(question)
    if said.along:
        wanted = replace(wanted, length=route.length)
    runoff = (runoff_depth(storms[0], there.curve_number) * dem.cell_area / 1000 if storms
              else None)
    if runoff is None and wanted.solve is not None:
        raise InputError("--solve", f"there is no storm whose runoff decides its {wanted.solve}",
                         "Add --storm")
    try:
        size = size_swale(terrain, route, along, rules, runoff, wanted)
        route = swales.cut_to(terrain, route, size.start, size.end, rules["level tolerance"])
        checks, of_checks = checks_of(route, size.section, rules, wanted.checks)
    except ValueError as error:
        raise InputError("swale", str(error), "Change its checks, depth or width") from None
    if length is not None and route.length < 0.98 * length:
        raise InputError("--length", f"only {route.length:.0f} m of contour are fit for a swale "
                         f"there, and {length:.0f} m were asked for",
                         "Ask for less, or move the point")
    line = swales.line_cells(dem, route.line)
    marks = marked(dem, line)
    cells = terrain.catchment(marks)
    catchment = _gathered(question, there, cells, line, rain)
    sill_x, sill_y = swales.place_sill(terrain, route)
    sill = design_sill(route.level, _peak(catchment, rain),
                       rules["sill head"], rules, longest=route.length)
    swale = finish(dem, route, size.section, sill, sill_x, sill_y, rules, checks, said.soil)
    storage = swale.curve.capacity
    cautions = [*swale.cautions, *_edge(catchment, dem)]
    decided = [*notes, *size.notes, *([of_checks] if of_checks else [])]
    return SwaleAnswer(question, swale, catchment, cells, outline(cells, dem.transform), storage,
                       _storms(catchment, storage, rain),
                       quantities(swale.cut, swale.berm, rules, rates=rates),
                       _way_down(terrain, sill_x, sill_y, marks), by_gravity(cautions),
                       (*decided, *there.notes, *_rests(rain, there)))


def _swale_place(said: SwaleWords) -> tuple[str, list[tuple[float, float]]]:
    """The option that tells where a swale lies, and its points."""
    given = {option: points for option, points in (
        ("--through", [said.through]), ("--near", [said.near]), ("--along", list(said.along)))
        if points and points[0] is not None}
    if len(given) != 1:
        raise InputError("swale", "nothing says where it lies" if not given else
                         f"{' and '.join(given)} are both given",
                         "Give --through, --level with --near, or --along")
    option, points = next(iter(given.items()))
    if option == "--along" and len(points) < 2:
        raise InputError(option, "a drawn line of one point has no direction",
                         "Give two points or more, or --through")
    if (option == "--near") != (said.level is not None and option != "--along"):
        raise InputError("--level", "a level and a point near it belong together",
                         "Give --level with --near")
    return option, [point for point in points if point is not None]


@dataclass(frozen=True)
class BasinAnswer:
    """One basin; `curve` is what it catches against the depth of rain, where storms were asked
    about, and `said` what else there is to say of its earth and its spillway."""

    question: Question
    basin: Basin
    catchment: Catchment
    cells: NDArray[np.bool_]
    outline: Any
    storms: tuple[StormAnswer, ...]
    quantities: Quantities
    spill_path: NDArray[np.float64]
    cautions: tuple[str, ...]
    rules: Rulebook
    curve: CatchCurve | None = None
    said: tuple[str, ...] = field(default=())
    rests_on: tuple[str, ...] = field(default=())


def basin_of(path: Path, rain: RainWords, ground: GroundWords, words: RasterWords,
             wall: Sequence[tuple[float, float]] | None = None, crest: float | None = None,
             sill: float | None = None, dug: Path | None = None,
             depth: float | None = None, batter: float = 3.0,
             rates: tuple[float, float] | None = None, rock: float | None = None,
             system: str = "metric") -> BasinAnswer:
    """Stage and storage of a basin behind a wall or dug, and what it catches of each storm.

    Parameters
    ----------
    wall : points, with `crest` and perhaps `sill` levels [m]
    dug : a layer with its outline, with `depth` [m] and `batter` (H:V)
        With a wall too, a pit behind it; without a depth it is as deep as builds the wall.
    rock : float, optional
        Depth of rock below the ground. [m]
    system : {"metric", "us"}
        Whose rules of the trade hold.

    Raises
    ------
    InputError
        If no basin can be there.
    """
    rules = Rulebook(system=system)
    if wall is not None and depth is not None and dug is None:
        raise InputError("--depth", "it is the depth of a dug shape, and there is none",
                         "Give --dug too, or leave the depth out")
    if wall is not None and crest is not None:
        place = around(wall, words, "--wall")

        def design(question: Question) -> Basin:
            points = [question.point(p, "--wall") for p in wall]
            if dug is not None:
                return design_wall_and_pit(question.terrain, points, crest, sill,
                                           _rim(dug, question.dem), depth, batter, rules, "--dug",
                                           rock)
            return design_wall(question.terrain, points, crest, sill, rules, "--wall", rock)
    elif dug is not None and depth is not None:
        def place(files: ElevationFiles) -> Bounds:
            xs, ys = zip(*_rim(dug, files), strict=True)
            return min(xs), min(ys), max(xs), max(ys)

        def design(question: Question) -> Basin:
            return design_dug(question.terrain, _rim(dug, question.dem), depth, batter, rules,
                              "--dug", rock)
    else:
        raise InputError("basin", "it has neither a wall with a crest nor a dug shape with a depth",
                         "Give --wall and --crest, --dug and --depth, or both")
    question = held(path, words, place, lambda question: design(question).cells)
    dem, terrain, made = question.dem, question.terrain, design(question)
    marks = marked(dem, made.cells)
    cells = terrain.catchment(marks)
    there = ground_there(question, ground, rain.depths)
    catchment = _gathered(question, there, cells, made.cells, rain)
    most = rules["spillway head" if made.has_wall else "sill head"]
    made = with_spillway(dem, replace(made, sill=design_sill(
        made.sill.level, _peak(catchment, rain), most, rules)))
    low = outflanking(made, dem) if made.has_wall else None
    cautions = [*made.cautions, *([] if low is None else [low]), *_edge(catchment, dem)]
    said = earth_words(made, rules)
    curve = None
    if rain.depths:
        over = spillway(made.sill, made.crest if made.has_wall else None, rules)
        said.append(spillway_words(over, made, f"the storm of {in_both(rain.deepest, 'rain')}",
                                   rules))
        curve = catch_curve(catchment, made.storage, rain.deepest)
    said += rim_words(made)
    topsoil = made.topsoil if made.has_wall else 0.0
    return BasinAnswer(question, made, catchment, cells, outline(cells, dem.transform),
                       _storms(catchment, made.storage, rain),
                       quantities(made.dug, made.fill, rules, rates=rates, topsoil=topsoil),
                       _way_down(terrain, made.sill_x, made.sill_y, marks), by_gravity(cautions),
                       rules, curve, tuple(said), (*there.notes, *_rests(rain, there)))


def _rim(path: Path, dem: Extent) -> list[tuple[float, float]]:
    """Corners of the one outline in a layer, in the working frame."""
    shape = read_layer(Layer.model_validate({"file": path}), Path(), dem, "--dug").geometry
    parts = [part for whole in shape for part in getattr(whole, "geoms", [whole])]
    if len(parts) != 1 or parts[0].geom_type != "Polygon":
        raise InputError("--dug", f"{path} holds {len(parts)} shapes, not one area",
                         "Give a layer with the outline of one basin")
    return [(float(x), float(y)) for x, y in parts[0].exterior.coords[:-1]]


def _storms(catchment: Catchment, storage: float | None, rain: RainWords
            ) -> tuple[StormAnswer, ...]:
    shape = rain.shape
    answers = []
    for depth in rain.depths:
        runoff = catchment.runoff(depth)
        caught = 0.0 if storage is None else min(runoff, storage)
        answers.append(StormAnswer(
            depth, runoff, caught, runoff - caught if storage is not None else 0.0,
            catchment.runoff_by_mean_number(depth),
            peaks_of(catchment, depth, shape, storm_steps(shape.duration)),
            *((0.0, 0.0) if storage is None else
              (min(catchment.under("I").runoff(depth), storage),
               min(catchment.under("III").runoff(depth), storage)))))
    return tuple(answers)


def _peak(catchment: Catchment, rain: RainWords) -> float:
    """Peak flow of the deepest storm from a catchment. [m3/s]"""
    step = storm_steps(rain.duration)
    return peaks_of(catchment, rain.deepest, rain.shape, step).unit_hydrograph


def _way_down(terrain: Terrain, x: float, y: float, marks: NDArray[np.bool_]
              ) -> NDArray[np.float64]:
    row, column = (int(i) for i in terrain.dem.row_column(x, y))
    path = terrain.path(row, column)
    own = np.flatnonzero(marks[path[:, 0], path[:, 1]])
    path = path[own[-1]:] if own.size else path
    return np.stack(terrain.dem.xy(path[:, 0], path[:, 1]), 1)


def _edge(catchment: Catchment, dem: Dem) -> list[str]:
    """Cautions that the raster itself earns."""
    said = []
    if catchment.touches_edge and beyond_matters(catchment):
        said.append(reaches_edge(catchment, dem))
    if dem.cell > TOO_COARSE:
        said.append(f"Cells of {in_both(dem.cell, 'length')} are too coarse to size or set out "
                    "earthworks: take all this as a hint of where to look.")
    return said


def _rests(rain: RainWords, there: GroundThere, store: bool = True) -> tuple[str, ...]:
    if not rain.depths:
        return ()
    kind = ("even rain" if rain.pattern == "even" else f"rain as in NRCS type {rain.pattern}")
    storm = f"{rain.duration:g} hours of {kind}"
    way = (("Nobody said what covers the way of the water, so it was timed over natural range.",)
           if rain.two_year_day is not None and not there.classes else ())
    if not store:
        return (*way, "Runoff by curve numbers (TR-55, 1986), cell by cell, on ground of average "
                f"wetness; peaks for {storm}.")
    return (*way,
            "Caught is the runoff up to what the store holds; soaking during the storm is not "
            "counted, so it is a lower bound.",
            "Runoff by curve numbers (TR-55, 1986), cell by cell; the sill is sized for the "
            f"deepest storm as {storm}, by unit hydrograph.")
