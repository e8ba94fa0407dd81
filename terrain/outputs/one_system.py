"""Sentences with figures in one system of units alone, as the reader has one tape."""

from __future__ import annotations

import re

from terrain.units import ACRE_FOOT, PRINTED

#: Units that figures are told in.
UNITS = sorted({unit for pair in PRINTED.values() for unit, _, _ in pair}
               | {"acre-ft", "L", "km", "h", "min", "days", "years", "%"}, key=len, reverse=True)
#: Pairs of units that a sentence may give one figure in, each with what makes it of SI.
_PAIRS = {(metric[0], us[0]): (metric[1], us[1]) for metric, us in PRINTED.values()} | {
    ("L", "gal"): (1000.0, 1 / 0.003785411784), ("m³", "acre-ft"): (1.0, 1 / ACRE_FOOT),
    ("m²", "acre"): (1.0, PRINTED["land"][1][1]),
    ("m", "in"): (1.0, 1 / 0.0254)}  # what is dug or built, below two feet
ANY_UNIT = "|".join(re.escape(unit) for unit in UNITS)
_NUMBER = r"\d[\d,]*(?:\.\d+)?"
_TOLD_TWICE = re.compile(rf"(?P<first>(?P<a>{_NUMBER}) (?P<u>{ANY_UNIT})) "
                         rf"\((?P<second>(?P<b>{_NUMBER}) (?P<v>{ANY_UNIT}))\)")


def in_one(words: str, system: str) -> str:
    """Words with figures told in both systems in one; what only looks alike stays."""
    def kept(found: re.Match[str]) -> str:
        metric_first = (found["u"], found["v"]) in _PAIRS
        factors = _PAIRS.get((found["u"], found["v"])) or (
            _PAIRS.get((found["v"], found["u"])) or (0.0, 0.0))[::-1]
        if not all(factors) or not _same(found["a"], factors[0], found["b"], factors[1]):
            return found[0]
        return found["first" if metric_first == (system == "metric") else "second"]

    return _TOLD_TWICE.sub(kept, words)


def _same(a: str, of_a: float, b: str, of_b: float) -> bool:
    """Whether two printed figures are one, each within half of its last place."""
    def si(said: str, factor: float) -> tuple[float, float]:
        return (float(said.replace(",", "")) / factor,
                0.501 * 10.0 ** -len(said.partition(".")[2]) / factor)

    (one, half), (other, other_half) = si(a, of_a), si(b, of_b)
    return abs(one - other) <= half + other_half
