"""The one error a person sees: where, what is wrong, what to do."""

from __future__ import annotations

#: No part of a sentence is longer: what a file holds may be cited, and be as long as the file.
LONGEST = 600


class InputError(ValueError):
    """Something a person gave cannot be used.

    Parameters
    ----------
    where : str
        The file, line, field or feature, e.g. ``site.yaml line 14, works "top swale"``.
    what : str
        What is wrong, as the end of a sentence that starts with `where`.
    remedy : str
        What to do about it, a sentence without its full stop.
    """

    def __init__(self, where: str, what: str, remedy: str) -> None:
        self.where, self.what, self.remedy = map(_plain, (where, what, remedy))
        super().__init__(f"{self.where}: {self.what}. {self.remedy}.")

    def __reduce__(self) -> tuple[type[InputError], tuple[str, str, str]]:
        return type(self), (self.where, self.what, self.remedy)  # it may come from a process aside


def _plain(words: str) -> str:
    """On one line, without what a terminal would obey, and not endless."""
    words = "".join(sign if sign.isprintable() or sign == " " else "·" for sign in
                    words.replace("\r\n", " ").replace("\n", " ").replace("\t", " "))
    if len(words) > LONGEST:
        words = f"{words[:LONGEST // 2]} … {words[-LONGEST // 2:]}"
    return words
