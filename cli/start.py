"""levelsill start: a new site file, or the demo site."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from cli.console import say


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path, file_okay=False))
@click.option("--demo", is_flag=True, help="Copy the demo site instead: an invented smallholding "
                                           "with everything in it.")
@click.option("--units", "system", type=click.Choice(["metric", "us"]), default="metric",
              show_default=True, help="Units of the new site file.")
def start(folder: Path, demo: bool, system: Literal["metric", "us"]) -> None:
    """Make a folder with a new site file full of comments, or with the demo site.

    \b
    levelsill start myplace
    levelsill start myplace --units us
    levelsill start quailstone --demo
    """
    from terrain.inputs.starter import begin

    path = begin(folder, demo, system)
    if demo:
        say(f"The demo site is in {folder}. Plan it with: levelsill plan {path}")
    else:
        say(f"{path} is ready to be filled in. Check it with: levelsill check {path}")
