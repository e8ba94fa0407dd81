"""Saving, and what is to be decided about the site file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from bokeh.models import Button, Row

from terrain.bench.keeping import Changed
from terrain.bench.page import look
from terrain.errors import InputError

if TYPE_CHECKING:
    from terrain.bench.page.page import Page


class Saving:
    """Saves a page's sitting and asks what only the owner can decide.

    Parameters
    ----------
    page : Page
    """

    def __init__(self, page: Page) -> None:
        self.page = page
        self.asks = Row(visible=False)

    def save(self) -> bool:
        """Save to the site file; if another program changed it, ask what is to be done."""
        try:
            saved = self.page.sitting.save()
        except Changed as changed:
            self.ask(f"{changed}", [("Join both", self._join), ("Save mine beside it",
                                                                 self._save_beside),
                                     ("Take the file's", self._take_theirs)])
            return False
        except InputError as error:
            self.page.say(error)
            return False
        self.page.show()
        self.page.say(saved.said)
        return True

    def ask(self, words: str, answers: list[tuple[str, Callable[[], None]]]) -> None:
        """Ask a question that buttons answer."""
        self.page.say(words)
        buttons = []
        for label, reply in answers:
            button = Button(label=label, stylesheets=[look.widgets()])

            def clicked(reply: Callable[[], None] = reply) -> None:
                self.asks.visible = False
                reply()
            button.on_click(self.page.safely(clicked))
            buttons.append(button)
        self.asks.children = buttons
        self.asks.visible = True

    def _join(self) -> None:
        try:
            both = self.page.sitting.join()
        except InputError as error:
            self.page.say(error)
            return
        self.page.show()
        self.page.say("Both are joined; look it over, then save." + ("" if not both.clashes else
                  f" Changed on both sides, so the file's own is taken: {', '.join(both.clashes)}."
                  " Undo is begun anew."))

    def _save_beside(self) -> None:
        path = self.page.sitting.file.save_beside(self.page.sitting.text)
        self.page.say(f"Saved as {path.name}; the site file is as the other program left it.")

    def _take_theirs(self) -> None:
        path = self.page.sitting.file.save_beside(self.page.sitting.text)
        try:
            self.page.sitting.take_theirs()
        except InputError as error:
            self.page.say(error)
            return
        self.page.show()
        self.page.say(f"The site file was read again; what was on the bench is in {path.name}.")

    def offer_aside(self) -> None:
        """Offer what an earlier sitting left unsaved."""
        aside, notes = self.page.sitting.left, " ".join(self.page.sitting.file.notes)
        if aside is None:
            self.page.say(notes)
            return
        beware = "" if aside.same else (
            " The site file was changed since: taking them up puts the works as they were then "
            "in the place of those that stand in it now; nothing is saved until you do.")
        self.ask(f"An earlier sitting ended at {aside.when:%H:%M on %d %B %Y} with changes that "
                  f"were not saved.{beware} {notes}".strip(),
                  [("Take them up", self._take_up), ("Leave them out", self.page.sitting.leave)])

    def _take_up(self) -> None:
        try:
            self.page.sitting.take_up()
        except InputError as error:
            self.page.say(error)
            return
        self.page.show()

    def saved_file(self) -> Path | None:
        """The site file, saved if it was not; None if it could not be."""
        if self.page.sitting.desk.unsaved and not self.save():
            return None
        return self.page.sitting.file.path
