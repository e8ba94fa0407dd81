"""Everything that `plan` writes, into one folder, whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from terrain.files import RECORD, whole_folder
from terrain.outputs.charts.charts import draw_storm_bars, draw_year
from terrain.outputs.charts.doubt_charts import draw_doubt
from terrain.outputs.charts.rain_charts import draw_record
from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.design_surface import write_design_surface
from terrain.outputs.drawing.site_map import draw_site_map
from terrain.outputs.geopackage import write_geopackage
from terrain.outputs.page.report import report_page
from terrain.outputs.setting_out import write_setting_out
from terrain.outputs.sheets.plan_sheets import FOLDER, write_sheets
from terrain.plan.planned import Plan
from terrain.plan.rain import record_answer


def write_plan(plan: Plan, folder: Path, progress: Callable[[str], None] = lambda what: None
               ) -> list[Path]:
    """Write map, report, `plan.json`, GeoPackage, stakes and designed ground; return their paths.

    Raises
    ------
    InputError
        If the folder holds anything that the tool did not write itself.
    """
    with whole_folder(folder) as draft:
        progress("Drawing the map")
        draw_site_map(plan).savefig(draft / "map.png", metadata={"Software": None})
        charts = {"storms": draw_storm_bars(plan)}
        if plan.seasons is not None:
            charts["year"] = draw_year(plan)
        if plan.inputs.record is not None:
            charts["rain"] = draw_record(
                record_answer(plan.inputs.record, start_month=plan.site.rain.start_month),
                plan.site.units)
        if plan.doubt is not None:
            charts["doubt"] = draw_doubt(plan)
        progress("Drawing a sheet of each work")
        sheets = write_sheets(plan, draft / FOLDER)
        progress("Writing the report")
        page = report_page(plan, (draft / "map.png").read_bytes(), charts, sheets)
        (draft / "report.html").write_text(page, encoding="utf-8")
        (draft / "plan.json").write_text(
            json.dumps(plan_object(plan), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        progress("Writing the layers and the stakes")
        write_geopackage(plan, draft / "plan.gpkg")
        write_setting_out(plan, draft / "setting_out.csv")
        progress("Writing the designed ground")
        write_design_surface(plan, draft / "design_ground.tif")
        names = sorted(path.name for path in draft.iterdir())
        progress("Putting the plan in its place")
    return [folder / name for name in names if name != RECORD]
