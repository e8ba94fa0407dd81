"""levelsill basin: what a basin holds and catches."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cli import options
from cli.console import (
    arrival,
    decimal,
    facts,
    heading,
    progress,
    remarks,
    save_picture,
    say,
    storm_table,
    table,
)
from terrain.units import DEEPEST_DUG


class _Wall(click.Command):
    """Takes the ends of a wall as `--wall X,Y X,Y`."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        spread: list[str] = []
        i = 0
        while i < len(args):
            spread.append(args[i])
            i += 1
            if spread[-1] == "--wall":
                while i < len(args) and "," in args[i] and not args[i].startswith("--"):
                    spread += [args[i]] if spread[-1] == "--wall" else ["--wall", args[i]]
                    i += 1
        return super().parse_args(ctx, spread)


@click.command(cls=_Wall)
@options.dem
@click.option("--wall", multiple=True, type=options.XY(), metavar="X,Y X,Y",
              help="The ends (and bends) of the wall's centreline.")
@click.option("--crest", type=options.Level(),
              help="Level of the wall's settled crest.")
@click.option("--sill", type=options.Level(),
              help="Level of the overflow; the crest less 0.45 m (1.5 ft) if left out.")
@click.option("--dug", type=click.Path(path_type=Path),
              help="A layer with the outline of a dug basin, or of a pit behind the wall.")
@click.option("--depth", type=options.Quantity("length", most=DEEPEST_DUG),
              help="Depth below the lowest ground on its rim; behind a wall left out, what "
                   "builds the wall.")
@click.option("--batter", type=options.Ratio(), default="3:1", show_default=True,
              help="Slope of its sides.")
@click.option("--rock", type=options.Quantity("length"),
              help="Depth of rock below the ground, where it is known.")
@options.rain
@options.ground
@options.rates
@options.raster
@options.units
@options.picture
@options.as_json
def basin(dem: Path, wall: tuple[tuple[float, float], ...], crest: str | None,
          sill: str | None, dug: Path | None, depth: float | None, batter: float,
          rock: float | None, rates: tuple[float, float] | None, system: str,
          picture: Path | None, as_json: bool, **words: Any) -> None:
    """Say what a basin holds level by level, and what it catches of a storm.

    \b
    levelsill basin hill.tif --wall 512300,6430100 512330,6430120 --crest 1193.2m
    levelsill basin hill.tif --dug pit.geojson --depth 0.9m --batter 3:1
    levelsill basin hill.tif --wall X,Y X,Y --crest 1193.2m --dug pit.geojson
    """
    from terrain.errors import InputError
    from terrain.outputs.data.answers_json import basin_answer, dumped
    from terrain.plan.basin_question import basin_of
    from terrain.plan.safety.raster_edge import bound_of
    from terrain.units import shown, worked

    if wall and (len(wall) < 2 or crest is None):
        what = ("a wall needs at least two points" if len(wall) < 2 else
                "a wall needs the level of its crest")
        raise InputError("--wall", what, "Give --wall X,Y X,Y --crest LEVEL")
    if not wall and (crest is not None or sill is not None):
        raise InputError("--crest" if crest is not None else "--sill",
                         "it is a level of a wall, and there is none", "Give --wall too")
    options.in_its_foot(dem, words)
    with progress() as step:
        step("Filling the basin")
        answer = basin_of(dem, options.rain_words(words), options.ground_words(words),
                          options.raster_words(words), list(wall) or None,
                          options.level(crest, system), options.level(sill, system), dug, depth,
                          batter, rates, rock, system)
    if as_json:
        say(dumped(basin_answer(answer)))
    else:
        made, grid, amount = answer.basin, answer.question.dem, answer.quantities
        form = {"wall": "behind a wall", "dug": "dug", "wall and pit": "behind a wall and dug"}
        say(f"A basin {form[made.form]} on {grid.source}")
        rows = [("sill", f"{shown(made.sill.level, 'level', system)}, "
                         f"{shown(made.sill.length, 'length', system)} long"),
                ("holds", shown(made.storage, "volume", system)),
                ("water surface", shown(made.pool_area, "ground", system)
                 + (f", {shown(made.deepest_water, 'size', system)} at its deepest (behind a thin "
                    f"wall {shown(made.gross_area, 'ground', system)})" if made.has_wall else "")),
                ("catchment", bound_of([answer.catchment])
                 + shown(answer.catchment.area, "ground", system))]
        if made.has_wall:
            rows[1:2] = [
                ("crest", f"{shown(made.crest, 'level', system)}, "
                          f"{shown(made.crest - made.sill.level, 'size', system)} above the sill"),
                ("holds", f"{shown(made.storage, 'volume', system)} (a thin wall would hold "
                          f"{shown(made.gross, 'volume', system)})")]
            rows.append(("wall", f"{shown(made.wall, 'earth', system)} of compacted earth, up to "
                                 f"{shown(made.height, 'size', system)} high"))
        if made.rim is not None:
            rows.append(("pit", f"{shown(made.pit, 'earth', system)}, "
                                f"{shown(made.pit_depth, 'size', system)} deep, floor at "
                                f"{shown(made.floor, 'level', system)}"))
        rows.append(("dig", shown(made.dug, "earth", system)
                     + (" in all, topsoil, cut-off trench and spillway included"
                        if made.has_wall else "")))
        rows.append(_left(made.has_wall, made.spare(answer.rules), made.dug, system))
        rows.append(("machine", f"about {worked(amount.hours)} with a small excavator in easy "
                     "ground"))
        if amount.money is not None:
            rows.append(("cost", f"{amount.money[0]:,.0f} to {amount.money[1]:,.0f}, for those "
                         "hours alone"))
        facts(rows)
        heading("Level by level" + (" (behind a thin wall)" if made.has_wall else ""))
        curve = made.gross_curve
        every = max(len(curve.levels) // 10, 1)
        table(["level", "surface", "holds"],
              [[shown(curve.levels[i], "level", system), shown(curve.areas[i], "ground", system),
                shown(curve.volumes[i], "volume", system)]
               for i in range(0, len(curve.levels), every)])
        storm_table(answer.storms, system)
        if answer.storms:
            arrival(answer.catchment, answer.storms, system)
            heading("Caught, by how wet the ground was before")
            table(["rain", "dry ground (I)", "average (II)", "wet (III)"],
                  [[shown(storm.rain, "rain", system),
                    *(shown(caught, "volume", system) for caught in
                      (storm.caught_dry, storm.caught, storm.caught_wet))]
                   for storm in answer.storms])
        remarks("Earth and spillway", answer.said)
        remarks("Cautions", answer.cautions)
        remarks("What this rests on", [*decimal(system), *grid.notes, *answer.rests_on])
    if picture is not None:
        from terrain.outputs.sheets.work_sheets import draw_basin

        save_picture(lambda: draw_basin(answer, system), picture)


def _left(has_wall: bool, spare: float, dug: float, system: str) -> tuple[str, str]:
    """Earth that its bank does not take, or that it wants, compacted; topsoil apart. [m3]"""
    from terrain.units import shown

    if not has_wall:
        return "earth left", f"{shown(dug, 'earth', system)} as it lies in the ground, all of it"
    if abs(spare) < 0.05:
        return "earth left", "none: what is dug builds the wall"
    if spare < 0:
        return "earth to bring", (f"{shown(-spare, 'earth', system)}, compacted: the wall takes "
                                  "more than the digging gives")
    return "earth left", f"{shown(spare, 'earth', system)}, compacted, to spread or carry off"
