"""The page's figures: in the site's own units alone, and never torn from their unit."""

from __future__ import annotations

import re

from terrain.outputs.one_system import ANY_UNIT, in_one

_TORN = re.compile(rf"(?<=\d) (?=(?:{ANY_UNIT})(?![\w/²³]))")
# What is no words: the page's style, its programs and their data, and all that stands in tags.
_PIECE = re.compile(r"(<style\b.*?</style>|<script\b.*?</script>|<[^>]*>)", re.DOTALL)


def with_figures(page: str, system: str) -> str:
    """The page with each figure that a sentence gives in both systems in the site's alone, and a
    no-break space between every figure and its unit.

    Parameters
    ----------
    system : str
        "metric" or "us".
    """
    pieces = _PIECE.split(page)
    pieces[::2] = [_TORN.sub("\u00a0", in_one(words, system)) for words in pieces[::2]]
    return "".join(pieces)
