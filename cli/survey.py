"""levelsill survey: what this raster is."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cli import options
from cli.console import decimal, facts, heading, progress, remarks, save_picture, say, table


@click.command()
@options.dem
@options.raster
@options.units
@options.picture
@options.as_json
def survey(dem: Path, system: str, picture: Path | None, as_json: bool, **words: Any) -> None:
    """Say what an elevation raster holds: extent, units, slopes, hollows, warnings.

    \b
    levelsill survey hill.tif
    levelsill survey hill.tif --picture hill.png
    """
    from terrain.outputs.data.answers_json import dumped, survey_answer
    from terrain.plan.survey import survey as survey_of
    from terrain.surface.terrain import LEAST_HOLLOW
    from terrain.units import shown

    options.in_its_foot(dem, words)
    with progress() as step:
        step("Surveying the ground")
        found = survey_of(dem, options.raster_words(words))
    if as_json:
        say(dumped(survey_answer(found)))
    else:
        grid = found.question.dem
        west, south, east, north = grid.bounds
        corner, far = grid.named(west, south), grid.named(east, north)
        frame, own = grid.frame.working, found.own
        size, moved = f"{found.columns:,} by {found.rows:,} cells", []
        if own is not None:
            moved = [("moved to", f"{size} of the working frame")]
            size = f"{own.columns:,} by {own.rows:,} cells"
            degrees = grid.frame.source is not None and grid.frame.source.is_geographic
            corner, far = (f"{x:.6f}, {y:.6f}" if degrees else f"{x:.1f}, {y:.1f}"
                           for x, y in (own.bounds[:2], own.bounds[2:]))
        say(f"{grid.source}: {size}")
        facts([*moved, ("cell", shown(found.cell, "length", system, 2)),
               ("known ground", shown(found.area, "land", system)),
               ("heights", f"{shown(found.low, 'level', system)} to "
                           f"{shown(found.high, 'level', system)}"),
               ("working frame", "none stated" if frame is None else frame.name),
               ("south-west", corner), ("north-east", far)])
        heading("Slopes")
        facts([(band, f"{share:6.1%}") for band, share in found.slope_shares.items()])
        heading(f"Hollows ({len(found.hollows)}, the largest first)")
        if found.hollows:
            table(["at", "holds", "deep", "surface"],
                  [[grid.named(*(float(v) for v in grid.xy(h.row, h.column))),
                    shown(h.volume, "volume", system), shown(h.depth, "size", system),
                    shown(h.area, "ground", system)] for h in found.hollows[:8]])
        else:
            say(f"  none that hold more than {shown(LEAST_HOLLOW, 'volume', system)}")
        remarks("Beware", found.warnings)
        remarks("What this rests on", [*decimal(system), *(
            note for note in grid.notes if note not in found.warnings), found.checked_by])
    if picture is not None:
        from terrain.outputs.sheets.work_sheets import draw_survey

        save_picture(lambda: draw_survey(found, system), picture)
