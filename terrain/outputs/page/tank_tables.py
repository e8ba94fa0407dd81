"""Roofs and tanks in the report: their tables and sentences, ready to print."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from terrain.outputs.charts.charts import MONTHS
from terrain.outputs.charts.tank_charts import draw_size_curve
from terrain.outputs.page.templates import filled
from terrain.plan.planned import Plan
from terrain.plan.water.gutter_checks import asked_of
from terrain.plan.water.tank_years import TankLife, Thumb
from terrain.runoff.rain_years import months_from
from terrain.units import PRINTED, shown
from terrain.works.gutters import GutterCheck

ROOF_COLUMNS = ("feeds", "plan area", "gives of its rain", "sheds in the cloudburst",
                "gutter carries", "gutter needs", "downspouts carry", "downspouts needed",
                "so it is")
TANK_COLUMNS = ("holds", "wanted in an average year", "met", "days dry a year",
                "longest dry spell", "full again after empty", "loads a year", "turned away first")


def tank_section(plan: Plan, picture: Any) -> Any:
    """The section "Roofs and tanks" as HTML; empty where the site has neither.

    Parameters
    ----------
    picture : callable
        Makes the address of an image of a figure.
    """
    told = plan.roofs
    if told is None or not (told.gutters or any(p.store.kind == "tank" for p in plan.stores)):
        return ""
    system = plan.site.units
    return filled(
        "tanks.html",
        roofs=roof_rows(plan), roof_columns=ROOF_COLUMNS, tanks=tank_rows(plan),
        tank_columns=TANK_COLUMNS, month_names=[MONTHS[m - 1] for m in _months(plan)],
        volume_unit=PRINTED["volume"][
            system == "us"][0],
        burst="not known" if told.burst is None else
        f"{shown(told.burst.intensity, 'rate', system)}: {told.burst.source}",
        lives=[{"name": plan.stores[life.index].store.name, "said": sentences(plan, life),
                "picture": picture(draw_size_curve(life, plan.stores[life.index].store, system)),
                "uses": use_rows(life),
                "years": ["average year", *(y.name for y in life.years), life.record.name],
                "months": month_rows(life, system, _months(plan)),
                "thumbs": [thumb_row(thumb, system) for thumb in life.thumbs]}
               for life in told.tanks if life.curve is not None])


def _months(plan: Plan) -> list[int]:
    """Months in the order of the record's years."""
    return months_from(plan.site.rain.start_month)


def roof_rows(plan: Plan) -> list[tuple[str, list[str]]]:
    """Each roof that feeds a tank or has a gutter, beside what the cloudburst asks of it."""
    told, system = plan.roofs, plan.site.units
    if told is None:
        return []
    flow = partial(shown, dimension="flow", system=system)
    tanks = {name: node.store.name for node in plan.cascade.nodes for name in node.roof.names}
    known = {roof.name: roof for roof in plan.inputs.ground.roofs}
    if told.burst is None:
        return [(roof.name, [tanks.get(roof.name, "no tank"), shown(roof.area, "ground", system),
                             f"{roof.efficiency:.0%}" + (f" ({roof.material})" if roof.material
                                                         else ""), "not known",
                             *["–"] * 4, "not known"])
                for roof in asked_of(plan.inputs, plan.cascade)]
    rows = []
    for check in told.gutters:
        roof = known[check.roof]
        made_of = f" ({roof.material})" if roof.material else ""
        rows.append((check.roof, [
            tanks.get(check.roof, "no tank"), shown(check.area, "ground", system),
            f"{roof.efficiency:.0%}{made_of}", flow(check.flow),
            "not stated" if check.gutter_carries is None else flow(check.gutter_carries),
            width(check.needs_width, system),
            "not stated" if check.downspouts_carry is None else flow(check.downspouts_carry),
            " or ".join(f"{need.count} of {sold_as(need.diameter, system)} with a gutter "
                        f"{width(need.width, system)} wide" for need in check.needs[:3]),
            _verdict(check)]))
    return rows


def _verdict(check: GutterCheck) -> str:
    if check.gutter is None:
        return "not known"
    small = [what for what, enough in (("gutter", check.gutter_enough),
                                       ("downspouts", check.downspouts_enough)) if not enough]
    return " and ".join(small) + " too small" if small else "enough"


def tank_rows(plan: Plan) -> list[tuple[str, list[str]]]:
    """Each tank over the record."""
    told, system = plan.roofs, plan.site.units
    volume = partial(shown, dimension="volume", system=system)
    currency = plan.site.money.currency if plan.site.money else ""
    rows = []
    for life in told.tanks if told is not None else ():
        planned, year = plan.stores[life.index], life.average
        joined = planned.placed.joined
        spell = "none" if life.longest_from is None else (
            f"{life.longest} days from {life.longest_from.date().isoformat()}")
        cost = "" if year.cost is None else f", {year.cost:,.0f} {currency}".rstrip()
        rows.append((planned.store.name + "".join(f" + {other.name}" for other in joined), [
            volume(planned.store.capacity), volume(float(year.wanted.sum())),
            f"{year.share:.0%}" if life.uses else "–",
            f"{year.dry_days:.0f}" if life.uses else "–", spell if life.uses else "–",
            "never in the record" if life.refill_days is None else
            f"{life.refill_days:.0f} days (" + (f"{life.refills} times)" if life.refills > 1 else
                                                "once)"),
            "–" if planned.store.top_up is None else f"{year.loads:.1f}{cost}",
            volume(life.flushed)]))
    return rows


def use_rows(life: TankLife) -> list[tuple[str, list[str]]]:
    """Share met of each use, in the average year and in real ones."""
    years = [life.average, *life.years, life.record]
    rows = [(use.name if use.kind == "other" else f"{use.name} ({use.kind})",
             [f"{year.shares[i]:.0%}" for year in years])
            for i, use in enumerate(life.uses)]
    if len(life.uses) > 1:
        rows.append(("all together", [f"{year.share:.0%}" for year in years]))
    return [*rows, ("days dry", [f"{year.dry_days:.0f}" for year in years])]


def month_rows(life: TankLife, system: str, order: Sequence[int]) -> list[tuple[str, list[str]]]:
    """Wanted and met of each use by month, in an average year, its months in an order."""
    volume = partial(shown, dimension="volume", system=system, with_unit=False,
                     decimals=0 if system == "us" else 1)
    year, rows = life.average, []
    for i, use in enumerate(life.uses):
        for what, figures in (("wanted", year.wanted[i]), ("met", year.met[i])):
            rows.append((f"{use.name}, {what}", [*(volume(float(figures[m - 1])) for m in order),
                                                 volume(float(figures.sum()))]))
    rows.append(("share met", [*(f"{year.month_shares[m - 1]:.0%}" for m in order),
                               f"{year.share:.0%}"]))
    return rows


def sentences(plan: Plan, life: TankLife) -> list[str]:
    """What the record says of a tank, in words."""
    store, system = plan.stores[life.index].store, plan.site.units
    volume = partial(shown, dimension="volume", system=system)
    year, curve = life.average, life.curve
    said = [f"In an average year {volume(float(year.wanted.sum()))} are wanted and "
            f"{volume(float(year.met.sum()))} drawn, {year.share:.0%}; "
            + (f"on {year.dry_days:.1f} of its days, taken over the whole record, it cannot give "
               "its rations" if life.dry_days else
               "in the whole record it never fails to give its rations")
            + (f". The longest such spell lasts {life.longest} days, from "
               f"{life.longest_from.date().isoformat()}" if life.longest_from is not None else "")
            + "."]
    if store.top_up is not None:
        top, money = store.top_up, plan.site.money
        cost = "" if year.cost is None else (
            f" for {year.cost:,.0f}" + (f" {money.currency}" if money else ""))
        said.append(f"A tanker brings {volume(top.load)} whenever it holds less than "
                    f"{volume(top.below)}: {year.loads:.1f} loads in an average year{cost}.")
    if curve is not None:
        best, end = curve.knee, volume(float(curve.volumes[-1]))
        said.append(
            f"By size, without rationing and deliveries: this tank's {volume(curve.own)} meet "
            f"{curve.own_met:.0%} of what is wanted, and {end} meet {curve.met[-1]:.0%}, nearly "
            "all that a tank without end would"
            + ("." if best is None else
               f". The knee is at about {volume(float(curve.volumes[best]))} "
               f"({curve.met[best]:.0%}), beyond which more tank brings less and less: the point "
               f"farthest above the straight line from no tank to those {end} (after Satopaa and "
               "others, 2011, from memory); it hangs on the roofs, the uses and the record, not "
               "on this tank's size."))
    roof = max((more.roof for more in life.more), default=0.0)
    names = {"roof": f"{shown(roof, 'area', system)} more roof",
             "tank": f"another tank of {volume(store.capacity)}",
             "roof and tank": "both"}
    said.append(f"More{', no deliveries' if store.top_up is not None else ''}: " + "; ".join(
        f"{names[more.what]} {'bring' if ' and ' in more.what else 'brings'} "
        f"{volume(more.used)} more a year and "
        f"{_days(more.fewer_dry)}" for more in life.more) + ".")
    if any(use.steps for use in life.uses):
        said.append("Another tank is rationed when as much water is left in both together as in "
                    "this one.")
    return said


def _days(fewer: float) -> str:
    whole = round(fewer)
    return (f"{whole} dry days fewer" if whole > 0 else f"{-whole} dry days more" if whole < 0
            else "as many dry days")


def thumb_row(thumb: Thumb, system: str) -> tuple[str, list[str]]:
    """A rule of thumb, what it says, what stands beside it, and its source."""
    def told(value: float) -> str:
        if value == float("inf"):
            return "no tank would"
        if thumb.dimension == "share":
            return f"{value:.0%}"
        if thumb.dimension == "days":
            return f"{value:,.0f} days"
        return shown(value, thumb.dimension, system)

    return thumb.rule, [told(thumb.says), f"{thumb.beside}: {told(thumb.record)}", thumb.source]


def sold_as(metres: float, system: str) -> str:
    """A downspout's width as it is sold: in mm, or in whole nominal inches; common practice, no
    source."""
    return f"nominal {metres / 0.0254:.0f} in" if system == "us" else width(metres, system)


def width(metres: float, system: str) -> str:
    """A width in mm or inches."""
    unit, factor, _ = PRINTED["rain"][system == "us"]
    return f"{metres * 1000 * factor:,.{1 if system == 'us' else 0}f} {unit}"
