"""One basin on a raster, behind a wall or dug: what it holds and what it catches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.inputs.dem import Extent
from terrain.inputs.elevation import ElevationFiles
from terrain.inputs.layers import read_layer
from terrain.inputs.site import Layer
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
from terrain.plan.water.basin_facts import earth_words, rim_words, spillway_words
from terrain.plan.water.catches import CatchCurve, catch_curve
from terrain.runoff.catchment import Catchment
from terrain.surface.catchments import outline
from terrain.surface.window import Bounds
from terrain.units import in_both
from terrain.works.basin import Basin
from terrain.works.dug import design_dug
from terrain.works.ground_of_bank import with_spillway
from terrain.works.rules import Rulebook
from terrain.works.sill import design_sill
from terrain.works.spillway import spillway, years_asked
from terrain.works.wall import design_wall, outflanking
from terrain.works.wall_and_pit import design_wall_and_pit


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
    catchment = gathered(question, there, cells, made.cells, rain)
    most = rules["spillway head" if made.has_wall else "sill head"]
    made = with_spillway(dem, replace(made, sill=design_sill(
        made.sill.level, peak_of(catchment, rain), most, rules)))
    low = outflanking(made, dem) if made.has_wall else None
    cautions = [*made.cautions, *([] if low is None else [low]), *edge_cautions(catchment, dem)]
    said = earth_words(made, rules)
    curve = None
    if rain.depths and made.has_wall:
        cautions.append(
            f"Its spillway is sized for the storm that you gave, {in_both(rain.deepest, 'rain')}, "
            f"and for no rarer one; behind a wall with {in_both(catchment.area, 'land')} above it "
            f"a storm that comes once in {years_asked(rules, catchment.area):g} years is asked "
            f"for ({rules.cited('spillway return period')}). Give that one.")
    if rain.depths:
        over = spillway(made.sill, made.crest if made.has_wall else None, rules)
        said.append(spillway_words(over, made, f"the storm of {in_both(rain.deepest, 'rain')}",
                                   rules))
        curve = catch_curve(catchment, made.storage, rain.deepest)
    said += rim_words(made)
    topsoil = made.topsoil if made.has_wall else 0.0
    return BasinAnswer(question, made, catchment, cells, outline(cells, dem.transform),
                       storms_on(catchment, made.storage, rain),
                       quantities(made.dug, made.fill, rules, rates=rates, topsoil=topsoil),
                       way_down(terrain, made.sill_x, made.sill_y, marks), by_gravity(cautions),
                       rules, curve, tuple(said),
                       (*there.notes, EIGHT_WAYS, *rests_on_storms(rain, there)))


def _rim(path: Path, dem: Extent) -> list[tuple[float, float]]:
    """Corners of the one outline in a layer, in the working frame."""
    shape = read_layer(Layer.model_validate({"file": path}), Path(), dem, "--dug").geometry
    parts = [part for whole in shape for part in getattr(whole, "geoms", [whole])]
    if len(parts) != 1 or parts[0].geom_type != "Polygon":
        raise InputError("--dug", f"{path} holds {len(parts)} shapes, not one area",
                         "Give a layer with the outline of one basin")
    return [(float(x), float(y)) for x, y in parts[0].exterior.coords[:-1]]
