"""What is printed: progress to stderr, answers to stdout."""

from __future__ import annotations

import re
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

#: Work longer than this shows its progress. [s]
PATIENCE = 1.0
#: Without a terminal a step says how far it is so often. [s]
TELL_EVERY = 15.0


@contextmanager
def progress(asked: threading.Event | None = None) -> Iterator[Callable[[str], None]]:
    """Give a function that says what is being done.

    On a terminal a spinner shows it; elsewhere each step that begins after a second prints one
    line to stderr.  A Ctrl-C that some library swallowed is seen at the next step.

    Parameters
    ----------
    asked : Event, optional
        Set by the first Ctrl-C, for work that then ends by itself with what it has; the second one
        stops it.
    """
    stopped = threading.Event()

    def stop(number: int, frame: Any) -> None:
        if asked is not None and number == signal.SIGINT and not asked.is_set():
            asked.set()
            return
        stopped.set()
        raise KeyboardInterrupt

    # A closed terminal and a polite kill stop as Ctrl-C does: nothing is left half-written.
    kinds = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP")
             if hasattr(signal, name)]
    before = {kind: signal.signal(kind, stop) for kind in kinds}
    try:
        with _shown() as show, _compiling_told(show):
            def step(what: str) -> None:
                if stopped.is_set():
                    raise KeyboardInterrupt
                show(what)
            yield step
            if stopped.is_set():
                raise KeyboardInterrupt
    finally:
        for kind, handler in before.items():
            signal.signal(kind, handler)


@contextmanager
def _compiling_told(show: Callable[..., None]) -> Iterator[None]:
    """Say so when the flow kernels are compiled, which only the first run does."""
    from numba.core import event

    class Told(event.Listener):
        said = False

        def on_start(self, event: Any) -> None:
            if not self.said:
                self.said = True
                show("Compiling the flow kernels, this once", True)

        def on_end(self, event: Any) -> None:
            """Only the first start is told."""

    with event.install_listener("numba:compile", Told()):
        yield


@contextmanager
def _shown() -> Iterator[Callable[..., None]]:
    started = time.monotonic()
    if sys.stderr.isatty():
        from rich.console import Console

        console = Console(stderr=True)
        with console.status("Starting") as status:
            yield lambda what, at_once=False: status.update(f"{what} ...")
        return

    last = ("", started)

    def line(what: str, at_once: bool = False) -> None:
        nonlocal last
        now, step = time.monotonic(), re.split(r"[\d,]", what, maxsplit=1)[0]
        # A step that tells how far it is says so now and then.
        if not at_once and (now - started <= PATIENCE
                            or (step == last[0] and now - last[1] < TELL_EVERY)):
            return
        last = (step, now)
        click.echo(f"{what} ...", err=True)
    yield line


def say(text: str = "") -> None:
    """A line of the answer."""
    click.echo(_plain(text))


def _plain(text: str) -> str:
    """Words of a file without what a terminal would obey; the ends of lines stay."""
    return re.sub(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]", "·", text)


def heading(text: str) -> None:
    """A heading."""
    click.echo()
    click.secho(_plain(text), bold=True)


def facts(rows: Sequence[tuple[str, str]]) -> None:
    """Names and their values, aligned."""
    width = max(len(name) for name, _ in rows)
    for name, value in rows:
        say(f"  {name:<{width}}  {value}")


def table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """A plain table; the first column to the left, the rest to the right."""
    widths = [max(len(row[i]) for row in [header, *rows]) for i in range(len(header))]
    for n, row in enumerate([header, *rows]):
        cells = [f"{cell:<{widths[i]}}" if i == 0 else f"{cell:>{widths[i]}}"
                 for i, cell in enumerate(row)]
        click.secho(_plain(("  " + "  ".join(cells)).rstrip()), bold=n == 0)


def storm_table(storms: Sequence[Any], system: str) -> None:
    """What each storm brings to a store, and what the store does with it."""
    from terrain.units import shown

    if not storms:
        return
    heading("Storms")
    table(["rain", "runs to it", "caught", "spilled"],
          [[shown(s.rain, "rain", system), shown(s.runoff, "volume", system),
            shown(s.caught, "volume", system), shown(s.spilled, "volume", system)]
           for s in storms])


def arrival(catchment: Any, storms: Sequence[Any], system: str) -> None:
    """How long the water takes, and its peak by each method."""
    from terrain.units import shown

    heading("How fast it comes")
    for reach in catchment.reaches:
        click.echo(f"  {reach.kind:<8} {shown(reach.length, 'length', system):>10} at "
                   f"{reach.slope:.1%}, {60 * reach.hours:.1f} min  ({reach.surface})")
    by_segments = catchment.concentration_by_segments
    times = [("lag equation", catchment.concentration_by_lag), ("segments", by_segments)]
    used = "segments" if catchment.by_segments else "lag equation"
    unknown = ("not reckoned: the longest way of its water is a single cell"
               if catchment.longest_path <= 0 else
               "not reckoned: the 2-year 24-hour rain is not told; give it with --two-year-day")
    least = catchment.concentration
    facts([(f"time of concentration, {name}", unknown if hours is None else
            f"{60 * hours:.1f} min" + ("" if name != used else ", used" if hours >= least else
                                       f"; {60 * least:.0f} min were used, the least of TR-55 "
                                       "(1986)"))
           for name, hours in times])
    table(["rain", "peak by unit hydrograph (used)", "graphical", "rational"],
          [[shown(s.rain, "rain", system), shown(s.peaks.unit_hydrograph, "flow", system),
            "-" if s.peaks.graphical is None else shown(s.peaks.graphical, "flow", system),
            "-" if s.peaks.rational is None else shown(s.peaks.rational, "flow", system)]
           for s in storms])
    for note in dict.fromkeys(note for s in storms for note in s.peaks.notes):
        click.echo(f"  {note}")


def remarks(title: str, lines: Sequence[str]) -> None:
    """Cautions or notes, one to a line, wrapped."""
    import textwrap

    if not lines:
        return
    heading(title)
    for line in lines:
        say(textwrap.fill(line, 88, initial_indent="  - ", subsequent_indent="    "))


def save_picture(draw: Callable[[], Any], path: Path | None) -> None:
    """Draw a figure into a new PNG file, whole or not at all."""
    if path is None:
        return
    from terrain.files import whole_file

    with whole_file(path) as draft:
        draw().savefig(draft, format="png", metadata={"Software": None})
    click.echo(f"Drawn: {path}", err=True)


def decimal(system: str) -> list[str]:
    """Which foot levels are told in, and that its parts are tenths; nothing in metric units."""
    from terrain.units import tenths_words

    said = tenths_words(system)
    return [said] if said is not None else []
