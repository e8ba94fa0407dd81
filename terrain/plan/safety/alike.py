"""Sentences that differ only in their figures and names, told as one."""

from __future__ import annotations

import re
from collections.abc import Sequence

#: What may differ: a quoted name, or a number.
_SLOT = re.compile(r'"[^"]*"|(?<![\w.])\d[\d,]*(?:\.\d+)?')


def skeleton(sentence: str) -> str:
    """A sentence without its names and figures; those alike have the same."""
    return _SLOT.sub("\0", sentence)


def told_as_one(sentences: Sequence[str]) -> str:
    """One sentence for several of the same skeleton: figures from the least to the greatest, names
    each once, of more than two the first and the last."""
    parts = re.split("\0", skeleton(sentences[0]))
    slots = [_SLOT.findall(sentence) for sentence in sentences]
    filled = [_one([found[i] for found in slots]) for i in range(len(parts) - 1)]
    return "".join(text + value for text, value in zip(parts, [*filled, ""], strict=True))


def _one(values: Sequence[str]) -> str:
    kept = list(dict.fromkeys(values))
    if len(kept) == 1:
        return kept[0]
    if kept[0].startswith('"'):
        return " and ".join(kept) if len(kept) == 2 else f"{kept[0]} to {kept[-1]}"
    low, *_, high = sorted(kept, key=lambda value: float(value.replace(",", "")))
    return f"{low} to {high}"
