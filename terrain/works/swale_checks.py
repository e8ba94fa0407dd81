"""Earth ties across a swale's bed, and what a swale with them holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from terrain.units import either, in_both
from terrain.works.cross_section import Section
from terrain.works.rules import Rulebook
from terrain.works.store import Curve
from terrain.works.swale import SwaleLine

#: No check is lower than this; common practice, no source. [m]
LOWEST = 0.05


@dataclass(frozen=True)
class Check:
    """A tie of undug earth across a swale's bed.

    Attributes
    ----------
    chainage : float
        Of its middle. [m]
    height : float
        Of its level top above the deepest point of the bed. [m]
    top : float
        Width of its top along the swale. [m]
    side_slope : float
        Of its two faces, H:V. [-]
    volume : float
        What it takes of the swale, bank measure. [m3]
    """

    chainage: float
    height: float
    top: float
    side_slope: float
    volume: float


def volume_under(section: Section, height: float, top: float, side_slope: float, rise: float
                 ) -> float:
    """Volume of a check below a rise above the bed, exact for the section. [m3]

    At a rise z it is as wide as the section and top + 2 side_slope (height - z) long.
    """
    rise = min(max(rise, 0.0), height)
    long = top + 2 * side_slope * height
    return long * section.area(rise) - 2 * side_slope * section.moment(rise)


def checks_of(route: SwaleLine, section: Section, rules: Rulebook, spacing: float | None
              ) -> tuple[tuple[Check, ...], str | None]:
    """The checks of a swale, and why it has them.

    Parameters
    ----------
    spacing : float, optional
        As the owner asks; 0 for none.  Left out, checks are set as the rules say where the line
        is longer than `swale without checks`, or its ground leaves the level by more than
        `level tolerance`. [m]

    Returns
    -------
    checks : tuple of Check
        Evenly spread, none further from the next (or from an end) than the spacing.
    why : str or None
        None where there is nothing to say.

    Raises
    ------
    ValueError
        If the checks asked for would fill half of the swale.
    """
    why = ""
    rule = "" if spacing is None else f"no more than the {in_both(spacing, 'length')} asked for"
    if spacing is None:
        spacing = rules["check spacing"]
        rule = f"check spacing, {rules.source('check spacing')}"
        longest = rules["swale without checks"]
        if route.length > longest:
            why = (f", as it is longer than {in_both(longest, 'length')} (swale without checks, "
                   f"{rules.source('swale without checks')})")
        elif route.deviation > rules["level tolerance"]:
            why = (f", as the ground leaves its level by {in_both(route.deviation, 'size')} "
                   f"(level tolerance, {rules.source('level tolerance')})")
        else:
            return (), None
    drop, top, side = rules["check below sill"], rules["check top width"], section.side_slope
    height = section.depth - drop
    count = int(np.ceil(route.length / spacing - 1e-9)) - 1 if spacing else 0
    if count < 1:
        return (), None
    if height < LOWEST:
        return (), (f"Checks are left out: {in_both(drop, 'size', 3)} below the sill (check below "
                    "sill), their tops would stand under "
                    f"{either('5 cm', LOWEST, 'size')} above the bed.")
    gap = route.length / (count + 1)
    if gap < 2 * (top + 2 * side * height):
        raise ValueError(f"checks every {in_both(gap, 'length')} would fill half of the swale")
    volume = volume_under(section, height, top, side, height)
    checks = tuple(Check(gap * (i + 1), height, top, side, volume) for i in range(count))
    return checks, (
        f"{count} {'check of earth ties' if count == 1 else 'checks of earth tie'} its bed, "
        f"{in_both(gap, 'length')} apart ({rule}){why}; their tops stand "
        f"{in_both(drop, 'size', 3)} below the sill (check below sill, "
        f"{rules.source('check below sill')}), and they take "
        f"{in_both(volume * count, 'earth')} of its storage. Leave them standing as the bed is "
        "dug.")


def swale_curve(sill_level: float, section: Section, length: float, checks: tuple[Check, ...] = (),
                slices: int = 24) -> Curve:
    """Stage, area and volume of a level channel with square ends, less its checks.

    Notes
    -----
    Volumes are exact.  The checks' tops lie below the sill, so that the full swale is one pool.
    """
    rises = np.unique(np.concatenate([np.linspace(0.0, section.depth, slices + 1),
                                      [check.height for check in checks]]))
    areas = np.array([_free_area(section, length, checks, float(r)) for r in rises])
    volumes = np.array([length * section.area(r) - sum(
        volume_under(section, c.height, c.top, c.side_slope, r) for c in checks)
        for r in rises.tolist()])
    return Curve(sill_level - section.depth + rises, areas, volumes)


def _free_area(section: Section, length: float, checks: tuple[Check, ...], rise: float) -> float:
    taken = sum(c.top + 2 * c.side_slope * (c.height - rise) for c in checks if rise < c.height)
    return section.top_width(rise) * max(length - taken, 0.0)


def check_volume(checks: tuple[Check, ...]) -> float:
    """What all checks take. [m3]"""
    return float(sum(check.volume for check in checks))


