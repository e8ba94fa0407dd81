"""Whether a furrow carries the design peak, and what to do where it does not or scours."""

from __future__ import annotations

from collections.abc import Iterator

from terrain.plan.earth.furrow_runs import flow_in_furrow
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.units import in_both
from terrain.works.furrow import Furrow
from terrain.works.furrow_flow import FurrowFlow
from terrain.works.rules import OWNER, Rulebook
from terrain.works.store import Store


def furrow_as_dug(made: Furrow, runs: FurrowFlow, rules: Rulebook) -> str:
    """How wide a furrow is really to be dug, and lined with what, as its cautions have it."""
    if runs.slope <= 0:
        return f"{in_both(made.width, 'size')} wide"
    if runs.dug_width is None:
        return ("not to be dug before the water is led another way, as it scours or overflows "
                "whatever is done to it here")
    wide = f"{in_both(runs.dug_width, 'size')} wide"
    if runs.way == "bare":
        return wide
    if runs.way == "drops":
        return (f"{wide}, {in_both(runs.drops or 0.0, 'size')} of its fall taken in drops over "
                "stone")
    if runs.way == "grass":
        return (f"{wide} and lined with grass (lay sod, or let no water in before what is sown has "
                "grown over)")
    return (f"{wide} within a lining of stone, {in_both(rules['stone thickness'], 'size')} of "
            "cobbles on bed and sides (dig so much deeper and wider)")


def furrow_flow_cautions(inputs: Inputs, place: Placed, store: Store, made: Furrow, to: str
                         ) -> list[str]:
    """Cautions about what a furrow carries and how fast; none where it cannot fall at all."""
    if made.slope <= 0:
        return []
    runs = flow_in_furrow(inputs, place, store, made)
    said = [] if runs.enough else [_too_small(inputs, made, runs, to)]
    if not runs.holds:
        said.append(_too_fast(runs, to))
    if not made.begins_below and runs.peak > 0:
        mound = "" if place.tree is None else (
            "; the mound about the trunk is reckoned for that" if place.tree.form == "bowl" else
            "; set the trunk higher than that")
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


def _too_fast(runs: FurrowFlow, to: str) -> str:
    found = list(_remedies(runs))
    ways = ", or instead ".join(found) or "lead the water another way, less steep"
    if found:
        first = "this is what" if len(found) == 1 else "the first is what"
        what = ("its lining but no greater width" if runs.lining else
                "neither its stone nor its width")
        ways += f"; {first} the order of work tells, and the bill counts {what}"
    return (f"The furrow to \"{to}\" scours: at the design peak water runs in it at "
            f"{in_both(runs.velocity, 'speed')} over bare earth, more than the "
            f"{in_both(runs.permissible, 'speed')} that it stands ({runs.source}). "
            f"{ways[:1].upper()}{ways[1:]}; {OWNER}.")


def _remedies(runs: FurrowFlow) -> Iterator[str]:
    if runs.lining and runs.lined_width is not None:
        yield f"line it with {runs.lining}, {in_both(runs.lined_width, 'size')} wide within that"
    if runs.drops is not None:
        yield (f"take {in_both(runs.drops, 'size')} of its fall in drops over stone, in a furrow "
               f"{in_both(runs.drops_width, 'size')} wide")
