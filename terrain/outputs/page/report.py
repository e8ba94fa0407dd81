"""The report: one self-contained HTML page that opens with no server and no network."""

from __future__ import annotations

import base64
import hashlib
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from importlib import resources
from typing import Any

import numpy as np

from terrain.inputs.made_from import fingerprints, made_with
from terrain.outputs.charts.charts import MONTHS
from terrain.outputs.page.basin_tables import POND_COLUMNS, pond_rows
from terrain.outputs.page.cascade_tables import cascade_section
from terrain.outputs.page.doubt_tables import doubt_section
from terrain.outputs.page.earth_tables import (
    balance_rows,
    cost_rows,
    fixed_rows,
    machine_words,
    order_rows,
    share_rows,
)
from terrain.outputs.page.led_water import culvert_cautions, drain_shape, pipe_rows, turnout_rows
from terrain.outputs.page.live_map import live_script, live_section, live_style
from terrain.outputs.page.money_tables import money_section
from terrain.outputs.page.shares import with_shares
from terrain.outputs.page.table_names import with_table_names
from terrain.outputs.page.tank_tables import tank_section
from terrain.outputs.page.tree_tables import carried_rows, month_tables, tree_rows
from terrain.outputs.page.two_ways import two_ways_notes, two_ways_rows
from terrain.outputs.sheets.basin_charts import draw_basin_charts
from terrain.plan.planned import YEARS, Plan, PlannedStore
from terrain.plan.rain import MORE_THAN
from terrain.plan.safety.gravity import gravity, is_grave
from terrain.plan.water.accounts import Account
from terrain.plan.water.entry import Entry
from terrain.plan.water.rarity import how_often
from terrain.runoff.rain_years import days_a_year_above, months_from
from terrain.units import lasting, shown, unit_name
from terrain.works.swale_built import Swale

#: So many places where roads and bare ground shed are listed.
MOST_SHED_ROWS = 20


@dataclass(frozen=True)
class Row:
    """A line of a table: its name and its cells as they are printed."""

    name: str
    cells: list[str]


def report_page(plan: Plan, map_png: bytes, charts: dict[str, Any],
                sheets: Sequence[tuple[str, bytes]] = ()) -> str:
    """Write the page.

    Parameters
    ----------
    map_png : bytes
        The site map.
    charts : dict of str to Figure
        "storms", and "year" where there is a rain record.
    sheets : sequence of (str, bytes)
        Each dug work's name and its sheet, as a WebP picture.
    """
    from jinja2 import Environment
    from markupsafe import Markup

    text, style = (resources.files("terrain.outputs.page").joinpath(name).read_text("utf-8")
                   for name in ("report.html", "report.css"))
    page = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True).from_string(text)
    system = plan.site.units
    volume = partial(shown, dimension="volume", system=system)
    accounts = plan.accounts
    name, headline = accounts[-1] if plan.year else (plan.site.rain.design.name,
                                                     plan.storms[plan.site.rain.design.name])
    live = live_section(plan, store_facts(plan), point_facts(plan))
    style, program = "\n" + style + live_style(), live_script() if live else ""
    return with_shares(with_table_names(_with_contents(page.render(
        policy=page_policy(style, program), style=Markup(style), program=Markup(program), live=live,
        site=plan.site.name, headline=_headline(plan, name, headline),
        figures=[("kept by the ground works" + (", or led from the ground into tanks"
                                                if headline.led > 0 else ""),
                  volume(headline.passive), "passive capture"),
                 ("kept by roofs and tanks", volume(headline.roof), "roof capture"),
                 ("left the site", volume(headline.left_site), "runoff and spills")],
        figures_for=name, map=_picture(map_png), charts={k: _svg(v) for k, v in charts.items()},
        storms=_storm_rows(plan, accounts), stores=_store_rows(plan), rates=_rate_notes(plan),
        unit="gal" if system == "us" else "m³",
        accounts=[(title, _account_rows(plan, account), _account_sum(plan, account),
                   title == plan.site.rain.design.name, _held_heads(plan, title))
                  for title, account in accounts],
        arrivals=_arrival_rows(plan), reaches=_reach_rows(plan), peak_notes=_peak_notes(plan),
        design=plan.site.rain.design.name, years=bool(plan.years),
        loss=plan.inputs.hydrology.loss_on_the_way, why_more=_why_more(plan),
        often=_often_rows(plan),
        build=_build_rows(plan), basins=_basins(plan),
        pond_columns=POND_COLUMNS,
        sheets=[(name, f"data:image/webp;base64,{base64.b64encode(drawn).decode()}")
                for name, drawn in sheets], sheds=_shed_rows(plan), turnouts=turnout_rows(plan),
        pipes=pipe_rows(plan), cascade=cascade_section(plan, _svg), tanks=tank_section(plan, _svg),
        led=any(account.grey or account.brought for _, account in accounts),
        to_tanks=[f"{volume(account.led)} ({name})" for name, account in accounts
                  if account.led > 0],
        shed_storm=max(plan.site.rain.storms, key=lambda s: s.depth).name,
        short_record=plan.short_record,
        trees=tree_rows(plan), tree_months=month_tables(plan),
        month_names=[MONTHS[m - 1] for m in months_from(plan.site.rain.start_month)],
        volume_unit=unit_name("volume", system),
        carried=carried_rows(plan), root_zone=_root_zone(plan),
        two_ways=two_ways_rows(plan), two_ways_notes=two_ways_notes(plan),
        earth=balance_rows(plan), earth_goes=share_rows(plan),
        earth_said=plan.earth.said if plan.earth else (),
        spoil=shown(plan.inputs.rules["spoil thickness"], "level", system), costs=cost_rows(plan),
        machine=machine_words(plan), order=order_rows(plan), fixed=fixed_rows(plan),
        money=plan.site.money, worth=money_section(plan),
        cautions=_cautions(plan),
        doubt=doubt_section(plan, _svg(charts["doubt"]) if "doubt" in charts else ""),
        notes=plan.notes, rules=_rules_used(plan),
        inputs=fingerprints(plan.site).items(), made_with=made_with().items()))))


def _with_contents(page: str) -> str:
    """The page with a list of its headings where it asks for one."""
    heads = re.findall(r'<h2 id="([^"]+)">(.*?)</h2>', page)
    links = "\n".join(f'<li><a href="#{place}">{words}</a></li>' for place, words in heads)
    return page.replace("<!-- contents -->", f"<ul>\n{links}\n</ul>", 1)


def page_policy(style: str, program: str) -> str:
    """What the page may do: show what stands in it, run its own program, and fetch nothing."""
    def of(words: str) -> str:
        return "'sha256-" + base64.b64encode(hashlib.sha256(words.encode()).digest()).decode() + "'"

    runs = of(program) if program else "'none'"
    return (f"default-src 'none'; img-src data:; style-src {of(style)}; script-src {runs}; "
            "base-uri 'none'; form-action 'none'")


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
    depths = {s.name: f"{shown(s.depth, 'rain', system)} over {s.duration:g} h"
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
    for index, (planned, node) in enumerate(zip(plan.stores, plan.cascade.nodes, strict=True)):
        ground = node.catchment.area or node.roof.area
        least = "at least " if node.catchment.touches_edge and node.catchment.area else ""
        rows.append(Row(planned.store.name, [
            planned.store.kind, least + shown(ground, "area", system),
            "leads on" if planned.drain is not None else
            shown(planned.store.capacity, "volume", system),
            fed_words(plan, index),
            "–" if planned.drain is not None else
            _or(planned.full_at, "never", lambda v: shown(v, "rain", system)),
            "-" if planned.store.kind in ("tank", "drain") else
            shown(planned.store.infiltration, "rate", system),
            "–" if planned.drain is not None else lasting(planned.drain_hours),
            planned.spills_to]))
    return rows


def fed_words(plan: Plan, index: int) -> str:
    """The smallest rain that brings a store water, and from where if not off its own ground or
    roofs."""
    starts = plan.stores[index].starts_at
    if starts is not None:
        return shown(starts, "rain", plan.site.units) if starts else "any rain"
    givers = [f"{'pump' if other.rise is not None and other.spills_to == index else 'spill'} of "
              f"{other.store.name}" for other in plan.cascade.nodes if index in other.takers]
    if plan.cascade.nodes[index].store.top_up is not None:
        givers.append("tankers")
    if not givers:
        return "never"
    begins = None if plan.told is None else plan.told.capture.stores[index].begins
    at = "" if begins is None else f", from {shown(begins, 'rain', plan.site.units)} on"
    return f"by the {' and the '.join(givers)}{at}".replace("the tankers", "tankers")


def store_facts(plan: Plan) -> list[list[tuple[str, str]]]:
    """What the live map answers of each store beside a storm's figures, as the table prints it."""
    heads = ("catchment or roof", "holds", "fed by rain of", "filled by rain of", "soaks at",
             "empty again after", "spills to")
    return [[(head, cell) for head, cell in zip(heads, row.cells[1:], strict=True)
             if cell not in ("-", "–")] for row in _store_rows(plan)]


def point_facts(plan: Plan) -> list[list[tuple[str, str]]]:
    """The same of the places where roads and bare ground shed that are listed."""
    deepest = max(plan.site.rain.storms, key=lambda storm: storm.depth).name
    return [[("at", row.cells[1]), (f"of the water, in “{deepest}”, fell on it", row.cells[3]),
             ("drains to all of it", row.cells[5]), ("meets", row.cells[6])]
            for row in _shed_rows(plan)]


def _rate_notes(plan: Plan) -> list[str]:
    """Where the rates at which stores soak come from, and which stores share a source."""
    stores: dict[str, list[str]] = {}
    for planned in plan.stores:
        if planned.store.kind != "tank":
            stores.setdefault(planned.store.rate_source, []).append(planned.placed.work.name)
    return [f"{source} ({', '.join(dict.fromkeys(names))})" for source, names in stores.items()]


def _account_rows(plan: Plan, account: Account) -> list[Row]:
    storm = any(account is other for other in plan.storms.values())
    return [Row(entry.name, _fates(plan, entry, storm)) for entry in account.entries]


def _held_heads(plan: Plan, title: str) -> list[str]:
    """Heads of the columns about what is held: in a storm, in a real year, in an average one."""
    if title in plan.storms:
        return ["still held"]
    more = "held more (+) or less (−) at the end"
    return ["held when it began", "held at its end", more] if any(
        title == year.name for year in plan.years) else [more]


def _more_or_less(plan: Plan, change: float, with_unit: bool = True) -> str:
    """A change of what is held, with its sign. [m3 in]"""
    said = shown(abs(change), "volume", plan.site.units, with_unit=with_unit)
    if not any(letter in said for letter in "123456789"):
        return said
    return f"{'+' if change > 0 else '−'}{said}"


def _fates(plan: Plan, entry: Entry, storm: bool) -> list[str]:
    volume = partial(shown, dimension="volume", system=plan.site.units, with_unit=False)
    led = ((entry.grey, entry.brought) if any(account.grey or account.brought
                                              for _, account in plan.accounts) else ())
    held = [volume(entry.held)] if storm else [
        *([] if entry.before is None else [volume(entry.before),
                                           volume(entry.before + entry.held)]),
        _more_or_less(plan, entry.held, with_unit=False)]
    return [*(volume(v) for v in (entry.runoff, entry.run_on, entry.roof, entry.from_above, *led,
                                  entry.caught, entry.infiltrated, entry.evaporated,
                                  entry.used)), *held, volume(entry.spilled)]


def _account_sum(plan: Plan, account: Account) -> str:
    volume = partial(shown, dimension="volume", system=plan.site.units)
    kept = [sum(getattr(e, fate) for e in account.entries)
            for fate in ("infiltrated", "evaporated", "used", "held")]
    brought = f", {volume(account.brought)} brought by tankers" if account.brought else ""
    again = f", {volume(account.grey)} of it come again as grey water" if account.grey else ""
    storm = any(account is other for other in plan.storms.values())
    start = [entry.before for entry in account.entries if entry.before is not None]
    held = (f"{volume(kept[3])} still held" if storm else
            f"held more (+) or less (−) at the end: {_more_or_less(plan, kept[3])}"
            + (f" ({volume(sum(start))} when it began, {volume(sum(start) + kept[3])} at its end)"
               if start else " (the mean change over a year of the record)"))
    return (f"Came: {volume(account.rain)} rain and {volume(account.run_on)} run-on{brought}. "
            f"Went: {volume(account.soaked_in_place)} soaked in where it fell, "
            f"{volume(kept[0])} infiltrated from stores, {volume(kept[1])} evaporated, "
            f"{volume(kept[2])} used{again}, {held}, "
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
            shape = _swale_shape(swale, system)
            bank = (f"berm on the downhill side, crest {level(swale.berm_height_built)} above the "
                    f"sill as built, {level(swale.berm_height)} once settled, top "
                    f"{level(swale.berm_top)} wide, sides {swale.berm_side_slope:g}:1; turned "
                    "uphill at both ends")
        elif basin is not None and basin.profile is not None:
            wall = basin.profile
            shape = f"pool of {shown(basin.pool_area, 'area', system)}, " \
                    f"{level(basin.water_at_wall)} deep at the wall"
            if basin.rim is not None:
                shape += (f"; pit in it, floor at {level(basin.floor)}, "
                          f"{level(basin.pit_depth)} below the lowest ground on its rim, sides "
                          f"{basin.batter:g}:1")
            bank = (f"wall with its settled crest at {level(basin.crest)}, built to "
                    f"{level(float(wall.built.max()))} where it is highest, "
                    f"{level(basin.height)}; top {level(wall.top)} wide, sides "
                    f"{wall.wet_slope:g}:1 wet and {wall.dry_slope:g}:1 dry; cut-off trench "
                    f"{level(wall.cutoff_depth)} deep, {level(wall.cutoff_width)} wide at its "
                    "floor")
        elif basin is not None:
            shape = (f"dug {level(basin.water_at_wall)} deep below its sill, floor at "
                     f"{level(sill.level - basin.water_at_wall)}, sides {basin.batter:g}:1")
            bank = "none"
        elif planned.store.kind == "tree basin":
            shape, bank = _tree_shape(plan, planned)
        elif planned.drain is not None:
            shape, bank, spill = drain_shape(planned.drain, planned.spills_to, plan.inputs.rules,
                                             system)
        else:
            continue
        rows.append(Row(planned.store.name, [shape, bank, spill]))
    return rows


def _tree_shape(plan: Plan, planned: PlannedStore) -> tuple[str, str]:
    """Shape and bank of a tree basin."""
    level, length = (partial(shown, dimension=d, system=plan.site.units)
                     for d in ("level", "length"))
    made, rules = planned.placed.tree, plan.inputs.rules
    assert made is not None
    if made.form == "trench":
        filled = f", filled with gravel, {made.porosity:.0%} pores" if made.porosity < 1 else ""
        return (f"trench {length(made.length)} long on the contour, {level(made.width)} wide, "
                f"level floor {level(made.depth)} below its lower side{filled}; at the drip "
                "line, uphill of the tree", "none")
    if made.crescent is not None:
        bund = made.crescent
        return (f"crescent open uphill, {length(bund.radius)} from the trunk to the bund's inner "
                f"foot; both tips on the contour at {level(bund.level)}, water "
                f"{level(made.depth)} deep at its toe",
                f"bund up to {level(bund.bund_height)} high as built, top "
                f"{level(rules['crescent top width'])} wide, sides "
                f"{rules['crescent side slope']:g}:1")
    return (f"bowl {length(made.crown)} wide, level floor at "
            f"{level(planned.store.curve.levels[0])}; trunk on a mound above the water", "none")


def _swale_shape(swale: Swale, system: str) -> str:
    """A swale's line, section and checks in words."""
    level, length = (partial(shown, dimension=d, system=system) for d in ("level", "length"))
    section, route = swale.section, swale.route
    bed = level(swale.sill.level - section.depth)
    form = {"trapezoid": f"bed {level(section.width)} wide at {bed}",
            "parabola": f"a dish {level(section.width)} wide at the water, lowest at {bed}",
            "vee": f"a vee, lowest at {bed}"}[section.shape]
    bends = ("straight" if np.isinf(route.radius) else
             f"tightest bend {level(route.radius)} in radius")
    checks = ("" if not swale.checks else
              f"; {len(swale.checks)} earth checks, tops at "
              f"{level(swale.sill.level - section.depth + swale.checks[0].height)}, at chainage "
              + ", ".join(length(check.chainage) for check in swale.checks))
    return (f"{length(route.length)} on the contour at {level(route.level)}, ground within "
            f"{level(route.deviation)} of it, {bends}; {form}, sides {section.side_slope:.3g}:1"
            f"{checks}")


def _basins(plan: Plan) -> list[dict[str, Any]]:
    """Of every basin its charts, sentences and, of a pond, its months."""
    system, found = plan.site.units, []
    for planned in sorted(plan.stores, key=lambda p: -p.store.sill.level):
        if planned.basin is None or planned.facts is None:
            continue
        facts = planned.facts
        picture = draw_basin_charts(planned.basin, facts.curve,
                                    [(storm.rain, storm.caught) for storm in facts.catches
                                     if storm.hours == plan.site.rain.design.duration], system)
        found.append({"name": planned.store.name, "said": facts.said, "picture": _svg(picture),
                      "years": [(year.name, pond_rows(year, system)) for year in facts.years]})
    return found


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
                 f"every {365.25 / days:.0f} days" if days > 1 else how_often(1 / days),
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


def _root_zone(plan: Plan) -> dict[str, str]:
    """The rules that the tree tables name."""
    rules = plan.inputs.rules
    return {"depth": shown(rules["tree root depth"], "length", plan.site.units),
            "water": f"{rules['available water']:g} mm a metre",
            "by": f"{rules['tree gets by']:.0%}"}


def _cautions(plan: Plan) -> list[tuple[str, tuple[str, ...], int]]:
    """Cautions by work and how many of them are grave, the work with most of these first; works
    of one entry that share them are named together."""
    sharing: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for planned in plan.stores:
        if planned.cautions:
            key = (planned.placed.work.name, planned.cautions)
            sharing.setdefault(key, []).append(planned.store.name)
    found = [*((", ".join(names), cautions) for (_, cautions), names in sharing.items()),
             *culvert_cautions(plan)]
    gravest = min(range(len(found)), default=None, key=lambda i: (
        -sum(map(is_grave, found[i][1])), min(map(gravity, found[i][1]))))
    order = sorted(range(len(found)), key=lambda i: i != gravest)
    return [(*found[i], sum(map(is_grave, found[i][1]))) for i in order]


def _rules_used(plan: Plan) -> list[tuple[str, str, str, str]]:
    from terrain.works.rules import RULES

    rules = plan.inputs.rules
    return [(name, _rule_figure(rules[name], rule.dimension, plan.site.units),
             rules.source(name), _who(rules.decides(name))) for name, rule in RULES.items()]


def _who(decides: str) -> str:
    """Who decides, without the verb."""
    return decides.removesuffix("decides").removesuffix("decide").strip()


def _rule_figure(value: float, dimension: str | None, system: str) -> str:
    if dimension == "length" and 0 < abs(value) < 0.005:
        return f"{value / 0.0254:.2g} in" if system == "us" else f"{value * 1000:.2g} mm"
    if dimension == "length":
        return shown(value, "level", system)
    if dimension in ("volume", "rain", "area", "speed", "seepage"):
        return shown(value, dimension, system)
    number = f"{value:,.0f}" if value >= 10_000 else f"{value:g}"
    return number + (" h" if dimension == "time" else "")


def _or(value: float | None, otherwise: str, say: Any) -> str:
    return otherwise if value is None else str(say(value))


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
