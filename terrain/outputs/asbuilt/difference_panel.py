"""A line's long profile: heights above and below its design, the tolerance, highs and lows."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from terrain.asbuilt.compared import LineFound
from terrain.asbuilt.spills import FirstSpill
from terrain.outputs.asbuilt.words import NAMES, tolerance
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.sheets.long_profiles import round_step
from terrain.units import PRINTED, printed, shown

#: Looks of points: symbol, face, edge, size.
LOOKS = {"within": ("o", sy.PAPER, sy.INK, 4.6), "high": ("^", sy.EARTH, sy.PAPER, 7.5),
         "low": ("v", sy.WATER, sy.PAPER, 7.5)}
BAND = sy.mixed(sy.TREE_FILL, sy.PAPER, 0.45)
#: Room for the heading above, for stations below, for heights on the left. [in]
ABOVE, BELOW, BESIDE = 0.26, 0.26, 0.68
#: A station may be rounded past the end of its line by so much. [m or ft]
ROUNDED = 0.02
#: Labels are this far apart at least. [pt]
CLEAR = 48.0


def difference_panel(figure: Figure, left: float, bottom: float, wide: float, high: float,
                     lines: Sequence[LineFound], spill: FirstSpill | None, system: str) -> Axes:
    """Draw lines of one course in a place on a figure. [in]

    Parameters
    ----------
    lines : sequence of LineFound
        That lie along one another, such as a sill and the lip on both its sides.
    """
    across, up = figure.get_size_inches()
    ax = figure.add_axes(((left + BESIDE) / across, (bottom + BELOW) / up,
                          (wide - BESIDE - 0.1) / across, (high - ABOVE - BELOW) / up))
    factor = printed("level", system)[1] if system == "us" else 1000.0  # m to ft or mm
    along = PRINTED["length"][system == "us"][1]
    floor = lines[0].line.area is not None
    count = sum(len(found.points) for found in lines)
    start = 0.0 if floor else min(s for f in lines for s, _ in f.line.spans) * along
    end = float(count + 1) if floor else max(e for f in lines for _, e in f.line.spans) * along
    here = spill is not None and any(found.line is spill.line for found in lines)
    ax.set_xlim(start, end)
    ax.set_ylim(*_limits(lines, factor, (high - ABOVE - BELOW) * 72, here))
    ax.set_autoscale_on(False)
    ax.axhline(0.0, color=sy.INK, linewidth=1.0, linestyle=(0, (4, 2)), zorder=3, gid="designed")
    tags: list[tuple[float, float, str]] = []
    for found in lines:
        tags += _line(ax, found, factor, along, floor)
    if spill is not None and here:
        _spill(ax, spill, factor, along)
    _tag(ax, tags, 3 if system == "us" else 0)
    _head(figure, left, bottom + high, wide, lines, system)
    _ticks(ax, lines, floor, system)
    return ax


def _limits(lines: Sequence[LineFound], factor: float, tall: float, spills: bool
            ) -> tuple[float, float]:
    """What heights a panel shows, with room for its lettering. [pt of `tall`]"""
    values = [m.difference for f in lines for m in f.points]
    low = min([-1.4 * f.line.low for f in lines] + [min(values)]) * factor
    top = max([1.4 * f.line.high for f in lines] + [max(values)]) * factor
    below = 22.0 if spills else 15.0 if min(values) < -max(f.line.low for f in lines) else 3.0
    above = 15.0 if max(values) > min(f.line.high for f in lines) else 3.0
    per_point = (top - low) / (tall - below - above)
    return low - below * per_point, top + above * per_point


def _line(ax: Axes, found: LineFound, factor: float, along: float, floor: bool
          ) -> list[tuple[float, float, str]]:
    line = found.line
    spans = [(0.0, len(found.points) + 1.0)] if floor else [
        (start * along, end * along) for start, end in line.spans]
    for start, stop in spans:
        ax.fill_between([start, stop], -line.low * factor, line.high * factor, color=BAND,
                        linewidth=0, zorder=1, gid="tolerance")
    at = (np.arange(1.0, len(found.points) + 1) if floor else
          np.array([p.station for p in found.points]) * along)
    values = np.array([p.difference for p in found.points]) * factor
    if not floor and len(found.points) > 1:
        for start, stop in spans:
            inside = (at > start - ROUNDED) & (at < stop + ROUNDED)
            x, y = at[inside], values[inside]
            if x.size < 2:
                continue
            fine = np.unique(np.concatenate([x, np.linspace(x[0], x[-1], 400)]))
            run = np.interp(fine, x, y)
            ax.fill_between(fine, line.high * factor, run, where=run > line.high * factor,
                            color=sy.BERM, linewidth=0, zorder=2, gid="too high")
            ax.fill_between(fine, -line.low * factor, run, where=run < -line.low * factor,
                            color=sy.POOL, linewidth=0, zorder=2, gid="too low")
            ax.plot(x, y, color=sy.INK, linewidth=1.1, zorder=4, gid="surveyed")
    tags = []
    for i, (x, y) in enumerate(zip(at, values, strict=True)):
        state = found.state(i)
        symbol, face, edge, size = LOOKS[state]
        ax.plot([x], [y], symbol, markersize=size, markerfacecolor=face, markeredgecolor=edge,
                markeredgewidth=1.0, zorder=6, gid=f"point {state}", clip_on=False)
        if state != "within":
            tags.append((float(x), float(y), state))
    return tags


def _spill(ax: Axes, spill: FirstSpill, factor: float, along: float) -> None:
    x = spill.station * along
    y = float(spill.level - spill.line.level_at(spill.station)) * factor
    ax.annotate("", (x, y), (0, -20), textcoords="offset points", annotation_clip=False,
                arrowprops={"arrowstyle": "<|-", "color": sy.SHED, "linewidth": 1.4,
                            "shrinkA": 0, "shrinkB": 6}, zorder=7)
    start, end = ax.get_xlim()
    right = x < start + 0.55 * (end - start)
    ax.annotate("spills here first", (x, y), (8 if right else -8, -13),
                textcoords="offset points", ha="left" if right else "right", va="center",
                fontsize=sy.SMALL_SIZE, color=sy.SHED, path_effects=sy.halo(1.8), zorder=8,
                annotation_clip=False, gid="spill words")


def _tag(ax: Axes, tags: list[tuple[float, float, str]], decimals: int) -> None:
    """Write how far the worst points are off, none close to another; what is low on the side away
    from where the words of the spill may stand."""
    width = ax.get_window_extent().width / ax.figure.dpi * 72
    start, end = ax.get_xlim()
    per_point = (end - start) / width
    written: list[float] = []
    for x, y, state in sorted(tags, key=lambda tag: -abs(tag[1])):
        if any(abs(x - other) < CLEAR * per_point for other in written):
            continue
        written.append(x)
        words = f"{'+' if y > 0 else '−'}{abs(y):,.{decimals}f}"
        left = x < start + 0.55 * (end - start)
        if state == "low" and start + 30 * per_point < x < end - 30 * per_point:
            offset, across, up = (-8 if left else 8, 0), "right" if left else "left", "center"
        elif state == "low":
            offset, across, up = (9 if left else -9, -1), "left" if left else "right", "center"
        else:
            near = 18 * per_point
            across = "left" if x < start + near else "right" if x > end - near else "center"
            offset, up = (0, 6), "bottom"
        ax.annotate(words, (x, y), offset, textcoords="offset points", ha=across, va=up,
                    fontsize=sy.SMALL_SIZE, fontweight="bold",
                    color=sy.EARTH if state == "high" else sy.WATER,
                    path_effects=sy.halo(1.8), zorder=8, annotation_clip=False, gid="difference")


def _head(figure: Figure, left: float, top: float, wide: float, lines: Sequence[LineFound],
          system: str) -> None:
    across, up = figure.get_size_inches()
    names = " and ".join(NAMES[found.line.name] for found in lines)
    allowed = " and ".join(dict.fromkeys(tolerance(found.line, system) for found in lines))
    levels = np.concatenate([found.line.level_at(np.array([p.station for p in found.points]))
                             for found in lines])
    low, most = float(levels.min()), float(levels.max())
    made = (shown(low, "level", system) if most - low < 0.005 else
            f"{shown(low, 'level', system, with_unit=False)} to {shown(most, 'level', system)}")
    name = f"{names[:1].upper()}{names[1:]}"
    words = (f"{name}: dashes, as designed at {made}; band, {allowed}" if wide > 5 else
             f"{name}: 0 is {made}, band {allowed}")
    figure.text((left + 0.02) / across, (top - 0.1) / up, words,
                fontsize=sy.TEXT_SIZE - 0.5, color=sy.SOFT_INK, va="center", gid="head")


def _ticks(ax: Axes, lines: Sequence[LineFound], floor: bool, system: str) -> None:
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    ax.tick_params(length=3, pad=3, labelsize=sy.SMALL_SIZE)
    low, top = ax.get_ylim()
    tall = ax.get_window_extent().height / ax.figure.dpi * 72
    step = round_step((top - low) / tall * 12)
    if top < step and low > -step:
        step /= 2
    at = [i * step for i in range(int(np.ceil(low / step)), int(np.floor(top / step)) + 1)]
    ax.set_yticks(at)
    unit = "ft" if system == "us" else "mm"
    ax.set_yticklabels([f"{'−' if v < 0 else '+' if v > 0 else ''}{abs(v):g}"
                        + (f" {unit}" if v == at[-1] else "") for v in at])
    start, end = ax.get_xlim()
    if floor:
        ax.set_xticks(range(1, int(end)))
        names = [p.point.name for found in lines for p in found.points]
        ax.set_xticklabels([name if name and len(name) < 6 else str(i)
                            for i, name in enumerate(names, 1)])
        return
    wide = ax.get_window_extent().width / ax.figure.dpi * 72
    step = round_step((end - start) / max(wide / 45, 1.0))
    clear = max(0.75 * step, CLEAR * (end - start) / wide)
    ticks = [t for t in np.arange(np.ceil(start / step) * step, end, step) if end - t > clear]
    ax.set_xticks([*ticks, end])
    ax.set_xticklabels([*(f"{t:g}" for t in ticks),
                        f"{end:.1f} {PRINTED['length'][system == 'us'][0]}"])
    ax.get_xticklabels()[-1].set_horizontalalignment("right")
