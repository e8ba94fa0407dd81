"""Everything that `plan` writes, into one folder, whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from terrain.files import RECORD, whole_folder
from terrain.outputs.aside import aside
from terrain.outputs.charts.charts import draw_storm_bars, draw_year, draw_year_bars
from terrain.outputs.charts.doubt_charts import draw_doubt
from terrain.outputs.charts.rain_charts import draw_record
from terrain.outputs.data.plan_json import plan_object
from terrain.outputs.drawing.paper import paper_of
from terrain.outputs.drawing.site_map import draw_site_map
from terrain.outputs.field.field_files import FOLDER as FIELD
from terrain.outputs.field.field_files import write_field
from terrain.outputs.field.setting_out import setting_out
from terrain.outputs.gis.geopackage import write_geopackage
from terrain.outputs.gis.surfaces import write_surfaces
from terrain.outputs.page.report import report_page
from terrain.outputs.plan_set.plan_set import (
    FILE,
    FOLDER,
    draw_plan_set,
    write_field_book,
    write_pictures,
    write_plan_set,
)
from terrain.outputs.quantities.workbook import write_quantities
from terrain.plan.planned import Plan
from terrain.plan.rain import record_answer

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def write_plan(plan: Plan, folder: Path, progress: Callable[[str], None] = lambda what: None,
               paper: str | None = None) -> list[Path]:
    """Write map, plan set, report, `plan.json`, GeoPackage, stakes and designed ground; return
    their paths.

    Parameters
    ----------
    paper : str, optional
        Name of the plan set's paper; the site file's if left out.

    Raises
    ------
    InputError
        If the folder holds anything that the tool did not write itself.
    """
    def printed() -> list[tuple[str, bytes]]:
        pages = draw_plan_set(plan, paper_of(plan.site, paper))
        write_plan_set(pages, draft / FILE)
        write_field_book(pages, draft / FILE, draft / FIELD / "field_book.pdf")
        return write_pictures(plan, pages, draft / FILE, draft / FOLDER)

    with whole_folder(folder) as draft, plan.inputs.told():
        (draft / FIELD).mkdir()
        with aside(printed) as sheets:
            progress("Drawing the map, and beside it the pages of the plan set")
            draw_site_map(plan).savefig(draft / "map.png", metadata={"Software": None})
            (draft / "plan.json").write_text(
                json.dumps(plan_object(plan), indent=1, ensure_ascii=False) + "\n",
                encoding="utf-8", newline="\n")
            progress("Writing the layers and the stakes")
            field = setting_out(plan)
            write_field(field, draft)
            write_geopackage(plan, draft / "plan.gpkg", field)
            progress("Writing the surfaces")
            write_surfaces(plan, draft, field)
            progress("Writing the quantities")
            write_quantities(plan, draft)
            progress("Drawing the charts")
            charts = _charts(plan)
            progress("Drawing the pages of the plan set")
            pictures = sheets()
        if not any((draft / FIELD).iterdir()):
            (draft / FIELD).rmdir()
        progress("Writing the report")
        page = report_page(plan, (draft / "map.png").read_bytes(), charts, pictures)
        (draft / "report.html").write_text(page, encoding="utf-8")
        names = sorted(path.name for path in draft.iterdir())
        progress("Putting the plan in its place")
    return [folder / name for name in names if name != RECORD]


def _charts(plan: Plan) -> dict[str, Figure]:
    """The report's charts, by name."""
    charts = {"storms": draw_storm_bars(plan)}
    if plan.seasons is not None:
        charts["year"] = draw_year(plan)
        charts["years"] = draw_year_bars(plan)
    if plan.inputs.record is not None:
        charts["rain"] = draw_record(
            record_answer(plan.inputs.record, start_month=plan.site.rain.start_month),
            plan.site.units)
    if plan.doubt is not None:
        charts["doubt"] = draw_doubt(plan)
    return charts
