"""Names of fields that hold what the user called a storm."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def storm_fields(names: Sequence[str], verb: str, unit: str, taken: Iterable[str] = ()
                 ) -> list[str]:
    """A field for each storm, such as "caught 10-year day m3"; all different.

    Fields of a table are the same where they differ in upper and lower case alone, so a second
    "Big Day" beside a "big day" is numbered.

    Parameters
    ----------
    taken : iterable of str
        Other fields of the table.
    """
    used = {field.casefold() for field in taken}
    fields = []
    for name in names:
        field, number = f"{verb} {name} {unit}", 1
        while field.casefold() in used:
            number += 1
            field = f"{verb} {name} ({number}) {unit}"
        used.add(field.casefold())
        fields.append(field)
    return fields
