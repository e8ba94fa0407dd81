"""A proof in words: the answer, what is dangerous, and tables of printed figures."""

from __future__ import annotations

from collections.abc import Sequence

from terrain.inputs.frame import Frame
from terrain.outputs.drawing.symbols import plain
from terrain.outputs.one_system import in_one
from terrain.proof.places import HAZARDS, Fast, Spot
from terrain.proof.proof import Proof
from terrain.proof.store_proof import AS_CELLS_TELL, StoreProof
from terrain.proof.what_if import WhatIf
from terrain.units import shown

WATER = ("store", "comes", "by cascade", "caught", "by cascade", "spilled", "by cascade")
LEVELS = ("store", "highest water", "by cascade", "under its crest", "first spill", "by cascade")
LEAVING = ("run", "volume", "at most", "then")
SPOTS = ("where", "deepest", "fastest", "depth × speed", "without works", "arrives", "so it is")
FASTS = ("where", "ground", "area", "speed", "without works", "stands", "on")
CASES = ("what if", "leaves the land", "at most", "over banks", "buildings, roads", "boundary")
#: Patches of fast ground that are listed; a speed that the works do not raise by so much is as it
#: was. [-]
MOST_FAST, RAISED = 12, 1.1
#: What the first of the limits of depth and speed says.
SAFE = HAZARDS[0][3]


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


def strength(value: float | None, system: str) -> str:
    """Depth times speed. [m2/s]"""
    if value is None:
        return "–"
    return (f"{value / 0.3048**2:.2f} ft²/s" if system == "us" else f"{value:.2f} m²/s")


def place(frame: Frame, x: float, y: float) -> str:
    """A place in the raster's coordinates."""
    east, north = (float(v) for v in frame.to_source(x, y))
    if frame.source is not None and frame.source.is_geographic:
        return f"{east:.6f}, {north:.6f}"
    return f"{east:.1f}, {north:.1f}"


def rain_words(proof: Proof) -> str:
    """The storm and its depth."""
    return f"{proof.storm}, {plain(proof.depth, 'rain', proof.plan.site.units)}"


def answer_lines(proof: Proof, system: str) -> list[str]:
    """What the flood shows, in sentences, what matters most first."""
    with_works, before = proof.after.leaves, proof.before
    leaves = (f"{shown(with_works.volume_out, 'volume', system)} leave the land with the works, "
              f"{shown(with_works.peak, 'flow', system)} at most")
    if before is not None:
        leaves += (f"; without them {shown(before.leaves.volume_out, 'volume', system)}, "
                   f"{shown(before.leaves.peak, 'flow', system)} at most")
    said = [leaves + "."]
    stores = proof.stores
    if stores:
        caught = sum(s.caught for s in stores)
        told = sum(s.told_caught for s in stores)
        spill = [s.name for s in stores if s.first_spill is not None]
        catch = _verb(len(stores), "catches", "catch")
        said.append(f"{_count(len(stores), 'store')} that the flood follows {catch} "
                    f"{shown(caught, 'volume', system)}, by the cascade "
                    f"{shown(told, 'volume', system)}.")
        said.append(f"Water spills from {_named(spill, 8)}." if spill else "No store spills.")
        if not any(s.over_bank is not None or (s.freeboard is not None and s.freeboard < 0)
                   for s in stores):
            coarse = [s.name for s in stores if s.freeboard is not None and not s.drawn]
            said.append("Water goes over no bank of these stores that was to stay dry." + (
                f" Of {_named(coarse, 8)} these cells are too coarse to tell it for sure; run with "
                "smaller cells." if coarse else ""))
    return said


def danger_lines(proof: Proof, system: str, found: Sequence[StoreProof] | None = None) -> list[str]:
    """What is dangerous: banks, buildings and roads, fast ground, what was not followed."""
    frame = proof.plan.terrain.dem.frame
    said = bank_lines(proof.stores if found is None else found, frame, system)
    said += [f"Water {spot.what} is {spot.hazard}: {deep(spot.depth, system)} deep and "
             f"{shown(spot.speed, 'speed', system)} fast at most."
             for spot in proof.spots if spot.hazard != SAFE]
    if proof.fast:
        worst = max(proof.fast, key=lambda f: f.speed / f.limit)
        faster = [f for f in proof.fast if f.speed > RAISED * (f.speed_before or 0.0)]
        said.append(f"Water runs faster than the ground stands in "
                    f"{_count(len(proof.fast), 'place')}, at "
                    f"{shown(worst.speed, 'speed', system)} where it stands "
                    f"{shown(worst.limit, 'speed', system)}, the worst of them." + (
                        "" if proof.before is None else
                        " The works make it faster in none of them." if not faster else
                        f" The works make it faster in {len(faster)} of them."))
    said += [f"The works make water {spot.what} stronger: depth times speed "
             f"{strength(spot.strength, system)}, without them "
             f"{strength(spot.strength_before, system)}." for spot in proof.spots
             if spot.strength_before is not None and spot.strength > max(
                 RAISED * spot.strength_before, spot.strength_before + 0.01)]
    return [*said, *(in_one(line, system) for line in proof.unlike)]


def all_dangers(proof: Proof, cases: Sequence[WhatIf], system: str) -> list[str]:
    """What is dangerous in the run as planned, then what is worse where something gives way."""
    safe = safe_line(proof.spots)
    if cases and safe:
        safe = f"As planned, {safe[0].lower()}{safe[1:]}"
    return [*danger_lines(proof, system), *([safe] if safe else []), *case_dangers(cases, system)]


def safe_line(spots: Sequence[Spot]) -> str:
    """A sentence on buildings, roads and boundary that water does no harm at."""
    safe = [spot for spot in spots if spot.hazard == SAFE]
    if not safe:
        return ""
    where = ("At every building and road and at the boundary" if len(safe) == len(spots) else
             f"At the other {_count(len(safe), 'place')} at buildings, roads and the boundary")
    return f"{where} water is {SAFE}."


def _count(number: int, of: str) -> str:
    return f"{number} {of}{'' if number == 1 else 's'}"


def _verb(number: int, one: str, more: str) -> str:
    return one if number == 1 else more


def _named(names: Sequence[str], most: int = 4) -> str:
    """Names, and how many more."""
    if len(names) == 1:
        return names[0]
    if len(names) > most:
        return f"{', '.join(names[:most - 1])} and {len(names) - most + 1} more"
    return f"{', '.join(names[:-1])} and {names[-1]}"


def water_rows(stores: Sequence[StoreProof], system: str) -> list[list[str]]:
    """Rows to `WATER`."""
    rows = []
    for s in stores:
        told = s.told
        rows.append([s.name, *(shown(value, "volume", system) for value in (
            s.inflow, told.infiltrated + told.held + told.spilled, s.caught, s.told_caught,
            s.spilled, told.spilled))])
    return rows


def level_rows(stores: Sequence[StoreProof], system: str) -> list[list[str]]:
    """Rows to `LEVELS`."""
    return [[s.name, shown(s.peak_level, "level", system) if s.drawn else "–",
             shown(s.told.peak_level, "level", system),
             "–" if s.freeboard is None or not s.drawn else
             f"{'over it by ' if s.freeboard < 0 else ''}{deep(abs(s.freeboard), system)}",
             hours(s.first_spill), hours(s.told.first_spill)] for s in stores]


def spot_rows(spots: Sequence[Spot], system: str) -> list[list[str]]:
    """Rows to `SPOTS`."""
    return [[spot.what, deep(spot.depth, system), shown(spot.speed, "speed", system),
             strength(spot.strength, system), strength(spot.strength_before, system),
             hours(spot.arrives), spot.hazard] for spot in spots]


def fast_rows(fast: Sequence[Fast], frame: Frame, system: str) -> list[list[str]]:
    """Rows to `FASTS`."""
    return [[place(frame, f.x, f.y), f.cover, shown(f.area, "ground", system),
             shown(f.speed, "speed", system),
             "–" if f.speed_before is None else shown(f.speed_before, "speed", system),
             shown(f.limit, "speed", system), f.on or "open ground"]
            for f in fast[:MOST_FAST]]


def case_rows(cases: Sequence[WhatIf], system: str) -> list[list[str]]:
    """Rows to `CASES`."""
    return [[case.name, *(["–"] * 5 if case.flooded is None else [
        shown(case.flooded.leaves.volume_out, "volume", system),
        shown(case.flooded.leaves.peak, "flow", system),
        "not sure" if not case.over_banks and any(s.may_overtop for s in case.stores) else
        shown(case.over_banks, "volume", system),
        *("–" if spot is None else strength(spot.strength, system)
          for spot in (case.worst, case.boundary))])]
        for case in cases]


def case_lines(cases: Sequence[WhatIf]) -> list[tuple[str, str]]:
    """Each case with what was tried and what is worst then."""
    return [(case.name, case.told if case.worst is None else
             f"{case.told} Of buildings and roads it is worst {case.worst.what}: "
             f"{case.worst.hazard}.") for case in cases]


def case_dangers(cases: Sequence[WhatIf], system: str) -> list[str]:
    """Sentences on what is worse than as planned, the first of the cases, where something gives
    way."""
    said = []
    for case in cases[1:]:
        if case.over_banks > cases[0].over_banks + 0.05:
            coarse = any(s.over_bank is not None and not s.drawn for s in case.stores)
            said.append(f"With {_the(case)}, {shown(case.over_banks, 'volume', system)} go over "
                        "banks that were to stay dry"
                        f"{f', {AS_CELLS_TELL}' if coarse else ''}.")
        before = [s.name for s in cases[0].stores if s.may_overtop]
        unsure = [s.name for s in case.stores if s.may_overtop and s.name not in before]
        if unsure:
            said.append(f"With {_the(case)}, water may go over the bank of {_named(unsure)}, "
                        f"{AS_CELLS_TELL}.")
        as_planned = {spot.what: spot.hazard for spot in cases[0].spots}
        said += [f"With {_the(case)}, water {spot.what} is {spot.hazard}."
                 for spot in case.spots
                 if spot.hazard not in (SAFE, as_planned.get(spot.what, SAFE))]
    return said


def _the(case: WhatIf) -> str:
    return case.name if case.name.startswith("twice") else f"the {case.name}"


def leaving_rows(proof: Proof, system: str) -> list[list[str]]:
    """Rows to `LEAVING`."""
    rows = []
    for name, run in (("without the works", proof.before), ("with the works", proof.after)):
        if run is not None:
            rows.append([name, shown(run.leaves.volume_out, "volume", system),
                         shown(run.leaves.peak, "flow", system),
                         hours(run.leaves.peak_at / 3600)])
    rows.append(["by the cascade", shown(proof.run.left_site, "volume", system), "–", "–"])
    return rows


def bank_lines(stores: Sequence[StoreProof], frame: Frame, system: str) -> list[str]:
    """Sentences on banks that water goes over, or nearly, the most of it first; nothing on levels
    where cells are too coarse for them."""
    over = sorted((s for s in stores if s.over_bank is not None),
                  key=lambda s: -s.over_bank.volume if s.over_bank is not None else 0.0)
    said = [f"Water goes over the bank of {s.name}, "
            f"{shown(s.over_bank.volume, 'volume', system)} of it"
            f"{f' and up to {deep(s.over_bank.deep, system)} deep' if s.drawn else ''}, most at "
            f"{place(frame, s.over_bank.x, s.over_bank.y)}"
            f"{'' if s.drawn else f', {AS_CELLS_TELL}'}."
            for s in over if s.over_bank is not None]
    said += [f"Water may go over the bank of {s.name}, {AS_CELLS_TELL}."
             for s in stores if s.may_overtop]
    return said + [f"The water of {s.name} stands {deep(-s.freeboard, system)} over its crest."
                   for s in stores if s.drawn and s.over_bank is None
                   and s.freeboard is not None and s.freeboard < 0]


def account_lines(proof: Proof, system: str) -> list[tuple[str, str]]:
    """Where the storm's water came from and went, on the ground that is followed."""
    account = proof.after.flow.account
    left = account.left_edges + account.left_holes + account.led_off
    pairs = [("rain", account.rain), ("from tanks", account.fed),
             ("lost where it fell", account.lost), ("soaked in", account.soaked),
             ("ran off beyond the land and what is followed about it", left),
             ("stands, in stores and dips", account.stands)]
    return [(name, shown(value, "volume", system)) for name, value in pairs]
