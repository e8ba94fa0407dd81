"""How fast water comes to each store, and by which way."""

from __future__ import annotations

from functools import partial

from terrain.outputs.page.rows import Row, or_else
from terrain.plan.planned import Plan
from terrain.units import shown


def arrival_rows(plan: Plan) -> list[Row]:
    """Travel time, runoff and peak of each store's own ground in the design storm."""
    system, design = plan.site.units, plan.site.rain.design
    flow, volume = (partial(shown, dimension=d, system=system) for d in ("flow", "volume"))
    rows = []
    for planned, node, peaks in zip(plan.stores, plan.cascade.nodes, plan.peaks, strict=True):
        ground = node.catchment.ground
        if peaks is None:
            continue
        rows.append(Row(planned.store.name, [
            or_else(ground.concentration_by_segments, "not known", _minutes),
            _minutes(ground.concentration_by_lag),
            "segments" if ground.by_segments else "lag equation",
            volume(ground.runoff(design.depth)),
            volume(ground.runoff_by_mean_number(design.depth)),
            flow(peaks.unit_hydrograph), or_else(peaks.graphical, "-", flow),
            or_else(peaks.rational, "-", flow)]))
    return rows


def reach_rows(plan: Plan) -> list[Row]:
    """The pieces of the longest way to each store."""
    system = plan.site.units
    return [Row(planned.store.name if first else "", [
        reach.kind, reach.surface, shown(reach.length, "length", system), f"{reach.slope:.1%}",
        _minutes(reach.hours)])
        for planned, node in zip(plan.stores, plan.cascade.nodes, strict=True)
        for first, reach in zip([True, *[False] * len(node.catchment.reaches)],
                                node.catchment.reaches, strict=False)]


def peak_notes(plan: Plan) -> list[str]:
    """Why a method does not apply, and to which stores."""
    stores: dict[str, list[str]] = {}
    for planned, peaks in zip(plan.stores, plan.peaks, strict=True):
        for note in peaks.notes if peaks is not None else ():
            stores.setdefault(note, []).append(planned.store.name)
    return [f"{note} ({', '.join(names)})" for note, names in stores.items()]


def why_more(plan: Plan) -> bool:
    """Whether some store's runoff by cells is more than by the mean curve number."""
    depth = plan.site.rain.design.depth
    grounds = [node.catchment.ground for node in plan.cascade.nodes]
    return any(ground.runoff(depth) > 1.005 * ground.runoff_by_mean_number(depth)
               for ground in grounds)


def _minutes(hours: float) -> str:
    if hours >= 2:
        return f"{hours:.1f} h"
    return f"{60 * hours:.0f} min" if hours > 1 / 60 else "under 1 min"
