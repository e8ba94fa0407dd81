"""levelsill bench: lay works out on the map, in a browser."""

from __future__ import annotations

import os
import sys
import threading
from pathlib import Path

import click

from cli.console import progress, say

#: How the names of site files end; anything else is taken for a raster.
SITE_FILES = (".yaml", ".yml", ".json")


@click.command()
@click.argument("site", metavar="SITE_OR_RASTER", type=click.Path(path_type=Path))
@click.option("--picture", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
              help="A picture from the air with its place in it, to lie under the works.")
@click.option("--port", type=click.IntRange(0, 65535), default=0, metavar="NUMBER",
              help="Of the page's address on this machine; a free one if left out.")
@click.option("--no-browser", is_flag=True,
              help="Only print the address; open it yourself, on this machine.")
def bench(site: Path, picture: Path | None, port: int, no_browser: bool) -> None:
    """Lay works out on the map in a browser, and see at once what each of them catches.

    Given a bare raster, it begins a site file beside it.  The page is for this machine alone, and
    only for who has its address; Ctrl-C here ends it.

    \b
    levelsill bench site.yaml
    levelsill bench site.yaml --picture from_the_air.tif
    levelsill bench hill.tif --no-browser
    """
    from terrain.bench.opening import open_bench
    from terrain.files import is_folder

    with progress() as step:
        if not is_folder(site) and site.suffix.lower() not in SITE_FILES:
            from terrain.bench.bare import site_for

            step("Beginning a site file for the raster")
            site = site_for(site)
            say(f"The bench saves to {site}, which has its boundary beside it. Rain, cover, soil "
                "and boundary in it are GUESSED until you set them right there.")
        opened = open_bench(site, picture, port, step)
    for note in opened.notes:
        say(note)
    say(f"{opened.name} is on the bench at")
    say(f"  {opened.server.url}")
    say("Whoever has this address on this machine is let in. Ctrl-C ends the bench.")
    sys.stdout.flush()
    if not no_browser and _has_screen():
        threading.Thread(target=_show, args=(opened.server.ticket(),), daemon=True).start()
    opened.server.run()
    say(f"\nThe bench is closed. {opened.left()}")


def _has_screen() -> bool:
    """Whether there is a browser with windows; one of letters would take this terminal."""
    return sys.platform in ("win32", "darwin") or any(
        os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER"))


def _show(address: str) -> None:
    import webbrowser

    try:
        shown = webbrowser.open(address)
    except (webbrowser.Error, OSError):
        shown = False
    if not shown:
        click.echo("No browser could be opened from here; open the address yourself.", err=True)
