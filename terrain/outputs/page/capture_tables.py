"""What is kept, in the report's first words and its first table."""

from __future__ import annotations

from functools import partial

from terrain.outputs.page.rows import Row
from terrain.plan.planned import Plan
from terrain.plan.siting.hydrology import YEARS
from terrain.plan.water.accounts import Account
from terrain.units import per_cent, shown


def headline_words(plan: Plan, name: str, account: Account) -> str:
    """What falls, what the works keep and what leaves, in the page's first sentences."""
    volume = partial(shown, dimension="volume", system=plan.site.units)
    fallen = account.rain + account.run_on
    kept = (account.passive + account.roof) / fallen if fallen else 0.0
    when = ("In an " + name.replace(", ", " with ") if name.startswith("average year")
            else f"In the storm \"{name}\"")
    return (f"{when} {volume(account.rain)} of rain fall on the property and "
            f"{volume(account.run_on)} run on from beyond the boundary. "
            f"{volume(account.soaked_in_place)} soak in where they fall. "
            f"The works{and_hollows(plan)} keep "
            f"{volume(account.passive + account.roof)}, {per_cent(kept, 1)} of all that came; "
            f"{volume(account.left_site)} leave the site.{_other_soil(plan, name)}")


def _other_soil(plan: Plan, name: str) -> str:
    """What is kept of the average year with the soil taken the other way, where that is known."""
    if plan.beside is None or not name.startswith("average year"):
        return ""
    other, account = plan.beside
    kept = shown(account.passive + account.roof, "volume", plan.site.units)
    return (f" With {other.partition(', ')[2]} they keep {kept}; plan trees on the lesser figure.")


def and_hollows(plan: Plan) -> str:
    """That what is kept is kept by natural hollows too, where any is among the stores."""
    return (" and natural hollows" if any(p.placed.kind == "hollow" for p in plan.stores) else "")


def storm_line(plan: Plan) -> str:
    """What is kept of the design storm, in a sentence."""
    volume = partial(shown, dimension="volume", system=plan.site.units)
    storm = plan.site.rain.design
    account = plan.storms[storm.name]
    return (f"In the storm \"{storm.name}\", {shown(storm.depth, 'rain', plan.site.units)} over "
            f"{storm.duration:g} h, they keep {volume(account.passive + account.roof)} and "
            f"{volume(account.left_site)} leave the site.")


def storm_rows(plan: Plan, accounts: list[tuple[str, Account]]) -> list[Row]:
    """What is kept in each storm and year, ground beside roofs."""
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
