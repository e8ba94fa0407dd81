"""What answers to questions about a raster share: storms, what they rest on, cautions."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.dem import Dem
from terrain.inputs.elevation import TOO_COARSE
from terrain.plan.question import GroundThere, Question, RainWords, require_numbers
from terrain.plan.safety.raster_edge import beyond_matters, reaches_edge
from terrain.runoff.catchment import Catchment, gather, on_ground
from terrain.runoff.flow_way import mean_rational_c, reaches_of, timed
from terrain.runoff.hydrograph import STANDARD_PEAK_FACTOR
from terrain.runoff.peak import Peaks, peaks_of
from terrain.runoff.storms import storm_steps
from terrain.surface.flow_paths import longest_path_to
from terrain.surface.terrain import Terrain
from terrain.units import in_both

#: What the sides of a catchment rest on.
EIGHT_WAYS = ("Water goes from cell to cell in one of eight directions; on smooth even ground the "
              "sides of a catchment are rough.")


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


def gathered(question: Question, there: GroundThere, cells: NDArray[np.bool_],
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


def storms_on(catchment: Catchment, storage: float | None, rain: RainWords
              ) -> tuple[StormAnswer, ...]:
    """Each storm asked about on a catchment and, where there is one, its store of so many m3."""
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


def peak_of(catchment: Catchment, rain: RainWords) -> float:
    """Peak flow of the deepest storm from a catchment. [m3/s]"""
    step = storm_steps(rain.duration)
    return peaks_of(catchment, rain.deepest, rain.shape, step).unit_hydrograph


def way_down(terrain: Terrain, x: float, y: float, marks: NDArray[np.bool_]
             ) -> NDArray[np.float64]:
    """Where a spill at a place runs, from its own work's marked cells on. [m]"""
    row, column = (int(i) for i in terrain.dem.row_column(x, y))
    path = terrain.path(row, column)
    own = np.flatnonzero(marks[path[:, 0], path[:, 1]])
    path = path[own[-1]:] if own.size else path
    return np.stack(terrain.dem.xy(path[:, 0], path[:, 1]), 1)


def edge_cautions(catchment: Catchment, dem: Dem) -> list[str]:
    """Cautions that the raster itself earns."""
    said = []
    if catchment.touches_edge and beyond_matters(catchment):
        said.append(reaches_edge(catchment, dem))
    if dem.cell > TOO_COARSE:
        said.append(f"Cells of {in_both(dem.cell, 'length')} are too coarse to size or set out "
                    "earthworks: take all this as a hint of where to look.")
    return said


def rests_on_storms(rain: RainWords, there: GroundThere, store: bool = True) -> tuple[str, ...]:
    """What figures of storms rest on."""
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
