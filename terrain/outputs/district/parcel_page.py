"""The page of one parcel: its map, what each storm brings, where to catch it, what next."""

from __future__ import annotations

from terrain.district.screened import Screened, Screening
from terrain.outputs.district import tables, words
from terrain.outputs.district.pages import page_of, table_of
from terrain.outputs.district.parcel_map import shown_entries
from terrain.outputs.district.told import land, run_on_at_least
from terrain.outputs.page.pictures import picture_of

#: Cautions of a screening that are of one parcel too.
CARE = words.TAKE_CARE[:6]


def parcel_page(screening: Screening, rank: int | None, one: Screened, file: str,
                picture: bytes | None, site_file: bool = True, undrawn: str = "") -> str:
    """Write the page.

    Parameters
    ----------
    file : str
        How the page's own files are called, without their endings.
    picture : bytes or None
        The map as PNG; None where the parcel could not be screened, or the page not be made.
    site_file : bool
        Whether a site file begun for the parcel lies beside the page.
    undrawn : str
        Why the rest of the page could not be made; empty otherwise.
    """
    system = screening.district.units
    about = {"name": one.parcel.name, "district": screening.district.name, "rank": rank,
             "ranked": sum(not p.fault for p in screening.parcels), "fault": one.fault,
             "file": file, "undrawn": undrawn}
    if picture is None:
        return page_of("parcel.html", system, **about, notes=one.notes)
    entries = shown_entries(one.entries)
    places = [words.place_words(entry.at, screening) for entry in entries]
    far = any(more for _, more in places)  # and longitude and latitude beside
    rows = [[str(number), place, *([more] if far else []), land(entry.area, system)]
            for number, (entry, (place, more)) in enumerate(zip(entries, places, strict=True), 1)]
    heads = ("entry", "at (east, north)", *(["longitude, latitude"] if far else []),
             "ground that drains in")
    source = screening.overview.frame.source
    if source is not None and source.is_geographic:
        heads = ("entry", "at (longitude, latitude)", "ground that drains in")
    told = [note for what, place in (("swale", one.swale), ("basin", one.basin)) if place is None
            for note in words.why_none(what, one)]  # beside the best places
    return page_of(
        "parcel.html", system, **about, found=words.parcel_lines(one, screening, system),
        care=CARE, picture=picture_of(picture),
        storms=table_of(tables.STORMS, tables.storm_rows(one, screening, system)),
        at_least=run_on_at_least(one, screening),
        entries=table_of(heads, rows, {1, 2} if far else {1}, True) if rows else "",
        entries_lines=words.entries_lines(one, entries, screening),
        best_lines=words.best_lines(one, system),
        best=table_of(tables.best_heads(screening), tables.best_rows(one, screening, system))
        if one.swale is not None or one.basin is not None else "",
        places=words.place_parts(one, screening, system),
        next=words.next_lines(one, screening, file if site_file else None),
        notes=(*(note for note in one.notes if note not in told), *screening.notes))
