"""That a rain record is too short to tell an average, said wherever one is told."""

from __future__ import annotations

from typing import TYPE_CHECKING

from terrain.plan.water.accounts import LEAST_YEARS
from terrain.runoff.rain_years import years_of

if TYPE_CHECKING:
    import pandas


def short_record(daily: pandas.Series, start_month: int = 1) -> str | None:
    """A caution about averages of a record of fewer than 5 whole years; None for a longer one.

    Parameters
    ----------
    daily : Series
        Depth of each day, NaN where none was read. [mm]
    """
    whole = len(years_of(daily, start_month).whole)
    if whole >= LEAST_YEARS:
        return None
    held = "no whole year" if not whole else f"{whole} whole {'year' if whole == 1 else 'years'}"
    return (f"The rain record holds {held}, too few to be an average ({LEAST_YEARS} or more are "
            "asked for, common practice, no source): the \"average year\", what trees want and "
            "get, the wettest months and the date to finish by tell of these days alone, and other "
            "years may be far drier or wetter. Find a longer record of a place near by before "
            "anybody relies on them.")
