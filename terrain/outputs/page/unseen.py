"""Signs in the user's names that nobody sees and that turn round what stands after them."""

from __future__ import annotations

#: The embeddings, overrides and isolates of the Unicode bidirectional algorithm (UAX 9, 2.1 to
#: 2.6); marks and letters of languages that are written from right to left stay.
_TURNING = dict.fromkeys((*range(0x202A, 0x202F), *range(0x2066, 0x206A)))


def without_turns(page: str) -> str:
    """The page without them: a name ends where it ends, and no figure after it is read backwards.
    """
    return page.translate(_TURNING)
