"""What a search found as one page that needs nothing else: answer, front, proposals, reasons."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

from terrain.outputs.page.figures import with_figures
from terrain.outputs.page.pictures import picture_of
from terrain.outputs.page.policy import page_policy
from terrain.outputs.page.shares import with_shares
from terrain.outputs.page.table_names import with_table_names
from terrain.outputs.page.templates import text_of
from terrain.outputs.page.unseen import without_turns
from terrain.outputs.suggest import tables, words
from terrain.outputs.suggest.pages import filled
from terrain.suggest.suggestion import Proposal, Suggestion


def suggest_page(suggestion: Suggestion, pictures: dict[str, bytes]) -> str:
    """Write the page.

    Parameters
    ----------
    pictures : dict of str to bytes
        "front" where there is one, and "map_" with the name of each proposal, as PNG.
    """
    from markupsafe import Markup

    system = suggestion.site.units
    style, program = text_of("report.css"), text_of("folds.js")
    proposals = suggestion.proposals
    page = filled(
        "suggest.html", policy=page_policy(style, program), style=Markup(style),
        program=Markup(program), site=suggestion.site.name, lead=words.lead(suggestion),
        answer=words.answer_lines(suggestion, system), care=words.care_lines(suggestion, system),
        front=_table(tables.FRONT, tables.front_rows(suggestion, system), {6})
        if "front" in pictures else "",
        front_picture=picture_of(pictures["front"]) if "front" in pictures else "",
        good=_table(tables.GOOD, tables.good_rows(suggestion, system)) if proposals else "",
        takes=_table(tables.takes_heads(suggestion), tables.takes_rows(suggestion, system)),
        water=_table(tables.water_heads(suggestion), tables.water_rows(suggestion, system)),
        design=suggestion.site.rain.design.name, years=suggestion.before.year_kept is not None,
        trees=suggestion.before.trees is not None,
        proposals=[_proposal(one, suggestion, system, pictures) for one in proposals],
        looked=words.looked_lines(suggestion, system), notes=suggestion.notes)
    return with_shares(with_figures(with_table_names(without_turns(page)), system))


def _proposal(one: Proposal, suggestion: Suggestion, system: str, pictures: dict[str, bytes]
              ) -> dict[str, Any]:
    return {
        "name": one.name, "line": words.proposal_line(one, suggestion, system),
        "kept": words.kept_line(one), "more": words.more_line(one, suggestion, system),
        "picture": picture_of(pictures[f"map_{one.name}"]),
        "works": _table(tables.work_heads(suggestion), tables.work_rows(one, suggestion, system)
                        ) if one.works else "",
        "why": tables.why_rows(one, suggestion, system),
        "rejected": _table(tables.REJECTED, tables.rejected_rows(one, suggestion, system), {3})
        if one.rejected else ""}


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], wordy: Collection[int] = ()) -> str:
    """A table of printed figures; the columns that hold words begin at their left."""
    from markupsafe import Markup

    return Markup(filled("table.html", heads=heads, rows=rows, wordy=wordy))
