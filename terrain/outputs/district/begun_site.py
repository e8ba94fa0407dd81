"""A site file begun for a parcel: the district file's own text, with the parcel's outline."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from terrain.district.screened import Parcel, Screening
from terrain.inputs.described import read_described
from terrain.inputs.district import District
from terrain.inputs.site import Site
from terrain.outputs.district.ways import way
from terrain.outputs.gis.geopackage import write_layers
from terrain.outputs.gis.layers import Layer
from terrain.outputs.gis.styles import STYLES
from terrain.outputs.site_text.comments import comment
from terrain.outputs.site_text.part_text import part_changed
from terrain.outputs.site_text.yaml_text import Edits, composed, paths_moved

#: Fields that a district file has and a site file has not, as they are written.
ONLY = ("parcels", "pages", "sites", "rank by")


def begun_site(screening: Screening, parcel: Parcel, outline: str, folder: Path) -> str | None:
    """The text of a site file on which nothing stands yet.

    Parameters
    ----------
    outline : str
        The file that holds the parcel's outline, beside the site file.
    folder : Path
        Where both are to stand; it need not be there yet.

    Returns
    -------
    text : str or None
        None where the district file is written in a way that cannot be changed so.
    """
    district = screening.district
    text = district.path.read_text(encoding="utf-8").removeprefix("\ufeff")
    try:
        edits = Edits(text)
        paths_moved(edits, composed(text), District, way(folder, district.folder))
        moved = edits.done()
        said: dict[str, Any] = {name: None for name in ONLY if _has(moved, name)}
        wanted = {"name": parcel.name, "boundary": {"file": outline}}
        made = part_changed(moved, {"name": district.name, **said}, wanted, {})
        made = "\n".join(comment([_head(district, parcel)])) + "\n\n" + made
        read_described(folder / "site.yaml", Site, made)
    except (ValueError, LookupError):
        return None
    return made


def _has(text: str, name: str) -> bool:
    from terrain.outputs.site_text.yaml_tree import tree

    return tree(text).pair(name) is not None


def _head(district: District, parcel: Parcel) -> str:
    return (f"A site file begun for parcel \"{parcel.name}\" of {district.path.name} by levelsill "
            "district; no work stands on it yet. Copy it elsewhere before you edit it, with its "
            "outline, and correct the paths.")


def write_outline(screening: Screening, parcel: Parcel, path: Path) -> None:
    """Write the outline of a parcel as a layer that the site file's boundary can name."""
    import numpy as np
    import shapely

    frame, shape = screening.overview.frame, parcel.outline
    if frame.working is None:
        shape = shapely.transform(shape, lambda xy: np.column_stack(
            frame.to_source(xy[:, 0], xy[:, 1])))
    layer = Layer("boundary", "The land.", [{"name": parcel.name, "area_m2": parcel.area,
                                             "geometry": shape}])
    write_layers([layer], path, frame.working, styles=STYLES)
