"""How often it rains enough to fill the stores."""

from __future__ import annotations

import numpy as np

from terrain.outputs.page.rows import Row
from terrain.plan.planned import Plan
from terrain.plan.rain import MORE_THAN
from terrain.plan.water.rarity import how_often
from terrain.runoff.rain_years import days_a_year_above
from terrain.units import shown


def often_rows(plan: Plan) -> list[Row]:
    """How often it rains more than the depths that feed and fill stores, and round ones."""
    record, system = plan.inputs.record, plan.site.units
    if record is None:
        return []
    depths = np.array(MORE_THAN[system])
    return [Row(shown(float(depth), "rain", system),
                [f"{days:.1f}", "never in the record" if not days else
                 f"every {365.25 / days:.0f} days" if days > 1 else how_often(1 / days),
                 ", ".join(dict.fromkeys(
                     p.placed.work.name for p in plan.stores
                     if p.full_at is not None and p.full_at <= depth)) or "none"])
            for depth, days in zip(depths, days_a_year_above(record.depths, depths), strict=True)]
