"""Hydrographs: what leaves the land, and what each store spills, over the storm."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.labels import shortened
from terrain.outputs.proof.words import hours, rain_words
from terrain.plan.water.routing import storm_spills
from terrain.proof.proof import Proof
from terrain.proof.store_proof import StoreProof, spilled_by
from terrain.runoff.storms import storm_steps
from terrain.units import printed, shown

FloatArray = NDArray[np.float64]

#: Colours and dashes of the runs.
WITHOUT, WITH = "#a5673f", "#1d5280"
DASHES: Any = (0, (5, 2))
#: A store that spills less than this, by the flood and by the cascade, has no chart. [m3]
SPILLS = 0.05
#: So many stores have one, those that spill most.
MOST = 12
#: Width of the page, its margins, the boundary's chart and a store's, with their heads. [in]
WIDE, LEFT, RIGHT, TOP, LAND, STORE, BELOW = 11.0, 0.95, 0.4, 0.95, 2.6, 1.25, 0.62
#: Room for a chart's head. [in]
HEAD = 0.34


def spill_rates(proof: Proof, store: StoreProof) -> tuple[FloatArray, FloatArray]:
    """What a store spills in the flood: times [h] and rates [m3/s] since the time before."""
    flow = proof.after.flow
    pool = next(pool for pool in proof.ground.pools if pool.index == store.index)
    gone = spilled_by(proof.plan, proof.ground, flow, pool)
    return flow.times / 3600, np.diff(gone, prepend=0.0) / np.diff(flow.times, prepend=-np.inf)


def cascade_spills(proof: Proof) -> tuple[float, dict[int, FloatArray]]:
    """What each store spills by the cascade: the step [h], and the rates [m3/s] by its index."""
    shape = proof.plan.inputs.hydrology.shapes[proof.storm]
    step = storm_steps(shape.duration)
    return step, {index: spilled / (step * 3600) for index, spilled in storm_spills(
        proof.plan.cascade, proof.depth, shape).items()}


@sy.styled
def draw_gates(proof: Proof) -> Figure:
    """What leaves the land without and with the works, and what each store spills, beside the
    cascade."""
    system = proof.plan.site.units
    unit, factor, _ = printed("flow", system)
    stores = [s for s in proof.stores if max(s.spilled, s.told.spilled) > SPILLS]
    dry = [s.name for s in proof.stores if s not in stores]
    most_first = sorted(stores, key=lambda s: -max(s.spilled, s.told.spilled))
    left_out = most_first[MOST:]
    stores = [s for s in stores if s not in left_out]
    high = TOP + HEAD + LAND + len(stores) * (HEAD + STORE) + BELOW + (
        0.28 if dry or left_out else 0.0)
    figure = Figure(figsize=(WIDE, high), dpi=sy.DPI, facecolor=sy.PAPER)
    _words(figure, LEFT, 0.36, f"{proof.plan.site.name}: what leaves and what spills", 16, "bold")
    _words(figure, LEFT, 0.66, rain_words(proof), sy.TEXT_SIZE, colour=sy.SOFT_INK)
    at = TOP
    axes = _axes(figure, at, LAND)
    _words(figure, LEFT, at + 0.17, "Leaves the land", sy.HEAD_SIZE, "bold")
    most = 0.0
    for run, colour, style, name in ((proof.before, WITHOUT, DASHES, "without the works"),
                                     (proof.after, WITH, "-", "with the works")):
        if run is None:
            continue
        axes.plot(run.leaves.times / 3600, run.leaves.flow_out * factor, color=colour,
                  linestyle=style, linewidth=1.8, gid=name,
                  label=f"{name}: {shown(run.leaves.volume_out, 'volume', system)}, at most "
                        f"{shown(run.leaves.peak, 'flow', system)} after "
                        f"{hours(run.leaves.peak_at / 3600)}")
        most = max(most, run.leaves.peak * factor)
    _finish(axes, proof, most * 1.32, unit)
    axes.legend(frameon=False, fontsize=sy.SMALL_SIZE, loc="upper right", borderaxespad=0.0)
    step, told = cascade_spills(proof)
    at += HEAD + LAND
    for store in stores:
        axes = _axes(figure, at, STORE)
        times, rate = spill_rates(proof, store)
        axes.fill_between(times, rate * factor, color=sy.mixed(sy.PAPER, WITH, 0.45), linewidth=0,
                          step=None, gid="flood")
        axes.plot(times, rate * factor, color=WITH, linewidth=1.2, gid="flood")
        by_cascade = told[store.index] * factor
        axes.plot((np.arange(by_cascade.size) + 0.5) * step, by_cascade, color=sy.SOFT_INK,
                  linestyle=DASHES, linewidth=1.3, gid="cascade")
        head = (f" spills {shown(store.spilled, 'volume', system)} in the flood (filled), "
                f"{shown(store.told.spilled, 'volume', system)} by the cascade (dashes)")
        name = shortened(figure, store.name, sy.SMALL_SIZE + 0.5, 200)
        _words(figure, LEFT, at + 0.2, name + head, sy.SMALL_SIZE + 0.5)
        _finish(axes, proof, 1.1 * max(float(rate.max()) * factor,
                                       float(by_cascade.max(initial=0.0)), 1e-3), unit)
        at += HEAD + STORE
    for ax in figure.axes[:-1]:
        ax.set_xticklabels([])
    _words(figure, LEFT, at + 0.38, "hours after the rain begins", sy.SMALL_SIZE,
           colour=sy.SOFT_INK)
    rest = [f"Spill less: {', '.join(s.name for s in left_out)}."] if left_out else []
    rest += [f"No spill: {', '.join(dry)}."] if dry else []
    if rest:
        _words(figure, LEFT, at + 0.66, shortened(
            figure, " ".join(rest), sy.SMALL_SIZE, (WIDE - LEFT - RIGHT) * 72), sy.SMALL_SIZE,
               colour=sy.SOFT_INK)
    return figure


def _words(figure: Figure, left: float, down: float, words: str, size: float,
           weight: str = "normal", colour: str = sy.INK) -> None:
    across, up = figure.get_size_inches()
    figure.text(left / across, 1 - down / up, words, fontsize=size, fontweight=weight,
                color=colour, va="center", gid="words")


def _axes(figure: Figure, down: float, high: float) -> Axes:
    across, up = figure.get_size_inches()
    return figure.add_axes((LEFT / across, 1 - (down + HEAD + high) / up,
                            (across - LEFT - RIGHT) / across, (high - 0.06) / up))


def _finish(axes: Axes, proof: Proof, most: float, unit: str) -> None:
    axes.set_xlim(0, proof.until)
    most = max(most, 1e-6)
    axes.set_ylim(0, most)
    axes.set_yticks([tick for tick in MaxNLocator(3).tick_values(0, most) if tick <= most])
    apart = next(step for step in (0.5, 1, 2, 3, 6, 12, 24, 48, 96) if proof.until / step <= 13)
    axes.set_xticks(np.arange(0, proof.until + 1e-9, apart))
    axes.tick_params(length=3, pad=3, labelsize=sy.SMALL_SIZE)
    axes.set_ylabel(unit, fontsize=sy.SMALL_SIZE)
    axes.spines[["top", "right"]].set_visible(False)
