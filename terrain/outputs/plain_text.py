"""Text that a person gave, made safe for spreadsheets."""

from __future__ import annotations

import re

#: What a spreadsheet may take for the start of a formula (OWASP, CSV Injection), full-width signs
#: included.
_FORMULA = "=+-@\t\r\n＝＋－＠"
#: Control characters that neither XML nor a table can hold, and those that turn round what follows
#: (Unicode Standard Annex 9); tabs and line ends become blanks.
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff"
                      r"\ufffe\uffff]")


def cell_text(text: str) -> str:
    """Text for a cell: never a formula, on one line, without control characters.

    What starts as a formula does, blanks before it left out, gets an apostrophe before it.

    Examples
    --------
    >>> cell_text("=1+1")
    "'=1+1"
    >>> cell_text("upper swale")
    'upper swale'
    """
    risky = text.lstrip(" \xa0")[:1] in tuple(_FORMULA) and bool(text.strip(" \xa0"))
    plain = _CONTROL.sub("", re.sub(r"[\t\r\n]+", " ", text))
    return "'" + plain if risky or plain.lstrip(" \xa0")[:1] in tuple(_FORMULA[:4]) else plain
