"""What a plan asks a survey to find: the line and the level of every mark of every work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, MultiLineString, Point, Polygon
from shapely.ops import substring

from terrain.inputs.dem import Dem
from terrain.plan.planned import Plan, PlannedStore
from terrain.works.basin import Basin
from terrain.works.bowl_rim import bowl_rim
from terrain.works.drain import Drain
from terrain.works.ground_of_bank import spillway_floor
from terrain.works.rules import Rulebook
from terrain.works.swale_built import Swale
from terrain.works.swale_stations import across
from terrain.works.tree_basin import TreeShape

FloatArray = NDArray[np.float64]

#: A line that falls or follows the ground is known by its level this often. [m]
APART = 1.0
#: A station may be rounded past the end of its stretch by so much. [m]
ROUNDED = 0.02
#: Half of the stretch along a swale that a check's top counts for. [m]
CHECK = 0.5
#: Marks of setting_out.csv that hold no level once the work is built, and why.
NO_LEVEL = {"wet foot": "a foot is where the bank meets the ground",
            "dry foot": "a foot is where the bank meets the ground",
            "inlet": "a spillway's floor is surveyed on its sill",
            "outlet": "a spillway's floor is surveyed on its sill",
            "tree": "the trunk's stake tells a place, not a level that is dug",
            "furrow": "a furrow is looked at with water in it"}


@dataclass(frozen=True)
class EarthStrip:
    """Earth that a metre of line takes to shave or fill by d: d (width + slope d). [m2]

    Attributes
    ----------
    shave, fill : (float, float)
        Width [m] and slope [-] of each.
    """

    shave: tuple[float, float]
    fill: tuple[float, float]


@dataclass(frozen=True)
class DesignedLine:
    """A line, or a floor, that was to be made to a level.

    Attributes
    ----------
    store : int
        Of the plan's stores.
    work, name : str
        The work, and what of it: sill, lip, bed, check, berm, wall, cut-off, rim, floor, bund.
    marks : tuple of str
        Marks of setting_out.csv that stand on it.
    role : str
        "sill", "crest", "bed", "lip", "floor", "rim" or "trench".
    xy : float64, shape (n, 2)
        [m]
    levels : float64, shape (n,)
        To be made, at each of those. [m]
    settles : float64, shape (n,)
        How far it is to settle from there. [m]
    spans : tuple of (float, float)
        Stretches of it that count. [m]
    low, high : float
        How far below and above it may lie. [m]
    rules : (str, str)
        The rules that say so.
    strip : EarthStrip or None
        None where no earth is to be reckoned.
    area : shapely Polygon or None
        A floor.
    """

    store: int
    work: str
    name: str
    marks: tuple[str, ...]
    role: str
    xy: FloatArray
    levels: FloatArray
    settles: FloatArray
    spans: tuple[tuple[float, float], ...]
    low: float
    high: float
    rules: tuple[str, str]
    strip: EarthStrip | None = None
    area: Any = None

    @property
    def shape(self) -> LineString:
        """The line."""
        return LineString(self.xy)

    @property
    def stations(self) -> FloatArray:
        """Of its points. [m]"""
        return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(self.xy, axis=0).T))])

    @property
    def ring(self) -> bool:
        """Whether it ends where it starts."""
        return len(self.xy) > 3 and bool(np.hypot(*(self.xy[0] - self.xy[-1])) < 1e-6)

    @property
    def length(self) -> float:
        """Of the stretches that count. [m]"""
        return float(sum(end - start for start, end in self.spans))

    @property
    def counted(self) -> Any:
        """The stretches that count, or the floor, as a shape."""
        if self.area is not None:
            return self.area
        return MultiLineString([substring(self.shape, *span) for span in self.spans
                                if span[1] - span[0] > 1e-6])

    def level_at(self, station: float | FloatArray) -> Any:
        """Level to be made at stations. [m]"""
        return np.interp(station, self.stations, self.levels)

    def settles_at(self, station: float | FloatArray) -> Any:
        """How far it is to settle at stations. [m]"""
        return np.interp(station, self.stations, self.settles)

    def counts(self, station: float) -> bool:
        """Whether a station lies on a stretch that counts."""
        return any(start - ROUNDED <= station <= end + ROUNDED for start, end in self.spans)


class _Maker:
    """Makes the lines of one store."""

    def __init__(self, index: int, planned: PlannedStore, dem: Dem, rules: Rulebook,
                 settled: bool) -> None:
        self.index, self.work, self.dem = index, planned.store.name, dem
        self.rules, self.settled = rules, settled

    def line(self, name: str, marks: Sequence[str], role: str, xy: FloatArray,
             levels: float | FloatArray, spans: Sequence[tuple[float, float]] | None = None,
             strip: EarthStrip | None = None, settles: float | FloatArray = 0.0,
             area: Any = None) -> DesignedLine:
        low, high = {"sill": ("sill off level", "sill off level"),
                     "crest": ("crest too low", "crest too high"),
                     "rim": ("crest too low", "crest too high")}.get(
                         role, ("bed off level", "bed off level"))
        xy = np.asarray(xy, float)[:, :2]
        fall = np.broadcast_to(np.asarray(settles, float), len(xy)).copy()
        to = np.broadcast_to(np.asarray(levels, float), len(xy)).copy()
        if self.settled:
            to, fall = to - fall, np.zeros(len(xy))
        whole = float(LineString(xy).length)
        return DesignedLine(self.index, self.work, name, tuple(marks), role, xy, to, fall,
                            tuple(spans) if spans is not None else ((0.0, whole),),
                            self.rules[low], self.rules[high], (low, high), strip, area)


def designed_lines(plan: Plan, settled: bool = False) -> list[DesignedLine]:
    """Every line and floor that a survey may be held against.

    Parameters
    ----------
    settled : bool
        Hold banks against the levels they settle to, not those they are built to.
    """
    found: list[DesignedLine] = []
    for index, planned in enumerate(plan.stores):
        make = _Maker(index, planned, plan.inputs.dem, plan.inputs.rules, settled)
        if planned.swale is not None:
            found += _of_swale(make, planned.swale)
        elif planned.drain is not None:
            found += _of_drain(make, planned.drain)
        elif planned.basin is not None:
            found += (_of_wall if planned.basin.has_wall else _of_dug)(make, planned.basin)
        elif planned.placed.tree is not None:
            found += _of_tree(make, planned, planned.placed.tree)
    return found


def _of_swale(make: _Maker, swale: Swale) -> list[DesignedLine]:
    line, level, section = swale.route.line, swale.sill.level, swale.section
    whole = LineString(line).length
    berm = swale.built_berm
    uphill = across(make.dem, line, np.linspace(0.0, whole, 9)).left
    wide = berm.top + 2 * berm.side_slope * berm.height
    lip = EarthStrip((wide, 0.0), (wide, 0.0))
    gap = (swale.sill_from, swale.sill_to)
    found = [make.line("sill", ("sill",), "sill", line, level, [gap], lip)]
    beside = [span for span in ((0.0, gap[0]), (gap[1], whole)) if span[1] - span[0] > 0.01]
    if beside:
        found.append(make.line("lip", ("line", "end"), "lip", line, level, beside))
    bed = moved(line, section.top_width() / 2 * (1 if uphill else -1))
    dig = EarthStrip((section.width if section.shape == "trapezoid" else 0.0,
                      section.side_slope), (section.top_width() / 2, 0.0))
    if bed is not None:
        low = level - section.depth
        found.append(make.line("bed", ("bed",), "bed", bed, low, strip=dig))
        shape = LineString(bed)
        for height in sorted({check.height for check in swale.checks}):
            places = [float(shape.project(LineString(line).interpolate(check.chainage)))
                      for check in swale.checks if check.height == height]
            found.append(make.line("check", ("check",), "check", bed, low + height, [
                (max(at - CHECK, 0.0), min(at + CHECK, shape.length)) for at in places]))
    crest = moved(line, (berm.side_slope * berm.height + berm.top / 2) * (-1 if uphill else 1))
    if crest is not None:
        back = berm.side_slope * berm.height
        shape = LineString(crest)
        first, last = (float(shape.project(LineString(line).interpolate(at))) for at in gap)
        spans = [span for span in ((0.0, first - back), (last + back, shape.length))
                 if span[1] - span[0] > 0.05]
        if spans:
            found.append(make.line("berm", ("berm",), "crest", crest, level + berm.height, spans,
                                   bank_strip(berm.height, berm.top, 2 * berm.side_slope),
                                   swale.berm_height_built - swale.berm_height))
    return found


def bank_strip(height: float, top: float, slopes: float) -> EarthStrip:
    """Earth of raising a bank and of shaving its crest, its top as wide as before.

    Parameters
    ----------
    slopes : float
        Of both its sides together, H:V.
    """
    return EarthStrip((top, slopes / 2), (top + slopes * max(height, 0.0), -slopes / 2))


def moved(line: FloatArray, left: float) -> FloatArray | None:
    """A line moved to its left (its right, below 0), its longest piece; None where none is left."""
    found = LineString(line).offset_curve(left)
    parts = [part for part in getattr(found, "geoms", [found]) if not part.is_empty]
    if not parts:
        return None
    return np.asarray(max(parts, key=lambda part: part.length).coords, float)


def _of_drain(make: _Maker, drain: Drain) -> list[DesignedLine]:
    route, section = drain.route, drain.section
    shape = LineString(route.line)
    lip = _often(shape)
    along = np.array([shape.project(Point(p)) for p in lip])
    found = [make.line("lip", ("line", "end"), "lip", lip,
                       np.array([route.lip(float(at)) for at in along]))]
    off = section.side_slope * section.depth + section.width / 2
    bed = moved(route.line, off if route.left else -off)
    if bed is not None:
        xy = _often(LineString(bed))
        along = np.array([shape.project(Point(p)) for p in xy])
        found.append(make.line("bed", ("bed",), "bed", xy,
                               np.array([drain.bed(float(at)) for at in along]),
                               strip=EarthStrip((section.width, section.side_slope),
                                                (section.width, 0.0))))
    return found


def _often(shape: LineString) -> FloatArray:
    """Points along a line, its own bends among them. [m]"""
    own = [shape.project(Point(p)) for p in shape.coords]
    count = max(int(np.ceil(shape.length / APART)), 1)
    at = np.unique(np.concatenate([own, np.linspace(0.0, shape.length, count + 1)]))
    return np.array([shape.interpolate(s).coords[0] for s in at])


def _of_wall(make: _Maker, basin: Basin) -> list[DesignedLine]:
    wall = basin.profile
    assert wall is not None
    shape = LineString(basin.line)
    xy = np.array([shape.interpolate(s).coords[0] for s in wall.stations])
    steep = bank_strip(float(wall.heights.max()), wall.top, wall.wet_slope + wall.dry_slope)
    found = [make.line("wall", ("wall",), "crest", xy, wall.built, [wall.stands], steep,
                       wall.built - wall.crest)]
    floor, lip = spillway_floor(make.dem, basin)
    wide = float(floor.area) / max(basin.sill.length, 1e-6)
    found.append(make.line("sill", ("sill",), "sill", lip, basin.sill.level,
                           strip=EarthStrip((wide, 0.0), (wide, 0.0))))
    trench = wall.ground - wall.strip - wall.cutoff_depth
    found.append(make.line("cut-off", ("cut-off",), "trench", xy, trench, [wall.stands],
                           EarthStrip((wall.cutoff_width, wall.cutoff_slope),
                                      (wall.cutoff_width, 0.0))))
    if basin.rim is not None:
        found += _of_pit(make, Polygon(basin.rim), basin.floor + basin.pit_depth, basin.pit_depth,
                         basin.batter, "edge")
    return found


def _of_pit(make: _Maker, rim: Polygon, level: float, depth: float, batter: float, role: str
            ) -> list[DesignedLine]:
    ring = np.asarray(rim.exterior.coords, float)
    floor = rim.buffer(-batter * depth, join_style="mitre") if batter * depth > 1e-9 else rim
    parts = [part for part in getattr(floor, "geoms", [floor]) if not part.is_empty]
    found = [make.line("rim", ("rim",), role, ring, level, strip=EarthStrip((0.5, 0.0),
                                                                            (0.5, 0.0)))]
    if parts:
        largest = max(parts, key=lambda part: part.area)
        found.append(make.line("floor", ("floor",), "floor",
                               np.asarray(largest.exterior.coords, float), level - depth,
                               area=floor))
    return found


def _of_dug(make: _Maker, basin: Basin) -> list[DesignedLine]:
    rim = Polygon(basin.line)
    level, ring = basin.sill.level, LineString(basin.line)
    found = _of_pit(make, rim, level, basin.water_at_wall, basin.batter, "rim")
    middle = float(ring.project(Point(basin.sill_x, basin.sill_y)))
    half = min(basin.sill.length, ring.length / 2) / 2
    first, last = (middle - half) % ring.length, (middle + half) % ring.length
    spans = ([(first, last)] if first < last else [(first, ring.length), (0.0, last)])
    wide = make.rules["berm top width"]
    return [*found, make.line("sill", ("sill",), "sill", basin.line, level, spans,
                              EarthStrip((wide, 0.0), (wide, 0.0)))]


def _of_tree(make: _Maker, planned: PlannedStore, tree: TreeShape) -> list[DesignedLine]:
    if tree.crescent is not None:
        made = tree.crescent
        arc = LineString(made.arc)
        # Its stakes ask for the settled crest.
        tip = min(tree.lip / 2, arc.length / 8)
        crest = make.line("bund", ("bund",), "crest", made.arc, made.level + made.freeboard,
                          [(tip, arc.length - tip)],
                          bank_strip(made.bund_height, made.top, 2 * made.side_slope))
        earth = EarthStrip((made.top, 0.0), (made.top, 0.0))
        return [crest, make.line("sill", ("sill",), "sill", made.arc, made.level,
                                 [(0.0, tip), (arc.length - tip, arc.length)], earth)]
    level = planned.store.sill.level
    spill = np.array([planned.placed.spill_x, planned.placed.spill_y])
    centre = np.array([planned.store.x, planned.store.y])
    out = spill - centre
    out = out / max(float(np.hypot(*out)), 1e-9)
    half = tree.lip / 2 * np.array([-out[1], out[0]])
    wide = make.rules["berm top width"]
    sills = [make.line("sill", ("sill",), "sill", np.array([spill - half, spill + half]), level,
                       strip=EarthStrip((wide, 0.0), (wide, 0.0)))]
    if tree.form == "trench":
        marks: tuple[str, ...] = ("floor",)
        floor, low = tree.outline, tree.level - tree.depth
    else:
        low, marks = float(planned.store.curve.levels[0]), ("floor",)
        radius = float(np.sqrt(max(planned.store.curve.areas[0], 0.01) / np.pi))
        floor = Point(*centre).buffer(radius)
        rim = bowl_rim(tree.x, tree.y, tree.crown, tree.spill_x, tree.spill_y)
        sills.append(make.line("rim", ("rim",), "rim", rim, level,
                               strip=EarthStrip((wide, 0.0), (wide, 0.0))))
    return [*sills, make.line("floor", marks, "floor", np.asarray(floor.exterior.coords, float),
                            low, area=floor)]
