"""Templates that stand beside this module, filled with what they show."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from functools import cache
from importlib import resources
from typing import Any

from terrain.outputs.page.figures import with_figures
from terrain.outputs.page.policy import page_policy
from terrain.outputs.page.shares import with_shares
from terrain.outputs.page.table_names import with_table_names
from terrain.outputs.page.templates import text_of as report_text
from terrain.outputs.page.unseen import without_turns


def text_of(name: str) -> str:
    """A file that stands beside this module."""
    return resources.files("terrain.outputs.district").joinpath(name).read_text("utf-8")


@cache
def _environment() -> Any:
    from jinja2 import Environment, FunctionLoader

    return Environment(loader=FunctionLoader(text_of), autoescape=True, trim_blocks=True,
                       lstrip_blocks=True)


def filled(template: str, **shown: Any) -> str:
    """A template filled; whatever is shown is escaped unless it is `Markup`."""
    return str(_environment().get_template(template).render(**shown))


def page_of(template: str, system: str, **shown: Any) -> str:
    """A whole page that needs nothing else: figures in one system, tables with their names."""
    from markupsafe import Markup

    style = report_text("report.css")
    page = filled(template, policy=page_policy(style, ""), style=Markup(style), **shown)
    return with_shares(with_figures(with_table_names(without_turns(page)), system))


def table_of(heads: Sequence[str], rows: Sequence[Sequence[Any]], wordy: Collection[int] = (),
             ranked: bool = False) -> Any:
    """A table of printed figures; the columns that hold words begin at their left, and the first
    is narrow where it holds ranks."""
    from markupsafe import Markup

    return Markup(filled("table.html", heads=heads, rows=rows, wordy=wordy, ranked=ranked))
