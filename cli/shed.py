"""levelsill shed: the ground that drains to a point."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cli import options
from cli.console import arrival, facts, heading, progress, remarks, save_picture, say, table


@click.command()
@options.dem
@click.option("--at", required=True, type=options.XY(), help="The point, in the raster's own "
              "coordinates.")
@options.rain
@options.ground
@options.raster
@options.units
@options.picture
@options.as_json
def shed(dem: Path, at: tuple[float, float], system: str,
         picture: Path | None, as_json: bool, **words: Any) -> None:
    """Show the ground that drains to a point, and what runs off it.

    \b
    levelsill shed hill.tif --at 512340,6430125 --storm 1.2in --cn 82
    """
    from terrain.plan.safety.raster_edge import bound_of, reaches_edge
    from terrain.plan.shed_question import catchment_of_point
    from terrain.units import share_words, shown

    options.in_its_foot(dem, words)
    with progress() as step:
        step("Tracing the catchment")
        answer = catchment_of_point(dem, at, options.rain_words(words),
                                    options.ground_words(words),
                                    options.raster_words(words))
    if as_json:
        from terrain.outputs.data.answers_json import dumped, shed_answer

        say(dumped(shed_answer(answer)))
    else:
        grid, least = answer.question.dem, bound_of([answer.catchment])
        say(f"The ground that drains to {grid.named(*answer.at)} on {grid.source}")
        facts([("catchment", least + shown(answer.catchment.area, "ground", system)),
               ("longest way", shown(answer.longest_path, "length", system)),
               ("mean slope", f"{answer.catchment.slope:.1%}")])
        if answer.covers:
            of = answer.catchment.area
            lines = [(cover.name, cover.area) for cover in answer.covers]
            roads = [cover.area for cover in answer.covers if cover.road]
            lines += [("roads, all of them", sum(roads))] if len(roads) > 1 else []
            heading("What covers it")
            table(["cover", "area", "share"],
                  [[name, shown(area, "ground", system),
                    share_words(area / of).replace("\u00a0", " ")] for name, area in lines])
            if not roads:
                say("  No road among them: roads count where the cover layer names them.")
        if answer.storms:
            heading("Storms")
            table(["rain", "runs off", "share", "by the mean curve number"],
                  [[shown(s.rain, "rain", system), least + shown(s.runoff, "volume", system),
                    f"{s.runoff / (s.rain * answer.catchment.area / 1000):.0%}",
                    shown(s.by_mean_number, "volume", system)]
                   for s in answer.storms])
            arrival(answer.catchment, answer.storms, system)
        said = [*grid.notes, *answer.rests_on]
        if answer.catchment.touches_edge:
            said.insert(0, reaches_edge(answer.catchment, grid))
        if answer.better is not None:
            x, y, area, lower = answer.better
            said.insert(0, f"Much more water passes close by: {'at least ' if lower else ''}"
                           f"{shown(area, 'ground', system)} drain to {grid.named(x, y)}.")
        if answer.off_path:
            said.insert(0, answer.off_path)
        remarks("What this rests on", said)
    if picture is not None:
        from terrain.outputs.sheets.work_sheets import draw_shed

        save_picture(lambda: draw_shed(answer, system), picture)
