"""The report's table of stores, and what the live map answers of each."""

from __future__ import annotations

from terrain.outputs.page.rows import Row, or_else
from terrain.plan.planned import Plan
from terrain.plan.safety.raster_edge import bound_of
from terrain.units import lasting, shown


def store_rows(plan: Plan) -> list[Row]:
    """What each store is, holds, takes to fill and to empty, and where it spills."""
    system = plan.site.units
    rows = []
    for index, (planned, node) in enumerate(zip(plan.stores, plan.cascade.nodes, strict=True)):
        ground = node.catchment.area or node.roof.area
        least = bound_of([node.catchment])
        rows.append(Row(planned.store.name, [
            planned.store.kind, least + shown(ground, "ground", system),
            "leads on" if planned.drain is not None else
            shown(planned.store.capacity, "volume", system),
            fed_words(plan, index),
            "–" if planned.drain is not None else
            or_else(planned.full_at, "never", lambda v: shown(v, "rain", system)),
            "-" if planned.store.kind in ("tank", "drain") else
            shown(planned.store.infiltration, "rate", system),
            "–" if planned.drain is not None else lasting(planned.drain_hours),
            planned.spills_to]))
    return rows


def fed_words(plan: Plan, index: int) -> str:
    """The smallest rain that brings a store water, and from where if not off its own ground or
    roofs."""
    starts = plan.stores[index].starts_at
    if starts is not None:
        return shown(starts, "rain", plan.site.units) if starts else "any rain"
    givers = [f"{'pump' if other.rise is not None and other.spills_to == index else 'spill'} of "
              f"{other.store.name}" for other in plan.cascade.nodes if index in other.takers]
    if plan.cascade.nodes[index].store.top_up is not None:
        givers.append("tankers")
    if not givers:
        return "never"
    begins = None if plan.told is None else plan.told.capture.stores[index].begins
    at = "" if begins is None else f", from {shown(begins, 'rain', plan.site.units)} on"
    return f"by the {' and the '.join(givers)}{at}".replace("the tankers", "tankers")


def store_facts(plan: Plan) -> list[list[tuple[str, str]]]:
    """What the live map answers of each store beside a storm's figures, as the table prints it."""
    heads = ("catchment or roof", "holds", "fed by rain of", "filled by rain of", "soaks at",
             "empty again after", "spills to")
    return [[(head, cell) for head, cell in zip(heads, row.cells[1:], strict=True)
             if cell not in ("-", "–")] for row in store_rows(plan)]


def rate_notes(plan: Plan) -> list[str]:
    """Where the rates at which stores soak come from, and which stores share a source."""
    stores: dict[str, list[str]] = {}
    for planned in plan.stores:
        if planned.store.kind != "tank":
            stores.setdefault(planned.store.rate_source, []).append(planned.placed.work.name)
    return [f"{source} ({', '.join(dict.fromkeys(names))})" for source, names in stores.items()]
