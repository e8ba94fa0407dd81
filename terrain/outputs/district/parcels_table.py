"""One row a parcel, for spreadsheets: in the district's own units, the best first."""

from __future__ import annotations

import csv
from pathlib import Path

from terrain.district.screened import Screening
from terrain.outputs.district.figures import figures_of, ranks_of, unit_of, value_of
from terrain.outputs.plain_text import cell_text


def write_table(screening: Screening, path: Path) -> None:
    """Write the parcels as CSV; each head ends in its unit, words that a spreadsheet would take
    for a formula do not."""
    system, figures = screening.district.units, figures_of(screening)
    heads = []
    for figure in figures:
        unit = unit_of(figure, screening)
        heads.append(cell_text(f"{figure.head}, {unit}" if unit else figure.head))
    with open(path, "w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(["rank", "parcel", *heads])
        for rank, one in zip(ranks_of(screening), screening.parcels, strict=True):
            cells = [value_of(figure, one, system) for figure in figures]
            writer.writerow(["" if rank is None else str(rank), cell_text(one.parcel.name),
                             *(cell_text(cell) if figure.dimension == "words" else cell
                               for figure, cell in zip(figures, cells, strict=True))])
