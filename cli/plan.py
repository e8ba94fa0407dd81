"""levelsill plan: the whole plan of a site."""

from __future__ import annotations

from pathlib import Path

import click

from cli import options
from cli.console import decimal, heading, progress, remarks, say, table
from cli.doubt_words import refuse_few, say_doubt


@click.command()
@options.site
@click.option("--out", type=click.Path(path_type=Path, file_okay=False),
              help="Folder to write into; 'plan' beside the site file if left out.")
@click.option("--doubt", type=int, metavar="RUNS", callback=refuse_few,
              help="How sure is it? Run it so many times, what is not known for sure drawn anew; "
                   "such as 1000. 0: not at all, whatever the site file says.")
@click.option("--paper", type=click.Choice(["A4", "A3", "Letter", "Tabloid"],
                                           case_sensitive=False),
              help="Paper of plan_set.pdf; left out, what the site file says, else A4, or Letter "
                   "in US units.")
def plan(site: Path, out: Path | None, doubt: int | None, paper: str | None) -> None:
    """Plan a site: accounts, map, plan set, report, setting out and layers, into one folder.

    \b
    levelsill plan site.yaml
    levelsill plan site.yaml --out my_plan
    levelsill plan site.yaml --doubt 1000
    levelsill plan site.yaml --paper A3
    """
    import textwrap

    from terrain.files import is_folder, refuse_foreign
    from terrain.outputs.folder import write_plan
    from terrain.outputs.page.store_tables import fed_words
    from terrain.plan.doubt.doubt import with_doubt
    from terrain.plan.plan import make_plan
    from terrain.units import lasting, shown

    folder = out if out is not None else (site if is_folder(site) else site.parent) / "plan"
    refuse_foreign(folder)  # before the work, not after it
    with progress() as step:
        made = with_doubt(make_plan(site, step), doubt, progress=step)
        written = write_plan(made, folder, step, paper)
    system = made.site.units
    say(f"{made.site.name}: {len(made.stores)} stores on "
        f"{shown(float(made.inputs.ground.boundary.area), 'land', system)}")
    heading("Captured")
    # Many figures side by side: gallons alone, so that the table keeps its width.
    whole = 0 if system == "us" else None
    rows = [[name, *(shown(volume, "volume", system, whole) for volume in (
                account.rain, account.run_on, account.passive, account.roof, account.left_site))]
            for name, account in made.accounts]
    table(["", "rain on the land", "run-on", "passive", "roof", "left the site"], rows)
    if made.empty_start is not None:
        say(textwrap.fill(made.empty_start, 88, initial_indent="  ", subsequent_indent="  "))
    say_doubt(made.doubt, system)
    heading("Stores")
    table(["", "holds", "fed from", "full at", "empty after", "spills to"],
          [[p.store.name, shown(p.store.capacity, "volume", system),
            fed_words(made, index),
            shown(p.full_at, "rain", system) if p.full_at is not None else "never",
            lasting(p.drain_hours), p.spills_to]
           for index, p in enumerate(made.stores)])
    count = sum(len(p.cautions) for p in made.stores)
    short = [made.short_record] if made.short_record else []
    remarks("Cautions", [*short, *([
        f"{count} caution{' stands' if count == 1 else 's stand'} in the report beside the works "
        "that earn them. Read them before anybody digs."] if count else [])])
    with made.inputs.told():
        for words in decimal(system):
            say()
            say(words)
    heading("Written")
    for path in written:
        say(f"  {path}")
