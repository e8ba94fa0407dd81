"""What the works change in all: passive beside roof capture, and what stays of the site's rain."""

from __future__ import annotations

from dataclasses import dataclass

from terrain.plan.water.accounts import Account
from terrain.plan.water.cascade import Cascade


@dataclass(frozen=True)
class Total:
    """A storm or a year over the site, with the works and before them.

    Attributes
    ----------
    name : str
    rain_mm : float
        [mm]
    rain, passive, roof : float
        Rain on the property, passive and roof capture. [m3]
    passive_mm, roof_mm : float
        The same captures spread over the property. [mm]
    stays, stays_before : float
        Share of the rain on the property that does not leave it, with the works and before.
    left, left_before : float
        All that leaves, run-on that only passes through included. [m3]
    soaked_before : float
        Soaks in where it falls, before the works. [m3]
    """

    name: str
    rain_mm: float
    rain: float
    passive: float
    roof: float
    passive_mm: float
    roof_mm: float
    stays: float
    stays_before: float
    left: float
    left_before: float
    soaked_before: float

    @property
    def no_longer_leaves(self) -> float:
        """What left before the works and does not with them; below 0 where more leaves. [m3]"""
        return self.left_before - self.left


def total_of(name: str, rain_mm: float, area: float, cascade: Cascade, account: Account,
             before: Cascade, account_before: Account) -> Total:
    """Put two accounts of the same rain side by side.

    Parameters
    ----------
    area : float
        Of the property. [m2]
    """
    passive, roof = account.passive, account.roof
    return Total(name, rain_mm, account.rain, passive, roof, passive / area * 1000,
                 roof / area * 1000, share_that_stays(cascade, account),
                 share_that_stays(before, account_before), account.left_site,
                 account_before.left_site, account_before.soaked_in_place)


def own_water_left(cascade: Cascade, account: Account) -> float:
    """What of the rain on the property leaves it. [m3]

    Notes
    -----
    Water from beyond the boundary and the property's own mix wholly in every store, over the
    storm or the year, so a store's spill holds of both as what came to it.  Grey water counts as
    the property's own, water brought by tankers as not.
    """
    own: list[list[tuple[int | None, float]]] = [[] for _ in cascade.nodes]
    left = 0.0
    spills = 0.0
    for index in cascade.order:
        entry = account.entries[index]
        above = sum(part for given in own for to, part in given if to == index)
        came = entry.runoff - entry.run_on + entry.roof + entry.grey + above
        share = min(max(came / entry.inflow, 0.0), 1.0) if entry.inflow > 0 else 1.0
        given = cascade.nodes[index].given(entry.spilled, entry.over)
        own[index] = [(to, share * part) for to, part in given]
        left += sum(share * part for to, part in given if to is None)
        spills += sum(part for to, part in given if to is None)
    open_run_on = account.run_on - sum(entry.run_on for entry in account.entries)
    return left + (account.left_site - spills - open_run_on)


def share_that_stays(cascade: Cascade, account: Account) -> float:
    """Share of the rain on the property that does not leave it; 1 without rain."""
    if not account.rain:
        return 1.0
    # Where almost all the water is run-on, rounding alone may carry it past 0 or 1.
    return min(max(1.0 - own_water_left(cascade, account) / account.rain, 0.0), 1.0)
