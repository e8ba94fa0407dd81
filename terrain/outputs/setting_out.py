"""Stakes taken to the field: station, place, levels, cut and staff reading."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from terrain.inputs.elevation import Dem
from terrain.plan.plan import Plan, PlannedStore


@dataclass(frozen=True)
class Stake:
    """A stake.

    Attributes
    ----------
    work, mark : str
        Whose it is, and what it marks: line, end, sill, wall, rim, tree.
    station : float
        Distance along the line. [m]
    x, y : float
        In the working frame. [m]
    ground, design : float
        Raster's ground, and the level to make. [m]
    design_of : str
        What the design level is of: bed, sill, crest, floor.
    """

    work: str
    mark: str
    station: float
    x: float
    y: float
    ground: float
    design: float
    design_of: str

    @property
    def cut(self) -> float:
        """Depth to dig; a fill where it is below 0. [m]"""
        return self.ground - self.design


def stakes_of(plan: Plan) -> list[Stake]:
    """All stakes of a plan, from the top work down."""
    spacing = plan.inputs.rules["stake spacing"]
    found: list[Stake] = []
    for planned in sorted(plan.stores, key=lambda p: -p.store.sill.level):
        if planned.store.kind != "tank":
            found += _stakes(planned, plan.inputs.dem, spacing)
    return found


def _stakes(planned: PlannedStore, dem: Dem, spacing: float) -> list[Stake]:
    from shapely import Point
    from shapely.geometry import LineString

    name, store = planned.store.name, planned.store

    def stake(mark: str, station: float, x: float, y: float, design: float, of: str) -> Stake:
        return Stake(name, mark, station, x, y, float(dem.height_at(x, y)), design, of)

    if planned.swale is not None:
        line = LineString(planned.swale.route.line)
        bed = store.sill.level - planned.swale.depth
        stops = _stations(line.length, spacing)
        rows = [stake("end" if s in (0.0, line.length) else "line", s,
                      line.interpolate(s).x, line.interpolate(s).y, bed, "bed") for s in stops]
        sill = Point(planned.swale.sill_x, planned.swale.sill_y)
        rows.append(stake("sill", float(line.project(sill)), sill.x, sill.y, store.sill.level,
                          "sill"))
        return sorted(rows, key=lambda s: s.station)
    if planned.basin is not None:
        basin = planned.basin
        line = LineString(basin.line)
        level, of = (basin.crest, "crest") if basin.form == "wall" else (
            store.sill.level - float(np.ptp(basin.curve.levels)), "floor")
        rows = [stake("wall" if basin.form == "wall" else "rim", s, line.interpolate(s).x,
                      line.interpolate(s).y, level, of)
                for s in _stations(line.length, min(spacing, 5.0))]
        rows.append(stake("sill", float(line.project(Point(basin.sill_x, basin.sill_y))),
                          basin.sill_x, basin.sill_y, store.sill.level, "sill"))
        return rows
    floor = float(store.curve.levels[0])
    return [stake("tree", 0.0, store.x, store.y, floor, "floor")]


def _stations(length: float, spacing: float) -> list[float]:
    count = max(int(np.ceil(length / spacing)), 1)
    return [length if i == count else i * length / count for i in range(count + 1)]


def height_of_instrument(plan: Plan) -> float | None:
    """Benchmark level plus the reading on it, where the site file gives both. [m]"""
    mark = plan.site.benchmark
    if mark is None or mark.staff_reading is None:
        return None
    return mark.level + mark.staff_reading


def write_setting_out(plan: Plan, path: Path) -> None:
    """Write the stakes as a CSV table, in metres, places in the raster's own CRS.

    The staff reading is the instrument's height less the design level; where the site file
    gives no reading on the benchmark, the column holds the design level below the benchmark.
    """
    dem = plan.inputs.dem
    height = height_of_instrument(plan)
    mark = plan.site.benchmark
    last = ("staff_reading_m" if height is not None else "below_benchmark_m")
    base = height if height is not None else (mark.level if mark is not None else None)
    with open(path, "w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(["work", "mark", "station_m", "east", "north", "longitude", "latitude",
                         "ground_m", "design_m", "design_of", "cut_m"]
                        + ([last] if base is not None else []))
        for stake in stakes_of(plan):
            east, north = dem.frame.to_source(stake.x, stake.y)
            degrees = dem.frame.to_lonlat(stake.x, stake.y)
            where = ("", "") if degrees is None else (f"{float(degrees[0]):.7f}",
                                                      f"{float(degrees[1]):.7f}")
            row = [_plain(stake.work), stake.mark, f"{stake.station:.2f}", f"{float(east):.3f}",
                   f"{float(north):.3f}", *where, f"{stake.ground:.3f}", f"{stake.design:.3f}",
                   stake.design_of, f"{stake.cut:.3f}"]
            writer.writerow(row + ([f"{base - stake.design:.3f}"] if base is not None else []))


def _plain(text: str) -> str:
    """Text that no spreadsheet takes for a formula."""
    return "'" + text if text[:1] in "=+-@\t\r" else text
