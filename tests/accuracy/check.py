"""A figure from outside the project beside ours: where it is from, how far off we are at worst."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

TABLES = Path(__file__).resolve().parents[1] / "published"
#: Smaller errors differ from machine to machine, and are all told alike.
LEAST_TOLD = 1e-5
#: The unit of what is told exactly.
CELLS = "cells that differ"


@dataclass(frozen=True)
class Check:
    """One comparison, over one figure or many of a kind.

    Attributes
    ----------
    source, quantity, unit : str
        Where the figure is from; what it is; its unit, "" for none.
    count : int
        How many figures were compared; 0 where `error` is a mean over all there are.
    published, ours : float or None
        Those of the figure that is furthest off; None where `error` is such a mean.
    error, within : float
        How far off that is, and how far it may be; shares of the published figure if `relative`.
    note : str
        Why it is off where it is.
    """

    source: str
    quantity: str
    unit: str
    count: int
    published: float | None
    ours: float | None
    error: float
    within: float
    relative: bool
    note: str = ""


def compared(source: str, quantity: str, unit: str, published: Any, ours: Any, within: float,
             relative: bool = False, note: str = "") -> Check:
    """Figures of one kind held against ours; the worst is kept.

    Parameters
    ----------
    within : float
        What an error may be: half a unit of the last place printed, or what is known of the way.
    relative : bool
        Errors are shares of the published figures.
    """
    theirs, own = (np.atleast_1d(np.asarray(part, float)).ravel() for part in (published, ours))
    if theirs.shape != own.shape or not theirs.size:
        raise ValueError(f"{quantity}: {theirs.size} figures are held against {own.size}")
    errors = np.abs(own - theirs) / (np.abs(theirs) if relative else 1.0)
    worst = int(np.argmax(errors)) if errors.max() >= LEAST_TOLD else 0
    return Check(source, quantity, unit, theirs.size, float(theirs[worst]), float(own[worst]),
                 float(errors.max()), within, relative, note)


def differing(source: str, quantity: str, published: Any, ours: Any, note: str = "") -> Check:
    """How many of two grids' cells differ: none may."""
    theirs, own = np.asarray(published), np.asarray(ours)
    if theirs.shape != own.shape:
        raise ValueError(f"{quantity}: {theirs.shape} is held against {own.shape}")
    count = int((theirs != own).sum())
    return Check(source, quantity, CELLS, theirs.size, 0.0, float(count),
                 float(count), 0.0, False, note)


def known(source: str, quantity: str, error: float, within: float, note: str = "") -> Check:
    """A mean error against a form in closed shape, as a share, and what it is known to be."""
    return Check(source, quantity, "", 0, None, None, error, within, True, note)


def by(source: str, table: str) -> str:
    """A source, and how its figures came into a table of `tests/published/`."""
    head = "".join(line for line in (TABLES / table).read_text(encoding="utf-8").splitlines(True)
                   if line.startswith("#")).lower()
    how = [words for sign, words in (("memory", "from memory"), ("recomputed", "recomputed"))
           if sign in head]
    return source + (f" ({', '.join(how)})" if how else "")
