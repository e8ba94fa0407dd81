"""Why flood and cascade differ, in sentences, each with the figures it rests on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from terrain.flood.storm_flow import Flow
from terrain.plan.planned import Plan
from terrain.plan.water.routing import StormRun
from terrain.proof.cell_words import cells_of
from terrain.proof.flood_ground import FloodGround
from terrain.proof.led import culvert_ends
from terrain.proof.pools import Cells, Pool
from terrain.surface.conditioning import Culvert
from terrain.units import in_both

FloatArray = NDArray[np.float64]
#: Answers that differ by more are explained; as a share, of a store's storage at least. [-]
APART, OF_STORAGE = 0.10, 0.02
#: A cause is named that makes so much of a difference. [-]
NAMED = 0.10
#: Less than this is printed as nothing. [m3]
SHOWS = 0.05
#: Times are told apart from here. [h]
SOONER = 0.05


@dataclass(frozen=True)
class Measured:
    """What a store does in the flood.

    Attributes
    ----------
    stands, soaked, spilled, led : float
        Stands in it at the end; soaked into its bed; spilled, and of that by pipe, pump or furrow.
        [m3]
    first_spill : float or None
        [h]
    peak_spill : float
        [m3/s]
    peak_level : float
        [m]
    """

    stands: float
    soaked: float
    spilled: float
    led: float
    first_spill: float | None
    peak_spill: float
    peak_level: float

    @property
    def caught(self) -> float:
        """[m3]"""
        return self.stands + self.soaked

    @property
    def inflow(self) -> float:
        """[m3]"""
        return self.caught + self.spilled


def why(plan: Plan, ground: FloodGround, flow: Flow, run: StormRun, number: int,
        measured: dict[int, Measured]) -> list[str]:
    """Why a store's figures are more than a tenth apart."""
    pool = ground.pools[number]
    told, got = run.stores[pool.index], measured[pool.index]
    least = OF_STORAGE * plan.stores[pool.index].store.capacity
    told_in, told_caught = told.infiltrated + told.held + told.spilled, told.infiltrated + told.held
    pairs = {"inflow": (got.inflow, told_in), "caught": (got.caught, told_caught),
             "spilled": (got.spilled, told.spilled)}
    off = {name: a - b for name, (a, b) in pairs.items()}
    far = {name for name, (a, b) in pairs.items()
           if abs(a - b) > max(APART * max(b, least), SHOWS)}
    worst = max((abs(off[name]) for name in far), default=0.0)
    said = []
    if far and abs(off["inflow"]) > NAMED * worst:
        said.append(_comes(plan, ground, flow, run, number, measured, told_in))
    full = got.spilled > 0 or told.spilled > 0
    if far and full and abs(off["caught"]) > NAMED * worst and got.spilled > 0:
        said.append(_keeps(plan, ground, flow, pool, run, got))
    return [*said, *_spills(flow, pool, run, got), *_stands(plan, ground, flow, pool, run, got)]


def _comes(plan: Plan, ground: FloodGround, flow: Flow, run: StormRun, number: int,
           measured: dict[int, Measured], told_in: float) -> str:
    """Why the flood brings more or less: ground, spills from above, water on its way, and what
    crosses the divides, which is all the rest as no water is lost."""
    pool, area = ground.pools[number], ground.grid.cell**2
    told = run.stores[pool.index]
    off = measured[pool.index].inflow - told_in
    own = ground.first == number + 1
    land = ground.shed(own, run.depth, flow) - told.runoff
    above = [i for i, node in enumerate(plan.cascade.nodes) if pool.index in node.takers]
    # Tanks spill into the flood just what they spill in the cascade.
    given = sum(measured[i].spilled - run.stores[i].spilled for i in above if i in measured)
    waits = float(np.nansum(flow.depth[own & ~pool.cells], dtype=np.float64)) * area
    piped = {culvert.name: _through(ground, flow, culvert, own)
             for culvert in plan.terrain.conditioning.culverts}
    strays = off - land - given + waits - sum(piped.values())
    least = min(max(NAMED * abs(off), SHOWS),
                max(abs(v) for v in (waits, given, land, strays, *piped.values())))
    causes = [(abs(moved), f"{_m3(moved)} go through the culvert \"{name}\" "
               f"{'to' if moved > 0 else 'from'} it, on whose bank the ground parts here, while "
               "the plan cuts the bank") for name, moved in piped.items()
              if abs(moved) >= least]
    if waits >= least:
        depth = np.nan_to_num(flow.depth[own & ~pool.cells]).astype(np.float64)
        dips = np.minimum(depth, ground.deep[own & ~pool.cells])
        thin = ground.film(run.depth)
        film = float(np.minimum(depth - dips, thin).sum()) * area
        hollows = float(dips.sum()) * area
        causes.append((waits, f"{_m3(waits)} lie on the ground that drains to it when the flood "
                       f"ends after {flow.times[-1] / 3600:g} h, {_m3(hollows)} of that in dips, "
                       f"{_m3(film)} as the film of {1000 * thin:.2g} mm that the flood lets cling "
                       "to the ground, the rest on its way"))
    if abs(given) >= least:
        names = ", ".join(run.stores[i].name for i in above if i in measured)
        causes.append((abs(given), f"{_m3(given)} {_more(given)} spill from {names}"))
    if abs(land) >= least:
        by = "by the levels of these cells" if ground.soils is None else "by its soils"
        causes.append((abs(land), f"{by} the ground that drains to it, and "
                       f"its own water, shed {_m3(land)} {_more(land)}"))
    if abs(strays) >= least:
        causes.append((abs(strays), f"{_m3(strays)} " + (
            "cross the edges of its catchment towards it" if strays > 0 else
            "leave its catchment across its edges") + ", where the plan leads each cell's water "
            "one steepest way and the flood lets it spread"))
    return (f"The flood brings {_m3(off)} {_more(off)} than the cascade's {_m3(told_in)}: "
            + "; ".join(text for _, text in sorted(causes, reverse=True)) + ".")


def _through(ground: FloodGround, flow: Flow, culvert: Culvert, own: Cells) -> float:
    """What a culvert brings to some ground, below 0 what it takes from it. [m3]"""
    moved = flow.transfers.get(f"culvert {culvert.name}")
    if moved is None:
        return 0.0
    inlet, outlet = (bool(own[end[:, 0], end[:, 1]].any()) for end in culvert_ends(ground, culvert))
    return float(moved[-1]) * (int(outlet) - int(inlet))


def _keeps(plan: Plan, ground: FloodGround, flow: Flow, pool: Pool, run: StormRun, got: Measured
           ) -> str:
    told = run.stores[pool.index]
    off = got.caught - told.infiltrated - told.held
    soaks, stands = got.soaked - told.infiltrated, got.stands - told.held
    causes = []
    if abs(soaks) > NAMED * abs(off):
        causes.append((abs(soaks), f"{_m3(soaks)} {_more(soaks)} soak in, over the "
                       f"{flow.times[-1] / 3600:g} h followed, where the cascade counts to the "
                       "end of what comes"))
    if abs(stands) > NAMED * abs(off):
        over = got.stands - pool.holds(ground.after, ground.grid.cell)
        causes.append((abs(stands), f"{_m3(stands)} {_more(stands)} stand in it at the end" + (
            f", {_m3(over)} over its sill and still running off" if over > NAMED * abs(off)
            and pool.drawn(plan, ground.grid.cell) else "")))
    return (f"It keeps {_m3(off)} {_more(off)}: "
            + "; ".join(text for _, text in sorted(causes, reverse=True)) + ".")


def _spills(flow: Flow, pool: Pool, run: StormRun, got: Measured) -> list[str]:
    """Why it spills at another time."""
    told = run.stores[pool.index]
    if got.first_spill is None or told.first_spill is None:
        return []
    later = got.first_spill - told.first_spill
    if abs(later) <= max(APART * told.first_spill, SOONER):
        return []
    return [f"It spills {abs(later) * 60:.0f} minutes {'later' if later > 0 else 'sooner'} than by "
            f"the cascade: over the ground its water takes {'longer' if later > 0 else 'less long'}"
            " than by the plan's times of travel, and "
            f"{in_both(got.peak_spill, 'flow')} leave it at most, "
            f"{in_both(told.peak_spill, 'flow')} by the cascade."]


def _stands(plan: Plan, ground: FloodGround, flow: Flow, pool: Pool, run: StormRun, got: Measured
            ) -> list[str]:
    """Why its highest water stands at another level, where its levels mean anything."""
    told, curve = run.stores[pool.index], plan.stores[pool.index].store.curve
    if told.peak_level is None or not pool.drawn(plan, ground.grid.cell):
        return []
    higher = got.peak_level - told.peak_level
    deep = told.peak_level - float(curve.levels[0])
    over, told_over = got.peak_level - pool.level, told.peak_level - pool.level
    full = over > 0 and told_over > 0
    if abs(higher) <= APART * max(deep, 0.1):
        return []
    off = f"Its water rises {in_both(1000 * abs(higher), 'rain', 0)} " + (
        "higher" if higher > 0 else "less high") + " than by the cascade: "
    rim = float(ground.after[pool.deepest] + ground.deep[pool.deepest]) - pool.level
    if full and rim * higher > 0 and abs(rim) > abs(higher) / 2:
        return [off + f"on these cells its sill looks {in_both(1000 * abs(rim), 'rain', 0)} "
                f"{'higher' if rim > 0 else 'lower'} than it is; smaller cells tell more."]
    if full:
        if higher > 0 and got.peak_spill < 1.1 * told.peak_spill:
            return [off + f"{in_both(got.peak_spill, 'flow')} stand "
                    f"{in_both(1000 * over, 'rain', 0)} over its sill, as the ground before and "
                    "beyond it holds the water back, where the cascade lets it fall freely."]
        return [off + f"{in_both(got.peak_spill, 'flow')} go over its sill at most, "
                f"{in_both(told.peak_spill, 'flow')} by the cascade."]
    same = _level_for(ground, pool, told.most) - told.peak_level
    levels, more = levels_in(ground, flow, pool), got.caught - told.infiltrated - told.held
    causes = []
    if more * higher > 0 and abs(higher - same) > abs(higher) / 4:
        causes.append(f"it holds {_m3(more)} {_more(more)}")
    if same * higher > 0 and abs(same) > abs(higher) / 4:
        causes.append(f"{cells_of(ground.grid.cell)} give its bed another shape, "
                      f"in which the cascade's {_m3(told.most)} would stand "
                      f"{in_both(1000 * abs(same), 'rain', 0)} {'higher' if same > 0 else 'lower'}")
    if not causes or np.ptp(levels) > abs(higher) / 2:
        causes.append(f"it comes to {in_both(float(levels.min()), 'level')} at one place and "
                      f"{in_both(float(levels.max()), 'level')} at another, as it runs in or its "
                      "bed on these cells, or a check across it, holds it apart")
    return [off + "; ".join(causes) + "."]


def levels_in(ground: FloodGround, flow: Flow, pool: Pool) -> FloatArray:
    """Highest levels of a store's water where it is at least half as deep as anywhere in it:
    elsewhere it may be running in. [m]"""
    bed, deep = ground.after[pool.cells], flow.greatest_depth[pool.cells].astype(np.float64)
    here = deep >= deep.max() / 2
    return np.asarray(bed[here] + deep[here], np.float64)


def _level_for(ground: FloodGround, pool: Pool, volume: float) -> float:
    """Level at which a store's cells hold a volume. [m]"""
    floor = np.sort(ground.after[pool.cells])
    area = ground.grid.cell**2
    below = np.arange(1, floor.size + 1) * area
    held = below * floor - np.cumsum(floor) * area  # with the water at each cell's floor
    at = int(np.searchsorted(held, volume, side="right")) - 1
    return float(floor[at] + (volume - held[at]) / below[at])


def _m3(value: float) -> str:
    return in_both(abs(value), "volume")


def _more(value: float) -> str:
    return "more" if value > 0 else "less"
