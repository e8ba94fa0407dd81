"""The folder of a screening: table, layers, map, page, pages of parcels; whole or not at all."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

from terrain.district.screened import Screened, Screening
from terrain.errors import InputError
from terrain.files import RECORD, whole_folder
from terrain.inputs.elevation import ElevationFiles
from terrain.outputs.data.answers_json import dumped
from terrain.outputs.district.begun_site import begun_site, write_outline
from terrain.outputs.district.district_json import district_object
from terrain.outputs.district.district_map import draw_district
from terrain.outputs.district.district_page import district_page
from terrain.outputs.district.figures import ranks_of
from terrain.outputs.district.file_names import file_names
from terrain.outputs.district.parcel_layers import write_parcels
from terrain.outputs.district.parcel_map import draw_parcel, land_of
from terrain.outputs.district.parcel_page import parcel_page
from terrain.outputs.district.parcels_table import write_table
from terrain.plan.siting.reading import open_ground
from terrain.units import told_first

#: The folder of the pages of parcels.
PARCELS = "parcels"
#: Of an error so many letters are told.
LONGEST = 300
#: What lies in the folder, and what it is.
FILES = (("district.csv", "one row a parcel with every figure, for a spreadsheet"),
         ("district.json", "every figure in SI, for programs"),
         ("parcels.gpkg", "parcels, best places, and where water comes in, for GIS, with styles"),
         ("map.png", "the map, to print"))


def write_screening(screening: Screening, folder: Path,
                    progress: Callable[[str], None] = lambda what: None,
                    beside: Callable[[Path], list[tuple[str, str]]] = lambda draft: [],
                    sites: Any = "") -> list[Path]:
    """Write district.csv, district.json, parcels.gpkg, map.png, index.html, and of each parcel
    that asks for a page that page, its map, and a site file begun for it.

    Parameters
    ----------
    beside : callable (folder) -> [(name, words)]
        Writes more into the folder, and says what.
    sites : Markup
        A table of the sites that were planned, for the page.

    Raises
    ------
    InputError
        If the folder holds anything that the tool did not write, or a layer cannot be read.
    """
    district = screening.district
    with (told_first(district.units, screening.overview.frame.foot),
          whole_folder(folder) as draft):
        more = beside(draft)
        names = file_names([one.parcel for one in screening.parcels])
        paged = [(rank, one) for rank, one in zip(ranks_of(screening), screening.parcels,
                                                  strict=True) if one.parcel.page]
        pages = {one.parcel.number: names[one.parcel.number] for _, one in paged}
        progress("Writing the table and the layers")
        write_table(screening, draft / "district.csv")
        (draft / "district.json").write_text(dumped(object_of(screening)) + "\n",
                                             encoding="utf-8", newline="\n")
        write_parcels(screening, draft / "parcels.gpkg")
        if paged:
            (draft / PARCELS).mkdir()
            files = open_ground(district)
            for number, (rank, one) in enumerate(paged, 1):
                progress(f"Drawing page {number} of {len(paged)}, {one.parcel.name}")
                _page_or_fault(screening, rank, one, pages[one.parcel.number], files,
                               draft / PARCELS, folder / PARCELS)
        progress("Drawing the map of the district")
        picture = _png(draw_district(screening))
        (draft / "map.png").write_bytes(picture)
        (draft / "index.html").write_text(district_page(
            screening, picture, pages, (*FILES, *more), sites), encoding="utf-8")
        written = sorted(path.name for path in draft.iterdir())
    return [folder / name for name in written if name != RECORD]


def object_of(screening: Screening) -> dict[str, Any]:
    """What district.json holds."""
    names = file_names([one.parcel for one in screening.parcels])
    return district_object(screening, {
        one.parcel.number: f"{PARCELS}/{names[one.parcel.number]}.html"
        for one in screening.parcels if one.parcel.page})


def _page_or_fault(screening: Screening, rank: int | None, one: Screened, name: str,
                   files: ElevationFiles, draft: Path, folder: Path) -> None:
    """Write a parcel's page; where that fails its place says so, and all the others stand."""
    try:
        _write_page(screening, rank, one, name, files, draft, folder)
    except Exception as error:
        if isinstance(error, OSError) and error.errno is not None:
            raise  # no other file could be written either
        what = " ".join(str(error).split())[:LONGEST]
        if not isinstance(error, InputError):
            what = (f"a fault of levelsill's own ({type(error).__name__}{what and ': '}{what}). "
                    "Please report it.")
        for part in draft.glob(f"{name}.*"):
            part.unlink()
        (draft / f"{name}.html").write_text(parcel_page(
            screening, rank, one, name, None, undrawn=what), encoding="utf-8")


def _write_page(screening: Screening, rank: int | None, one: Screened, name: str,
                files: ElevationFiles, draft: Path, folder: Path) -> None:
    picture: bytes | None = None
    begun = None
    if not one.fault:
        picture = _png(draw_parcel(screening, rank, one, land_of(screening, one, files)))
        (draft / f"{name}.png").write_bytes(picture)
        begun = begun_site(screening, one.parcel, f"{name}.gpkg", folder)
        if begun is not None:
            (draft / f"{name}.yaml").write_text(begun, encoding="utf-8")
            write_outline(screening, one.parcel, draft / f"{name}.gpkg")
    (draft / f"{name}.html").write_text(parcel_page(
        screening, rank, one, name, picture, begun is not None), encoding="utf-8")


def _png(figure: Any) -> bytes:
    out = io.BytesIO()
    figure.savefig(out, format="png", metadata={"Software": None})
    return out.getvalue()
