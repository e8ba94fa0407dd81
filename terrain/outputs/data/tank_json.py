"""Tanks, uses and gutters for programs to read."""

from __future__ import annotations

from typing import Any

from terrain.plan.planned import Plan
from terrain.plan.water.tank_years import TankYear
from terrain.works.gutters import GutterCheck


def tank_facts(plan: Plan, index: int) -> dict[str, Any]:
    """What `plan.json` has of a tank beyond what every store has."""
    node, told = plan.cascade.nodes[index], plan.roofs
    store, roof, dem = node.store, node.roof, plan.inputs.dem
    found: dict[str, Any] = {
        "roofs": list(roof.names),
        "roof_share": roof.collected / roof.area if roof.area else None,
        "first_flush_mm": roof.first_flush,
        "first_flush_m3": roof.first_flush * roof.collected / 1000,
        "joined": [{"name": other.name, "volume_m3": other.volume,
                    "at": [float(v) for v in dem.frame.to_source(other.x, other.y)]}
                   for other in plan.stores[index].placed.joined],
        "uses": use_facts(plan, index),
        "top_up": None if store.top_up is None else {
            "below_m3": store.top_up.below, "load_m3": store.top_up.load,
            "price": store.top_up.price}}
    life = None if told is None else told.tank(index)
    if life is None:
        return {"tank": found}
    curve = life.curve
    found |= {
        "average_year": _year(life.average),
        "years": {year.name.split(" ")[0]: {"name": year.name, **_year(year)}
                  for year in life.years},
        "record": _year(life.record), "dry_days_record": life.dry_days,
        "longest_dry_days": life.longest,
        "longest_dry_from": None if life.longest_from is None else
        life.longest_from.date().isoformat(),
        "refill_days": life.refill_days, "refills": life.refills, "flushed_m3_year": life.flushed,
        "own_size": None if curve is None else {
            "volume_m3": curve.own, "share_of_days": curve.own_days, "share_met": curve.own_met},
        "size_curve": None if curve is None else [
            {"volume_m3": float(v), "share_of_days": float(d), "share_met": float(m),
             "loads_year": None if curve.loads is None else float(curve.loads[i]),
             "knee": i == curve.knee}
            for i, (v, d, m) in enumerate(zip(curve.volumes, curve.days, curve.met,
                                              strict=True))],
        "more": {more.what.replace(" ", "_"): {"roof_m2": more.roof, "used_m3_year": more.used,
                                               "fewer_dry_days_year": more.fewer_dry}
                 for more in life.more},
        "rules_of_thumb": [{"rule": thumb.rule, "unit": {"volume": "m3"}.get(thumb.dimension,
                                                                             thumb.dimension),
                            "says": thumb.says, "beside": thumb.beside, "record": thumb.record}
                           for thumb in life.thumbs]}
    return {"tank": found}


def use_facts(plan: Plan, index: int) -> list[dict[str, Any]]:
    """The uses of a store's water."""
    node = plan.cascade.nodes[index]
    return [{"name": use.name, "kind": use.kind, "basis": use.basis,
             "amounts_m3_day": [float(v) for v in use.amounts],
             "rationing": [{"below": below, "draw": draw} for below, draw in use.steps],
             "grey_share": use.grey,
             "grey_to": None if not node.grey_to or node.grey_to[i] is None else
             plan.cascade.nodes[node.grey_to[i] or 0].store.name}
            for i, use in enumerate(node.store.drawn)]


def _year(year: TankYear) -> dict[str, Any]:
    return {"wanted_m3": float(year.wanted.sum()), "met_m3": float(year.met.sum()),
            "share_met": year.share, "share_met_by_use": year.shares,
            "share_met_by_month": year.month_shares, "dry_days": year.dry_days,
            "loads": year.loads, "cost": year.cost}


def gutter_facts(plan: Plan) -> list[dict[str, Any]]:
    """Every roof's gutter held against the cloudburst."""
    told = plan.roofs
    if told is None or told.burst is None:
        return []
    return [_gutter(check, told.burst.intensity) for check in told.gutters]


def _gutter(check: GutterCheck, intensity: float) -> dict[str, Any]:
    gutter = check.gutter
    return {"roof": check.roof, "area_m2": check.area, "intensity_mm_h": intensity,
            "flow_m3_s": check.flow, "stated": gutter is not None,
            "gutter_carries_m3_s": check.gutter_carries, "gutter_enough": check.gutter_enough,
            "needs_width_m": check.needs_width,
            "downspouts_carry_m3_s": check.downspouts_carry,
            "downspouts_enough": check.downspouts_enough,
            "needs_downspouts": [{"count": need.count, "diameter_m": need.diameter,
                                  "gutter_runs": need.runs, "gutter_width_m": need.width}
                                 for need in check.needs]}
