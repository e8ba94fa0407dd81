"""Plain arithmetic of money over years: when a cost is paid back, what to lay by."""

from __future__ import annotations

import math


def payback_years(cost: float, yearly: float, interest: float = 0.0) -> float:
    """Years until yearly savings have paid a cost; infinite where they never do. [years]

    Parameters
    ----------
    cost, yearly : float
        Money now, and money saved each year, its own yearly costs taken off.
    interest : float
        What the cost would earn a year elsewhere. [-]

    Notes
    -----
    Plain arithmetic: the present worth of `yearly` over n years, A (1 - (1 + i)^-n) / i, equals
    the cost; A n without interest.
    """
    if cost <= 0:
        return 0.0
    if yearly <= interest * cost:
        return math.inf
    if not interest:
        return cost / yearly
    return -math.log1p(-interest * cost / yearly) / math.log1p(interest)


def laid_by(cost: float, years: float, interest: float = 0.0) -> float:
    """Money to lay by each year so that a cost can be paid after so many years.

    Notes
    -----
    Plain arithmetic: yearly sums grow to A ((1 + i)^n - 1) / i; A n without interest.
    """
    if not interest:
        return cost / years
    return cost * interest / math.expm1(years * math.log1p(interest))
