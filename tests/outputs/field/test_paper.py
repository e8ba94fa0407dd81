"""The stakes on paper: the PDF read back by PyMuPDF."""

from __future__ import annotations

from itertools import combinations

import pymupdf
import pytest

HOSTILE = '''=1+1, "a" & <b>'c'</b> %%d ^J {\\H}'''
#: A page's margins. [pt]
MARGIN = 12 / 25.4 * 72


@pytest.fixture(scope="module", params=["metric", "feet"])
def pages(request):
    written = request.getfixturevalue(request.param)
    with pymupdf.open(written.folder / "field/stakes.pdf") as paper:
        yield written, list(paper)


def words(page):
    """Every piece of lettering as it was put on the page, with its box."""
    return [("".join(chr(c[0]) for c in piece["chars"]), pymupdf.Rect(piece["bbox"]), piece["size"])
            for piece in page.get_texttrace()]


def test_nothing_overlaps_or_leaves_the_paper(pages):
    for page in pages[1]:
        found = words(page)
        assert len(found) > 3
        for _, box, size in found:
            assert box.x0 > MARGIN - 1
            assert box.x1 < page.rect.x1 - MARGIN + 1
            assert box.y0 > 0
            assert box.y1 < page.rect.y1
            assert size > 5.5
        for (one, a, _), (other, b, _) in combinations(found, 2):
            across, down = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
            # Boxes hold the room above capitals and below the line too, a third of their height.
            assert across < 0.5 or down < 0.35 * min(a.height, b.height), (one, other)


def test_every_stake_is_there_with_the_tables_figures(pages):
    """In a line of its own: number, level to make, what the staff reads."""
    written, found = pages
    field = written.field
    lines = {}
    for page in found:
        for said, box, _ in words(page):
            lines.setdefault((page.number, round(box.y1, 1)), []).append(said)
    rows = {tuple(line[:2]): line for line in lines.values()}
    for staked in field.stakes:
        row = rows[str(staked.number), staked.stake.mark]
        assert f"{field.unit.of(staked.stake.design):.3f}" in row
        if staked.reading is not None:
            assert f"{field.unit.of(staked.reading):.3f}" in row
    for number, page in enumerate(found, 1):
        assert f"Page {number} of {len(found)}" in page.get_text()
    first = " ".join(found[0].get_text().split())
    assert any(" ".join(note.split()) in first for note in field.notes)


def test_boxes_to_tick_are_as_many_as_stakes(pages):
    written, found = pages
    boxes = [part for page in found for part in page.get_drawings()
             if part["type"] == "s" and part["items"][0][0] == "re"]
    assert len(boxes) == len(written.field.stakes)


def test_names_are_written_as_they_are(metric):
    """Not read as mathematics or markup."""
    with pymupdf.open(metric.folder / "field/stakes.pdf") as paper:
        assert any(said.endswith(f": {HOSTILE}") for page in paper for said, _, _ in words(page))


def test_the_pdf_is_of_a4_or_letter_paper(pages):
    """ISO 216: 210 by 297 mm; ANSI Y14.1 size A: 8.5 by 11 in; a PDF's unit is 1/72 in."""
    written, found = pages
    metric = written.field.unit.key == "m"
    size = (297 / 25.4 * 72, 210 / 25.4 * 72) if metric else (792.0, 612.0)
    for page in found:
        assert (page.rect.width, page.rect.height) == pytest.approx(size, abs=0.1)


def test_letters_are_in_the_file(pages):
    """Every typeface that a page uses is embedded: its file is there (ISO 32000-1, 9.9)."""
    for page in pages[1]:
        fonts = page.get_fonts()
        assert fonts
        for number, kind, *_ in fonts:
            assert kind == "ttf"
            assert len(page.parent.extract_font(number)[3]) > 1000


def test_the_table_follows_the_set_ups_and_pegs_are_told(pages):
    """Headings in the order in which the level is moved; each peg with its letter, place, both
    planned readings and room for what they read."""
    written, found = pages
    heads = [said for page in found for said, _, _ in words(page) if said.startswith("Set-up ")
             and ": " in said[:12]]
    numbers = [int(said.split(":")[0].split(" ")[1]) for said in heads]
    assert numbers == sorted(numbers)
    assert set(numbers) == {s.set_up for s in written.field.stakes} - {None}
    said = " ".join(" ".join(page.get_text() for page in found).split())
    of = written.field.unit.of
    for peg in written.field.pegs:
        place = written.plan.inputs.dem.named(peg.back_x, peg.back_y)
        assert f"P{peg.back[1:]}: {place}, ground" in said
        assert f"set-up {peg.number} planned {of(peg.back_reading):.3f}, read ___" in said
    of_pegs = [s for s in written.field.set_ups if s.of is not None]
    assert said.count("line of sight as found _______") == len(of_pegs)
    assert said.count("Where it is a peg, do not") == bool(of_pegs)
    assert ("feet, tenths and hundredths, not inches" in said) == (written.field.unit.key != "m")
