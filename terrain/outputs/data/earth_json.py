"""Earth, order of work and fixed values of a plan for programs to read, in SI."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from terrain.plan.earth.cost import Bill
from terrain.plan.earth.fixed_value import Figures, FixedValue
from terrain.plan.planned import Plan
from terrain.units import in_both

#: What a fixed value's dimension is called in `unit`.
UNITS = {None: None, "%": "share", "level": "m", "size": "m", "length": "m", "area": "m2",
         "volume": "m3", "rain": "mm", "rate": "mm/h", "speed": "m/s", "seepage": "mm/day",
         "flow": "m3/s", "use": "m3/day"}


def earth_facts(plan: Plan) -> dict[str, Any] | None:
    """Where the earth goes, and what that takes."""
    found = plan.earth
    if found is None:
        return None
    return {
        "works": [{
            "name": work.name, "kind": work.kind, "leads_from": work.leads_from or None,
            "soil": work.soil,
            "loose_per_bank": work.loose_per_bank, "compacted_per_bank": work.compacted_per_bank,
            "cut_m3": work.cut, "cut_loose_m3": work.cut * work.loose_per_bank,
            "topsoil_m3": work.topsoil, "topsoil_back_m3": work.topsoil_back,
            "usable_m3": work.usable, "bank_compacted_m3": work.bank,
            "bank_takes_m3": work.wanted, "spare_m3": work.spare,
            **_bill(found.bills[work.name]),
            "by_hand_days": _pair(found.by_hand.get(work.name))} for work in found.works],
        "hauls": [{"from": haul.source, "to": haul.to, "volume_m3": haul.volume,
                   "loose_m3": haul.loose, "distance_m": haul.distance, "rise_m": haul.rise,
                   "carry_h": haul.hours} for haul in found.hauls],
        "spread": [{"work": part.name, "volume_m3": part.volume, "topsoil_m3": part.topsoil,
                    "loose_m3": part.loose, "area_m2": part.area,
                    "thickness_m": plan.inputs.rules["spoil thickness"]}
                   for part in found.spreads],
        "wanting": [{"work": name, "volume_m3": volume}
                    for name, volume in found.wanting.items()],
        "whole_site": _bill(found.whole),
        "currency": plan.site.money.currency if plan.site.money else None,
        "says": list(found.said)}


def _bill(cost: Bill) -> dict[str, Any]:
    return {"dig_h": _pair(cost.dig), "carry_h": cost.carry, "spread_h": cost.spread,
            "machine_h": _pair(cost.hours), "machine_days": _pair(cost.days),
            "money": _pair(cost.money)}


def _pair(given: tuple[float, float] | None) -> list[float] | None:
    return None if given is None else list(given)


def order_facts(plan: Plan) -> list[dict[str, Any]]:
    """The order of work."""
    return [{"step": number, "work": step.work or None, "says": step.says,
             "machine_h": _pair(step.hours)} for number, step in enumerate(plan.order, 1)]


def fixed_facts(plan: Plan) -> list[dict[str, Any]]:
    """What is fixed by hand, and what that costs."""
    return [_fixed(value) for value in plan.fixed]


def _fixed(value: FixedValue) -> dict[str, Any]:
    before, after = _figures(value.before), _figures(value.after)
    return {"work": value.work or None, "field": value.field, "unit": UNITS[value.dimension],
            "fixed": value.fixed, "built": value.built, "built_most": value.built_most,
            "left_open": value.left_open, "left_open_most": value.left_open_most,
            "as_fixed": before, "as_left_open": after,
            "refused": value.refused or None, "says": value.said(in_both)}


def _figures(figures: Figures | None) -> dict[str, Any] | None:
    if figures is None:
        return None
    keys = {"storage": "storage_m3", "cut": "cut_m3", "bank": "bank_m3",
            "sill_length": "sill_length_m", "head": "head_m", "freeboard": "freeboard_m",
            "hours": "machine_h", "money": "money"}
    return {keys[name]: list(given) if isinstance(given, tuple) else given
            for name, given in asdict(figures).items()}


def earth_of(plan: Plan, name: str) -> dict[str, Any]:
    """A store's earth by two ways, for programs; nothing where it changes no ground."""
    found = None if plan.designed is None else plan.designed.earth.get(name)
    if found is None:
        return {}
    return {"earth": {"cut_sections_m3": found.cut_sections,
                      "fill_sections_m3": found.fill_sections,
                      "cut_surface_m3": found.cut_surface, "fill_surface_m3": found.fill_surface,
                      "spillway_cut_m3": found.spillway}}
