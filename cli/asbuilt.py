"""levelsill asbuilt: was it dug right?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from cli import options
from cli.console import decimal, facts, heading, progress, remarks, save_picture, say, table


@click.command()
@options.site
@click.argument("points", type=click.Path(path_type=Path))
@click.option("--settled", is_flag=True,
              help="The banks have had a wet season: hold them against the levels they settle to.")
@click.option("--work", "name", help="The one work to tell of and to draw.")
@click.option("--units", "system", type=click.Choice(["metric", "us"]),
              help="Units to print in; the site file's if left out.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False),
              help="Folder to write sheets, table and figures into.")
@options.picture
@options.as_json
def asbuilt(site: Path, points: Path, settled: bool, name: str | None, system: str | None,
            out: Path | None, picture: Path | None, as_json: bool) -> None:
    """Hold surveyed levels against the plan: in tolerance, what it holds, where it spills.

    POINTS is a table with a head: work, mark, and easting and northing, lon and lat, the stake's
    number or its station; with elevations, or staff readings and a row that reads the benchmark.

    \b
    levelsill asbuilt site.yaml as_built.csv
    levelsill asbuilt site.yaml as_built.csv --work 'upper swale' --picture upper.png
    levelsill asbuilt site.yaml as_built.csv --out as_built
    """
    from terrain.asbuilt.asbuilt import as_built
    from terrain.files import refuse_foreign
    from terrain.inputs.asbuilt_points import read_asbuilt_points
    from terrain.outputs.field.stakes import stakes_of
    from terrain.plan.plan import make_plan

    if out is not None:
        refuse_foreign(out)  # before the work, not after it
    read_asbuilt_points(points)
    with progress() as step:
        plan = make_plan(site, step)
        units = system or plan.site.units
        click.get_current_context().with_resource(
            plan.inputs.told("metric" if as_json else units))
        found = as_built(plan, points, stakes_of(plan), settled, step)
    chosen = _chosen(found, name, picture is not None)
    if as_json:
        from terrain.outputs.asbuilt.asbuilt_json import asbuilt_object
        from terrain.outputs.data.answers_json import dumped

        told = asbuilt_object(found)
        told["works"] = [w for w in told["works"] if w["name"] in {c.name for c in chosen}]
        say(dumped(told))
    else:
        _show(found, chosen, units)
    if picture is not None:
        from terrain.outputs.asbuilt.asbuilt_sheet import draw_as_built

        save_picture(lambda: draw_as_built(found, chosen[0], units), picture)
    if out is not None:
        from terrain.outputs.asbuilt.asbuilt_folder import write_as_built

        with progress() as step:
            step("Drawing a sheet of each work")
            written = write_as_built(found, out)
        click.echo("".join(f"Written: {path}\n" for path in written), err=True, nl=False)


def _chosen(found: Any, name: str | None, one: bool) -> list[Any]:
    """The works to tell of."""
    from terrain.errors import InputError

    surveyed = ", ".join(work.name for work in found.works)
    if name is not None:
        work = found.work(name)
        if work is None:
            raise InputError("--work", f"no point was surveyed on '{name}'",
                             f"Name one of {surveyed}")
        return [work]
    if one and len(found.works) > 1:
        raise InputError("--picture", f"the survey has {len(found.works)} works and a picture "
                         "shows one", f"Name it with --work, one of {surveyed}, or draw all with "
                         "--out")
    return list(found.works)


def _show(found: Any, works: list[Any], system: str) -> None:
    from terrain.outputs.asbuilt import words
    from terrain.units import shown

    count = len(found.survey.points)
    say(f"{found.plan.site.name}: {count} surveyed point{'' if count == 1 else 's'} on "
        f"{len(found.works)} work{'' if len(found.works) == 1 else 's'}")
    remarks("Cautions", found.cautions)
    for work in works:
        heading(f"{work.name}: " + ("within tolerance" if work.within else "out of tolerance"))
        if work.spill is not None:
            facts([("holds", words.held_words(work, system)),
                   ("first spills", words.spill_words(work, system))])
        table(words.LINE_HEAD, [words.line_row(line, work.mends, system)
                                for line in work.lines])
        remarks(f"To do on {work.name}", [words.mend_words(mend, system) for mend in work.mends])
        if work.storms:
            heading(f"Storms on {work.name}")
            bank = any(storm.freeboard is not None for storm in work.storms)
            rows = []
            for storm in work.storms:
                row = [storm.name, shown(storm.depth, "rain", system),
                       shown(storm.built.caught, "volume", system),
                       shown(storm.designed.caught, "volume", system)]
                if bank:
                    row += [shown(value, "level", system).replace("-", "−") for value in (
                        storm.freeboard, storm.freeboard_settled, storm.freeboard_designed)]
                rows.append(row)
            table(["", "rain", "catches", "was to", *(
                ["freeboard", "once settled", "was to be"] if bank else [])], rows)
        remarks(f"Take care on {work.name}", work.cautions)
    remarks("What this rests on", [*decimal(system), *found.notes])
