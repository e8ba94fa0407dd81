"""The field book's pages of what is not dug: tanks with their roofs, and natural hollows."""

from __future__ import annotations

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.title_block import Imprint
from terrain.outputs.plan_set.field_pages import (
    BOX,
    after_and_upkeep,
    begun,
    done,
    pipe_rows,
)
from terrain.outputs.plan_set.page import Flow, Page
from terrain.outputs.plan_set.upkeep_year import UpkeepYear
from terrain.plan.planned import Plan
from terrain.plan.safety.gravity import by_gravity
from terrain.units import shown

#: Checks before a tank is filled; common practice, no source.
BEFORE = ("Its base is level, firm, drained and wide enough for {weight} of water.",
          "Inlet, overflow and every vent have mesh that keeps mosquitoes out; the lid locks.",
          "Its overflow is as wide as its inlet and goes where the plan leads it.",
          "No drinking tap is joined to it before its water is treated and tested.")


@sy.styled
def undug_pages(plan: Plan, imprint: Imprint, year: UpkeepYear | None) -> list[Page]:
    """Pages of all tanks with their roofs, then of the natural hollows; none without either."""
    tanks, hollows = ([i for i, planned in enumerate(plan.stores) if planned.store.kind == kind]
                      for kind in ("tank", "hollow"))
    parts = [*(["tanks, gutters and screens"] if tanks else []),
             *(["natural hollows"] if hollows else [])]
    if not parts:
        return []
    flow = begun(imprint, "; ".join(parts))
    if tanks:
        flow.head("Before a tank is filled")
        weight = "8.3 lb a gallon" if plan.site.units == "us" else "a tonne a m³"
        for said in BEFORE:
            flow.text(said.format(weight=weight), number=BOX, gap=2.5)
        for index in tanks:
            _tank(plan, index, flow)
        flow.turn()
        after_and_upkeep(plan, flow, tanks, year)
        flow.turn()
    if hollows:
        for index in hollows:
            _hollow(plan, index, flow)
        after_and_upkeep(plan, flow, hollows, year)
    return done(flow)


def _hollow(plan: Plan, index: int, flow: Flow) -> None:
    """What a hollow holds, and its cautions: they stand nowhere else."""
    planned, system = plan.stores[index], plan.site.units
    flow.head(planned.store.name, 60)
    flow.rows([("holds, up to its rim", shown(planned.store.capacity, "volume", system)),
               ("its rim spills at", shown(planned.store.sill.level, "level", system)),
               ("spills to", planned.spills_to)])
    flow.text("Nothing is dug.", colour=sy.SOFT_INK)
    for said in by_gravity(planned.cautions):
        flow.text(said, number=BOX)


def _tank(plan: Plan, index: int, flow: Flow) -> None:
    """What a tank is fed by and leads to; its cautions stand on the page of cautions."""
    planned, system = plan.stores[index], plan.site.units
    work = planned.placed.work
    flow.head(planned.store.name, 70)
    rows = [("holds", shown(planned.store.capacity, "volume", system))]
    unchecked = False
    for name in work.roofs:
        roof = next((one for one in plan.inputs.ground.roofs if one.name == name), None)
        gutter = roof.gutter if roof is not None else None
        said = "no gutter stated"
        if gutter is not None:
            wide, pipe = (_small(size, system) for size in (gutter.width, gutter.diameter))
            count = gutter.downspouts
            said = f"gutter {wide}, {count} × {pipe} down" if count > 1 else (
                f"gutter {wide}, down {pipe}")
            unchecked |= plan.roofs is None or plan.roofs.gutter(name) is None
        rows.append((f"roof: {name}", said))
    if unchecked:
        rows.append(("whether they carry a cloudburst", "not checked: no cloudburst known"))
    if work.roofs:
        flush = (shown(work.first_flush, "rain", system) if work.first_flush else
                 shown(work.first_flush_volume, "volume", system) if work.first_flush_volume
                 else "none stated")
        rows += [("first flush", flush), ("leaf screen", work.leaf_screen or "none stated")]
    rows += [("spills to", planned.spills_to), *pipe_rows(plan, work.name)]
    flow.rows(rows)


def _small(metres: float, system: str) -> str:
    return shown(metres * 1000, "rain", system, 1 if system == "us" else 0)

