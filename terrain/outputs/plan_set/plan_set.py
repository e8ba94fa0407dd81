"""The plan set: every page to print, numbered, in one file; and each work's pages as a picture."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Sequence
from hashlib import md5
from pathlib import Path

import numpy as np
from matplotlib import rc_context
from matplotlib.backends.backend_pdf import PdfPages
from PIL import Image

from terrain.outputs.drawing.paper import Paper
from terrain.outputs.drawing.title_block import Imprint, number_page
from terrain.outputs.field.stakes import Stake, stakes_of
from terrain.outputs.plan_set import text_pages
from terrain.outputs.plan_set.calendar_page import calendar_pages
from terrain.outputs.plan_set.chart_pages import (
    beside_pages,
    cascade_pages,
    doubt_pages,
    year_pages,
)
from terrain.outputs.plan_set.date import date_words
from terrain.outputs.plan_set.field_pages import BOOK, field_pages
from terrain.outputs.plan_set.lettering import keep_as_text
from terrain.outputs.plan_set.map_pages import READABLE, shed_map, site_parts, site_plan, site_scale
from terrain.outputs.plan_set.page import Page
from terrain.outputs.plan_set.undug_pages import undug_pages
from terrain.outputs.plan_set.upkeep_year import upkeep_year
from terrain.outputs.plan_set.work_pages import work_pages
from terrain.outputs.sheets.plan_sheets import dug_works, file_name
from terrain.plan.planned import Plan

#: The file, and the folder of the pictures.
FILE, FOLDER = "plan_set.pdf", "sheets"
#: Dots in an inch of the shaded ground, and of a picture.
SHADE_DPI, PICTURE_DPI = 80, 130


def draw_plan_set(plan: Plan, paper: Paper, progress: Callable[[str], None] = lambda what: None
                  ) -> list[Page]:
    """Draw every page, numbered.  The same plan gives the same pages."""
    made = Imprint(plan.site.name, date_words(plan.site), paper, plan.site.units, plan.inputs.dem)
    progress("Drawing the pages of the plan set")
    cover = site_plan(plan, made)
    before = [*site_parts(plan, made)]
    sheds = shed_map(plan, made)
    after = [*([sheds] if sheds is not None else []), *cascade_pages(plan, made),
             *beside_pages(plan, made), *year_pages(plan, made), *doubt_pages(plan, made)]
    stakes = stakes_of(plan)
    for entry in dug_works(plan):
        progress(f"Drawing the pages of \"{entry.name}\"")
        after += work_pages(plan, entry, made, stakes)
    after += text_pages.quantities(plan, made)
    progress("Drawing the field book")
    after += field_book(plan, made, stakes)
    scale = _scale_words(plan, made, len(before))
    listed = _contents(plan, made, cover, before, after, scale)
    pages = [cover, *listed, *before, *after]
    for number, page in enumerate(pages, 1):
        number_page(page.figure, number, len(pages))
    return pages


def field_book(plan: Plan, made: Imprint, stakes: Sequence[Stake] | None = None) -> list[Page]:
    """The pages that go to the field: order of work, a page for each work, the year's upkeep."""
    year = upkeep_year(plan)
    stakes = stakes_of(plan) if stakes is None else stakes
    pages = list(text_pages.order_and_cautions(plan, made))
    for entry in dug_works(plan):
        pages += field_pages(plan, entry, made, stakes, year)
    return [*pages, *undug_pages(plan, made, year), *calendar_pages(plan, made, year)]


def _contents(plan: Plan, made: Imprint, cover: Page, before: Sequence[Page],
              after: Sequence[Page], scale: str) -> list[Page]:
    """The page of contents, made again where it is longer than a page."""
    length = 1
    while True:
        titles = [(cover.title, 1)]
        for number, page in enumerate([*before, *after], 2 + length):
            words = f"{page.work}: {page.title}" if page.work else page.title
            if not words.endswith(", continued"):
                titles.append((words, number))
        found = text_pages.contents(plan, made, titles, scale)
        if len(found) <= length:
            return found
        length = len(found)


def _scale_words(plan: Plan, made: Imprint, parts: int) -> str:
    """At what scale the site plan is, and why not at a larger one."""
    scale = site_scale(plan, made)
    said = (f"The site plan is at {scale.words}, the largest round scale at which the whole "
            f"property finds room on {made.paper.name} paper")
    if parts:
        return (f"{said}. As that is smaller than 1:{READABLE:,.0f}, it follows in {parts} parts "
                "at a larger scale.")
    return f"{said}; each work has a plan of its own at a larger one."


def write_plan_set(pages: Sequence[Page], path: Path) -> None:
    """Write the pages into one file, their lettering as text with its font in it."""
    quiet = dict.fromkeys(("CreationDate", "ModDate", "Producer", "Creator"))
    with rc_context({"pdf.fonttype": 42}), PdfPages(path, metadata=quiet) as out:
        for page in pages:
            keep_as_text(page.figure)
            page.figure.savefig(out, format="pdf", dpi=SHADE_DPI)


def write_field_book(pages: Sequence[Page], path: Path, book: Path) -> None:
    """Write the field book by itself: its pages as they stand in the file of all pages.

    Nothing is written where there are no such pages.

    Parameters
    ----------
    path : Path
        Of the file of all pages, as `write_plan_set` wrote it.
    book : Path
    """
    numbers = [i for i, page in enumerate(pages) if page.part == BOOK]
    if not numbers:
        return
    from pypdfium2 import PdfDocument

    printed, out, held = PdfDocument(path), PdfDocument.new(), io.BytesIO()
    out.import_pages(printed, numbers)
    out.save(held)
    out.close()
    printed.close()
    # No time of writing, and a name that follows from what is printed: the same plan gives the
    # same bytes.  Nothing grows or shrinks, so places in the file stay what they are.
    made = md5(path.read_bytes(), usedforsecurity=False).hexdigest().upper().encode()
    data = re.sub(rb"(/CreationDate\s*\(D:)\d{14}", rb"\g<1>20000101000000", held.getvalue())
    book.write_bytes(re.sub(rb"/ID\[<[0-9A-F]{32}><[0-9A-F]{32}>\]",
                            b"/ID[<" + made + b"><" + made + b">]", data))


def write_pictures(plan: Plan, pages: Sequence[Page], path: Path, folder: Path
                   ) -> list[tuple[str, bytes]]:
    """Write the pages of each work below one another as a picture, into a new folder.

    They are painted from the file of all pages, so that what is seen is what is printed.

    Nothing is written where nothing is dug.

    Returns
    -------
    drawn : list of (str, bytes)
        Each work's name, and its pages as a WebP picture.
    """
    entries = dug_works(plan)
    if not entries:
        return []
    from pypdfium2 import PdfDocument

    folder.mkdir()
    found, printed = [], PdfDocument(path)
    for number, entry in enumerate(entries, 1):
        parts = [printed[i].render(scale=PICTURE_DPI / 72).to_pil().convert("RGB")
                 for i, page in enumerate(pages) if page.work == entry.name]
        picture = Image.fromarray(np.concatenate([np.asarray(part) for part in parts]))
        picture.save(folder / file_name(number, entry.name), "PNG", compress_level=3,
                     dpi=(PICTURE_DPI, PICTURE_DPI))
        out = io.BytesIO()
        picture.save(out, "WEBP", quality=82, method=2)
        found.append((entry.name, out.getvalue()))
    printed.close()
    return found
