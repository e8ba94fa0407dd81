"""levelsill swale: lay out one swale on contour."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cli import options
from cli.console import arrival, facts, progress, remarks, save_picture, say, storm_table


@click.command()
@options.dem
@click.option("--through", required=True, type=options.XY(),
              help="A point the swale passes through, in the raster's own coordinates.")
@click.option("--length", type=options.Quantity("length"),
              help="Its length; left out, 60 m, or longer where that holds the first storm.")
@click.option("--depth", type=options.Quantity("length"),
              help="Depth of water at the sill; left out, what holds the first storm, between "
                   "0.2 and 0.5 m.")
@click.option("--width", type=options.Quantity("length"),
              help="Width of the bed; 0.6 m if left out.")
@options.rain
@options.ground
@options.rates
@options.raster
@options.units
@options.picture
@options.as_json
def swale(dem: Path, through: tuple[float, float], length: float | None, depth: float | None,
          width: float | None, rates: tuple[float, float] | None,
          system: str, picture: Path | None, as_json: bool, **words: Any) -> None:
    """Lay out one swale on the contour through a point: size, earth, sill, catch.

    \b
    levelsill swale hill.tif --through 512340,6430125 --storm 30mm --cn 82
    levelsill swale hill.tif --through 512340,6430125 --length 60m --depth 0.4m
    """
    from terrain.outputs.answers_json import dumped, swale_answer
    from terrain.plan.questions import swale_through
    from terrain.units import shown

    with progress() as step:
        step("Laying out the swale")
        answer = swale_through(dem, through, options.rain_words(words),
                               options.ground_words(words),
                               options.raster_words(words), length, depth, width, rates)
    if as_json:
        say(dumped(swale_answer(answer)))
    else:
        made, grid = answer.swale, answer.question.dem
        amount = answer.quantities
        say(f"A swale on the contour at {shown(made.route.level, 'level', system)} "
            f"on {grid.source}")
        rows = [("length", shown(made.route.length, "length", system)),
                ("section", f"bed {shown(made.width, 'level', system)}, water "
                            f"{shown(made.depth, 'level', system)} deep, sides "
                            f"{made.side_slope:g}:1, {shown(made.top_width, 'level', system)} wide "
                            "at the ground"),
                ("ground slope", f"{made.route.cross_slope:.1%} across the line"),
                ("holds", shown(answer.storage, "volume", system)),
                ("catchment", ("at least " if answer.catchment.touches_edge else "")
                 + shown(answer.catchment.area, "area", system)),
                ("sill", f"at {shown(made.sill.level, 'level', system)}, "
                         f"{shown(made.sill.length, 'length', system)} long, near "
                         f"{grid.named(made.sill_x, made.sill_y)}"),
                ("berm", f"{shown(made.berm_height, 'level', system)} above the sill once settled, "
                         f"{shown(made.berm_height_built, 'level', system)} as built"),
                ("dig", f"{shown(made.cut, 'earth', system)}; the berm takes "
                        f"{shown(made.berm, 'earth', system)}"),
                ("machine", f"about {amount.hours:.1f} h with a small excavator")]
        if amount.money is not None:
            rows.append(("cost", f"{amount.money[0]:,.0f} to {amount.money[1]:,.0f}"))
        facts(rows)
        storm_table(answer.storms, system)
        if answer.storms:
            arrival(answer.catchment, answer.storms, system)
        remarks("Cautions", answer.cautions)
        remarks("What this rests on", [*grid.notes, *answer.rests_on])
    if picture is not None:
        from terrain.outputs.work_sheets import draw_swale

        save_picture(lambda: draw_swale(answer, system), picture)
