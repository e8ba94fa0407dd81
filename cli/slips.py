"""Slips of the command line in plain words: what is wrong, and what was perhaps meant."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence

import click

#: Words this much alike may be slips of each other.
ALIKE = 0.6
_TOO_MANY = re.compile(r"^Got unexpected extra arguments? \((.*)\)$")
_NO_NUMBER = re.compile(r" is not a valid (?:integer|float)(?: range)?$")
_NUMBER = re.compile(r"[-+]?[\d.,]*\d[\d.,]*")


def in_words(error: click.ClickException, words: Sequence[str]) -> str:
    """What a slip is told as, without the way to the help.

    Parameters
    ----------
    words : sequence of str
        What was typed behind the command's name.
    """
    if isinstance(error, click.NoSuchOption) and error.ctx is not None:
        known = [name for param in error.ctx.command.get_params(error.ctx) for name in param.opts]
        where = ("; units stand in the site file (units: us)" if error.option_name == "--units"
                 and "--units" not in known else "")
        return (f"There is no option '{error.option_name}'"
                + (where or _perhaps(error.option_name, known)))
    said = error.format_message().strip().rstrip(".")
    kind = getattr(getattr(error, "param", None), "type", None)
    if _NO_NUMBER.search(said) and isinstance(kind, click.types.IntParamType
                                              | click.types.FloatParamType):
        return _NO_NUMBER.sub(_number_wanted(kind), said)
    many = _TOO_MANY.match(said)
    return _too_many(many.group(1).split(), words) if many else said


def no_command(word: str, known: Iterable[str]) -> str:
    """That there is no such command, and what was perhaps meant."""
    if word.lower().endswith((".yaml", ".yml")):
        return (f"There is no command '{word}'; if it is a site file, say first what to do with "
                f"it, such as: levelsill check {word}")
    return f"There is no command '{word}'" + _perhaps(word, known)


def _perhaps(word: str, known: Iterable[str]) -> str:
    names = {name.lstrip("-"): name for name in known}
    near = difflib.get_close_matches(word.lower().lstrip("-"), names, 1, ALIKE)
    return f"; perhaps {names[near[0]]} was meant" if near else ""


def _number_wanted(kind: object) -> str:
    """That a number of a kind is wanted, with its bounds."""
    words = "whole number" if isinstance(kind, click.types.IntParamType) else "number"
    least, most = getattr(kind, "min", None), getattr(kind, "max", None)
    within = ("" if least is None else f" from {least:g}") + ("" if most is None else
                                                              f" to {most:g}")
    return f" is not a {words}{within}"


def _too_many(extra: Sequence[str], words: Sequence[str]) -> str:
    """Words that no argument takes: a unit behind a blank, or something else."""
    for place, word in enumerate(words):
        if word not in extra or not word[:1].isalpha():
            continue
        option, sign, value = words[place - 1].partition("=")
        if not sign:
            option, value = words[place - 2] if place > 1 else "", words[place - 1]
        if place and option.startswith("-") and _NUMBER.fullmatch(value):
            return (f"{option}: a blank stands between '{value}' and '{word}'; write "
                    f"{option} {value}{word}, or put it in quotes: {option} '{value} {word}'")
    said = (f"The words '{' '.join(extra)}' are too many" if len(extra) > 1 else
            f"The word '{extra[0]}' is one too many")
    return f"{said}; put words that belong together in quotes"
