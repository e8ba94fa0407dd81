"""Sections to scale, of basins too, and the volume a basin holds at each level."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon

from terrain.inputs.elevation import Dem
from terrain.outputs import symbols as sy
from terrain.units import PRINTED, shown
from terrain.works.basin import Basin
from terrain.works.wall_and_pit import lowered_ground

#: Room for the heading above a section. [in]
HEADING = 0.26
GROUND, BANK = "#d8cbb5", "#b98f6a"


class Section:
    """An axes in which a metre is as long across as up; lengths in m."""

    def __init__(self, figure: Figure, left: float, bottom: float, wide: float, high: float
                 ) -> None:
        """Place it and its heading on a figure. [in]"""
        self.wide, self.high = wide * 72, (high - HEADING) * 72
        across, up = figure.get_size_inches()
        self.ax = figure.add_axes((left / across, bottom / up, wide / across,
                                   (high - HEADING) / up))
        self.ax.set_axis_off()
        self._head = figure.text(left / across, (bottom + high - 0.06) / up, "",
                                 fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK, va="center",
                                 gid="head")
        self.point = 1.0

    def head(self, words: str) -> None:
        """Write its heading."""
        self._head.set_text(words)

    def frame(self, west: float, east: float, low: float, high: float, beside: float = 0.0,
              over: float = 62.0) -> None:
        """Show this much of the section, with room for lettering about it.

        `beside` points are kept free on its right, `over` points above and below it together.
        """
        self.point = max((east - west) / (self.wide - 16 - beside),
                         (high - low) / (self.high - over))
        x, z = (west + east + beside * self.point) / 2, (low + high) / 2
        self.ax.set_xlim(x - self.wide * self.point / 2, x + self.wide * self.point / 2)
        self.ax.set_ylim(z - self.high * self.point / 2, z + self.high * self.point / 2)

    def fill(self, points: Sequence[tuple[float, float]], face: str, edge: str = "none",
             zorder: float = 2, gid: str | None = None) -> None:
        """Fill a shape."""
        self.ax.add_patch(Polygon(points, closed=True, facecolor=face, edgecolor=edge,
                                  linewidth=1.0, zorder=zorder, gid=gid))

    def line(self, points: Sequence[tuple[float, float]], colour: str, width: float = 1.2,
             style: Any = "-", zorder: float = 4, gid: str | None = None) -> None:
        """Draw a line."""
        x, z = np.asarray(points, float).T
        self.ax.add_line(Line2D(x, z, color=colour, linewidth=width, linestyle=style,
                                zorder=zorder, gid=gid))

    def across(self, x0: float, x1: float, z: float, words: str, above: bool = False) -> None:
        """Write a dimension that runs across."""
        self._dimension((x0, z), (x1, z))
        gap = 3.0 * self.point * (1 if above else -1)
        self.ax.text((x0 + x1) / 2, z + gap, words, ha="center", va="bottom" if above else "top",
                     fontsize=sy.SMALL_SIZE, zorder=9, path_effects=sy.halo(1.8), gid="dimension")

    def up(self, x: float, z0: float, z1: float, words: str, right: bool = True,
           at: float | None = None) -> None:
        """Write a dimension that runs up."""
        self._dimension((x, z0), (x, z1))
        gap = 4.0 * self.point * (1 if right else -1)
        self.ax.text(x + gap, (z0 + z1) / 2 if at is None else at, words,
                     ha="left" if right else "right", va="center", fontsize=sy.SMALL_SIZE,
                     zorder=9, path_effects=sy.halo(1.8), gid="dimension")

    def _dimension(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        self.line([start, end], sy.SOFT_INK, 0.7, zorder=8)
        tick = 2.6 * self.point
        along = np.array(end) - np.array(start)
        norm = float(np.hypot(*along)) or 1.0
        side = np.array([-along[1], along[0]]) / norm * tick
        for at in (np.array(start), np.array(end)):
            self.line([tuple(at - side), tuple(at + side)], sy.SOFT_INK, 0.9, zorder=8)

    def note(self, x: float, z: float, words: str, colour: str = sy.INK, ha: str = "left",
             va: str = "center") -> None:
        """Write a word in the section."""
        self.ax.text(x, z, words, ha=ha, va=va, fontsize=sy.SMALL_SIZE, color=colour, zorder=9,
                     path_effects=sy.halo(1.8), gid="dimension")

    def water_mark(self, x: float, z: float) -> None:
        """The mark of a water level."""
        size = 4.0 * self.point
        self.fill([(x, z), (x - size, z + 1.5 * size), (x + size, z + 1.5 * size)], sy.PAPER,
                  sy.WATER, 7)


def wall_section(made: Section, basin: Basin, dem: Dem, system: str) -> None:
    """Draw the section across a wall at its highest; the water to the left."""
    assert basin.profile is not None
    wall = basin.profile
    top, wet, dry = wall.top, wall.wet_slope, wall.dry_slope
    from shapely.geometry import LineString

    line = LineString(basin.line)
    spots = [line.interpolate(s) for s in np.linspace(0, line.length, 200)]
    heights = dem.height_at([s.x for s in spots], [s.y for s in spots])
    low = int(np.nanargmin(heights))
    ahead, behind = spots[min(low + 2, 199)], spots[max(low - 2, 0)]
    along = np.array([ahead.x - behind.x, ahead.y - behind.y])
    along = along / np.hypot(*along)
    away = np.array([-along[1], along[0]])
    pool = basin.outline.representative_point()
    if (np.array([pool.x - spots[low].x, pool.y - spots[low].y]) @ away) > 0:
        away = -away  # away from the water
    height = basin.crest - float(heights[low])
    reach = max(wet * height + top, 3 * height, 3.0) * 1.5
    if basin.rim is not None:  # as far as the pit
        reach = min(max(reach, float(((basin.rim - [spots[low].x, spots[low].y]) @ -away).max())
                        + 2 * height), 6 * reach)
    tail = max(dry * height + top, 3.0) * 1.25
    s = np.linspace(-reach, tail, 160)
    ground = dem.height_at(spots[low].x + s * away[0], spots[low].y + s * away[1])
    natural = np.where(np.isfinite(ground), ground, np.nanmean(ground)) - basin.crest
    ground = np.where(s < 0, lowered_ground(basin, spots[low].x + s * away[0],
                                            spots[low].y + s * away[1], natural + basin.crest)
                      - basin.crest, natural)
    made.head(f"Section at the wall's highest; water side {wet:g}:1, dry side {dry:g}:1")
    water, bottom = basin.sill.level - basin.crest, float(ground.min()) - 0.12 * height
    bottom = min(bottom, float(heights[low]) - basin.crest - wall.strip - wall.cutoff_depth
                 - 0.06 * height)
    made.frame(-reach, tail, bottom, 0.0)
    p = made.point
    made.fill([*zip(s, ground, strict=True), (tail, bottom), (-reach, bottom)], GROUND)
    wet_face = np.minimum(0.0, np.where(s < 0, (s + top / 2) / wet, -(s - top / 2) / dry))
    bank = np.maximum(wet_face, ground)
    on = wet_face > ground
    made.fill([*zip(s[on], bank[on], strict=True),
               *zip(s[on][::-1], ground[on][::-1], strict=True)], BANK, sy.EARTH, 4)
    wetted = (s < 0) & (np.maximum(wet_face, ground) < water)
    if wetted.any():
        floor = np.maximum(wet_face, ground)[wetted]
        end = float(s[wetted].max())
        made.fill([(float(s[wetted].min()), water), (end, water),
                   *zip(s[wetted][::-1], floor[::-1], strict=True)], sy.POOL, zorder=3)
        made.line([(float(s[wetted].min()), water), (end, water)], sy.WATER, 1.4)
        made.water_mark(float(s[wetted].min()) + (end - float(s[wetted].min())) * 0.35, water)
    made.line(list(zip(s, ground, strict=True)), sy.INK, 1.3, zorder=5)
    if (ground < natural - 0.01).any():
        made.line(list(zip(s, natural, strict=True)), sy.SOFT_INK, 0.9, (0, (4, 3)), 5)
    foot = float(ground[np.argmin(np.abs(s))]) - wall.strip
    side = wall.cutoff_width / 2 + wall.cutoff_slope * wall.cutoff_depth
    made.fill([(-side, foot), (-wall.cutoff_width / 2, foot - wall.cutoff_depth),
               (wall.cutoff_width / 2, foot - wall.cutoff_depth), (side, foot)], BANK, sy.EARTH, 4,
              "trench")
    made.across(-top / 2, top / 2, 9 * p, f"top {shown(top, 'level', system)}", above=True)
    made.up(0.0, float(ground[np.argmin(np.abs(s))]), 0.0, shown(height, "level", system))
    made.note(-reach + 2 * p, water + 9 * p,
              f"sill {shown(basin.sill.level, 'level', system)}", sy.WATER, "left", "bottom")
    made.note(tail, 9 * p, f"crest {shown(basin.crest, 'level', system)}", sy.EARTH, "right",
              "bottom")


def dug_section(made: Section, basin: Basin, dem: Dem, system: str) -> None:
    """Draw the section along a pit's longer way, through its middle."""
    from shapely.geometry import LineString

    shape = basin.outline
    ring = np.asarray(shape.minimum_rotated_rectangle.exterior.coords)
    sides = [ring[1] - ring[0], ring[2] - ring[1]]
    way = max(sides, key=lambda v: float(np.hypot(*v)))
    long = float(np.hypot(*way))
    way = way / long
    middle = shape.representative_point()
    probe = LineString([(middle.x - way[0] * 2 * long, middle.y - way[1] * 2 * long),
                        (middle.x + way[0] * 2 * long, middle.y + way[1] * 2 * long)])

    def chord(rise: float) -> tuple[float, float] | None:
        inner = shape.buffer(-basin.batter * (basin.water_at_wall - rise), join_style="mitre")
        cut = inner.intersection(probe)
        parts = [q for q in getattr(cut, "geoms", [cut]) if q.geom_type == "LineString"
                 and not q.is_empty]
        if not parts:
            return None
        part = max(parts, key=lambda q: q.length)
        at = sorted((c[0] - middle.x) * way[0] + (c[1] - middle.y) * way[1]
                    for c in (part.coords[0], part.coords[-1]))
        return at[0], at[1]

    depth = basin.water_at_wall
    rim, floor = chord(depth), chord(0.0)
    made.head("Section along the pit, the same scale both ways")
    if rim is None:
        return
    spare = max((rim[1] - rim[0]) * 0.12, 1.0)
    s = np.linspace(rim[0] - spare, rim[1] + spare, 160)
    ground = dem.height_at(middle.x + s * way[0], middle.y + s * way[1]) - basin.sill.level
    ground = np.where(np.isfinite(ground), ground, 0.0)
    bottom = -depth * 1.3
    made.frame(float(s[0]), float(s[-1]), bottom, float(max(ground.max(), 0.0)))
    p = made.point
    pit = [(rim[0], 0.0)] + ([(floor[0], -depth), (floor[1], -depth)] if floor else []) + [
        (rim[1], 0.0)]
    left, right = s < rim[0], s > rim[1]
    edge = [*zip(s[left], ground[left], strict=True), *pit,
            *zip(s[right], ground[right], strict=True)]
    made.fill([*edge, (float(s[-1]), bottom), (float(s[0]), bottom)], GROUND)
    made.fill(pit, sy.POOL, zorder=3)
    made.line(edge, sy.INK, 1.3)
    made.line(list(zip(s, ground, strict=True)), sy.SOFT_INK, 0.9, (0, (4, 3)))
    made.line([(rim[0], 0.0), (rim[1], 0.0)], sy.WATER, 1.4)
    made.water_mark(rim[0] + (rim[1] - rim[0]) * 0.3, 0.0)
    made.up((rim[0] + rim[1]) / 2, -depth, 0.0, shown(depth, "level", system))
    made.across(rim[0], rim[1], float(max(ground.max(), 0.0)) + 12 * p,
                f"rim {shown(rim[1] - rim[0], 'length', system)}", above=True)
    if floor:
        made.across(floor[0], floor[1], -depth - 7 * p,
                    f"floor {shown(floor[1] - floor[0], 'length', system)}; "
                    f"sides {basin.batter:g}:1")


def stage_curve(figure: Figure, left: float, bottom: float, wide: float, high: float,
                basin: Basin, system: str) -> None:
    """Draw the volume that a basin holds at each level, in a place on a figure. [in]

    Nothing is drawn of a basin that its own bank fills up.
    """
    if not basin.storage > 0:
        return
    across, up = figure.get_size_inches()
    ax = figure.add_axes(((left + 0.55) / across, (bottom + 0.36) / up, (wide - 0.67) / across,
                          (high - HEADING - 0.46) / up))
    figure.text((left + 0.05) / across, (bottom + high - 0.06) / up, "Held at each level",
                fontsize=sy.TEXT_SIZE, color=sy.SOFT_INK, va="center", gid="head")
    factor = PRINTED["volume"][system == "us"][1]
    stretch = PRINTED["level"][system == "us"][1]
    volumes, levels = basin.curve.volumes * factor, basin.curve.levels * stretch
    ax.fill_betweenx(levels, 0, volumes, color=sy.POOL, alpha=0.6, linewidth=0)
    ax.plot(volumes, levels, color=sy.WATER, linewidth=1.6, gid="stage")
    ax.set_xlim(0, float(volumes[-1]) * 1.05)
    ax.set_ylim(float(levels[0]), float(levels[-1]) + 0.04 * float(levels[-1] - levels[0]))
    ax.set_xticks([0, float(volumes[-1])])
    ax.set_xticklabels(["0", sy.brief(basin.storage, "volume", system)], fontsize=sy.SMALL_SIZE)
    ax.get_xticklabels()[-1].set_horizontalalignment("right")
    ax.set_yticks([float(levels[0]), float(levels[-1])])
    ax.set_yticklabels([f"{v:,.2f}" for v in (levels[0], levels[-1])], fontsize=sy.SMALL_SIZE)
    ax.tick_params(length=3, pad=3)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
