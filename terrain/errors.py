"""The one error a person sees: where, what is wrong, what to do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

#: No part of a sentence is longer: what a file holds may be cited, and be as long as the file.
LONGEST = 600
#: No more faults than this are told in one go.
MOST_TOLD = 12


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

    def __reduce__(self) -> tuple[type[InputError], tuple[Any, ...]]:
        return type(self), (self.where, self.what, self.remedy)  # it may come from a process aside


class InputErrors(InputError):
    """Several things that cannot be used, told in one go.

    Parameters
    ----------
    each : sequence of InputError
        At least one; the first gives `where`, `what` and `remedy`.
    """

    def __init__(self, each: Sequence[InputError]) -> None:
        super().__init__(each[0].where, each[0].what, each[0].remedy)
        self.each = tuple(each)
        self.args = (" ".join(map(str, each)),)

    def __reduce__(self) -> tuple[type[InputError], tuple[Any, ...]]:
        return type(self), (self.each,)


@contextmanager
def kept(found: list[InputError]) -> Iterator[None]:
    """Add what a block refuses to what was found already, so that all of it can be told."""
    try:
        yield
    except InputErrors as error:
        found += error.each
    except InputError as error:
        found.append(error)


def refuse(found: Sequence[InputError]) -> None:
    """Raise what was found, if anything was.

    Raises
    ------
    InputError
        The one, or all of them as `InputErrors`.
    """
    told = list({str(error): error for error in found}.values())
    if len(told) > MOST_TOLD:
        last = told[MOST_TOLD - 1]
        told[MOST_TOLD - 1:] = [InputError(last.where, last.what, f"{last.remedy}; then look again,"
                                           f" as {len(told) - MOST_TOLD} more faults were found")]
    if told:
        raise told[0] if len(told) == 1 else InputErrors(told)


def _plain(words: str) -> str:
    """On one line, without what a terminal would obey, and not endless."""
    words = "".join(sign if sign.isprintable() or sign == " " else "·" for sign in
                    words.replace("\r\n", " ").replace("\n", " ").replace("\t", " "))
    if len(words) > LONGEST:
        words = f"{words[:LONGEST // 2]} … {words[-LONGEST // 2:]}"
    return words
