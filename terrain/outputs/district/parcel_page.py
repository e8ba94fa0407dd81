"""The page of one parcel: its map, what each storm brings, where to catch it, what next."""

from __future__ import annotations

from terrain.district.screened import Screened, Screening
from terrain.inputs.dem import named
from terrain.outputs.district import tables, words
from terrain.outputs.district.pages import page_of, table_of
from terrain.outputs.district.parcel_map import shown_entries
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
    frame = screening.overview.frame
    rows = [[str(number), named(frame, *entry.at), words.ground_words(entry.area, system)]
            for number, entry in enumerate(entries, 1)]
    return page_of(
        "parcel.html", system, **about, found=words.parcel_lines(one, screening, system),
        care=CARE, picture=picture_of(picture),
        storms=table_of(tables.STORMS, tables.storm_rows(one, system)),
        at_least=one.at_least,
        entries=table_of(("entry", "at (east, north)", "ground that drains in"), rows, {1}, True)
        if rows else "",
        best=table_of(tables.best_heads(screening), tables.best_rows(one, screening, system))
        if one.swale is not None or one.basin is not None else "",
        places=words.place_parts(one, screening, system),
        next=words.next_lines(one, screening, file if site_file else None),
        notes=(*one.notes, *screening.notes))
