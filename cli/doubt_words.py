"""How sure a plan is: its option read, and its answer as `plan` prints it."""

from __future__ import annotations

from typing import Any

import click

from cli.console import heading, remarks, table


def refuse_few(ctx: click.Context, param: click.Parameter, runs: int | None) -> int | None:
    """Refuse a number of runs that tells nothing, or never ends."""
    if not runs:
        return runs
    from terrain.inputs.site_doubt import LEAST_RUNS, MOST_RUNS

    if not LEAST_RUNS <= runs <= MOST_RUNS:
        raise click.BadParameter(f"{runs:,} runs are not between {LEAST_RUNS} and {MOST_RUNS:,}; "
                                 "1000 are usual, 0 none", ctx, param)
    return runs


def say_doubt(doubt: Any, system: str) -> None:
    """The ranges of the headline figures; nothing where the plan was not doubted."""
    from terrain.outputs.charts.doubt_words import periods
    from terrain.outputs.page.doubt_tables import (
        beside,
        beside_words,
        headline_lines,
        outside,
    )

    if doubt is None:
        return
    heading(f"How sure is this? Ranges of {doubt.runs:,} runs")
    for when, told in periods(doubt):
        table([when, "plan", "10 to 90 %", "doubt that matters most"],
              [[line.name, line.cells[0], line.cells[1], line.cells[4]]
               for line in headline_lines(told, system)])
    others = [beside_words(beside(doubt, told), system) for _, told in periods(doubt)]
    remarks("Beware", [*filter(None, others), *outside(doubt, system)])
