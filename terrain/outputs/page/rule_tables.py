"""The rules of the trade in force, as the report prints them."""

from __future__ import annotations

from terrain.plan.planned import Plan
from terrain.units import shown


def rules_used(plan: Plan) -> list[tuple[str, str, str, str]]:
    """Every rule: its name, figure, source, and who decides."""
    from terrain.works.rules import RULES

    rules = plan.inputs.rules
    return [(rules.named(name), rule_figure(rules[name], rule.dimension, plan.site.units),
             rules.source(name), _who(rules.decides(name))) for name, rule in RULES.items()]


def _who(decides: str) -> str:
    """Who decides, without the verb."""
    return decides.removesuffix("decides").removesuffix("decide").strip()


def rule_figure(value: float, dimension: str | None, system: str) -> str:
    """A rule's figure in the site's units; small lengths as they are used."""
    if dimension == "length" and 0 < abs(value) < 0.005:
        return f"{value / 0.0254:.2g} in" if system == "us" else f"{value * 1000:.2g} mm"
    if dimension == "length":
        return shown(value, "size", system)
    if dimension == "area":
        return shown(value, "ground", system)
    if dimension in ("volume", "rain", "speed", "seepage"):
        return shown(value, dimension, system)
    number = f"{value:,.0f}" if value >= 10_000 else f"{value:g}"
    return number + (" h" if dimension == "time" else "")
