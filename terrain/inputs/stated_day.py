"""The day of a plan: what a person or a build states, never the clock."""

from __future__ import annotations

import datetime as dt
import os

from terrain.errors import InputError
from terrain.inputs.site import Site


def stated_day(site: Site) -> str | None:
    """The day as YYYY-MM-DD; None where nobody states one.

    The site file's `date`; else that of SOURCE_DATE_EPOCH, seconds since 1970 in UTC, as
    reproducible builds state it (Reproducible Builds, SOURCE_DATE_EPOCH specification, 2017).

    Raises
    ------
    InputError
        If SOURCE_DATE_EPOCH is no such number.
    """
    if site.date is not None:
        return site.date
    stated = os.environ.get("SOURCE_DATE_EPOCH", "")
    if not stated:
        return None
    try:
        return dt.datetime.fromtimestamp(int(stated), dt.UTC).date().isoformat()
    except (ValueError, OverflowError, OSError):
        raise InputError("SOURCE_DATE_EPOCH", f"'{stated}' is no number of seconds since 1970",
                         "Unset it, or state the date in the site file") from None
