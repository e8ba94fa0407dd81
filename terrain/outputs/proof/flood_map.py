"""Maps of the flood: deepest water, before and after side by side, water crossing the boundary."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from numpy.typing import NDArray

from terrain.outputs.drawing.symbols import HEAD_SIZE, INK, SMALL_SIZE, SOFT_INK, halo, styled
from terrain.outputs.proof.words import deep
from terrain.proof.flood_ground import FloodGround
from terrain.proof.proof import Flooded, Proof
from terrain.surface.slope import hillshade
from terrain.units import shown

#: Depths at which a colour begins [m], and the colours, from thin to deep.
DEPTHS = (0.005, 0.02, 0.05, 0.10, 0.20, 0.50)
BLUES = ("#d3e8ee", "#a3cfdd", "#66aac6", "#347da6", "#1d5280", "#0f2c52")


def water_colours(depth: NDArray[Any]) -> NDArray[np.uint8]:
    """Depths [m] as colours, shape (rows, columns, 4); clear where the ground is only wet."""
    colours = np.array([[0, 0, 0, 0]] + [[int(c[i:i + 2], 16) for i in (1, 3, 5)] + [235]
                                         for c in BLUES], np.uint8)
    return colours[np.digitize(np.nan_to_num(depth), DEPTHS)]


def shaded(ground: FloodGround, levels: NDArray[np.float64]) -> NDArray[np.uint8]:
    """The ground lit from the north-west, light, shape (rows, columns)."""
    filled = np.where(np.isnan(levels), np.nanmean(levels), levels).astype(np.float32)
    lit = np.asarray(hillshade(filled, ground.grid.cell), float)
    lit = (lit - np.nanmin(lit)) / max(float(np.nanmax(lit) - np.nanmin(lit)), 1e-9)
    tone = np.clip(150 + 100 * lit, 0, 255)
    return np.where(np.isnan(levels), 255, tone).astype(np.uint8)


@styled
def draw_deepest(proof: Proof) -> Figure:
    """The deepest water anywhere, with the works."""
    figure = _figure(proof.ground, 1)
    _panel(figure.axes[0], proof, proof.after, proof.ground.after,
           f"{proof.storm}, {shown(proof.depth, 'rain', proof.plan.site.units)}: the deepest water "
           "at each place", named=True)
    _legend(figure, proof.plan.site.units)
    return figure


@styled
def draw_before_after(proof: Proof) -> Figure:
    """The deepest water without the works and with them, side by side."""
    assert proof.before is not None
    figure = _figure(proof.ground, 2)
    system = proof.plan.site.units
    for axes, run, levels, title in ((figure.axes[0], proof.before, proof.ground.before,
                                      "Without the works"),
                                     (figure.axes[1], proof.after, proof.ground.after,
                                      "With the works")):
        _panel(axes, proof, run, levels, f"{title}: "
               f"{shown(run.leaves.volume_out, 'volume', system)} leave, at most "
               f"{shown(run.leaves.peak, 'flow', system)}",
               named=levels is proof.ground.after)
    _legend(figure, system)
    return figure


def _figure(ground: FloodGround, count: int) -> Figure:
    tall = ground.grid.rows / ground.grid.columns
    wide = 12.0 if count == 1 else 16.0
    high = wide / count * tall + 1.4
    figure = Figure(figsize=(wide, high), dpi=130)
    left, gap, foot, head = 0.02, 0.02, 0.75 / high, 0.5 / high
    share = (1 - 2 * left - gap * (count - 1)) / count
    for i in range(count):
        figure.add_axes((left + i * (share + gap), foot, share, 1 - foot - head))
    return figure


def _panel(axes: Any, proof: Proof, run: Flooded, levels: NDArray[np.float64], title: str,
           named: bool) -> None:
    ground, grid = proof.ground, proof.ground.grid
    extent = (grid.left, grid.left + grid.columns * grid.cell,
              grid.top - grid.rows * grid.cell, grid.top)
    axes.imshow(shaded(ground, levels), cmap="gray", vmin=0, vmax=255, extent=extent,
                interpolation="nearest", rasterized=True)
    axes.imshow(water_colours(run.flow.greatest_depth), extent=extent, interpolation="nearest",
                rasterized=True)
    boundary = proof.plan.inputs.ground.boundary
    for part in getattr(boundary, "geoms", [boundary]):
        axes.plot(*part.exterior.xy, color=INK, lw=1.2, dashes=(6, 2.5), zorder=3)
    if named:
        for pool in ground.pools:
            row, column = pool.deepest
            axes.annotate(proof.plan.stores[pool.index].store.name,
                          (grid.x[column], grid.y[row]), xytext=(7, 7),
                          textcoords="offset points", fontsize=SMALL_SIZE, color=INK,
                          path_effects=halo(), zorder=5)
    axes.set_title(title, loc="left", fontsize=HEAD_SIZE, color=INK)
    axes.set(xticks=[], yticks=[], xlim=extent[:2], ylim=extent[2:], aspect="equal")


def _legend(figure: Figure, system: str) -> None:
    words = [f"{deep(low, system)}{' to ' + deep(high, system) if high else ' or more'}"
             for low, high in zip(DEPTHS, [*DEPTHS[1:], None], strict=True)]
    figure.legend(handles=[Patch(facecolor=colour, edgecolor=SOFT_INK, lw=0.5, label=word)
                           for colour, word in zip(BLUES, words, strict=True)],
                  loc="lower left", bbox_to_anchor=(0.015, 0.0), ncols=6, frameon=False,
                  fontsize=SMALL_SIZE, handlelength=1.4, columnspacing=1.4)


@styled
def draw_gates(proof: Proof) -> Figure:
    """What leaves the land, without and with the works, and what each store spills, over time."""
    system = proof.plan.site.units
    stores = [s for s in proof.stores if s.spilled > 0.05]
    figure = Figure(figsize=(10, 3.2 + 1.15 * len(stores)), dpi=130, layout="constrained")
    grid = figure.add_gridspec(1 + len(stores), 1, height_ratios=[2.6] + [1.0] * len(stores))
    top = figure.add_subplot(grid[0])
    factor = 1000.0 if system == "metric" else 35.3146667
    unit = "L/s" if system == "metric" else "cfs"
    for run, colour, words, style in ((proof.before, "#a5673f", "without the works", "--"),
                                      (proof.after, "#1d5280", "with the works", "-")):
        if run is not None:
            top.plot(run.leaves.times / 3600, run.leaves.flow_out * factor, style, color=colour,
                     lw=1.8, label=words)
    top.set_title(f"What leaves the land in {proof.storm}", loc="left", fontsize=HEAD_SIZE)
    top.set_ylabel(unit)
    top.legend(frameon=False, fontsize=SMALL_SIZE)
    flow = proof.after.flow
    for number, store in enumerate(stores, 1):
        axes = figure.add_subplot(grid[number], sharex=top)
        record = flow.rims.get(store.name)
        gone = np.zeros(flow.times.size) if record is None else record.outflow - record.inflow
        gone = gone + flow.transfers.get(f"spill of {store.name}", 0.0)
        rate = np.diff(gone, prepend=0.0) / np.diff(flow.times, prepend=-np.inf) * factor
        axes.fill_between(flow.times / 3600, np.maximum(rate, 0.0), color="#66aac6", lw=0)
        axes.set_title(f"{store.name} spills {shown(store.spilled, 'volume', system)}", loc="left",
                       fontsize=SMALL_SIZE)
        axes.set_ylabel(unit)
    figure.axes[-1].set_xlabel("hours after the rain begins")
    for axes in figure.axes:
        axes.set_ylim(bottom=0)
        axes.set_xlim(0, proof.until)
        axes.spines[["top", "right"]].set_visible(False)
    return figure

