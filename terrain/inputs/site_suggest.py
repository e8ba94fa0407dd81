"""Fields of the site file about the search for a layout: what is wanted of it, and its limits."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator, model_validator

from terrain.inputs.fields import Hours, Length, Part, Point, Rate, Volume, Written

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
    """A layer's areas.
    Left out: it is drawn here."""
    layer: str | None = None
    """As of [other layers](#layers).
    Left out: the only one."""
    crs: str | None = None
    """As of [other layers](#layers).
    Left out: what the file states."""
    around: list[Point] | None = Field(default=None, min_length=3)
    """Its corners, drawn here in place of a `file`."""
    name: str | None = None
    """What it is called."""

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
    """Diameter of the crown."""
    spacing: Length | None = None
    """Distance from tree to tree, no less than the crown.
    Left out: the crown."""
    tree: str | None = None
    """As of [tree basins](#tree-basins)."""
    plant_factor: float | None = Field(default=None, gt=0, le=1.5)
    """As of [tree basins](#tree-basins).
    Left out: that of the `tree`, else the rule `plant factor`, 0.5."""

    @model_validator(mode="after")
    def _room(self) -> NewTrees:
        if self.spacing is not None and self.spacing < self.crown * (1 - 1e-3):
            raise ValueError("the trees would stand closer than their crowns are wide")
        return self


class Suggest(Part):
    """What a suggested layout is to do, and what it may cost."""

    aim: Aim | None = None
    """What a layout is to do best.
    Left out: `water in a year` where there is a daily record, `water in a storm` where there is
    none."""
    storm: str | None = None
    """Name of the storm that the aims of a storm are of (`water in a storm`, `storm leaving`,
    `erosion`). With another `aim`, or with none stated, it is refused.
    Left out: the design storm."""
    budget: float | None = Field(default=None, gt=0)
    """The most that may be spent, in the `currency` under `money`, bringing the machine and
    fetching it again included; needs the block `money`.
    Left out: no limit."""
    machine_hours: Hours | None = None
    """The most hours of the machine.
    Left out: no limit."""
    earth: Volume | None = None
    """The most earth dug, as it lies in the ground; `200 yd3` is taken too.
    Left out: no limit."""
    water_at_bank: Length | None = None
    """Depth of water that a wall may hold. State more than the rule only if somebody licensed
    designs the bank.
    Left out: below the rule `embankment water` (0.9 m), from which on the rules for dams apply in
    many places."""
    sill_at_least: Length | None = None
    """Length of sill for which room is kept beside walls; swales shorter than that are left out.
    The plan sizes the sill itself.
    Left out: the rule `sill shortest`, 4 m."""
    infiltration: Rate | None = None
    """What hole tests took in: of every new work.
    Left out: half the table rate of each soil group."""
    already_dug: list[str] | Literal["all", "none"] = "none"
    """Names of the works that are dug. They stand in every layout and cost nothing more. Tanks,
    drains, natural hollows and what they lead to stand too; all other works of the file are weighed
    anew."""
    kinds: Annotated[list[Kind], Written(", ".join(f"`{kind}`" for kind in KINDS))] = Field(
        default=list(KINDS), min_length=1)
    """What is looked for, one or a list.
    Left out: all."""
    keep_out: list[KeepOut] = Field(default_factory=list)
    """Ground on which nothing is to be dug."""
    trees: NewTrees = Field(default_factory=NewTrees)
    """Of new tree rows."""
    places: int = Field(default=USUAL_PLACES, ge=10, le=MOST_PLACES)
    """How many places are looked at."""

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
