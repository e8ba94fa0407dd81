"""levelsill suggest: where works should go, and how far any plan is from the best."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import click

from cli import options
from cli.console import heading, progress, remarks, say, table

#: As `terrain.inputs.site_suggest.AIMS`, which takes long to load.
AIMS = ("water in a year", "water in a storm", "trees in a dry year", "storm leaving", "erosion")
STOPPED = "Stopped early: this is the best so far, and how far it may be from the best holds."


@click.command()
@options.site
@click.option("--aim", type=click.Choice(AIMS), help="What a layout is to do best; left out, what "
              "the site file says.")
@click.option("--budget", type=click.FloatRange(0, min_open=True), metavar="MONEY",
              help="The most that may be spent, in the site file's currency.")
@click.option("--places", type=click.IntRange(10, 20_000), metavar="NUMBER",
              help="How many places are looked at; 2000 if neither this nor the site file says.")
@click.option("--out", type=click.Path(path_type=Path, file_okay=False),
              help="Folder to write into; 'suggest' beside the site file if left out.")
@options.as_json
def suggest(site: Path, aim: str | None, budget: float | None, places: int | None,
            out: Path | None, as_json: bool) -> None:
    """Propose where works should go: three layouts as site files, and proof how good they are.

    Ctrl-C ends the search and writes the best so far; a second one stops at once.

    \b
    levelsill suggest site.yaml
    levelsill suggest site.yaml --aim 'water in a storm' --budget 15000
    levelsill suggest site.yaml --places 500 --out ideas
    """
    from terrain.files import is_folder, refuse_foreign
    from terrain.outputs.suggest.suggest_folder import write_suggestion
    from terrain.suggest.suggest import suggest as search

    folder = out if out is not None else (site if is_folder(site) else site.parent) / "suggest"
    refuse_foreign(folder)  # before the work, not after it
    over: dict[str, object] = {name: given for name, given in (
        ("aim", aim), ("budget", budget), ("places", places)) if given is not None}
    asked = threading.Event()
    with progress(asked) as step:
        found = search(site, step, over, stopped=asked.is_set)
        click.get_current_context().with_resource(found.inputs.told("metric" if as_json else None))
        written = write_suggestion(found, folder, step)
    if as_json:
        from terrain.outputs.data.answers_json import dumped
        from terrain.outputs.suggest.suggest_json import suggest_object

        say(dumped(suggest_object(found)))
    else:
        _show(found)
    if found.stopped:
        click.echo(STOPPED, err=True)
    click.echo("".join(f"Written: {path}\n" for path in written), err=True, nl=False)


def _show(found: Any) -> None:
    """The answer, how good it is, each proposal's works, then what all of it rests on."""
    from terrain.outputs.one_system import in_one
    from terrain.outputs.suggest import tables, words

    system = found.site.units
    say(f"{found.site.name}. {words.lead(found)}, found in {found.seconds:,.0f} s")
    remarks("The answer", words.answer_lines(found, system))
    if found.proposals:
        heading("How good each proposal is")
        table(tables.GOOD, tables.good_rows(found, system))
        heading("What each takes")
        table(tables.takes_heads(found), tables.takes_rows(found, system))
        heading("What each does in the design storm"
                + (" and in an average year" if found.before.year_kept is not None else ""))
        table(tables.water_heads(found), tables.water_rows(found, system))
    for one in found.proposals:
        heading(f"Proposal \"{one.name}\"")
        table(tables.work_heads(found), tables.work_rows(one, found, system))
        remarks("Kept, left out, and the next step", [line for line in (
            words.kept_line(one), words.more_line(one, found, system)) if line])
    remarks("Before anybody digs", words.care_lines(found, system))
    remarks("What this rests on", [in_one(line, system) for line in (
        *words.looked_lines(found, system), *found.notes)])
