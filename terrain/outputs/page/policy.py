"""What a browser may do with the report."""

from __future__ import annotations

import base64
import hashlib


def page_policy(style: str, program: str) -> str:
    """What the page may do: show what stands in it, run its own program, and fetch nothing."""
    def of(words: str) -> str:
        return "'sha256-" + base64.b64encode(hashlib.sha256(words.encode()).digest()).decode() + "'"

    runs = of(program) if program else "'none'"
    return (f"default-src 'none'; img-src data:; style-src {of(style)}; script-src {runs}; "
            "base-uri 'none'; form-action 'none'")
