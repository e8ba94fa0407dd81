"""A site file opened on the bench: what is read, drawn, run and served, put together."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from terrain.bench.errands import Errands
from terrain.bench.layers.pictures import Pictures
from terrain.bench.page.errand_bar import Runs
from terrain.bench.page.page import make_document
from terrain.bench.page.shared import Shared
from terrain.bench.server import Bench
from terrain.bench.sitting import Sitting

#: The parts of bokeh's program that the page uses.
PARTS = ["bokeh", "bokeh-widgets"]


@dataclass(frozen=True)
class Opened:
    """A bench that is ready to be served; `notes` say what was assumed of the picture."""

    server: Bench
    sitting: Sitting
    notes: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The site's."""
        return self.sitting.inputs.site.name

    def left(self) -> str:
        """What becomes of what was done, in a sentence."""
        if not self.sitting.desk.unsaved:
            return "Nothing was left unsaved."
        return ("What was not saved is kept beside the site file, and offered when the bench is "
                "opened again.")


def open_bench(site: Path, picture: Path | None = None, port: int = 0,
               progress: Callable[[str], None] = lambda what: None) -> Opened:
    """Open a site file on the bench.

    Raises
    ------
    InputError
        For what is wrong with the file or the picture, or if the port is taken.
    """
    sitting = Sitting.of(site, progress)
    pictures = Pictures(sitting.inputs, picture)
    server = Bench(lambda doc: make_document(doc, shared), pictures=pictures.encoded,
                   folder=sitting.file.path.resolve().parent, port=port, parts=PARTS)
    errands = Errands(server.add_callback, server.allow)
    shared = Shared(sitting, pictures, server.picture_address,
                    Runs(errands, server.made_address))
    progress("Drawing the ground")
    shared.ready()
    server.before_end(sitting.keep_aside)
    server.before_end(errands.end)
    return Opened(server, sitting, pictures.notes)
