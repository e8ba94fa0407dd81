"""What the report's pictures show, in words for who cannot see them."""

from __future__ import annotations

from functools import partial

from terrain.outputs.page.capture_tables import and_hollows
from terrain.plan.planned import Plan
from terrain.plan.water.accounts import Account
from terrain.units import share_words, shown


def picture_words(plan: Plan) -> dict[str, str]:
    """Of each picture of the whole site what it says; keys as the page's charts, and "map",
    "curve" and "total"."""
    system = plan.site.units
    storms = sorted(plan.site.rain.storms, key=lambda storm: storm.depth)
    banks = ", and the ways of the water if a bank fails" if plan.failing_banks else ""
    found = {
        "map": f"Map of {plan.site.name} with {len(plan.stores)} "
               f"{'store' if len(plan.stores) == 1 else 'stores'}, their catchments and the ways "
               f"of their spills{banks}; the tables give its figures.",
        "storms": "Each storm. " + " ".join(
            kept_words(plan, f"\"{storm.name}\"", plan.storms[storm.name])
            for storm in (storms[0], storms[-1])[:len(storms)]),
        "rain": "The greatest day of each year with a fitted curve and its band, how often it "
                "rains more than a depth, and the months of an average year."}
    if plan.year is not None and plan.seasons is not None:
        rain = shown(plan.seasons.mean(plan.seasons.rain_mm), "rain", system)
        found["year"] = f"An average year by months, {rain} of rain. " + kept_words(
            plan, "The year", plan.year)
    real = dict(plan.accounts)
    found["years"] = "Years beside each other. " + " ".join(
        kept_words(plan, year.name, real[year.name]) for year in plan.years)
    design = next((total for total in (plan.told.totals if plan.told else ())
                   if total.name == plan.site.rain.design.name), None)
    if design is not None:
        found["curve"] = found["total"] = (
            f"In the storm \"{design.name}\" {share_words(design.stays)} of the property's rain "
            f"stay with the works, {share_words(design.stays_before)} before them.")
    return found


def kept_words(plan: Plan, what: str, account: Account) -> str:
    """What is kept in a storm or a year, in a sentence."""
    volume = partial(shown, dimension="volume", system=plan.site.units)
    return (f"{what}: {volume(account.passive)} kept by the ground works{and_hollows(plan)}, "
            f"{volume(account.roof)} by roofs and tanks; "
            f"{volume(account.left_site)} leave the site.")
