"""A line of the report's tables, ready to print."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Row:
    """A line of a table: its name and its cells as they are printed."""

    name: str
    cells: list[str]


def or_else(value: float | None, otherwise: str, say: Any) -> str:
    """A figure as it is said, or what stands where there is none."""
    return otherwise if value is None else str(say(value))
