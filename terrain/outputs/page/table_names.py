"""Names for the report's tables: each a caption, and heads that say what they are heads of."""

from __future__ import annotations

import re

_PIECE = re.compile(r"<summary>(?P<summary>.*?)</summary>|<h[2-4][^>]*>(?P<head>.*?)</h[2-4]>"
                    r"|(?P<table><table[^>]*>)(?P<body>.*?)</table>", re.DOTALL)


def with_table_names(page: str) -> str:
    """Give every table of a page, unless it has one, a caption that only screen readers tell: the
    heading or summary before it; and its heads their scope.

    The page's own markup is known: names that the user gave are escaped in it.
    """
    above = ""

    def named(found: re.Match[str]) -> str:
        nonlocal above
        if found["table"] is None:
            said = found["head"] or found["summary"] or ""
            inside = re.match(r"<h\d[^>]*>(.*?)</h\d>", said)
            above = re.sub(r"<[^>]+>", "", inside[1] if inside else said).strip() or above
            return found[0]
        body = re.sub(r"<th(?=[\s>])(?![^>]*\sscope=)", '<th scope="col"', found["body"])
        body = re.sub(r"<tr><td(?P<look>[^>]*)>(?P<cell>.*?)</td>",
                      r'<tr><th scope="row"\g<look>>\g<cell></th>', body, flags=re.DOTALL)
        caption = "" if "<caption" in body else f'<caption class="unseen">{above}</caption>'
        return f"{found['table']}{caption}{body}</table>"

    return _PIECE.sub(named, page)
