"""Sites that were planned side by side: a table of them, and a page where there is no district."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from urllib.parse import quote

from terrain.files import RECORD, whole_folder
from terrain.outputs.district.pages import page_of, table_of
from terrain.outputs.district.site_plans import SitePlan, write_sites
from terrain.outputs.district.ways import way
from terrain.outputs.page.money_tables import figure
from terrain.units import shown

HEADS = ("site", "area", "stores", "storm, catchable", "of it in the ground", "year, catchable",
         "of it in the ground", "of it off roofs", "to dig", "cost", "cautions")
CARE = ("A plan is a planning aid. Read its report and its cautions before anybody digs.",
        "Local codes, permits and licensed people come first, above all for banks that hold "
        "water. Ask what water rights allow. Have buried pipes and cables located.",
        "Water from roofs is not safe to drink as it comes.")


def sites_rows(plans: Sequence[SitePlan]) -> list[list[Any]]:
    """Rows to `HEADS`, each in the units of its own site file; sites of one name are told apart by
    the folders of their plans."""
    twice = {name for name, count in Counter(plan.name for plan in plans).items() if count > 1}
    return [[f"{plan.name} ({plan.folder.name})" if plan.name in twice else plan.name,
             shown(plan.area, "ground", plan.units), f"{plan.stores}",
             *_caught(plan, "design", ("catchable", "passive")),
             *_caught(plan, "year", ("catchable", "passive", "roof")),
             shown(plan.cut, "earth", plan.units), _cost(plan), f"{plan.cautions}"]
            for plan in plans]


def why_not(plan: SitePlan) -> str:
    """Why a site has no plan, beginning with its file."""
    return (plan.fault if plan.fault.startswith(str(plan.path)) else f"{plan.path}: {plan.fault}")


def _caught(plan: SitePlan, when: str, parts: Sequence[str]) -> list[str]:
    caught = getattr(plan, when)
    return ["–" if caught is None else shown(getattr(caught, part), "volume", plan.units, 0)
            for part in parts]


def _cost(plan: SitePlan) -> str:
    if plan.money is None:
        return "–"
    low, high = plan.money
    return f"{figure(low)} – {figure(high)} {plan.currency}" if low != high else (
        f"{figure(low)} {plan.currency}")


def sites_table(plans: Sequence[SitePlan], out: Path) -> Any:
    """The table for a page in the folder `out`, each site a link to its report; then those that
    could not be planned."""
    from markupsafe import Markup

    good, bad = ([plan for plan in plans if bool(plan.fault) == faulty]
                 for faulty in (False, True))
    rows = [[Markup('<a href="{}">{}</a>').format(_link(plan.folder / "report.html", out),
                                                  row[0]), *row[1:]]
            for plan, row in zip(good, sites_rows(good), strict=True)]
    made = table_of(HEADS, rows) if rows else Markup()
    if bad:
        made += Markup("<h3>Not planned</h3>") + table_of(
            ("plan", "why there is none"), [(plan.folder.name, why_not(plan)) for plan in bad], {1})
    return made


def _link(path: Path, out: Path) -> str:
    """A file as a link from a folder states it."""
    found = way(out, path)
    return Path(found).as_uri() if Path(found).is_absolute() else quote(found)


def write_plans(plans: Sequence[SitePlan], name: str, out: Path) -> list[Path]:
    """Write index.html, sites.csv and sites.json of sites that were planned without a district.

    Raises
    ------
    InputError
        If the folder holds anything that the tool did not write.
    """
    systems = {plan.units for plan in plans if not plan.fault}
    with whole_folder(out) as draft:
        write_sites(plans, draft, out)
        (draft / "index.html").write_text(page_of(
            "sites.html", systems.pop() if len(systems) == 1 else "metric", name=name,
            count=len(plans), bad=sum(bool(plan.fault) for plan in plans), care=CARE,
            sites=sites_table(plans, out)), encoding="utf-8")
        written = sorted(path.name for path in draft.iterdir())
    return [out / name for name in written if name != RECORD]
