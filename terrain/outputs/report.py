"""The report: one self-contained HTML page that opens with no server and no network."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from functools import partial
from importlib import resources
from typing import Any

import numpy as np

from terrain.plan.accounts import Account
from terrain.plan.entry import Entry
from terrain.plan.plan import YEARS, Plan
from terrain.plan.rain import MORE_THAN
from terrain.runoff.rain_years import days_a_year_above
from terrain.units import shown

#: So many places where roads and bare ground shed are listed.
MOST_SHED_ROWS = 20


@dataclass(frozen=True)
class Row:
    """A line of a table: its name and its cells as they are printed."""

    name: str
    cells: list[str]


def report_page(plan: Plan, map_png: bytes, charts: dict[str, Any]) -> str:
    """Write the page.

    Parameters
    ----------
    map_png : bytes
        The site map.
    charts : dict of str to Figure
        "storms", and "year" where there is a rain record.
    """
    from jinja2 import Environment

    text = resources.files("terrain.outputs").joinpath("report.html").read_text("utf-8")
    page = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True).from_string(text)
    system = plan.site.units
    volume = partial(shown, dimension="volume", system=system)
    accounts = plan.accounts
    name, headline = accounts[-1] if plan.year else (plan.site.rain.design.name,
                                                     plan.storms[plan.site.rain.design.name])
    return page.render(
        site=plan.site.name, headline=_headline(plan, name, headline),
        figures=[("kept by the ground works", volume(headline.passive), "passive capture"),
                 ("kept by roofs and tanks", volume(headline.roof), "roof capture"),
                 ("left the site", volume(headline.left_site), "runoff and spills")],
        figures_for=name, map=_picture(map_png), charts={k: _svg(v) for k, v in charts.items()},
        storms=_storm_rows(plan, accounts), stores=_store_rows(plan), rates=_rate_notes(plan),
        unit="gal" if system == "us" else "m³",
        accounts=[(title, _account_rows(plan, account), _account_sum(plan, account),
                   title == plan.site.rain.design.name) for title, account in accounts],
        arrivals=_arrival_rows(plan), reaches=_reach_rows(plan), peak_notes=_peak_notes(plan),
        design=plan.site.rain.design.name, years=bool(plan.years),
        loss=plan.inputs.hydrology.loss_on_the_way, why_more=_why_more(plan),
        often=_often_rows(plan),
        build=_build_rows(plan), sheds=_shed_rows(plan),
        shed_storm=max(plan.site.rain.storms, key=lambda s: s.depth).name,
        trees=_tree_rows(plan), earth=_earth_rows(plan), money=plan.site.money,
        cautions=_cautions(plan),
        notes=plan.notes, rules=_rules_used(plan))


def _headline(plan: Plan, name: str, account: Account) -> str:
    volume = partial(shown, dimension="volume", system=plan.site.units)
    fallen = account.rain + account.run_on
    kept = (account.passive + account.roof) / fallen if fallen else 0.0
    when = ("In an " + name.replace(", ", " with ") if name.startswith("average year")
            else f"In the storm \"{name}\"")
    return (f"{when} {volume(account.rain)} of rain fall on the property and "
            f"{volume(account.run_on)} run on from beyond the boundary. "
            f"{volume(account.soaked_in_place)} soak in where they fall. The works keep "
            f"{volume(account.passive + account.roof)} ({kept:.1%} of all that came); "
            f"{volume(account.left_site)} leave the site.")


def _storm_rows(plan: Plan, accounts: list[tuple[str, Account]]) -> list[Row]:
    system = plan.site.units
    volume = partial(shown, dimension="volume", system=system)
    depths = {s.name: f"{shown(s.depth, 'rain', system)} in {s.duration:g} h"
              for s in plan.site.rain.storms}
    if plan.seasons is not None:
        yearly = plan.seasons.mean(plan.seasons.rain_mm)
        depths |= dict.fromkeys(YEARS.values(), shown(yearly, "rain", system))
    depths |= {year.name: shown(year.rain, "rain", system) for year in plan.years}
    return [Row(name, [depths[name], volume(a.rain), volume(a.run_on), volume(a.passive),
                       volume(a.roof), volume(a.passive + a.roof), volume(a.left_site)])
            for name, a in accounts]


def _store_rows(plan: Plan) -> list[Row]:
    system = plan.site.units
    rows = []
    for planned, node in zip(plan.stores, plan.cascade.nodes, strict=True):
        ground = node.catchment.area or node.roof.area
        least = "at least " if node.catchment.touches_edge and node.catchment.area else ""
        rows.append(Row(planned.store.name, [
            planned.store.kind, least + shown(ground, "area", system),
            shown(planned.store.capacity, "volume", system),
            _or(planned.starts_at, "never",
                lambda v: shown(v, "rain", system) if v else "any rain"),
            _or(planned.full_at, "never", lambda v: shown(v, "rain", system)),
            "-" if planned.store.kind == "tank" else
            shown(planned.store.infiltration, "rate", system),
            _hours(planned.drain_hours), planned.spills_to]))
    return rows


def _rate_notes(plan: Plan) -> list[str]:
    """Where the rates at which stores soak come from, and which stores share a source."""
    stores: dict[str, list[str]] = {}
    for planned in plan.stores:
        if planned.store.kind != "tank":
            stores.setdefault(planned.store.rate_source, []).append(planned.placed.work.name)
    return [f"{source} ({', '.join(dict.fromkeys(names))})" for source, names in stores.items()]


def _account_rows(plan: Plan, account: Account) -> list[Row]:
    return [Row(entry.name, _fates(plan, entry)) for entry in account.entries]


def _fates(plan: Plan, entry: Entry) -> list[str]:
    volume = partial(shown, dimension="volume", system=plan.site.units, with_unit=False)
    return [volume(v) for v in (entry.runoff, entry.run_on, entry.roof,
                                entry.from_above, entry.caught, entry.infiltrated,
                                entry.evaporated, entry.used, entry.held, entry.spilled)]


def _account_sum(plan: Plan, account: Account) -> str:
    volume = partial(shown, dimension="volume", system=plan.site.units)
    kept = [sum(getattr(e, fate) for e in account.entries)
            for fate in ("infiltrated", "evaporated", "used", "held")]
    return (f"Came: {volume(account.rain)} rain and {volume(account.run_on)} run-on. "
            f"Went: {volume(account.soaked_in_place)} soaked in where it fell, "
            f"{volume(kept[0])} infiltrated from stores, {volume(kept[1])} evaporated, "
            f"{volume(kept[2])} used, {volume(kept[3])} still held, "
            f"{volume(account.left_site)} left the site. What came and what went agree to better "
            "than a billionth.")


def _build_rows(plan: Plan) -> list[Row]:
    """What each work is to be when it is finished."""
    system = plan.site.units
    level, length = (partial(shown, dimension=d, system=system) for d in ("level", "length"))
    rows = []
    for planned in sorted(plan.stores, key=lambda p: -p.store.sill.level):
        sill, swale, basin = planned.store.sill, planned.swale, planned.basin
        spill = (f"at {level(sill.level)}, {length(sill.length)} long; {level(sill.head)} of water "
                 "on it at the design peak")
        if swale is not None:
            shape = (f"{length(swale.route.length)} on the contour at {level(swale.route.level)}; "
                     f"bed {level(swale.width)} wide at {level(sill.level - swale.depth)}, sides "
                     f"{swale.side_slope:g}:1")
            bank = (f"berm on the downhill side, crest {level(swale.berm_height_built)} above the "
                    f"sill as built, {level(swale.berm_height)} once settled, top "
                    f"{level(plan.inputs.rules['berm top width'])} wide")
        elif basin is not None and basin.form == "wall":
            rules = plan.inputs.rules
            shape = f"pool of {shown(basin.pool_area, 'area', system)}, " \
                    f"{level(basin.water_at_wall)} deep at the wall"
            bank = (f"wall with its settled crest at {level(basin.crest)}, up to "
                    f"{level(basin.height)} high, top {level(rules['wall top width'])} wide, sides "
                    f"{rules['wall wet slope']:g}:1 wet and {rules['wall dry slope']:g}:1 dry")
        elif basin is not None:
            shape = (f"dug {level(basin.water_at_wall)} deep below its sill, floor at "
                     f"{level(sill.level - basin.water_at_wall)}, sides {basin.batter:g}:1")
            bank = "none"
        elif planned.store.kind == "tree basin":
            shape = (f"bowl {length(planned.placed.work.crown)} wide, level floor at "
                     f"{level(planned.store.curve.levels[0])}; trunk on a mound above the water")
            bank = "none"
        else:
            continue
        rows.append(Row(planned.store.name, [shape, bank, spill]))
    return rows


def _arrival_rows(plan: Plan) -> list[Row]:
    """Travel time, runoff and peak of each store's own ground in the design storm."""
    system, design = plan.site.units, plan.site.rain.design
    flow, volume = (partial(shown, dimension=d, system=system) for d in ("flow", "volume"))
    rows = []
    for planned, node, peaks in zip(plan.stores, plan.cascade.nodes, plan.peaks, strict=True):
        ground = node.catchment.ground
        if peaks is None:
            continue
        rows.append(Row(planned.store.name, [
            _or(ground.concentration_by_segments, "not known", _minutes),
            _minutes(ground.concentration_by_lag),
            "segments" if ground.by_segments else "lag equation",
            volume(ground.runoff(design.depth)),
            volume(ground.runoff_by_mean_number(design.depth)),
            flow(peaks.unit_hydrograph), _or(peaks.graphical, "-", flow),
            _or(peaks.rational, "-", flow)]))
    return rows


def _reach_rows(plan: Plan) -> list[Row]:
    """The pieces of the longest way to each store."""
    system = plan.site.units
    return [Row(planned.store.name if first else "", [
        reach.kind, reach.surface, shown(reach.length, "length", system), f"{reach.slope:.1%}",
        _minutes(reach.hours)])
        for planned, node in zip(plan.stores, plan.cascade.nodes, strict=True)
        for first, reach in zip([True, *[False] * len(node.catchment.reaches)],
                                node.catchment.reaches, strict=False)]


def _peak_notes(plan: Plan) -> list[str]:
    """Why a method does not apply, and to which stores."""
    stores: dict[str, list[str]] = {}
    for planned, peaks in zip(plan.stores, plan.peaks, strict=True):
        for note in peaks.notes if peaks is not None else ():
            stores.setdefault(note, []).append(planned.store.name)
    return [f"{note} ({', '.join(names)})" for note, names in stores.items()]


def _why_more(plan: Plan) -> bool:
    """Whether some store's runoff by cells is more than by the mean curve number."""
    depth = plan.site.rain.design.depth
    grounds = [node.catchment.ground for node in plan.cascade.nodes]
    return any(ground.runoff(depth) > 1.005 * ground.runoff_by_mean_number(depth)
               for ground in grounds)


def _often_rows(plan: Plan) -> list[Row]:
    """How often it rains more than the depths that feed and fill stores, and round ones."""
    record, system = plan.inputs.record, plan.site.units
    if record is None:
        return []
    depths = np.array(MORE_THAN[system])
    return [Row(shown(float(depth), "rain", system),
                [f"{days:.1f}", "never in the record" if not days else
                 f"every {365.25 / days:.0f} days" if days > 1 else f"once in {1 / days:.1f} years",
                 ", ".join(dict.fromkeys(
                     p.placed.work.name for p in plan.stores
                     if p.full_at is not None and p.full_at <= depth)) or "none"])
            for depth, days in zip(depths, days_a_year_above(record.depths, depths), strict=True)]


def _minutes(hours: float) -> str:
    if hours >= 2:
        return f"{hours:.1f} h"
    return f"{60 * hours:.0f} min" if hours > 1 / 60 else "under 1 min"


def _shed_rows(plan: Plan) -> list[Row]:
    system = plan.site.units
    deepest = max(range(len(plan.site.rain.storms)), key=lambda i: plan.site.rain.storms[i].depth)
    rows = []
    for rank, (shed, point) in enumerate(plan.ranked_shed_points[:MOST_SHED_ROWS], 1):
        x, y = plan.inputs.dem.xy(point.row, point.column)
        ends = (plan.stores[point.ends_at - 1].store.name if point.ends_at
                else "leaves the site")
        rows.append(Row(str(rank), [
            shed.name, plan.inputs.dem.named(float(x), float(y)),
            shown(point.volumes[deepest], "volume", system),
            shown(point.own_volumes[deepest], "volume", system),
            shown(shed.area, "area", system), shown(shed.catchment.area, "area", system), ends]))
    return rows


def _tree_rows(plan: Plan) -> list[Row]:
    if plan.year is None:
        return []
    system = plan.site.units
    given = {entry.name: entry.infiltrated for entry in plan.year.entries}
    rows = []
    for planned, node in zip(plan.stores, plan.cascade.nodes, strict=True):
        if planned.trees_need is not None:
            gets = given[planned.store.name]
            rows.append(Row(planned.store.name, [
                shown(planned.trees_need, "volume", system, 2), shown(gets, "volume", system, 2),
                f"{min(gets / planned.trees_need, 9.99):.0%}" if planned.trees_need else "all",
                shown(node.catchment.area, "area", system),
                "its ground never sheds" if planned.trees_catchment is None else
                shown(planned.trees_catchment, "area", system)]))
    return rows


def _earth_rows(plan: Plan) -> list[Row]:
    earth = partial(shown, dimension="earth", system=plan.site.units)
    share = plan.inputs.rules["compacted per bank"]
    rows = []
    for planned in sorted(plan.stores, key=lambda p: -p.store.sill.level):
        amount = planned.quantities
        if amount is not None:
            spare = amount.cut * share - amount.bank
            rows.append(Row(planned.store.name, [
                earth(amount.cut), earth(amount.bank),
                f"{earth(spare)} to spread" if spare >= 0 else f"{earth(-spare)} to bring",
                f"{amount.hours:.1f} h",
                "" if amount.money is None else
                f"{amount.money[0]:,.0f} – {amount.money[1]:,.0f}"]))
    return rows


def _cautions(plan: Plan) -> list[tuple[str, tuple[str, ...]]]:
    """Cautions by work; works of one entry that share them are named together."""
    sharing: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for planned in plan.stores:
        if planned.cautions:
            key = (planned.placed.work.name, planned.cautions)
            sharing.setdefault(key, []).append(planned.store.name)
    return [(", ".join(names), cautions) for (_, cautions), names in sharing.items()]


def _rules_used(plan: Plan) -> list[tuple[str, str, str]]:
    from terrain.works.rules import RULES

    rules = plan.inputs.rules
    return [(name, _rule_figure(rules[name], rule.dimension, plan.site.units),
             rules.source(name)) for name, rule in RULES.items()]


def _rule_figure(value: float, dimension: str | None, system: str) -> str:
    if dimension == "length":
        return shown(value, "level", system)
    if dimension == "volume":
        return shown(value, "volume", system)
    return f"{value:g}" + (" h" if dimension == "time" else "")


def _or(value: float | None, otherwise: str, say: Any) -> str:
    return otherwise if value is None else str(say(value))


def _hours(hours: float) -> str:
    if hours > 1e6:
        return "never"
    return f"{hours:,.0f} h" if hours < 72 else f"{hours / 24:,.0f} days"


def _picture(png: bytes) -> str:
    """The map as a data address, in a format a third the size."""
    from PIL import Image

    out = io.BytesIO()
    Image.open(io.BytesIO(png)).convert("RGB").save(out, "WEBP", quality=90, method=4)
    return "data:image/webp;base64," + base64.b64encode(out.getvalue()).decode()


def _svg(figure: Any) -> str:
    """A figure as an SVG image, the same bytes each time."""
    import matplotlib

    out = io.StringIO()
    with matplotlib.rc_context({"svg.hashsalt": "levelsill"}):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return "data:image/svg+xml;base64," + base64.b64encode(out.getvalue().encode()).decode()
