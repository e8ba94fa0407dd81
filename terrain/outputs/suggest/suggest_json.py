"""What a search found for programs; keys end in their unit."""

from __future__ import annotations

from typing import Any

from terrain.inputs.site_suggest import Suggest
from terrain.suggest.candidate import Candidate, Cost
from terrain.suggest.suggestion import Chosen, FrontPoint, Proposal, Suggestion, Water


def suggest_object(suggestion: Suggestion) -> dict[str, Any]:
    """Everything that a search says, in SI; nothing that another run would say otherwise."""
    aim, asked, own = suggestion.aim, suggestion.asked, suggestion.own
    unit, limit = aim_key(suggestion), limit_key(suggestion)
    return {
        "site": suggestion.site.name, "aim": aim.aim, "aim_is": aim.what, "against": aim.limit,
        "storm": aim.storm or None, "asked": _asked(asked),
        "places": dict(suggestion.looked_at),
        "open_ground_m2": suggestion.open_ground,
        "what_stands": _water(suggestion.before, unit),
        "front": [_point(point, unit, limit) for point in suggestion.front],
        "knee": suggestion.knee,
        "proposals": [_proposal(one, suggestion, unit, limit) for one in suggestion.proposals],
        "own_plan": None if own is None else {
            limit: own.cost, f"model_{unit}": own.model, f"bound_{unit}": own.bound,
            f"real_{unit}": own.real, f"best_{unit}": own.best,
            "breaks": list(own.breaks)},
        f"step_{limit}": suggestion.step, "stopped": suggestion.stopped,
        "notes": list(suggestion.notes)}


def aim_key(suggestion: Suggestion) -> str:
    """What a key of what is aimed at ends in."""
    ends = {None: "trees", "volume": "m3", "earth": "m3", "flow": "m3_s", "area": "m2",
            "land": "m2", "rain": "mm", "speed": "m_s", "length": "m", "rate": "mm_h",
            "size": "m", "level": "m", "seepage": "mm_day", "energy": "J"}
    return ends[suggestion.aim.dimension]


def limit_key(suggestion: Suggestion) -> str:
    """The key of what the front goes against."""
    return {"money": "cost_money", "hours": "cost_h", "earth": "cost_m3"}[suggestion.aim.limit]


def _asked(asked: Suggest) -> dict[str, Any]:
    return {"storm": asked.storm, "budget_money": asked.budget,
            "machine_h": asked.machine_hours, "earth_m3": asked.earth,
            "water_at_bank_m": asked.water_at_bank, "sill_at_least_m": asked.sill_at_least,
            "infiltration_mm_h": asked.infiltration,
            "already_dug": (asked.already_dug if isinstance(asked.already_dug, str) else
                            list(asked.already_dug)),
            "kinds": list(asked.kinds), "places": asked.places}


def _cost(cost: Cost) -> dict[str, Any]:
    return {"cost_money": cost.money, "cost_h": cost.hours, "earth_m3": cost.earth}


def _water(water: Water, unit: str) -> dict[str, Any]:
    return {f"aim_{unit}": water.aim, "storm_kept_m3": water.storm_kept,
            "storm_kept_low_m3": water.storm_low, "storm_kept_high_m3": water.storm_high,
            "storm_left_m3": water.storm_left, "peak_left_m3_s": water.peak_left,
            "year_kept_m3": water.year_kept, "year_roof_m3": water.year_roof,
            "year_left_m3": water.year_left, "trees": water.trees}


def _point(point: FrontPoint, unit: str, limit: str) -> dict[str, Any]:
    return {f"at_most_{limit}": point.limit, limit: point.cost, f"model_{unit}": point.model,
            f"bound_{unit}": point.bound, f"real_{unit}": point.real, "works": point.works,
            "proposal": point.name or None}


def _proposal(one: Proposal, suggestion: Suggestion, unit: str, limit: str) -> dict[str, Any]:
    return {"name": one.name, "site_file": f"{one.name}.yaml", "cost": _cost(one.cost),
            f"model_{unit}": one.model, f"bound_{unit}": one.bound, "gap_share": one.gap,
            "water": _water(one.water, unit),
            "works": [_chosen(chosen, suggestion, unit) for chosen in one.works],
            "stays": list(one.stays), "leaves_out": list(one.leaves_out),
            "rejected": [{**_candidate(r.candidate, suggestion), f"gain_{unit}": r.gain,
                          "why_not": r.why_not} for r in one.rejected],
            f"more_{unit}": one.more}


def _chosen(chosen: Chosen, suggestion: Suggestion, unit: str) -> dict[str, Any]:
    return {**_candidate(chosen.candidate, suggestion), "cost": _cost(chosen.cost),
            "catchment_m2": chosen.ground, "kept_m3": chosen.kept,
            f"lost_without_{unit}": chosen.lost_without, "why": list(chosen.why)}


def _candidate(candidate: Candidate, suggestion: Suggestion) -> dict[str, Any]:
    dem = suggestion.inputs.dem
    middle = candidate.footprint.representative_point()
    return {"name": candidate.name, "kind": candidate.kind,
            "works": [work.name for work in candidate.works],
            "at": [round(float(v), 3) for v in dem.frame.to_source(middle.x, middle.y)],
            "storage_m3": candidate.storage, "water_area_m2": candidate.water_area,
            "soaks_mm_h": candidate.soak, "cost": _cost(candidate.cost),
            "bank_m": candidate.bank, "trees": candidate.trees, "crown_m": candidate.crown}
