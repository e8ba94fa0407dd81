"""How sure the plan is, as tables and sentences; ranges are shown as ranges."""

from __future__ import annotations

from dataclasses import dataclass

from terrain.outputs.charts.doubt_words import NAMES, figure, mattering, periods, span
from terrain.outputs.page.templates import filled
from terrain.plan.doubt.doubt_found import Beside, Doubt, DoubtedStore, Headline
from terrain.plan.planned import Plan
from terrain.units import per_cent, shown, unit_name

#: A chance is told as sure below this, or above 1 less this; common practice, no source.
NEXT_TO_NONE = 0.005


@dataclass(frozen=True)
class Line:
    """A line of a table: its name and its cells as they are printed."""

    name: str
    cells: list[str]


def beside(doubt: Doubt, told: dict[str, Headline]) -> Beside | None:
    """What stands beside the plan's own figures of a period; None where nothing does."""
    return doubt.beside if told is doubt.year else None


def beside_words(other: Beside | None, system: str) -> str:
    """The plan's figures with the soil's wetness reckoned the other way, in a sentence."""
    if other is None:
        return ""
    return (f"With {other.soil} the plan's own figures are: " + ", ".join(
        f"{NAMES[name]} {figure(value, name, system)}" for name, value in other.figures.items()
        if name in NAMES) + ".")


def headline_lines(told: dict[str, Headline], system: str) -> list[Line]:
    """Each headline: plan, range, median, the ends' errors, and whose doubt it mostly is."""
    lines = []
    for name, headline in told.items():
        found = headline.together
        errors = (f"± {figure(found.low_error, name, system, with_unit=False)}, "
                  f"± {figure(found.high_error, name, system)}")
        lines.append(Line(NAMES[name], [
            figure(found.plan, name, system),
            span(found, name, system), figure(found.median, name, system), errors,
            mattering(headline),
            ", ".join(f"{doubt} {per_cent(share)}"
                      for doubt, share in headline.shares.items())]))
    return lines


def outside(doubt: Doubt, system: str) -> list[str]:
    """A sentence for each of the plan's figures that lies outside its range."""
    said = []
    for when, told in periods(doubt):
        other = beside(doubt, told)
        for name, headline in told.items():
            found = headline.together
            if other is not None and not found.low <= other.figures[name] <= found.high:
                said.append(
                    f"With {other.soil} the plan's figure for {when}, {NAMES[name]}, is "
                    f"{figure(other.figures[name], name, system)}, which lies "
                    f"{'below' if other.figures[name] < found.low else 'above'} the range "
                    f"{span(found, name, system)}: no run draws how the soil's wetness is "
                    "reckoned, so the figure is less sure than that range says.")
            if found.plan is None or not found.plan_outside:
                continue
            side = "below" if found.plan < found.low else "above"
            said.append(f"The plan's own figure for {when}, {NAMES[name]}, "
                        f"{figure(found.plan, name, system)}, lies {side} the range: rather count "
                        f"on {span(found, name, system)}.")
    return said


def chance(share: float) -> str:
    """A chance as it is printed."""
    if share < NEXT_TO_NONE:
        return "none seen" if share == 0 else "under 1\u00a0%"
    if share > 1 - NEXT_TO_NONE:
        return "every run" if share == 1 else "over 99\u00a0%"
    return per_cent(share)


def store_lines(plan: Plan, doubt: Doubt) -> list[Line]:
    """Each store: what comes and is caught, and the chance that it is not as the plan says."""
    system = plan.site.units
    lines = []
    for store, planned in zip(doubt.stores, plan.stores, strict=True):
        kind = planned.store.kind
        ground = kind != "tank"
        holds = kind != "drain"
        lines.append(Line(store.name, [
            _area(store, system) if ground else "roofs",
            span(store.arrives, "", system), span(store.caught, "", system) if holds else "–",
            "–" if store.caught_year is None or not holds else span(store.caught_year, "", system),
            _fills(store) if holds else "–", chance(store.never_fills) if holds else "–",
            chance(store.other_ground) if ground else "–",
            "by pipe or word" if store.other_spill is None else chance(store.other_spill),
            "–" if store.leaves_elsewhere is None else chance(store.leaves_elsewhere)]))
    return lines


def _area(store: DoubtedStore, system: str) -> str:
    found = store.catchment
    low, high = (shown(v, "area", system, with_unit=False) for v in (found.low, found.high))
    return f"{low} – {high} {unit_name('area', system)}"


def _fills(store: DoubtedStore) -> str:
    return f"{chance(store.fills)} (plan: {'yes' if store.plan_fills else 'no'})"


def doubt_section(plan: Plan, picture: str) -> str:
    """The report's section, safe to put into its page; empty where nothing was doubted.

    Parameters
    ----------
    picture : str
        Address of the chart.
    """
    doubt = plan.doubt
    if doubt is None:
        return ""
    system = plan.site.units
    return filled(
        "doubt.html",
        runs=f"{doubt.runs:,}", picture=picture, outside=outside(doubt, system),
        periods=[(when, headline_lines(told, system), beside_words(beside(doubt, told), system))
                 for when, told in periods(doubt)],
        stores=store_lines(plan, doubt), year=bool(doubt.year),
        moved=shown(plan.inputs.rules["spill moved"], "length", system, 0), notes=doubt.notes)
