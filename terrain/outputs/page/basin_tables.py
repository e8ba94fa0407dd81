"""The months of a pond as a table."""

from __future__ import annotations

from functools import partial

from terrain.outputs.charts.charts import MONTHS
from terrain.plan.water.pond_years import PondYear
from terrain.units import shown

#: Heads of `pond_rows`, the month aside.
POND_COLUMNS = ("comes", "evaporates", "seeps", "used", "spills", "gained", "stands",
                "depth on days with water", "dry days")


def pond_rows(year: PondYear, system: str) -> list[tuple[str, list[str]]]:
    """Each month of a pond, and the year as the last row."""
    volume = partial(shown, dimension="volume", system=system)
    rows = [(MONTHS[m.month - 1], [
        *(volume(v) for v in (m.comes, m.evaporated, m.seeped, m.used, m.spilled, m.gained,
                              m.stands)),
        shown(m.depth, "level", system) if m.depth else "–", f"{m.dry_days:.0f}"])
        for m in year.months]
    sums = [sum(getattr(m, part) for m in year.months)
            for part in ("comes", "evaporated", "seeped", "used", "spilled", "gained")]
    return [*rows, ("year", [*(volume(v) for v in sums), "", "", f"{year.dry_days:.0f}"])]
