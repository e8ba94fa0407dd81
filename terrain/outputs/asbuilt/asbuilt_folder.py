"""The folder of a survey: sheets, table and figures, whole or not at all."""

from __future__ import annotations

import re
from pathlib import Path

from terrain.asbuilt.asbuilt import AsBuilt
from terrain.files import RECORD, whole_folder
from terrain.outputs.asbuilt.asbuilt_json import asbuilt_object
from terrain.outputs.asbuilt.asbuilt_sheet import draw_as_built
from terrain.outputs.asbuilt.asbuilt_table import write_points
from terrain.outputs.data.answers_json import dumped


def write_as_built(found: AsBuilt, folder: Path) -> list[Path]:
    """Write as_built.json, points.csv and a sheet of each work.

    Raises
    ------
    InputError
        If the folder holds anything that the tool did not write.
    """
    with whole_folder(folder) as draft:
        (draft / "as_built.json").write_text(dumped(asbuilt_object(found)) + "\n",
                                             encoding="utf-8", newline="\n")
        write_points(found, draft / "points.csv")
        for number, work in enumerate(found.works, 1):
            name = re.sub(r"[^a-z0-9]+", "-", work.name.lower()).strip("-")[:40] or "work"
            draw_as_built(found, work, found.plan.site.units).savefig(
                draft / f"{number:02d}-{name}.png", format="png", metadata={"Software": None})
        names = sorted(path.name for path in draft.iterdir())
    return [folder / name for name in names if name != RECORD]
