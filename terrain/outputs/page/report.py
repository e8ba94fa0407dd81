"""The report: one self-contained HTML page that opens with no server and no network."""

from __future__ import annotations

import base64
import re
from collections.abc import Sequence
from functools import partial
from typing import Any

from terrain.inputs.made_from import fingerprints, made_with
from terrain.outputs.charts.charts import MONTHS
from terrain.outputs.page.account_tables import account_rows, account_sum, held_heads
from terrain.outputs.page.arrival_tables import arrival_rows, peak_notes, reach_rows, why_more
from terrain.outputs.page.bank_tables import BANK_COLUMNS, bank_rows
from terrain.outputs.page.basin_tables import POND_COLUMNS
from terrain.outputs.page.basins import basins
from terrain.outputs.page.build_tables import build_rows
from terrain.outputs.page.capture_tables import (
    and_hollows,
    headline_words,
    storm_line,
    storm_rows,
)
from terrain.outputs.page.cascade_tables import cascade_section
from terrain.outputs.page.caution_lists import cautions_by_work, gravest_of
from terrain.outputs.page.doubt_tables import doubt_section
from terrain.outputs.page.earth_tables import (
    balance_rows,
    cost_rows,
    fixed_rows,
    machine_words,
    order_rows,
    share_rows,
)
from terrain.outputs.page.figures import with_figures
from terrain.outputs.page.led_water import (
    furrow_rows,
    furrow_words,
    pipe_rows,
    turnout_rows,
)
from terrain.outputs.page.live_map import live_script, live_section, live_style
from terrain.outputs.page.money_tables import cost_figure, money_section
from terrain.outputs.page.picture_words import picture_words
from terrain.outputs.page.pictures import picture_of, svg_of
from terrain.outputs.page.policy import page_policy
from terrain.outputs.page.rain_tables import often_rows
from terrain.outputs.page.rule_tables import rules_used
from terrain.outputs.page.shares import with_shares
from terrain.outputs.page.shed_tables import point_facts, shed_rows, whole_words
from terrain.outputs.page.store_tables import rate_notes, store_facts, store_rows
from terrain.outputs.page.table_names import with_table_names
from terrain.outputs.page.tank_tables import tank_section
from terrain.outputs.page.templates import filled, text_of
from terrain.outputs.page.tree_tables import carried_rows, month_tables, root_zone, tree_rows
from terrain.outputs.page.two_ways import two_ways_notes, two_ways_rows
from terrain.outputs.page.unseen import without_turns
from terrain.plan.planned import Plan
from terrain.runoff.rain_years import months_from
from terrain.units import shown, unit_name


def report_page(plan: Plan, map_png: bytes, charts: dict[str, Any],
                sheets: Sequence[tuple[str, bytes]] = ()) -> str:
    """Write the page.

    Parameters
    ----------
    map_png : bytes
        The site map.
    charts : dict of str to Figure
        "storms"; "year", "years" and "rain" where there is a rain record; "doubt" where the
        plan was run many times.
    sheets : sequence of (str, bytes)
        Each dug work's name and its sheet, as a WebP picture.
    """
    from markupsafe import Markup

    system = plan.site.units
    volume = partial(shown, dimension="volume", system=system)
    accounts = plan.accounts
    name, headline = accounts[-1] if plan.year else (plan.site.rain.design.name,
                                                     plan.storms[plan.site.rain.design.name])
    live = live_section(plan, store_facts(plan), point_facts(plan))
    style = f"\n{text_of('report.css')}{live_style()}"
    program = text_of("folds.js") + (live_script() if live else "")
    told, graver = gravest_of(plan)
    cost = cost_figure(plan)
    page = filled(
        "report.html", policy=page_policy(style, program), style=Markup(style),
        program=Markup(program), live=live,
        site=plan.site.name, headline=headline_words(plan, name, headline),
        storm_line=storm_line(plan) if plan.year else "", gravest=told, graver=graver,
        figures=[(f"kept by the ground works{and_hollows(plan)}"
                  + (", or led from the ground into tanks" if headline.led > 0 else ""),
                  volume(headline.passive), "passive capture"),
                 ("kept by roofs and tanks", volume(headline.roof), "roof capture"),
                 ("leaves the site", volume(headline.left_site), "runoff and spills"),
                 *([] if cost is None else [cost])],
        figures_for=name, map=picture_of(map_png), pictured=picture_words(plan),
        charts={k: svg_of(v) for k, v in charts.items()},
        storms=storm_rows(plan, accounts), stores=store_rows(plan), rates=rate_notes(plan),
        unit="gal" if system == "us" else "m³",
        accounts=[(title, account_rows(plan, account), account_sum(plan, account),
                   held_heads(plan, title))
                  for title, account in accounts],
        arrivals=arrival_rows(plan), reaches=reach_rows(plan), peak_notes=peak_notes(plan),
        design=plan.site.rain.design.name, years=bool(plan.years),
        loss=plan.inputs.hydrology.loss_on_the_way, why_more=why_more(plan),
        often=often_rows(plan),
        build=build_rows(plan), basins=basins(plan),
        pond_columns=POND_COLUMNS,
        sheets=[(name, f"data:image/webp;base64,{base64.b64encode(drawn).decode()}")
                for name, drawn in sheets], sheds=shed_rows(plan), shed_wholes=whole_words(plan),
        turnouts=turnout_rows(plan),
        pipes=pipe_rows(plan), furrows=furrow_rows(plan), furrow_words=furrow_words(plan),
        cascade=cascade_section(plan, svg_of),
        tanks=tank_section(plan, svg_of),
        led=any(account.grey or account.brought for _, account in accounts),
        to_tanks=[f"{volume(account.led)} ({name})" for name, account in accounts
                  if account.led > 0],
        shed_storm=max(plan.site.rain.storms, key=lambda s: s.depth).name,
        short_record=plan.short_record, empty_start=plan.empty_start,
        trees=tree_rows(plan), tree_months=month_tables(plan),
        month_names=[MONTHS[m - 1] for m in months_from(plan.site.rain.start_month)],
        volume_unit=unit_name("volume", system),
        carried=carried_rows(plan), root_zone=root_zone(plan),
        two_ways=two_ways_rows(plan), two_ways_notes=two_ways_notes(plan),
        earth=balance_rows(plan), earth_goes=share_rows(plan),
        earth_said=plan.earth.said if plan.earth else (),
        spoil=shown(plan.inputs.rules["spoil thickness"], "size", system), costs=cost_rows(plan),
        machine=machine_words(plan), order=order_rows(plan), fixed=fixed_rows(plan),
        money=plan.site.money, worth=money_section(plan),
        cautions=cautions_by_work(plan), banks=bank_rows(plan), bank_columns=BANK_COLUMNS,
        reach=shown(plan.inputs.rules["breach reach"], "length", system),
        more_bunds=len(plan.failing_banks) < sum(p.breach is not None for p in plan.stores),
        doubt=doubt_section(plan, svg_of(charts["doubt"]) if "doubt" in charts else ""),
        notes=plan.notes, rules=rules_used(plan),
        inputs=fingerprints(plan.site).items(), made_with=made_with().items())
    return with_shares(with_figures(with_table_names(_with_contents(
        without_turns(str(page)))), system))


def _with_contents(page: str) -> str:
    """The page with a list of its headings where it asks for one: parts, and their sections; each
    part that follows leads back to it."""
    found = re.findall(r'<h([23]) id="([^"]+)">(.+?)</h\1>', page)
    said = ""
    for n, (level, place, words) in enumerate(found):
        below = n + 1 < len(found) and found[n + 1][0] == "3"
        said += f'<li><a href="#{place}">{words}</a>'
        if level == "2":
            said += "\n<ul>" if below else "</li>\n"
        else:
            said += "</li>\n" if below else "</li></ul></li>\n"
    head, mark, rest = page.partition("<!-- contents -->")
    rest = re.sub(r'<h2 id="[^"]+">.+?</h2>', lambda part: (
        f'<div class="head">{part[0]}<a class="up" href="#contents" '
        'aria-label="Back to the contents">contents</a></div>'), rest)
    return f"{head}<ul>\n{said}</ul>{rest}" if mark else page
