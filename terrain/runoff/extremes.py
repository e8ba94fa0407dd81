"""The greatest daily rain of each year, and how deep it is once in so many years."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain.runoff.rain_years import (
    LEAST_SHARE,
    Years,
    year_name,
    year_of,
    years_in_words,
    years_of,
)
from terrain.units import in_both

if TYPE_CHECKING:
    import pandas

FloatArray = NDArray[np.float64]
#: Return periods that are told of a record. [years]
RETURN_PERIODS = (2.0, 5.0, 10.0, 25.0, 50.0, 100.0)
#: Fewer annual maxima than this are not fitted; common practice, no source.
LEAST_YEARS = 10
#: The greatest rain of any 24 hours over the greatest read on a fixed day, on average (Hershfield
#: 1961, U.S. Weather Bureau Technical Paper 40; also WMO No. 168, Guide to Hydrological Practices;
#: from memory).
ANY_24_HOURS = 1.13
CONFIDENCE, DRAWS, SEED = 0.9, 2000, 1990
# Skewness of L-moments between which the shape is solved for; all but degenerate samples are.
_MOST_SKEW = 0.98


@dataclass(frozen=True)
class Maxima:
    """Greatest daily depth of each whole year.

    Attributes
    ----------
    depths : Series
        By year, named by the calendar year in which it begins. [mm]
    years : Years
        How the record was split.
    notes : tuple of str
        What was left out, in whole sentences.
    """

    depths: pandas.Series
    years: Years
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Gev:
    """Generalized extreme value distributions; a shape of 0 is Gumbel's.

    Attributes
    ----------
    location, scale : any shape
        [mm]
    shape : any shape
        Positive for a heavy upper tail, as in Coles (2001); Hosking's k with its sign turned. [-]
    """

    location: FloatArray
    scale: FloatArray
    shape: FloatArray

    def level(self, years: ArrayLike) -> FloatArray:
        """Depth that is exceeded in any one year with the chance 1 / `years`. [mm]

        Raises
        ------
        ValueError
            If a return period is not above 1 year.
        """
        years = np.asarray(years, float)
        if not (years > 1).all():
            raise ValueError(f"a return period of {years.min():g} years is not more than 1 year, "
                             "as that of annual maxima must be")
        return self.at(-np.log(-np.log1p(-1 / years)))

    def at(self, reduced: FloatArray) -> FloatArray:
        """Depth at Gumbel's reduced variate, -ln(-ln(chance not to be exceeded)). [mm]"""
        shape = np.asarray(self.shape, float)
        flat = np.abs(shape) < 1e-9
        safe = np.where(flat, 1.0, shape)
        return self.location + self.scale * np.where(flat, reduced,
                                                     np.expm1(safe * reduced) / safe)


@dataclass(frozen=True)
class Extremes:
    """A fitted curve of annual maxima with its uncertainty.

    Attributes
    ----------
    maxima : (n,)
        In order of time. [mm]
    curve : Gev
        Fitted to them.
    drawn : Gev of shape (draws,)
        Fitted to records of n years drawn from `curve`.
    confidence : float
        Share of drawn curves within the band.
    notes : tuple of str
        What it rests on, in whole sentences.
    """

    maxima: FloatArray
    curve: Gev
    drawn: Gev
    confidence: float
    notes: tuple[str, ...]

    def levels(self, years: ArrayLike) -> pandas.DataFrame:
        """Depths once in so many years, and their band.

        Returns
        -------
        levels : DataFrame
            Index: return period [years]. ``depth_mm``, ``low_mm``, ``high_mm``.

        Raises
        ------
        ValueError
            If a return period is not above 1 year.
        """
        import pandas

        years = np.atleast_1d(np.asarray(years, float))
        spread = np.array([self.drawn.level(one) for one in years])
        tail = (1 - self.confidence) / 2
        low, high = np.quantile(spread, [tail, 1 - tail], axis=1)
        return pandas.DataFrame({"depth_mm": self.curve.level(years), "low_mm": low,
                                 "high_mm": high},
                                index=pandas.Index(years, name="return_period_years"))


def annual_maxima(daily: pandas.Series, start_month: int = 1, least_share: float = LEAST_SHARE
                  ) -> Maxima:
    """Greatest daily depth of each year with readings on enough of its days.

    Parameters
    ----------
    daily : Series
        Depth of each calendar day of a span, NaN where none was read. [mm]
    start_month : int
        Month with whose first day a year begins, 1 to 12; best in the dry season, so that one
        storm is not the greatest of two years.
    least_share : float
        Years with readings on a smaller share of their days are left out and told.

    Raises
    ------
    ValueError
        If the month is none, or the share not above 0 and at most 1.
    """
    import pandas

    years = years_of(daily, start_month, least_share)
    every = daily.groupby(year_of(pandas.DatetimeIndex(daily.index), start_month)).max()
    kept = every.loc[years.whole]
    gone = years.left_out
    notes = []
    if gone:
        notes.append(f"Left out of the annual maxima, as fewer than {least_share:.0%} of their "
                     f"days have a reading: {years_in_words(gone, start_month=start_month)}.")
        most = every.loc[gone].max()
        if len(kept) and most > kept.max():
            worst = year_name(int(every.loc[gone].idxmax()), start_month)
            notes.append(f"A year left out ({worst}) holds a greater day, "
                         f"{in_both(float(most), 'rain')}, than any year kept; the fitted depths "
                         "may be too low.")
    return Maxima(kept, years, tuple(notes))


def fit_gev(maxima: ArrayLike) -> Gev:
    """Fit a generalized extreme value distribution by L-moments.

    Parameters
    ----------
    maxima : (..., n)
        Annual maxima; the last axis is one record. [mm]

    Returns
    -------
    curve : Gev of shape (...)

    Raises
    ------
    ValueError
        If there are fewer than 3 maxima, or they are all alike, or all but alike save one.

    Notes
    -----
    For short records steadier than maximum likelihood.  The shape is solved for from the
    L-skewness; Hosking's own approximation is not used.

    References
    ----------
    .. [1] J. R. M. Hosking, "L-moments: analysis and estimation of distributions using linear
       combinations of order statistics", Journal of the Royal Statistical Society B 52, 1990,
       105-124, table 1.
    """
    mean, spread, skew = _moments(maxima)
    if not (np.abs(skew) < _MOST_SKEW).all():
        raise ValueError("the annual maxima are all but alike save one; no curve can be fitted")
    return _solved(mean, spread, skew)


def _solved(mean: FloatArray, spread: FloatArray, skew: FloatArray) -> Gev:
    """The distribution with these L-moments and this L-skewness (Hosking 1990, table 1)."""
    from scipy.optimize import elementwise
    from scipy.special import gammaln

    def misfit(k: FloatArray, wanted: FloatArray) -> FloatArray:
        flat = np.abs(k) < 1e-9
        safe = np.where(flat, 1.0, k)
        ratio = np.where(flat, np.log(3) / np.log(2),
                         np.expm1(-safe * np.log(3)) / np.expm1(-safe * np.log(2)))
        found: FloatArray = 2 * ratio - 3 - wanted
        return found

    solved = elementwise.find_root(misfit, (np.full_like(skew, -0.9999), np.full_like(skew, 40.0)),
                                   args=(skew,))
    k = np.where(np.abs(solved.x) < 1e-7, 0.0, solved.x)
    flat = k == 0
    safe = np.where(flat, 1.0, k)
    gamma_less_one = np.expm1(gammaln(1 + safe))
    scale = np.where(flat, spread / np.log(2), spread * safe / (
        -np.expm1(-safe * np.log(2)) * (1 + gamma_less_one)))
    return Gev(mean - scale * np.where(flat, np.euler_gamma, -gamma_less_one / safe), scale, -k)


def fit_gumbel(maxima: ArrayLike) -> Gev:
    """Fit Gumbel's distribution, whose shape is 0, by L-moments (Hosking 1990, table 1).

    Raises
    ------
    ValueError
        If there are fewer than 3 maxima, or they are all alike.
    """
    mean, spread, _ = _moments(maxima)
    scale = spread / np.log(2)
    return Gev(mean - np.euler_gamma * scale, scale, np.zeros_like(scale))


def _moments(maxima: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
    """First two sample L-moments, and the L-skewness."""
    from scipy.stats import lmoment

    maxima = np.asarray(maxima, float)
    if maxima.shape[-1] < 3:
        raise ValueError(f"{maxima.shape[-1]} annual maxima are too few for a curve")
    first, second, third = lmoment(maxima, order=[1, 2, 3], axis=-1, standardize=False)
    if not (second > 1e-9 * np.abs(first)).all():
        raise ValueError("the annual maxima are all alike; no curve can be fitted")
    return np.asarray(first), np.asarray(second), np.asarray(third / second)


def shape_is_told(curve: Gev, count: int) -> bool:
    """Whether the shape differs from Gumbel's 0, with an error of 5 %.

    References
    ----------
    .. [1] J. R. M. Hosking, J. R. Wallis, E. F. Wood, "Estimation of the generalized extreme-value
       distribution by the method of probability-weighted moments", Technometrics 27, 1985,
       251-261: at a shape of 0 its variance is 0.5633 / n.
    """
    return bool(abs(float(curve.shape)) * np.sqrt(count / 0.5633) > 1.96)


def plotting_positions(maxima: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return period of each maximum by its rank, and the maxima in rising order.

    The i-th of n is not exceeded with the chance (i - 0.4) / (n + 0.2).

    References
    ----------
    .. [1] C. Cunnane, "Unbiased plotting positions - a review", Journal of Hydrology 37, 1978,
       205-222.
    """
    ranked: FloatArray = np.sort(np.asarray(maxima, np.float64))
    rank = np.arange(1, ranked.size + 1)
    periods: FloatArray = np.asarray((ranked.size + 0.2) / (ranked.size - rank + 0.6), np.float64)
    return periods, ranked


def extremes_of(maxima: ArrayLike, confidence: float = CONFIDENCE, draws: int = DRAWS,
                seed: int = SEED) -> Extremes:
    """Fit a curve to annual maxima, and find how far it might be off.

    Parameters
    ----------
    maxima : (n,)
        Annual maxima of daily rain, at least `LEAST_YEARS`. [mm]
    confidence : float
        Share of drawn curves that the band holds.
    draws, seed : int
        Records of n years drawn from the fitted curve, each fitted in turn (a parametric
        bootstrap); the same seed draws the same.

    Raises
    ------
    ValueError
        If there are too few maxima, or they are too much alike.
    """
    maxima = np.asarray(maxima, float)
    if maxima.size < LEAST_YEARS:
        raise ValueError(f"a curve of annual maxima takes {LEAST_YEARS} whole years or more, and "
                         f"there are {maxima.size}")
    curve = fit_gev(maxima)
    rng = np.random.default_rng(seed)
    mean, spread, skew = _moments(curve.at(-np.log(rng.standard_exponential(
        (draws, maxima.size)))))
    drawn = _solved(mean, spread, np.clip(skew, -_MOST_SKEW, _MOST_SKEW))
    notes = [
        f"Depths once in so many years come from a generalized extreme value curve, fitted by "
        f"L-moments (Hosking 1990) to the greatest day of {maxima.size} years; its shape is "
        f"{float(curve.shape):+.2f}.",
        f"Of {draws:,} records of as many years drawn from that curve and fitted again, "
        f"{confidence:.0%} lie within the band; it takes the years to come to be like those of the "
        "record."]
    if not shape_is_told(curve, maxima.size):
        gumbel = float(fit_gumbel(maxima).level(100))
        notes.append(f"The shape is not told from 0 by {maxima.size} years (Hosking, Wallis and "
                     f"Wood 1985); with a shape of 0, a Gumbel curve, the depth once in 100 years "
                     f"would be {in_both(gumbel, 'rain')} in the place of "
                     f"{in_both(float(curve.level(100)), 'rain')}.")
    return Extremes(maxima, curve, drawn, confidence, tuple(notes))


def far_beyond(years: Sequence[float], count: int) -> list[str]:
    """A note where a return period is more than twice the record's length."""
    far = [f"{one:g}" for one in years if one > 2 * count]
    if not far:
        return []
    named = " and ".join([", ".join(far[:-1]), far[-1]] if len(far) > 1 else far)
    return [f"Once in {named} years is more than twice the length of the record, {count} years: "
            "take the upper end of the band seriously."]
