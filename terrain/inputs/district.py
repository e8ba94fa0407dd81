"""The district file: many properties on one ground, described in YAML."""

from __future__ import annotations

from pathlib import Path
from typing import Any, ClassVar, Literal

from pydantic import Field, field_validator

from terrain.errors import InputError
from terrain.files import is_folder
from terrain.inputs.described import read_described
from terrain.inputs.site import Land, Layer, NamedLayer, Site, with_depths
from terrain.units import told_first

#: What a district file is called in its folder.
FILE = "district.yaml"
#: What parcels may be ranked by.
Rank = Literal["kept", "catchable", "run-on", "road", "roof"]


class Parcels(NamedLayer):
    """Outlines of the properties; those whose `page_field` says yes ask for a page of their own."""

    page_field: str = "page"
    """Column that says yes for a parcel that is to have a page of its own."""


class District(Land):
    """Properties on one ground: as a site file, with parcels in place of a boundary."""

    CALLED: ClassVar[str] = "district file"
    PAGE: ClassVar[str] = "docs/district.md"

    parcels: Parcels
    """The layer of outlines; no two of their names alike."""
    pages: list[str] = Field(default_factory=list)
    """Names of parcels that are to have a page, beside those."""
    sites: list[str] = Field(default_factory=list)
    """Site files to plan as well, as they are named from this folder: `[upper/site.yaml,
    'farms/*/site.yaml']`."""
    rank_by: Rank = "kept"
    """What the parcels are ranked by, [below](#how-parcels-are-ranked)."""

    @field_validator("pages", mode="before")
    @classmethod
    def _as_text(cls, given: Any) -> Any:
        """Names of parcels are often numbers."""
        return [str(one) for one in given] if isinstance(given, list) else given

    def site_of(self, parcel: str) -> Site:
        """A parcel as a site on which nothing stands yet; its outline is not read from a file."""
        shared = {name: getattr(self, name) for name in Land.model_fields}
        site = Site.model_construct(**{**shared, "name": parcel,
                                       "boundary": Layer(file=self.parcels.file)})
        site._path, site._document = self._path, self._document
        return site


def read_district(folder: Path) -> District:
    """Read and check the district file of a folder, or the file itself.

    Raises
    ------
    InputError
        Naming the line and field of the first thing that is wrong.
    """
    path = folder / FILE if is_folder(folder) else Path(folder)
    found = read_described(path, District)
    if found.elevation.breach_depth:
        raise InputError(f"{found.where('elevation', 'breach depth')}, elevation, breach depth",
                         "hollows of a district's ground are not cut open, as no tile knows how "
                         "far a channel would run",
                         "Leave it out, and draw culverts where there are any")
    if found.runoff.loss_on_the_way:
        raise InputError(f"{found.where('runoff', 'loss on the way')}, runoff, loss on the way",
                         "runoff of a district is not followed cell by cell on its way",
                         "Leave it out; a parcel's own site file may ask for it")
    with told_first(found.units):
        return with_depths(found)
