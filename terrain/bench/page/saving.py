"""Saving, and what is to be decided about the site file."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from bokeh.models import Button, Column, Div, Row

from terrain.bench.keeping import Changed
from terrain.bench.page import look
from terrain.bench.page.words import plain
from terrain.errors import InputError

if TYPE_CHECKING:
    from terrain.bench.page.page import Page


#: No question has more answers.
ANSWERS = 3


class Saving:
    """Saves a page's sitting and asks what only the owner can decide.

    Parameters
    ----------
    page : Page
    """

    def __init__(self, page: Page) -> None:
        self.page = page
        self._replies: list[Callable[[], None]] = []
        self._question = Div(stylesheets=[look.words()], sizing_mode="stretch_width")
        self._buttons = [Button(stylesheets=[look.widgets()]) for _ in range(ANSWERS)]
        for number, button in enumerate(self._buttons):
            button.on_click(page.safely(lambda number=number: self._answered(number)))
        touched = Row(children=self._buttons, styles={"pointer-events": "auto"})
        self.asks = Column(children=[self._question, touched], visible=False,
                           sizing_mode="stretch_width", stylesheets=[look.note()])

    def save(self) -> bool:
        """Save to the site file; if another program changed it, ask what is to be done."""
        try:
            saved = self.page.sitting.save()
        except Changed as changed:
            self.ask(plain(changed, self.page.system), [
                ("Join both", self._join), ("Save mine beside it", self._save_beside),
                ("Take the file's", self._take_theirs)])
            return False
        except InputError as error:
            self.page.say(error)
            return False
        self.page.show()
        self.page.say(saved.said)
        return True

    def ask(self, words: str, answers: list[tuple[str, Callable[[], None]]]) -> None:
        """Ask a question that buttons answer; it stands until it is answered."""
        self._question.text = f"<p class='warn'><b>{escape(words)}</b></p>"
        self._replies = [reply for _, reply in answers]
        for button, (label, _) in zip(self._buttons, answers, strict=False):
            button.update(label=label, visible=True)
        for button in self._buttons[len(answers):]:
            button.visible = False
        self.asks.visible = True

    def _answered(self, number: int) -> None:
        self.asks.visible = False
        self._replies[number]()

    def _join(self) -> None:
        try:
            both = self.page.sitting.join()
        except InputError as error:
            self.page.say(error)
            return
        self.page.show()
        self.page.say("Both are joined; look it over, then save. Undo is begun anew." + (
            "" if not both.clashes else " Changed on both sides, so the file's own is taken: "
            f"{', '.join(both.clashes)}."))

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
        self.page.say("Taken up; nothing is saved yet.")

    def saved_file(self) -> Path | None:
        """The site file, saved if it does not say what the page shows; None if it could not be."""
        sitting = self.page.sitting
        if (sitting.desk.unsaved or sitting.file.changed()) and not self.save():
            return None
        return sitting.file.path
