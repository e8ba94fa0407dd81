"""Fields of the site file about things that works are to keep clear of."""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import Any

from pydantic import Field, field_validator, model_validator

from terrain.inputs.fields import Length, Part, Point

#: Each kind of thing, and the shapes in which it may be drawn.
SHAPES: dict[str, tuple[str, ...]] = {
    "septic field": ("point", "line", "area"),
    "private well": ("point", "area"),
    "public well": ("point", "area"),
    "foundation": ("point", "line", "area"),
    "retaining wall": ("line", "area"),
    "fill edge": ("line", "area"),
    "buried water line": ("line",),
    "buried power line": ("line",),
    "buried gas line": ("line",),
    "buried line": ("line",),
    "tree": ("point", "area"),
    "rock": ("area",),
    "wet ground": ("area",),
    "unstable ground": ("area",),
    "stream bank": ("line", "area"),
}
#: Kinds whose height matters, and whose depth below the ground.
HIGH, DEEP = ("retaining wall", "fill edge"), ("rock", "wet ground")


class KeepClear(Part):
    """Things of one kind that works are to keep clear of: a layer, or drawn in the site file."""

    what: str
    """Its kind, of the table above."""
    name: str | None = None
    """What it is called, where no layer names it.
    Left out: its kind."""
    file: Path | None = None
    """A layer, in place of a drawing: GeoPackage, GeoJSON, shapefile or KML.
    Left out: it is drawn here."""
    layer: str | None = None
    """As of [other layers](#layers).
    Left out: the only one."""
    crs: str | None = None
    """As of [other layers](#layers).
    Left out: what the file states."""
    name_field: str = "name"
    """Column of the layer that names each."""
    at: list[Point] | None = Field(default=None, min_length=1)
    """Drawn as one point or several."""
    along: list[Point] | None = Field(default=None, min_length=2)
    """Drawn as a line."""
    around: list[Point] | None = Field(default=None, min_length=3)
    """Drawn as the corners of an area."""
    distance: Length | None = None
    """To keep.
    Left out: the rule's."""
    crown: Length | None = None
    """Diameter of a tree's crown, of all of a layer."""
    crown_field: str = "crown"
    """Column with that of each."""
    height: Length | None = None
    """Height of a wall or fill, of all of a layer."""
    height_field: str = "height"
    """Column with that of each."""
    depth: Length | None = None
    """Depth of rock or wet ground below the ground, of all of a layer."""
    depth_field: str = "depth"
    """Column with that of each."""

    @field_validator("what")
    @classmethod
    def _known(cls, given: str) -> str:
        kind = " ".join(given.lower().split())
        if kind not in SHAPES:
            near = difflib.get_close_matches(kind, SHAPES, 1, 0)
            raise ValueError(f"'{given}' is no kind of thing to keep clear of; the nearest is "
                             f"'{near[0]}'")
        return kind

    @field_validator("at", mode="before")
    @classmethod
    def _one_or_many(cls, given: Any) -> Any:
        single = isinstance(given, list) and given and not isinstance(given[0], list)
        return [given] if single else given

    @model_validator(mode="after")
    def _drawn_once(self) -> KeepClear:
        given = [name for name in ("file", "at", "along", "around")
                 if getattr(self, name) is not None]
        if len(given) != 1:
            raise ValueError("what to keep clear of lies in a layer (file) or is drawn here, at "
                             "points (at), along a line (along) or around an area (around)"
                             + (f"; {' and '.join(given)} are given" if given else ""))
        if self.file is None and (self.layer is not None or self.crs is not None):
            raise ValueError("layer and crs are those of a file, and none is named")
        shape = {"at": "point", "along": "line", "around": "area"}.get(given[0])
        if shape is not None and shape not in SHAPES[self.what]:
            raise ValueError(f"a {self.what} is no {shape}; draw it {or_drawn(self.what)}")
        return self

    @model_validator(mode="after")
    def _measures(self) -> KeepClear:
        for field, kinds in (("crown", ("tree",)), ("height", HIGH), ("depth", DEEP)):
            if getattr(self, field) is not None and self.what not in kinds:
                raise ValueError(f"{field} is that of a {' or '.join(kinds)}, and this is a "
                                 f"{self.what}")
        if self.file is not None:
            return self
        if self.what == "tree" and self.at is not None and (self.crown is None
                                                            and self.distance is None):
            raise ValueError("a tree drawn as a point needs the width of its crown (crown), or a "
                             "distance")
        if self.what in HIGH and self.height is None and self.distance is None:
            raise ValueError(f"a {self.what} needs its height, or a distance")
        if self.what in DEEP and self.depth is None:
            raise ValueError(f"{self.what} needs the depth at which it lies (depth)")
        return self


def or_drawn(kind: str) -> str:
    """In what fields a kind of thing may be drawn, in words."""
    fields = {"point": "as points (at)", "line": "as a line (along)", "area": "as an area (around)"}
    return " or ".join(fields[shape] for shape in SHAPES[kind])
