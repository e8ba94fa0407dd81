"""The day that pages are dated with: what a person or a build states, never the clock."""

from __future__ import annotations

import datetime as dt
import os

from terrain.errors import InputError
from terrain.inputs.site import Site


def date_words(site: Site) -> str:
    """Of which day the plan is, and who says so, in a sentence.

    The site file's `date`; else that of SOURCE_DATE_EPOCH, seconds since 1970 in UTC, as
    reproducible builds state it (Reproducible Builds, SOURCE_DATE_EPOCH specification, 2017).

    Raises
    ------
    InputError
        If SOURCE_DATE_EPOCH is no such number.
    """
    day = stated_day(site)
    if day is None:
        return "Not dated: neither the site file nor SOURCE_DATE_EPOCH states a date."
    who = "the site file" if site.date is not None else "SOURCE_DATE_EPOCH"
    return f"Dated {day}, as {who} states."


def stated_day(site: Site) -> str | None:
    """The day itself, as YYYY-MM-DD; None where nobody states one. Raises as `date_words`."""
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
