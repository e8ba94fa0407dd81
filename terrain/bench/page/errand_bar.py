"""Buttons for what takes longer: plan, prove, suggest, and what they made."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from html import escape
from pathlib import Path

from bokeh.models import Button, Column, Div, Row

from terrain.bench.errands import Errands, Running, plan, prove, suggest
from terrain.bench.page import look
from terrain.errors import InputError

#: What a person opens first of what each errand made.
FIRST = {"report": ("plan", "report"), "setting out": ("plan", "stakes")}


@dataclass
class Runs:
    """The errands of a sitting, the same for every page.

    Attributes
    ----------
    errands : Errands
    last : dict of str to Running
        The last run of each kind.
    made_address : callable
        Where a page finds a file that was made.
    """

    errands: Errands
    made_address: Callable[[Path], str]
    last: dict[str, Running] = field(default_factory=dict)


class ErrandBar:
    """The buttons, and how far the errand is.

    Parameters
    ----------
    before : callable
        Saves what is not saved; what it returns is the site file, None if nothing may run.
    storm : callable
        Name of the storm to prove, and the side of its cells with its unit.
    say : callable
        Tells the person a sentence.
    """

    def __init__(self, runs: Runs, before: Callable[[], Path | None],
                 storm: Callable[[], tuple[str, str]], say: Callable[[str], None]) -> None:
        self.runs, self._before, self._storm, self._say = runs, before, storm, say
        self.buttons = {}
        for kind, label in (("plan", "Plan"), ("report", "Report"), ("setting out", "Setting out"),
                            ("prove", "Prove"), ("suggest", "Suggest")):
            button = Button(label=label, stylesheets=[look.widgets()], name=kind)
            button.on_click(lambda kind=kind: self.start(kind))
            self.buttons[kind] = button
        self.stop = Button(label="Stop", visible=False, stylesheets=[look.widgets()], name="stop")
        self.stop.on_click(self._stop)
        self.told = Div(stylesheets=[look.words()])
        self.root = Column(children=[Row(children=[*self.buttons.values(), self.stop]), self.told],
                           name="errands")
        self.look()

    def start(self, kind: str) -> None:
        """Begin an errand; report and setting out are parts of the plan."""
        site = self._before()
        if site is None:
            return
        real = FIRST[kind][0] if kind in FIRST else kind
        made = {"plan": lambda: plan(site),
                "prove": lambda: prove(site, *self._storm()),
                "suggest": lambda: suggest(site)}[real]()
        try:
            self.runs.last[real] = self.runs.errands.start(made, lambda running: None)
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
        words = "".join(f"<p>{self._line(kind, run)}</p>" for kind, run in self.runs.last.items())
        if self.told.text != words:
            self.told.text = words

    def _line(self, kind: str, run: Running) -> str:
        name = {"plan": "Plan", "prove": "Proof", "suggest": "Suggestion"}[kind]
        if not run.over:
            doing = "Stopping" if run.stopping else run.said or "Starting"
            return f"{name}: {escape(doing)} … {run.seconds:.0f} s"
        if run.state == "done":
            links = ", ".join(
                f"<a href='{escape(self.runs.made_address(path), quote=True)}' target='_blank' "
                f"rel='noopener'>{escape(what)}</a>" for what, path in run.doors().items())
            return f"{name}, made in {run.seconds:.0f} s: {links}"
        if run.state == "stopped":
            return f"{name}: stopped; nothing was left half-written."
        return f"{name}: {escape(run.error)}"
