"""A proof for programs; keys end in their unit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from terrain.proof.places import Fast, Spot
from terrain.proof.proof import Flooded, Proof
from terrain.proof.store_proof import StoreProof
from terrain.proof.what_if import WhatIf


def proof_object(proof: Proof, cases: Sequence[WhatIf] = ()) -> dict[str, Any]:
    """Everything that a proof says, in SI."""
    frame = proof.plan.terrain.dem.frame
    account = proof.after.flow.account
    return {
        "site": proof.plan.site.name, "storm": proof.storm, "rain_mm": proof.depth,
        "followed_h": proof.until, "cell_m": proof.cell,
        "steps": proof.after.flow.steps, "shortest_step_s": proof.after.flow.shortest_step,
        "account": {"rain_m3": account.rain, "fed_m3": account.fed, "lost_m3": account.lost,
                    "soaked_m3": account.soaked,
                    "left_m3": account.left_edges + account.left_holes + account.led_off,
                    "stands_m3": account.stands, "error_m3": account.error},
        "stores": [_store(s, frame) for s in proof.stores],
        "leaves": {"with_works": _leaves(proof.after, frame),
                   "without_works": None if proof.before is None else _leaves(proof.before, frame),
                   "cascade_m3": proof.run.left_site},
        "places": [_spot(spot, frame) for spot in proof.spots],
        "fast_ground": [_fast(f, frame) for f in proof.fast],
        "what_if": [_case(case, frame) for case in cases],
        "unlike_the_plan": list(proof.unlike), "notes": list(proof.notes)}


def _store(s: StoreProof, frame: Any) -> dict[str, Any]:
    told = s.told
    return {
        "name": s.name, "inflow_m3": s.inflow, "caught_m3": s.caught, "spilled_m3": s.spilled,
        "led_m3": s.led, "peak_level_m": s.peak_level, "peak_spill_m3_s": s.peak_spill,
        "levels_shown": s.drawn, "first_spill_h": s.first_spill,
        "spills_at": _at(s.spills_at, frame),
        "freeboard_m": s.freeboard,
        "over_bank": None if s.over_bank is None else {
            "volume_m3": s.over_bank.volume, "depth_m": s.over_bank.deep,
            "at": _at((s.over_bank.x, s.over_bank.y), frame)},
        "cascade": {"inflow_m3": told.infiltrated + told.held + told.spilled,
                    "caught_m3": s.told_caught, "spilled_m3": told.spilled,
                    "peak_level_m": told.peak_level, "first_spill_h": told.first_spill},
        "why": list(s.why)}


def _leaves(run: Flooded, frame: Any) -> dict[str, Any]:
    found = run.leaves
    return {"volume_m3": found.volume_out, "comes_in_m3": found.volume_in,
            "peak_m3_s": found.peak, "peak_at_h": found.peak_at / 3600,
            "most_at": _at(found.where, frame)}


def _spot(spot: Spot, frame: Any) -> dict[str, Any]:
    return {"where": spot.what, "depth_m": spot.depth, "speed_m_s": spot.speed,
            "depth_speed_m2_s": spot.strength,
            "depth_speed_before_m2_s": spot.strength_before, "arrives_h": spot.arrives,
            "at": _at((spot.x, spot.y), frame), "hazard": spot.hazard}


def _fast(f: Fast, frame: Any) -> dict[str, Any]:
    return {"at": _at((f.x, f.y), frame), "area_m2": f.area, "speed_m_s": f.speed,
            "speed_before_m_s": f.speed_before,
            "stands_m_s": f.limit, "depth_m": f.depth, "cover": f.cover, "source": f.source,
            "on": f.on or None}


def _case(case: WhatIf, frame: Any) -> dict[str, Any]:
    told: dict[str, Any] = {"name": case.name, "told": case.told}
    if case.flooded is not None:
        told |= {"leaves": _leaves(case.flooded, frame), "over_banks_m3": case.over_banks,
                 "stores": [_store(s, frame) for s in case.stores],
                 "places": [_spot(spot, frame) for spot in case.spots]}
    return told


def _at(where: tuple[float, float] | None, frame: Any) -> list[float] | None:
    if where is None:
        return None
    return [round(float(v), 3) for v in frame.to_source(*where)]

