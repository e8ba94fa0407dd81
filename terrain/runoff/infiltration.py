"""How fast a full store's floor takes water."""

from __future__ import annotations

#: Least infiltration rates by hydrologic soil group, low and high. [mm/h]
#: Source: USDA SCS, TR-55, 2nd ed., 1986, Appendix A (0.30 in/h and more, 0.15-0.30,
#: 0.05-0.15, 0-0.05).  Group A has no upper figure there; its lower one is taken.
GROUP_RATES = {"A": (7.62, 7.62), "B": (3.81, 7.62), "C": (1.27, 3.81), "D": (0.0, 1.27)}

#: Share of a table rate that is counted on where nobody tested a hole; common practice, no source.
UNTESTED_SHARE = 0.5


def untested_rate(group: str) -> float:
    """Rate to count on for a soil group without a hole test. [mm/h]

    The middle of the published band, halved.

    Raises
    ------
    KeyError
        If the group is not A, B, C or D.
    """
    low, high = GROUP_RATES[group]
    return UNTESTED_SHARE * (low + high) / 2
