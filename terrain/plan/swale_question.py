"""One swale on a contour of a raster: laid out, sized, what it catches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.plan.answered import (
    EIGHT_WAYS,
    StormAnswer,
    edge_cautions,
    gathered,
    peak_of,
    rests_on_storms,
    storms_on,
    way_down,
)
from terrain.plan.earth.cost import Quantities, quantities
from terrain.plan.question import (
    GroundWords,
    Question,
    RainWords,
    RasterWords,
    around,
    ground_there,
    held,
    marked,
)
from terrain.plan.safety.gravity import by_gravity
from terrain.runoff.catchment import Catchment
from terrain.runoff.curve_number import runoff_depth
from terrain.surface.catchments import outline
from terrain.units import in_both
from terrain.works import swale as swales
from terrain.works.rules import Rulebook
from terrain.works.sill import design_sill
from terrain.works.swale_built import Swale, finish
from terrain.works.swale_checks import checks_of
from terrain.works.swale_size import Wanted, size_swale

#: No swale is laid out shorter than this; common practice, no source. [m]
SHORTEST = 2.0


@dataclass(frozen=True)
class SwaleAnswer:
    """One swale on contour; `left_over` is the earth beyond its berm as it lies in the ground and
    loose, below 0 what is wanting. [m3]"""

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
    left_over: tuple[float, float] = (0.0, 0.0)


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
    catchment = gathered(question, there, cells, line, rain)
    sill_x, sill_y = swales.place_sill(terrain, route)
    sill = design_sill(route.level, peak_of(catchment, rain),
                       rules["sill head"], rules, longest=route.length)
    swale = finish(dem, route, size.section, sill, sill_x, sill_y, rules, checks, said.soil)
    storage = swale.curve.capacity
    amount = quantities(swale.cut, swale.berm, rules, rates=rates, soil=said.soil)
    cautions = [*swale.cautions, *edge_cautions(catchment, dem), _beyond(rain)]
    decided = [*notes, *size.notes, *([of_checks] if of_checks else [])]
    return SwaleAnswer(question, swale, catchment, cells, outline(cells, dem.transform), storage,
                       storms_on(catchment, storage, rain),
                       amount,
                       way_down(terrain, sill_x, sill_y, marks), by_gravity(cautions),
                       (*decided, *there.notes, EIGHT_WAYS, *rests_on_storms(rain, there)),
                       amount.left_over(rules))


def _beyond(rain: RainWords) -> str:
    """A caution on what the sill is sized for, and what comes beyond that."""
    sized = (f"for the storm that you gave, {in_both(rain.deepest, 'rain')}, and for no rarer one"
             if rain.depths else "for no storm, as you gave none")
    return (f"Its sill is sized {sized}. Whatever passes it goes on down as the ground leads it: "
            "walk that way first, and never let it come onto a house, a road or a neighbour more "
            "gathered than before.")


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
