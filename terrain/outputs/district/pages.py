"""Pages of a screening, and the tables on them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

from terrain.outputs.page.figures import with_figures
from terrain.outputs.page.policy import page_policy
from terrain.outputs.page.shares import with_shares
from terrain.outputs.page.table_names import with_table_names
from terrain.outputs.page.templates import Templates
from terrain.outputs.page.unseen import without_turns

_OWN = Templates(__package__)
filled = _OWN.filled


def page_of(template: str, system: str, **shown: Any) -> str:
    """A whole page that needs nothing else: figures in one system, tables with their names."""
    from markupsafe import Markup

    style = _OWN.text_of("report.css")
    page = filled(template, policy=page_policy(style, ""), style=Markup(style), **shown)
    return with_shares(with_figures(with_table_names(without_turns(page)), system))


def table_of(heads: Sequence[str], rows: Sequence[Sequence[Any]], wordy: Collection[int] = (),
             ranked: bool = False) -> Any:
    """A table of printed figures; the columns that hold words begin at their left, and the first
    is narrow where it holds ranks."""
    from markupsafe import Markup

    return Markup(filled("table.html", heads=heads, rows=rows, wordy=wordy, ranked=ranked))
