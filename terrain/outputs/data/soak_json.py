"""What `soak --json` prints: one object in SI; keys end in their unit."""

from __future__ import annotations

from typing import Any

from terrain.plan.soak import SoakAnswer, site_line


def soak_answer(answer: SoakAnswer, system: str = "metric") -> dict[str, Any]:
    """A tested or a default rate as plain data; only the site file's line is in `system`."""
    found: dict[str, Any] = {
        "rate_mm_h": answer.rate, "source": answer.source, "tested": answer.test is not None,
        "soil_group": answer.soil_group or None, "drawdown": None}
    if answer.drawdown is not None:
        found["drawdown"] = {
            "depth_m": answer.drawdown.depth, "stands_h": answer.drawdown.hours,
            **{f"over_{limit:.0f}_h": longer for limit, longer in answer.drawdown.over.items()}}
    test = answer.test
    if test is not None:
        found |= {
            "measured_mm_h": test.measured, "safety_factor": test.safety, "steady": test.steady,
            "at_least": test.at_least, "fillings_mm_h": list(test.filling_rates),
            "site_line": site_line(answer.rate, system),
            "intervals": [{"filling": i.filling, "from_min": i.start, "to_min": i.end,
                           "before_mm": i.depth_before, "after_mm": i.depth_after,
                           "rate_mm_h": i.rate, "clear": i.clear} for i in test.intervals]}
    return {**found, "cautions": list(answer.cautions), "notes": list(answer.rests_on)}
