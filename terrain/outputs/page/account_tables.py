"""The report's accounts: what came to each store, and where it went."""

from __future__ import annotations

from functools import partial

from terrain.outputs.page.rows import Row
from terrain.plan.planned import Plan
from terrain.plan.water.accounts import Account
from terrain.plan.water.entry import Entry
from terrain.units import shown


def account_rows(plan: Plan, account: Account) -> list[Row]:
    """What came to each store and where it went, in the order of `held_heads`."""
    storm = any(account is other for other in plan.storms.values())
    return [Row(entry.name, _fates(plan, entry, storm)) for entry in account.entries]


def held_heads(plan: Plan, title: str) -> list[str]:
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


def account_sum(plan: Plan, account: Account) -> str:
    """What came to the site and where it went, in a sentence."""
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
