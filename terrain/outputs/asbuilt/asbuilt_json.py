"""What `asbuilt --json` prints: one object in SI; keys end in their unit."""

from __future__ import annotations

from typing import Any

from terrain.asbuilt.asbuilt import AsBuilt
from terrain.asbuilt.compared import LineFound
from terrain.asbuilt.work_found import WorkFound
from terrain.files import fingerprint
from terrain.inputs.dem import Dem
from terrain.works.store import Curve


def asbuilt_object(found: AsBuilt) -> dict[str, Any]:
    """A survey held against its plan, as plain data."""
    dem, levels = found.plan.inputs.dem, found.levels
    return {
        "site": found.plan.site.name, "settled": found.settled,
        "inputs_sha256": {found.plan.site.path.name: fingerprint(found.plan.site.path),
                          found.survey.path.name: fingerprint(found.survey.path)},
        "points": len(found.survey.points),
        "instruments": [{"set_up": name or None, "level_m": level}
                        for name, level in levels.instruments],
        "closing_m": levels.closing,
        "works": [_work(work, dem) for work in found.works],
        "cautions": list(found.cautions), "notes": list(found.notes)}


def _work(work: WorkFound, dem: Dem) -> dict[str, Any]:
    spill = work.spill
    return {
        "name": work.name, "kind": work.planned.store.kind, "within_tolerance": work.within,
        "holds_m3": None if spill is None else work.held,
        "designed_holds_m3": None if spill is None else work.held_designed,
        "first_spill": None if spill is None else {
            "over": spill.line.name, "level_m": spill.level,
            "below_designed_sill_m": work.planned.store.sill.level - spill.level,
            "station_m": spill.station, "at": _at(dem, spill.x, spill.y),
            "surveyed": spill.surveyed},
        "equivalent_sill_length_m": None if spill is None else work.store.sill.length,
        "stage_curve": [] if spill is None else _curve(work.store.curve),
        "designed_stage_curve": [] if spill is None else _curve(work.planned.store.curve),
        "lines": [_line(line, dem) for line in work.lines],
        "not_surveyed": sorted({line.name for line in work.unsurveyed}),
        "mend": [{"line": mend.line.name, "do": mend.action, "needed": mend.needed,
                  "from_m": None if mend.line.area is not None else mend.stretch.start,
                  "to_m": None if mend.line.area is not None else mend.stretch.end,
                  "length_m": None if mend.line.area is not None else mend.stretch.length,
                  "area_m2": mend.stretch.length if mend.line.area is not None else None,
                  "most_m": mend.stretch.most, "earth_m3": mend.stretch.volume}
                 for mend in work.mends],
        "storms": [{
            "name": storm.name, "rain_mm": storm.depth,
            "caught_m3": storm.built.caught, "designed_caught_m3": storm.designed.caught,
            "spilled_m3": storm.built.spilled, "designed_spilled_m3": storm.designed.spilled,
            "highest_water_m": storm.built.peak_level,
            "freeboard_m": storm.freeboard, "freeboard_settled_m": storm.freeboard_settled,
            "designed_freeboard_m": storm.freeboard_designed} for storm in work.storms],
        "cautions": list(work.cautions)}


def _line(found: LineFound, dem: Dem) -> dict[str, Any]:
    line = found.line
    return {
        "name": line.name, "verdict": found.verdict, "tolerance_low_m": line.low,
        "tolerance_high_m": line.high, "rules": list(dict.fromkeys(line.rules)),
        "length_m": None if line.area is not None else line.length,
        "widest_gap_m": None if line.area is not None else found.widest_gap,
        "too_few": found.few,
        "points": [{
            "point": point.point.name or None, "row": point.point.place,
            "at": _at(dem, point.x, point.y), "station_m": point.station, "off_line_m": point.off,
            "designed_m": point.designed, "surveyed_m": point.surveyed,
            "difference_m": point.difference, "state": found.state(i)}
            for i, point in enumerate(found.points)]}


def _at(dem: Dem, x: float, y: float) -> list[float]:
    east, north = dem.frame.to_source(x, y)
    return [float(east), float(north)]


def _curve(curve: Curve) -> list[dict[str, float]]:
    return [{"level_m": float(level), "area_m2": float(area), "volume_m3": float(volume)}
            for level, area, volume in zip(curve.levels, curve.areas, curve.volumes, strict=True)]
