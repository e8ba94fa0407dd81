"""Of every basin its charts, its sentences and, of a pond, its months."""

from __future__ import annotations

from typing import Any

from terrain.outputs.page.basin_tables import pond_rows
from terrain.outputs.page.pictures import svg_of
from terrain.outputs.sheets.basin_charts import draw_basin_charts
from terrain.plan.planned import Plan


def basins(plan: Plan) -> list[dict[str, Any]]:
    """Of every basin its charts, sentences and, of a pond, its months."""
    system, found = plan.site.units, []
    for planned in sorted(plan.stores, key=lambda p: -p.store.sill.level):
        if planned.basin is None or planned.facts is None:
            continue
        facts = planned.facts
        picture = draw_basin_charts(planned.basin, facts.curve,
                                    [(storm.rain, storm.caught) for storm in facts.catches
                                     if storm.hours == plan.site.rain.design.duration], system)
        found.append({"name": planned.store.name, "said": facts.said, "picture": svg_of(picture),
                      "years": [(year.name, pond_rows(year, system)) for year in facts.years]})
    return found
