"""A screening as one page that needs nothing else: what was found, the ranking, the map."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from terrain.district.screened import Screening
from terrain.outputs.district import tables, words
from terrain.outputs.district.figures import ranks_of
from terrain.outputs.district.pages import page_of, table_of
from terrain.outputs.page.pictures import picture_of

#: So many parcels stand in the page's ranking.
MOST_ROWS = 500


def district_page(screening: Screening, picture: bytes, pages: dict[int, str],
                  files: Sequence[tuple[str, str]], sites: Any = "") -> str:
    """Write the page.

    Parameters
    ----------
    picture : bytes
        The map as PNG.
    pages : dict of int to str
        Stems of the files of parcels that have a page, by the parcel's number.
    files : sequence of (name, words)
        What lies beside it.
    sites : Markup
        A table of the sites that were planned.
    """
    system = screening.district.units
    rows = tables.ranking_rows(screening, system)
    heads = tables.ranking_heads(screening)
    ranks = {one.parcel.number: rank for rank, one in zip(ranks_of(screening), screening.parcels,
                                                          strict=True)}
    linked = [[row[0], _linked(row[1], pages.get(one.parcel.number)), *row[2:]]
              for row, one in zip(rows, (p for p in screening.parcels if not p.fault),
                                  strict=True)][:MOST_ROWS]
    return page_of(
        "district.html", system, name=screening.district.name, lead=words.lead(screening),
        found=words.found_lines(screening, system), care=words.TAKE_CARE,
        picture=picture_of(picture), ranking=table_of(heads, linked, {1}, True) if rows else "",
        ranked_by=words.ranked_by(screening), design=words.design_name(screening),
        year=words.has_year(screening), shown=len(linked), more=len(rows) - len(linked),
        means=words.meanings(heads, screening),
        pages=[{"name": one.parcel.name, "file": pages[one.parcel.number],
                "rank": ranks[one.parcel.number]}
               for one in screening.parcels if one.parcel.number in pages],
        faults=table_of(("parcel", "why not"), words.not_screened(screening), {1})
        if words.not_screened(screening) else "",
        sites=sites, files=files, basis=words.rests_on(screening))


def _linked(name: str, file: str | None) -> Any:
    """A parcel's name, as a link to its page where it has one."""
    from markupsafe import Markup

    return name if file is None else Markup('<a href="parcels/{}.html">{}</a>').format(file, name)
