"""Every surveyed point with its design beside it, as a table for a spreadsheet."""

from __future__ import annotations

import csv
from pathlib import Path

from terrain.asbuilt.asbuilt import AsBuilt
from terrain.units import printed


def write_points(found: AsBuilt, path: Path) -> None:
    """Write the points as CSV, levels in m or ft as the site asks; places in the raster's CRS."""
    unit, factor, _ = printed("level", found.plan.site.units)
    dem = found.plan.inputs.dem
    places = 8 if dem.frame.source is not None and dem.frame.source.is_geographic else 3
    with open(path, "w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(["work", "line", "point", f"station_{unit}", "east", "north",
                         f"designed_{unit}", f"surveyed_{unit}", f"difference_{unit}", "state"])
        for work in found.works:
            for line in work.lines:
                for i, point in enumerate(line.points):
                    east, north = dem.frame.to_source(point.x, point.y)
                    writer.writerow([
                        _plain(work.name), line.line.name, _plain(point.point.name),
                        f"{point.station * factor:.2f}", f"{float(east):.{places}f}",
                        f"{float(north):.{places}f}", f"{point.designed * factor:.3f}",
                        f"{point.surveyed * factor:.3f}", f"{point.difference * factor:.3f}",
                        line.state(i)])


def _plain(text: str) -> str:
    """Text that no spreadsheet takes for a formula."""
    return "'" + text if text[:1] in "=+-@\t\r" and text else text
