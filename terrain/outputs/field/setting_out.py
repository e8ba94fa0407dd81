"""The one list that all field files are written from: numbered stakes with places and readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation

from terrain.inputs.made_from import inputs_digest
from terrain.outputs.field.grid_distance import grid_note
from terrain.outputs.field.offset_stakes import APART, OffsetStake, offset_stakes
from terrain.outputs.field.set_ups import SetUp, plan_set_ups
from terrain.outputs.field.sights import KnownMark, Marks
from terrain.outputs.field.stakes import Stake, stakes_of
from terrain.outputs.field.survey_frame import (
    LengthUnit,
    SurveyFrame,
    datum_words,
    survey_frame,
    table_unit,
)
from terrain.plan.earth.designed import designed_raster
from terrain.plan.planned import Plan
from terrain.plan.siting.layout import Places
from terrain.units import in_both
from terrain.works.designed_ground import Grid

FloatArray = NDArray[np.float64]

#: Ground that is dug or heaped by less does not disturb a stake. [m]
LEFT_ALONE = 0.01


@dataclass(frozen=True)
class Place:
    """Where a stake stands.

    Attributes
    ----------
    east, north : float
        In the raster's own CRS.
    longitude, latitude : float or None
        WGS 84; None where the raster has no CRS. [degrees]
    """

    east: float
    north: float
    longitude: float | None = None
    latitude: float | None = None


@dataclass(frozen=True)
class Staked:
    """A stake as it is taken to the field.

    Attributes
    ----------
    number : int
        From 1; to be written on it.
    stake : Stake
    at : Place
    offset : OffsetStake or None
    offset_at : Place or None
    set_up : int or None
        Number of the set-up that reads it.
    reading : float or None
        What the staff reads from there with its foot at the design level. [m]
    """

    number: int
    stake: Stake
    at: Place
    offset: OffsetStake | None = None
    offset_at: Place | None = None
    set_up: int | None = None
    reading: float | None = None


@dataclass(frozen=True)
class SettingOut:
    """All that goes to the field.

    Attributes
    ----------
    plan : Plan
    stakes : tuple of Staked
    set_ups : tuple of SetUp
    benchmark : KnownMark or None
    unit : LengthUnit
        Of the levels and stations of tables.
    survey : SurveyFrame
        Of drawings and machines.
    grid, level, change : Grid, float64 arrays; or None
        The designed ground, as `designed_raster` gives it; None where no work changes any.
    """

    plan: Plan
    stakes: tuple[Staked, ...]
    set_ups: tuple[SetUp, ...]
    benchmark: KnownMark | None
    unit: LengthUnit
    survey: SurveyFrame
    grid: Grid | None
    level: FloatArray | None
    change: FloatArray | None

    @cached_property
    def works(self) -> dict[str, list[Staked]]:
        """Stakes by work, in the site file's order."""
        found: dict[str, list[Staked]] = {}
        for staked in self.stakes:
            found.setdefault(staked.stake.work, []).append(staked)
        return found

    @property
    def pegs(self) -> list[SetUp]:
        """Set-ups that get their level from a peg, the first of each peg."""
        found: dict[str, SetUp] = {}
        for set_up in self.set_ups:
            if set_up.of is not None:
                found.setdefault(set_up.back, set_up)
        return list(found.values())

    def by_peg(self, number: int | None) -> bool:
        """Whether a set-up gets its level from a peg, whose own level is known on the day only."""
        return number is not None and self.set_ups[number - 1].of is not None

    @property
    def staff(self) -> float:
        """Length of the staff. [m]"""
        return self.plan.site.setting_out.staff or self.plan.inputs.rules["staff length"]

    @cached_property
    def notes(self) -> list[str]:
        """What the field files rest on, and what they do not hold; whole sentences."""
        frame, site, rules = self.plan.inputs.dem.frame, self.plan.site, self.plan.inputs.rules
        said = []
        if self.unit.key != "m":
            said.append(f"Feet are {self.unit.words}"
                        + (", the raster's own, and so is `ft` in the site "
                           "file." if self.unit.key == "us-ft" else ".")
                        + " They are feet, tenths and hundredths, as on a surveyor's staff and "
                          "tape, not inches: 0.10 ft is 1.2 in.")
            if self.survey.unit.key != self.unit.key:
                said.append("The drawing and the surface (design.dxf, design.xml) are in "
                            f"{self.survey.unit.words}, as the coordinates are, not in feet.")
        said.append(f"East and north are of {_crs_name(self.plan)}"
                    + ("; longitude and latitude are of WGS 84." if frame.working is not None else
                       "; longitude and latitude are not known, so there is no GPX and KML."))
        said.append(f"Levels are {datum_words(frame).removeprefix('levels ')}.")
        if self.stakes:
            stakes = [staked.stake for staked in self.stakes]
            x, y, level = (float(np.mean([getattr(stake, name) for stake in stakes]))
                           for name in ("x", "y", "design"))
            far = grid_note(frame, x, y, level)
            said += [far] if far is not None else []
        offset = site.setting_out.offset or rules["stake offset"]
        said.append(
            f"Offset stakes stand {in_both(offset, 'length')} "
            + (site.setting_out.side if site.setting_out.offset else
               f"({rules.cited('stake offset')}) {site.setting_out.side}")
            + ", square to the line, or at a multiple of that which no work digs or heaps, the "
            "same along a line where that can be; of a wall, on its water side or its dry side; "
            "about rings, outward; where two of one work would stand closer than "
            f"{in_both(APART, 'length')} one is left out, never a sill's.")
        if self.benchmark is None:
            said.append("The site file states no benchmark, so no staff readings are given.")
        elif not self.set_ups:
            said.append("No place was found from which a level reads the benchmark, so no staff "
                        "readings are given.")
        else:
            said.append(
                f"Readings are of a staff {in_both(self.staff, 'length')} long, "
                f"{in_both(rules['staff to spare'], 'length')} of its top and "
                f"{in_both(rules['staff foot to spare'], 'length')} of its foot kept to spare for "
                f"a level that stands higher or lower on the day; from a level "
                f"{in_both(rules['instrument height'], 'length')} over the ground, within "
                f"{in_both(rules['sight length'], 'length', 0)} and in clear sight over the "
                "raster's ground.")
        lost = [s.number for s in self.stakes if s.set_up is None]
        if lost and self.set_ups:
            said.append(f"Stake{'s' if len(lost) > 1 else ''} {runs_of(lost)} "
                        f"{'are' if len(lost) > 1 else 'is'} read from no set-up that was found: "
                        "the ground or the staff's length is in the way; level there from the "
                        "nearest stake that is set.")
        said.append(f"All inputs together have the SHA-256 {self.made_from}, as in plan.gpkg.")
        return said

    @cached_property
    def made_from(self) -> str:
        """One SHA-256 that stands for all inputs."""
        return inputs_digest(self.plan.site)


def _crs_name(plan: Plan) -> str:
    source = plan.inputs.dem.frame.source
    if source is None:
        return "the raster, which has no coordinate system"
    code = (source.to_2d() if source.is_compound else source).to_epsg()
    unit = {"metre": "metres", "foot": "international feet", "US survey foot": "US survey feet",
            "degree": "degrees"}.get(source.axis_info[0].unit_name, source.axis_info[0].unit_name)
    return f"{source.name}" + (f" (EPSG:{code})" if code else "") + f", in {unit}"


def runs_of(numbers: Sequence[int]) -> str:
    """Numbers in rising order as words: "1 to 4, 7"."""
    found: list[list[int]] = []
    for number in sorted(numbers):
        if found and number == found[-1][1] + 1:
            found[-1][1] = number
        else:
            found.append([number, number])
    return ", ".join(str(a) if a == b else f"{a} to {b}" if b > a + 1 else f"{a}, {b}"
                     for a, b in found)


def setting_out(plan: Plan) -> SettingOut:
    """Make the list of a plan's stakes, with their offsets, set-ups and readings."""
    dem, site, rules = plan.inputs.dem, plan.site, plan.inputs.rules
    grid = level = change = None
    if plan.designed is not None and plan.designed.shapes:
        grid, level, change, _ = designed_raster(dem, plan.designed.shapes)
    disturbed = _Disturbed(grid, change)
    offset = site.setting_out.offset or rules["stake offset"]
    stakes = stakes_of(plan)
    offsets = offset_stakes(stakes, dem, offset, site.setting_out.side, disturbed)
    mark: KnownMark | None = None
    set_ups: list[SetUp] = []
    read_from = np.zeros(len(stakes), np.int64)
    if site.benchmark is not None:
        where = f"{site.where('benchmark')}, benchmark, at"
        at = Places(site, plan.terrain).point(site.benchmark.at, where)
        mark = KnownMark(*at, site.benchmark.level, site.benchmark.staff_reading)
        if stakes:
            staff = site.setting_out.staff or rules["staff length"]
            marks = Marks(np.array([s.x for s in stakes]), np.array([s.y for s in stakes]),
                          np.array([s.ground for s in stakes]),
                          np.array([s.design for s in stakes]),
                          np.unique([s.work for s in stakes], return_inverse=True)[1])
            pegs = np.array([(o.x, o.y) for o in offsets if o is not None])
            set_ups, read_from = plan_set_ups(dem, marks, mark, staff, rules, pegs, disturbed)
    heights = {s.number: s.height for s in set_ups}
    places = _placed(plan, [(s.x, s.y) for s in stakes])
    beside = _placed(plan, [(o.x, o.y) if o else (np.nan, np.nan) for o in offsets])
    found = [
        Staked(i + 1, stake, place, offset, by if offset else None, int(read) or None,
               heights[int(read)] - stake.design if read else None)
        for i, (stake, place, offset, by, read) in enumerate(
            zip(stakes, places, offsets, beside, read_from, strict=True))]
    return SettingOut(plan, tuple(found), tuple(set_ups), mark, table_unit(dem.frame, site.units),
                      survey_frame(dem.frame), grid, level, change)


def _placed(plan: Plan, points: Sequence[tuple[float, float]]
            ) -> list[Place]:
    frame = plan.inputs.dem.frame
    if not points:
        return []
    x, y = np.array(points, float).T
    east, north = frame.to_source(x, y)
    degrees = frame.to_lonlat(x, y)
    if degrees is None:
        return [Place(float(e), float(n)) for e, n in zip(east, north, strict=True)]
    return [Place(float(e), float(n), float(lon), float(lat))
            for e, n, lon, lat in zip(east, north, *degrees, strict=True)]


class _Disturbed:
    """Whether a point of the working frame stands on, or beside, ground that is dug or heaped."""

    def __init__(self, grid: Grid | None, change: FloatArray | None) -> None:
        self.grid = grid
        self.cells = None if change is None else binary_dilation(
            np.abs(np.nan_to_num(change)) > LEFT_ALONE, np.ones((3, 3)))

    def __call__(self, x: float, y: float) -> bool:
        if self.grid is None or self.cells is None:
            return False
        row = int(np.floor((self.grid.top - y) / self.grid.cell))
        column = int(np.floor((x - self.grid.left) / self.grid.cell))
        inside = 0 <= row < self.grid.rows and 0 <= column < self.grid.columns
        return inside and bool(self.cells[row, column])
