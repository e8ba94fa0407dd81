"""A proof as one page that needs nothing else: answer, dangers, tables and pictures."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from terrain.outputs.page.figures import with_figures
from terrain.outputs.page.pictures import picture_of
from terrain.outputs.page.policy import page_policy
from terrain.outputs.page.shares import with_shares
from terrain.outputs.page.table_names import with_table_names
from terrain.outputs.page.templates import text_of as text_of_report
from terrain.outputs.page.unseen import without_turns
from terrain.outputs.proof import words
from terrain.outputs.proof.pages import filled, text_of
from terrain.proof.proof import Proof
from terrain.proof.what_if import WhatIf


def proof_page(proof: Proof, cases: Sequence[WhatIf], pictures: dict[str, bytes]) -> str:
    """Write the page.

    Parameters
    ----------
    pictures : dict of str to bytes
        "depth", "gates" and, where the storm was run without the works too, "before_after", as PNG.
    """
    from markupsafe import Markup

    system, frame = proof.plan.site.units, proof.plan.terrain.dem.frame
    style = text_of_report("report.css") + text_of("proof.css")
    program = text_of_report("folds.js")
    page = filled(
        "proof.html", policy=page_policy(style, program), style=Markup(style),
        program=Markup(program), site=proof.plan.site.name, rain=words.rain_words(proof),
        followed=words.hours(proof.until), answer=words.answer_lines(proof, system),
        dangers=words.all_dangers(proof, cases, system),
        depth=picture_of(pictures["depth"]), gates=picture_of(pictures["gates"]),
        before_after=picture_of(pictures["before_after"]) if "before_after" in pictures else "",
        water=_table(words.WATER, words.water_rows(proof.stores, system)),
        levels=_table(words.LEVELS, words.level_rows(proof.stores, system)),
        why=[(s.name, line) for s in proof.stores for line in s.why],
        leaving=_table(words.LEAVING, words.leaving_rows(proof, system)),
        spots=_table(words.SPOTS, words.spot_rows(proof.spots, system), {6}) if proof.spots else "",
        fast=_table(words.FASTS, words.fast_rows(proof.fast, frame, system), {1, 6})
        if proof.fast else "",
        cases=_table(words.CASES, words.case_rows(cases, system)) if cases else "",
        tried=words.case_lines(cases)[1:],
        account=_table(("water", "volume"), words.account_lines(proof, system)),
        notes=proof.notes)
    return with_shares(with_figures(with_table_names(without_turns(page)), system))


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], wordy: Collection[int] = ()) -> str:
    """A table of printed figures; the columns that hold words begin at their left."""
    from markupsafe import Markup

    return Markup(filled("table.html", heads=heads, rows=rows, wordy=wordy))
