"""Fields of the site file about setting out: offset stakes and the staff."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator

from terrain.inputs.fields import Length, Part, Written
from terrain.units import in_both

#: An offset stake nearer than this stands in the digger's way, and one further off cannot be
#: measured to with one tape and one staff; common practice, no source. [m]
LEAST_OFFSET, MOST_OFFSET = 0.5, 10.0
#: A level on its tripod looks out about 1.4 m up: a shorter staff is not read on level ground, and
#: none is longer than the other; common practice, no source. [m]
LEAST_STAFF, MOST_STAFF = 2.0, 8.0


def _offset(given: float) -> float:
    if not LEAST_OFFSET <= given <= MOST_OFFSET:
        raise ValueError(f"an offset of {in_both(given, 'length')} is not between "
                         f"{in_both(LEAST_OFFSET, 'length')}, clear of the digger, and "
                         f"{in_both(MOST_OFFSET, 'length')}, still measured with ease")
    return given


def _staff(given: float) -> float:
    if not LEAST_STAFF <= given <= MOST_STAFF:
        raise ValueError(f"a staff of {in_both(given, 'length')} is not between "
                         f"{in_both(LEAST_STAFF, 'length')}, more than a level stands high, and "
                         f"{in_both(MOST_STAFF, 'length')}")
    return given


class SettingOutSpec(Part):
    """How stakes are set; what is left out is taken from the rules."""

    offset: Annotated[Annotated[Length, AfterValidator(_offset)] | None, Written(
        f"length, {LEAST_OFFSET:g} to {MOST_OFFSET:g} m")] = None
    """How far offset stakes stand off.
    Twice that or more where a work digs or heaps there.
    Left out: the rule `stake offset`, 2 m or 6 ft."""
    side: Literal["uphill", "downhill"] = "uphill"
    """On which side of a line they stand."""
    staff: Annotated[Annotated[Length, AfterValidator(_staff)] | None, Written(
        f"length, {LEAST_STAFF:g} to {MOST_STAFF:g} m")] = None
    """How long the staff is.
    Left out: the rule `staff length`, 4 m or 13 ft."""
