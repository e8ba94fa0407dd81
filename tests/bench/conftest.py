"""A bench with a page of two things on it, served within the tests' process."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest


def two_things(doc) -> None:
    """A map with three points, a button that the server answers, a name that would do harm."""
    from bokeh.layouts import column
    from bokeh.models import Button, Div
    from bokeh.plotting import figure

    ground = figure(width=300, height=300)
    ground.scatter(np.arange(3.0), np.arange(3.0), size=9)
    told = Div(text="<img src='data:,' onerror='window.harmed = 1'>nothing yet")
    button = Button(label="Ask")
    asked: list[int] = []

    def ask() -> None:
        asked.append(1)
        told.text = f"asked {len(asked)}"

    button.on_click(ask)
    doc.add_root(column(ground, button, told))
    doc.title = "</title><script>window.harmed = 2</script>"


@contextmanager
def serving(bench) -> Iterator[None]:
    """Run a bench on a thread of its own."""
    thread = threading.Thread(target=bench.run, daemon=True)
    thread.start()
    try:
        yield
    finally:
        bench.stop()
        thread.join(20)
    assert not thread.is_alive()


@pytest.fixture(scope="session", name="two_things")
def _two_things() -> Callable:
    return two_things


@pytest.fixture(scope="session", name="serving")
def _serving() -> Callable:
    return serving


@pytest.fixture(scope="module")
def site_folder(tmp_path_factory) -> Path:
    """A site's folder, with what the bench made in it, what it did not, and ways out of it."""
    home = tmp_path_factory.mktemp("home")
    site = home / "site"
    made = site / "bench plan of site"
    (made / "sheets").mkdir(parents=True)
    (home / "outside.txt").write_text("SECRET outside")
    (site / "site.yaml").write_text("SECRET name: a site")
    (site / "owner").mkdir()
    (site / "owner" / "report.html").write_text("SECRET of the owner")
    (site / "bench plan of site 2").mkdir()
    (site / "bench plan of site 2" / "report.html").write_text("SECRET beside it")
    (made / "report.html").write_text(
        "<!doctype html><title>Made</title><p id=p>still</p>"
        "<script>document.getElementById('p').textContent = 'runs'</script>")
    (made / "plan.json").write_text("{}")
    (made / "setting out.csv").write_text("name,x,y\n")
    (made / "plan_set.pdf").write_bytes(b"%PDF-1.4\n")
    (made / "drawing.dxf").write_text("0\nEOF\n")
    (made / "sheets" / "höhe 1.svg").write_text("<svg xmlns='http://www.w3.org/2000/svg'/>")
    (made / ".levelsill-wrote.json").write_text("SECRET record")
    (made / ".hidden").mkdir()
    (made / ".hidden" / "report.html").write_text("SECRET hidden")
    (made / "shown.html").symlink_to(made / ".hidden" / "report.html")
    (made / "out.txt").symlink_to(home / "outside.txt")
    (made / "site.txt").symlink_to(site / "site.yaml")
    (made / "up").symlink_to(home)
    (made / "within.json").symlink_to(made / "plan.json")
    (made / "nowhere.txt").symlink_to(home / "nothing")
    os.mkfifo(made / "pipe.txt")
    return site


@pytest.fixture(scope="module")
def bench(site_folder: Path) -> Iterator[object]:
    """A bench that hands out the page of two things, a picture, and what it made of the site."""
    from wire import MADE, picture

    from terrain.bench.server import Bench

    made = Bench(two_things, pictures=picture, folder=site_folder)
    made.allow(site_folder / MADE)
    with serving(made):
        yield made
