"""A bank's height and what it stores, held against the common thresholds for permits."""

from __future__ import annotations

from dataclasses import dataclass

from terrain.units import in_both, ordered, shown
from terrain.works.rules import Rulebook

#: [m3]
ACRE_FOOT = 1233.48184


@dataclass(frozen=True)
class Thresholds:
    """Which of the common thresholds a bank reaches.

    Attributes
    ----------
    height, volume : float
        Of the settled crest above the lowest ground under it [m]; stored to the sill [m3].
    federal, state, beyond_low_hazard : bool
        A dam in the sense of 33 USC 467; as high or as large as the smallest that some states
        regulate; beyond the scope of NRCS practice standard 378.
    """

    height: float
    volume: float
    federal: bool
    state: bool
    beyond_low_hazard: bool


def thresholds(height: float, volume: float, rules: Rulebook) -> Thresholds:
    """Hold a bank against the thresholds.

    Parameters
    ----------
    height, volume : float
        [m], [m3]

    References
    ----------
    .. [1] 33 USC 467: a dam is 25 ft high or more, or stores 50 acre-ft or more; one no higher
       than 6 ft, or that stores no more than 15 acre-ft, is none.
    """
    small = (height <= rules["federal dam height least"]
             or volume <= rules["federal dam volume least"])
    federal = not small and (height >= rules["federal dam height"]
                             or volume >= rules["federal dam volume"])
    state = height >= rules["state dam height"] or volume >= rules["state dam volume"]
    return Thresholds(height, volume, federal, state,
                      height * volume >= rules["low hazard storage times height"])


def permit_cautions(height: float, volume: float, rules: Rulebook) -> list[str]:
    """What thresholds a bank reaches, with what was measured; one sentence where it reaches none.
    """
    found = thresholds(height, volume, rules)
    measured = (f"Its bank stands {in_both(height, 'size')} over the lowest ground under it and "
                f"stores {_stored(volume)}")
    said = []
    if found.federal:
        said.append(f"{measured}: a dam under federal law, which begins at "
                    f"{in_both(rules['federal dam height'], 'length')} or "
                    f"{_stored(rules['federal dam volume'])} ({rules.cited('federal dam height')})."
                    " Have it designed by a licensed engineer and permitted before any digging.")
    elif found.state:
        said.append(f"{measured}: some states regulate dams from "
                    f"{in_both(rules['state dam height'], 'length')} or "
                    f"{_stored(rules['state dam volume'])} on ({rules.cited('state dam height')})."
                    " Ask before any digging.")
    else:
        said.append(f"{measured}, under the {in_both(rules['state dam height'], 'length')} and "
                    f"{_stored(rules['state dam volume'])} from which some states regulate dams "
                    f"({rules.cited('state dam height')}), and under the federal "
                    f"{in_both(rules['federal dam height'], 'length')} and "
                    f"{_stored(rules['federal dam volume'])} "
                    f"({rules.source('federal dam height')}): ask all the same, as places set "
                    "limits of their own and water rights may bite lower.")
    if found.beyond_low_hazard:
        said.append(f"Storage times height comes to {height * volume:,.0f} m4, and the practice "
                    "standard for small dams that endanger nobody covers less than "
                    f"{rules['low hazard storage times height']:,.0f} m4 "
                    f"({rules.cited('low hazard storage times height')}).")
    return said


def _stored(volume: float) -> str:
    acre_feet = volume / ACRE_FOOT
    places = 2 if acre_feet < 1 else 1 if acre_feet < 10 else 0
    return ordered(shown(volume, "volume", "metric", 0), f"{acre_feet:,.{places}f} acre-ft")
