"""Read the published check values that stand beside this file."""

from __future__ import annotations

import csv
from pathlib import Path


def rows(name: str) -> list[dict[str, str]]:
    """Rows of a published table; lines starting with # say its source."""
    with open(Path(__file__).parent / name, encoding="utf-8") as stream:
        return list(csv.DictReader(line for line in stream if not line.startswith("#")))


def published(name: str) -> list[tuple[float, ...]]:
    """Rows of a wholly numeric published table."""
    return [tuple(float(value) for value in row.values()) for row in rows(name)]
