"""A proof in tables: heads and rows of printed figures."""

from __future__ import annotations

from collections.abc import Sequence

from terrain.inputs.frame import Frame
from terrain.proof.places import Fast, Spot
from terrain.proof.proof import Proof
from terrain.proof.store_proof import StoreProof
from terrain.proof.what_if import WhatIf
from terrain.units import shown

STORES = ("", "comes, flood", "cascade", "caught, flood", "cascade", "spilled, flood", "cascade",
          "highest water", "cascade", "first spill")
SPOTS = ("where", "deepest", "fastest", "depth × speed", "without works", "arrives", "so it is")
FASTS = ("where", "ground", "area", "speed", "stands", "on")
CASES = ("what if", "leaves the site", "at most", "over banks", "worst at a building or road")


def hours(value: float | None) -> str:
    """Hours and minutes after the storm's start."""
    if value is None:
        return "–"
    minutes = round(value * 60)
    return f"{minutes // 60} h {minutes % 60:02d}"


def deep(value: float, system: str) -> str:
    """A depth of water: in mm below a metre, in inches below two feet. [m]"""
    if system == "us":
        return (shown(value, "size", "us") if value >= 0.6096 else
                shown(1000 * value, "rain", "us", 1))
    return shown(value, "size") if value >= 1 else shown(1000 * value, "rain", "metric", 0)


def store_rows(stores: Sequence[StoreProof], system: str) -> list[list[str]]:
    """Rows to `STORES`."""
    rows = []
    for s in stores:
        told = s.told
        rows.append([s.name, *(shown(value, "volume", system) for value in (
            s.inflow, told.infiltrated + told.held + told.spilled, s.caught, s.told_caught,
            s.spilled, told.spilled)), shown(s.peak_level, "level", system),
            shown(told.peak_level, "level", system), hours(s.first_spill)])
    return rows


def spot_rows(spots: Sequence[Spot], system: str) -> list[list[str]]:
    """Rows to `SPOTS`."""
    return [[spot.what, deep(spot.depth, system), shown(spot.speed, "speed", system),
             strength(spot.strength, system), strength(spot.strength_before, system),
             hours(spot.arrives), spot.hazard] for spot in spots]


def strength(value: float | None, system: str) -> str:
    """Depth times speed."""
    if value is None:
        return "–"
    return (f"{value / 0.3048**2:.2f} ft²/s" if system == "us" else f"{value:.2f} m²/s")


def place(frame: Frame, x: float, y: float) -> str:
    """A place in the raster's coordinates."""
    east, north = (float(v) for v in frame.to_source(x, y))
    return f"{east:.1f}, {north:.1f}"


def fast_rows(fast: Sequence[Fast], frame: Frame, system: str) -> list[list[str]]:
    """Rows to `FASTS`."""
    return [[place(frame, f.x, f.y), f.cover, shown(f.area, "area", system),
             shown(f.speed, "speed", system), shown(f.limit, "speed", system),
             f.on or "open ground"]
            for f in fast]


def case_rows(cases: Sequence[WhatIf], system: str) -> list[list[str]]:
    """Rows to `CASES`."""
    rows = []
    for case in cases:
        if case.flooded is None:
            rows.append([case.name, "–", "–", "–", case.told])
            continue
        worst = case.worst
        rows.append([case.name, shown(case.flooded.leaves.volume_out, "volume", system),
                     shown(case.flooded.leaves.peak, "flow", system),
                     shown(case.over_banks, "volume", system),
                     "–" if worst is None else
                     f"{strength(worst.strength, system)} {worst.what}: {worst.hazard}"])
    return rows


def leaving_rows(proof: Proof, system: str) -> list[list[str]]:
    """What leaves the land without the works and with them: volume, peak, when."""
    rows = []
    for name, run in (("without the works", proof.before), ("with the works", proof.after)):
        if run is not None:
            rows.append([name, shown(run.leaves.volume_out, "volume", system),
                         shown(run.leaves.peak, "flow", system),
                         hours(run.leaves.peak_at / 3600)])
    rows.append(["by the cascade", shown(proof.run.left_site, "volume", system), "–", "–"])
    return rows


def bank_lines(stores: Sequence[StoreProof], frame: Frame, system: str) -> list[str]:
    """Sentences on banks that water goes over, or nearly."""
    said = []
    for s in stores:
        if s.over_bank is not None:
            said.append(f"Water goes over the bank of {s.name}, "
                        f"{shown(s.over_bank.volume, 'volume', system)} of it, most at "
                        f"{place(frame, s.over_bank.x, s.over_bank.y)}.")
        elif s.freeboard is not None and s.freeboard < 0:
            said.append(f"The water of {s.name} stands "
                        f"{deep(-s.freeboard, system)} over its crest.")
    return said


def account_lines(proof: Proof, system: str) -> list[tuple[str, str]]:
    """Where the storm's water came from and went, on the ground that is followed."""
    account = proof.after.flow.account
    pairs = [("rain", account.rain), ("from tanks", account.fed), ("lost where it fell",
             account.lost), ("soaked in beds of stores", account.soaked),
             ("ran off the ground that is followed", account.left_edges + account.left_holes
              + account.led_off), ("stands, in stores and dips", account.stands)]
    return [(name, shown(value, "volume", system)) for name, value in pairs]
