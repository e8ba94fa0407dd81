"""Buttons for what takes longer: plan, prove, suggest, and what they made."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from html import escape
from math import ceil
from pathlib import Path
from typing import Any

from bokeh.models import Button, CustomJS, Div, Row

from terrain.bench.errands import Errands, Running, plan, prove, suggest
from terrain.bench.page import look
from terrain.errors import InputError

#: What a person opens first of what each errand made.
FIRST = {"report": ("plan", "report"), "setting out": ("plan", "stakes")}
#: A storm is proved on no more cells than this, where cells that large still show a work.
PROVED = 120_000


def cell_to_prove(cell: float, cells: int) -> str:
    """Side of the cells that a storm is proved on, with its unit, on so many of some side. [m]"""
    from terrain.proof.flood_ground import COARSEST

    large = cell * max((cells / PROVED) ** 0.5, 1.0)
    return f"{min(ceil(2 * large) / 2 if large > cell else cell, COARSEST):g} m"


@dataclass
class Runs:
    """The errands of a sitting, the same for every page.

    Attributes
    ----------
    errands : Errands
    last : dict of str to Running
        The last run of each kind.
    works : dict of str to list
        The works that it was begun with.
    storm : str
        The storm that was proved last: one of the site file, whatever depth was shown.
    made_address : callable
        Where a page finds a file that was made.
    """

    errands: Errands
    made_address: Callable[[Path], str]
    last: dict[str, Running] = field(default_factory=dict)
    works: dict[str, list[Any]] = field(default_factory=dict)
    storm: str = ""


class ErrandBar:
    """The buttons, and how far the errand is.

    Parameters
    ----------
    before : callable
        Saves what is not saved; what it returns is the site file, None if nothing may run.
    storm : callable
        Name of the storm to prove, and the side of its cells with its unit.
    works : callable
        The works as they are now.
    say : callable
        Tells the person a sentence.
    """

    def __init__(self, runs: Runs, before: Callable[[], Path | None],
                 storm: Callable[[], tuple[str, str]], works: Callable[[], list[Any]],
                 say: Callable[[str], None]) -> None:
        self.runs, self._before, self._storm = runs, before, storm
        self._works, self._say = works, say
        self.buttons = {}
        for kind, label in (("plan", "Plan"), ("report", "Report"), ("setting out", "Setting out"),
                            ("prove", "Prove"), ("suggest", "Suggest")):
            button = Button(label=label, stylesheets=[look.widgets()], name=kind)
            button.on_click(lambda kind=kind: self.start(kind))
            self.buttons[kind] = button
        self.stop = Button(label="Stop", visible=False, stylesheets=[look.widgets()], name="stop")
        self.stop.on_click(self._stop)
        self.told = Div(stylesheets=[look.words()], name="made")
        self.told.js_on_change("tags", CustomJS(
            code="if (cb_obj.tags.length) window.open(cb_obj.tags[0], '_blank', 'noopener');"))
        self.root = Row(children=[*self.buttons.values(), self.stop], name="errands")
        self.look()

    def start(self, kind: str) -> None:
        """Begin an errand; report and setting out are parts of the plan, opened where that is of
        the works as they are."""
        real, door = FIRST.get(kind, (kind, ""))
        ready = self.runs.last.get(real)
        if door and ready is not None and ready.state == "done" and not self._older(real) and (
                door in ready.doors()):
            self.told.tags = []
            self.told.tags = [self.runs.made_address(ready.doors()[door])]
            return
        site = self._before()
        if site is None:
            return
        storm, cell = self._storm() if real == "prove" else (self.runs.storm, "")
        made = {"plan": lambda: plan(site),
                "prove": lambda: prove(site, storm, cell),
                "suggest": lambda: suggest(site)}[real]()
        try:
            self.runs.last[real] = self.runs.errands.start(made, lambda running: None)
            self.runs.works[real] = self._works()
            self.runs.storm = storm
        except InputError as error:
            self._say(str(error))
        self.look()

    def _stop(self) -> None:
        running = self.runs.errands.running
        if running is not None:
            running.cancel()
        self.look()

    def look(self) -> None:
        """See how far it is."""
        running = self.runs.errands.running
        for button in self.buttons.values():
            if button.disabled != (running is not None):
                button.disabled = running is not None
        if self.stop.visible != (running is not None):
            self.stop.visible = running is not None
        words = "".join(f"<p>{self._line(kind, run)}</p>" for kind, run in self.runs.last.items()
                        if run.state != "stopped")
        if self.told.text != words:
            self.told.text = words

    def _older(self, kind: str) -> bool:
        """Whether works changed since a run began."""
        return self.runs.works.get(kind) != self._works()

    def _line(self, kind: str, run: Running) -> str:
        name = {"plan": "Plan", "prove": f"Proof of {escape(self.runs.storm)}",
                "suggest": "Suggestion"}[kind]
        if not run.over:
            doing = "Stopping" if run.stopping else run.said or "Starting"
            return f"{name}: {escape(doing)} … {run.seconds:.0f} s"
        if run.state == "done":
            links = ", ".join(
                f"<a href='{escape(self.runs.made_address(path), quote=True)}' target='_blank' "
                f"rel='noopener'>{escape(what)}</a>" for what, path in run.doors().items())
            older = (", <span class='warn'>before the last changes</span>"
                     if self._older(kind) else "")
            return f"{name}{older}: {links}"
        return f"{name}: <span class='warn'>{escape(run.error)}</span>"
