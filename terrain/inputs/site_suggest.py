"""Fields of the site file about the search for a layout: what is wanted of it, and its limits."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal

from pydantic import Field, field_validator, model_validator

from terrain.inputs.fields import Hours, Length, Part, Point, Rate, Volume

#: What a layout is to do best.
Aim = Literal["water in a year", "water in a storm", "trees in a dry year", "storm leaving",
              "erosion"]
AIMS: tuple[str, ...] = Aim.__args__  # type: ignore[attr-defined]
#: Works that are sought.
Kind = Literal["swale", "wall", "dug basin", "road basin", "tree row"]
KINDS: tuple[Kind, ...] = Kind.__args__  # type: ignore[attr-defined]
#: Places that are looked at if not told, and at most.
USUAL_PLACES, MOST_PLACES = 2000, 20_000


class KeepOut(Part):
    """Ground on which nothing is to be dug: a layer's areas, or drawn in the site file."""

    file: Path | None = None
    layer: str | None = None
    crs: str | None = None
    around: list[Point] | None = Field(default=None, min_length=3)
    name: str | None = None

    @model_validator(mode="after")
    def _drawn_once(self) -> KeepOut:
        if (self.file is None) == (self.around is None):
            raise ValueError("ground to keep out of lies in a layer (file) or is drawn here "
                             "(around)")
        if self.file is None and (self.layer is not None or self.crs is not None):
            raise ValueError("layer and crs are those of a file, and none is named")
        return self


class NewTrees(Part):
    """The trees to plant in rows of bowls or crescents."""

    crown: Length = 3.0
    spacing: Length | None = None
    tree: str | None = None
    plant_factor: float | None = Field(default=None, gt=0, le=1.5)

    @model_validator(mode="after")
    def _room(self) -> NewTrees:
        if self.spacing is not None and self.spacing < self.crown * (1 - 1e-3):
            raise ValueError("the trees would stand closer than their crowns are wide")
        return self


class Suggest(Part):
    """What a suggested layout is to do, and what it may cost."""

    aim: Aim | None = None
    storm: str | None = None
    budget: float | None = Field(default=None, gt=0)
    machine_hours: Hours | None = None
    earth: Volume | None = None
    water_at_bank: Length | None = None
    sill_at_least: Length | None = None
    infiltration: Rate | None = None
    already_dug: list[str] | Literal["all", "none"] = "none"
    kinds: list[Kind] = Field(default=list(KINDS), min_length=1)
    keep_out: list[KeepOut] = Field(default_factory=list)
    trees: NewTrees = Field(default_factory=NewTrees)
    places: int = Field(default=USUAL_PLACES, ge=10, le=MOST_PLACES)

    @field_validator("kinds", mode="before")
    @classmethod
    def _one_or_many(cls, given: Any) -> Any:
        return [given] if isinstance(given, str) else given

    @field_validator("keep_out", mode="before")
    @classmethod
    def _none_yet(cls, given: Any) -> Any:
        return [] if given is None else given

    @model_validator(mode="after")
    def _storm_of_a_storm(self) -> Suggest:
        if self.storm is not None and self.aim not in ("water in a storm", "storm leaving",
                                                       "erosion"):
            raise ValueError("a storm is named, and the aim is none of a storm (aim: water in a "
                             "storm, storm leaving or erosion)")
        return self
