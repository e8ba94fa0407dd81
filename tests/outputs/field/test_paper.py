"""The stakes on paper, as figures and as a PDF read back."""

from __future__ import annotations

import re
import zlib

import pytest

from terrain.outputs.field.paper import paper_pages

HOSTILE = '''=1+1, "a" & <b>'c'</b> %%d ^J {\\H}'''


@pytest.fixture(scope="module", params=["metric", "feet"])
def pages(request):
    written = request.getfixturevalue(request.param)
    return written, list(paper_pages(written.field))


def test_nothing_overlaps_or_leaves_the_paper(pages, seen):
    for figure in pages[1]:
        assert seen.overlaps(figure) == []
        assert seen.outside(figure) == []


def test_every_stake_is_there_with_the_tables_figures(pages, seen):
    written, figures = pages
    field = written.field
    words = [seen.words(figure).split("\n") for figure in figures]
    every = [word for page in words for word in page]
    for staked in field.stakes:
        assert str(staked.number) in every
        assert f"{field.unit.of(staked.stake.design):.3f}" in every
        if staked.reading is not None:
            assert f"{field.unit.of(staked.reading):.3f}" in every
    for number, page in enumerate(words, 1):
        assert f"Page {number} of {len(figures)}" in page
    assert any(note in " ".join(words[0]) for note in field.notes)


def test_boxes_to_tick_are_as_many_as_stakes(pages):
    from matplotlib.patches import Rectangle

    written, figures = pages
    boxes = [box for figure in figures for box in figure.findobj(Rectangle)
             if box.get_facecolor()[3] == 0 and box.get_edgecolor()[3] == 1
             and box is not figure.patch]
    assert len(boxes) == len(written.field.stakes)


def test_names_are_written_as_they_are(metric, seen):
    """Not read as mathematics or markup."""
    words = "\n".join(seen.words(figure) for figure in paper_pages(metric.field))
    assert HOSTILE in words


def test_the_pdf_is_of_a4_or_letter_paper(metric, feet):
    """ISO 216: 210 by 297 mm; ANSI Y14.1 size A: 8.5 by 11 in; a PDF's unit is 1/72 in."""
    for written, size in ((metric, (297 / 25.4 * 72, 210 / 25.4 * 72)), (feet, (792.0, 612.0))):
        data = (written.folder / "field/stakes.pdf").read_bytes()
        boxes = re.findall(rb"/MediaBox \[ *([\d. ]+)\]", data)
        assert len(boxes) == len(list(paper_pages(written.field)))
        for box in boxes:
            assert [float(v) for v in box.split()][2:] == pytest.approx(size, abs=0.1)
        assert b"CreationDate" not in data


def test_the_pdf_holds_letters_not_shapes(metric):
    """Text operators in the pages' streams (ISO 32000-1, 9.4.3), so that it can be searched."""
    data = (metric.folder / "field/stakes.pdf").read_bytes()
    found = 0
    for stream in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.S):
        try:
            found += zlib.decompress(stream).count(b"Tj") + zlib.decompress(stream).count(b"TJ")
        except zlib.error:
            continue
    assert found > 10 * len(metric.field.stakes)
