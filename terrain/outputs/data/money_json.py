"""Money of a plan for programs to read; amounts of money in the site's currency."""

from __future__ import annotations

import math
from typing import Any

from terrain.plan.earth.cost import Range
from terrain.plan.money.money import WorkMoney
from terrain.plan.planned import Plan


def money_facts(plan: Plan) -> dict[str, Any] | None:
    """What all costs and when it pays; None where the site file has no `money`."""
    told = plan.money
    if told is None:
        return None
    taken = {work.name: work for work in told.bought}
    return {
        "currency": told.currency,
        "works": [{
            **_work(work), "kind": taken[work.name].kind, "pipe_m": taken[work.name].pipe,
            "tank_m3": sum(one.volume for one in taken[work.name].tanks),
            "stone_m3": taken[work.name].stone, "sod_m2": taken[work.name].sod,
            "drops_m": taken[work.name].drops, "gravel_m3": taken[work.name].gravel,
            "trees": taken[work.name].trees, "seed_m2": taken[work.name].raw}
            for work in told.works],
        "whole_site": _work(told.whole),
        "water_otherwise_money_m3": {name: list(price) for name, price in told.otherwise.items()},
        "paybacks": [{"what": row.what, "against": row.against, "water_m3_year": row.water,
                      "saves_money_year": list(row.saves), "payback_years": _years(row.years),
                      "tank_lasts_years": None if row.lasts is None else list(row.lasts)}
                     for row in told.paybacks],
        "soaked_in_m3_year": told.soaks, "ground_works_money": list(told.soaks_cost),
        "next_best": [{"work": step.work, "money": list(step.cost), "more_m3_year": step.more,
                       "money_m3_year": None if step.each is None else list(step.each),
                       "kept_m3_year": step.kept, "alone_m3_year": step.alone}
                      for step in told.order],
        "not_ranked": list(told.unranked), "says": list(told.said)}


def _work(work: WorkMoney) -> dict[str, Any]:
    return {"name": work.name,
            "parts_money": {part: list(given) for part, given in work.parts.items()},
            "money": list(work.cost) if work.parts else None, "not_priced": list(work.unpriced),
            "stored_m3": work.stored, "kept_m3_year": work.kept,
            "money_m3_stored": _pair(work.a_stored if work.parts else None),
            "money_m3_year": _pair(work.a_kept if work.parts else None),
            "upkeep_money_year": list(work.upkeep), "renewal_money_year": list(work.renewal)}


def _pair(given: Range | None) -> list[float] | None:
    return None if given is None else list(given)


def _years(given: Range) -> list[float | None]:
    return [None if math.isinf(value) else value for value in given]
