"""Comments of a site file."""

from __future__ import annotations

import re
import textwrap
import unicodedata
from collections.abc import Sequence

from terrain.outputs.one_system import ANY_UNIT

#: Width of a comment. [letters]
WIDE = 96
#: A blank between a figure and its unit, at which no line breaks.
_FIGURE = re.compile(rf"(?<=\d) (?=(?:{ANY_UNIT})(?!\w))")


def comment(sentences: Sequence[str], column: int = 0) -> list[str]:
    """Sentences as a comment that nothing in them can end."""
    words = _FIGURE.sub("\u00a0", " ".join(clean(sentence) for sentence in sentences))
    return [f"# {line}".replace("\u00a0", " ") for line in textwrap.wrap(
        words, max(WIDE - column - 2, 40), break_long_words=False, break_on_hyphens=False)]


def clean(words: str) -> str:
    """Words on one line, without what no text may hold."""
    shown = "".join(" " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else
                    "" if unicodedata.category(c)[0] == "C" else c for c in words)
    return " ".join(shown.split(" ")).strip()
