"""The day that pages are dated with: what a person or a build states, never the clock."""

from __future__ import annotations

from terrain.inputs.site import Site
from terrain.inputs.stated_day import stated_day

#: Room to write the day in, where nobody states one.
UNDATED = "Date\u00a0________________"


def date_words(site: Site) -> str:
    """Of which day the plan is, and who says so, in a sentence, else room to write it; raises as
    `stated_day`."""
    day = stated_day(site)
    if day is None:
        return UNDATED
    who = "the site file" if site.date is not None else "SOURCE_DATE_EPOCH"
    return f"Dated {day}, as {who} states."
