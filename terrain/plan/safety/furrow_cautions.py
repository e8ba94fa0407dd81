"""Whether a furrow carries the design peak, and what to do where it does not or scours."""

from __future__ import annotations

from collections.abc import Iterator

from terrain.plan.earth.built import soil_of
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.units import in_both
from terrain.works.furrow import Furrow
from terrain.works.furrow_flow import FurrowFlow, furrow_flow
from terrain.works.lining import ERODIBLE
from terrain.works.rules import OWNER
from terrain.works.store import Store


def flow_in_furrow(inputs: Inputs, place: Placed, store: Store, made: Furrow) -> FurrowFlow:
    """How the design peak that spills from a store, full when the storm comes, runs in its
    furrow."""
    return furrow_flow(made, store.sill.peak, ERODIBLE[soil_of(inputs, place)], inputs.rules)


def furrow_flow_cautions(inputs: Inputs, place: Placed, store: Store, made: Furrow, to: str
                         ) -> list[str]:
    """Cautions about what a furrow carries and how fast; none where it cannot fall at all."""
    if made.slope <= 0:
        return []
    runs = flow_in_furrow(inputs, place, store, made)
    said = [] if runs.enough else [_too_small(inputs, made, runs, to)]
    if not runs.holds:
        said.append(_too_fast(made, runs, to))
    if not made.begins_below and runs.peak > 0:
        mound = ", and set the trunk on a mound higher than that" if place.tree else ""
        said.append(f"The furrow to \"{to}\" has too little fall to begin below the sill: its bed "
                    "begins level with that between banks, and at the design peak water stands "
                    f"back {in_both(runs.water, 'size')} over the sill. Lead it to a lower place, "
                    f"or make it wider{mound}; {OWNER}.")
    return said


def _too_small(inputs: Inputs, made: Furrow, runs: FurrowFlow, to: str) -> str:
    widest = in_both(inputs.rules["drain widest"], "size")
    do = (f"dig it {in_both(runs.needed_width, 'size')} wide" if runs.needed_width is not None else
          f"no furrow so deep carries that up to {widest} wide; dig a drain (kind: drain), or "
          "send less water there")
    return (f"The furrow to \"{to}\" is too small: brim full, {in_both(made.width, 'size')} wide "
            f"and {in_both(made.depth, 'size')} deep at {made.slope:.1%}, it carries "
            f"{in_both(runs.capacity, 'flow')} (Manning), and at the design peak "
            f"{in_both(runs.peak, 'flow')} spill into it; the rest breaks out. "
            f"{do[:1].upper()}{do[1:]}; {OWNER}.")


def _too_fast(made: Furrow, runs: FurrowFlow, to: str) -> str:
    ways = " or ".join(_remedies(made, runs)) or "lead the water another way, less steep"
    return (f"The furrow to \"{to}\" scours: at the design peak water runs in it at "
            f"{in_both(runs.velocity, 'speed')} over bare earth, more than the "
            f"{in_both(runs.permissible, 'speed')} that it stands ({runs.source}). "
            f"{ways[:1].upper()}{ways[1:]}; {OWNER}.")


def _remedies(made: Furrow, runs: FurrowFlow) -> Iterator[str]:
    wide = runs.needed_width
    if runs.lining and wide is not None:
        wider = f" in a furrow {in_both(wide, 'size')} wide" if wide > made.width else ""
        yield f"line it with {runs.lining}{wider}"
    if runs.drops is not None:
        wider = (f", the furrow {in_both(runs.drops_width, 'size')} wide"
                 if runs.drops_width > made.width else "")
        yield f"take {in_both(runs.drops, 'size')} of its fall in drops over stone{wider}"
