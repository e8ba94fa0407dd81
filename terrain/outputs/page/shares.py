"""Shares of a hundred, printed one way over the whole page."""

from __future__ import annotations

import re

# The page's style and program, and all that stands in tags, are no words; the data of the live map
# are.
_PIECE = re.compile(r"(?P<other><style\b.*?</style>|<script>.*?</script>|<[^>]*>)"
                    r"|(?P<figure>\d)[ \u00a0\u202f]?%(?!\w)", re.DOTALL)


def with_shares(page: str) -> str:
    """The page with a no-break space between every figure and its "%"."""
    return _PIECE.sub(lambda found: found["other"] or f"{found['figure']}\u00a0%", page)
