"""Fields of the site file about works: what is dug, built or set up."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator, model_validator

from terrain.inputs.fields import (
    Length,
    Level,
    Part,
    Point,
    Rain,
    Rate,
    Seepage,
    Span,
    Use,
    Volume,
)
from terrain.inputs.site_money import price_of_one
from terrain.inputs.site_tanks import TankerTopUp, WaterUse
from terrain.units import read_quantity

#: What a pump of a smallholding may lift; common practice, no source. [m3/s]
LEAST_PUMP, MOST_PUMP = 1e-6, 1.0


def _pump(given: Any, info: ValidationInfo) -> Any:
    """Whether there is a pump, or what it lifts. [m3/s]"""
    if given is None or isinstance(given, bool):
        return given or None
    if not isinstance(given, str) or not any(letter.isalpha() for letter in given):
        raise ValueError(f"'{given}' is neither true nor what a pump lifts with its unit, such "
                         "as 40 L/min or 2.4 m3/h")
    flow = read_quantity(given, "flow")
    if not LEAST_PUMP <= flow <= MOST_PUMP:
        raise ValueError(f"a pump that lifts '{given}' is no pump of a property; write it as "
                         "40 L/min or 2.4 m3/h")
    return flow


class _Work(Part):
    name: str = Field(min_length=1)
    spills_to: str | None = None
    pipe: list[Point] | None = Field(default=None, min_length=2)
    pipe_diameter: Length | None = None
    pump: Annotated[bool | float | None, BeforeValidator(_pump)] = None

    @model_validator(mode="after")
    def _pumps_somewhere(self) -> _Work:
        leads = self.pipe is not None or self.spills_to not in (None, "off site")
        if self.pump and not leads and not isinstance(self, Drain):  # a drain says it itself
            raise ValueError("a pump lifts water through a pipe or to the work that `spills to` "
                             "names, and neither is given")
        return self


class _DrawnFrom(_Work):
    """A work whose water people, animals or plants draw: a plain demand, or uses."""

    demand: Use = 0.0
    uses: list[WaterUse] = Field(default_factory=list)

    @model_validator(mode="after")
    def _uses_apart(self) -> _DrawnFrom:
        if self.demand and self.uses:
            raise ValueError("demand and uses are both given; list every use under uses")
        names = [use.name for use in self.uses]
        if len(set(names)) < len(names):
            twice = next(name for name in names if names.count(name) > 1)
            raise ValueError(f"two uses are called \"{twice}\"")
        if not isinstance(self, Tank) and any(use.grey_water for use in self.uses):
            raise ValueError("grey water is led on from a tank's uses only; give the use no grey "
                             "water here, or lift the water into a tank first")
        return self


class Trees(Part):
    """Trees alike along or below a swale or basin, which live from what it soaks in."""

    crown: Length
    count: int | None = Field(default=None, ge=1, le=500)
    spacing: Length | None = None
    tree: str | None = None
    plant_factor: float | None = Field(default=None, gt=0, le=1.5)

    @model_validator(mode="after")
    def _how_many(self) -> Trees:
        if (self.count is None) == (self.spacing is None):
            raise ValueError("trees need either a count or a spacing")
        return self


class Swale(_Work):
    """A level channel on contour: through a point, at a level near one, or along a drawn line."""

    kind: Literal["swale"]
    through: Point | None = None
    level: Level | None = None
    near: Point | None = None
    along: list[Point] | None = None
    radius: Length | None = None
    shape: Literal["trapezoid", "parabola", "vee"] = "trapezoid"
    length: Length | None = None
    depth: Length | None = None
    width: Length | None = None
    side_slope: float | None = Field(default=None, gt=0)
    solve: Literal["depth", "width", "length"] | None = None
    checks: Span | None = None
    soil: Literal["clay", "loam", "sand"] | None = None
    berm_side_slope: float | None = Field(default=None, gt=0)
    crest: Level | None = None
    sill_at: Point | None = None
    sill_length: Length | None = None
    rock_at: Length | None = None
    infiltration: Rate | None = None
    texture: str | None = None
    trees: Trees | None = None

    @field_validator("along", mode="before")
    @classmethod
    def _a_line(cls, given: Any) -> Any:
        if given is not None and not (isinstance(given, list) and len(given) > 1 and all(
                isinstance(point, list | tuple) for point in given)):
            raise ValueError("a drawn line (along) needs two points or more, such as "
                             "[[1, 2], [3, 4]]; one point is given as through")
        return given

    @model_validator(mode="after")
    def _one_start(self) -> Swale:
        starts = [name for name in ("through", "near", "along") if getattr(self, name) is not None]
        if len(starts) != 1:
            raise ValueError("a swale goes through a point (through), near a point at a level "
                             "(level and near) or along a drawn line (along)"
                             + (f", and {' and '.join(starts)} are given" if starts else ""))
        if (self.near is not None and self.level is None) or (
                self.through is not None and self.level is not None):
            raise ValueError("a level and a point near it (near) belong together")
        return self

    @model_validator(mode="after")
    def _one_section(self) -> Swale:
        if self.along is not None and (self.length is not None or self.solve == "length"):
            raise ValueError("a drawn line (along) gives the swale its length")
        if self.shape == "vee" and (self.width is not None or self.solve == "width"):
            raise ValueError("a vee has no bed, so it takes no width; give its side slope")
        if self.shape == "parabola" and None not in (self.width, self.side_slope):
            raise ValueError("the sides of a parabola follow from its depth and width, so it "
                             "takes no side slope beside a width")
        if self.solve is not None and getattr(self, self.solve) is not None:
            raise ValueError(f"its {self.solve} is both given and to be solved for")
        return self


class Basin(_DrawnFrom):
    """A pool behind a wall, a dug shape, or a wall with a pit behind it."""

    kind: Literal["basin"]
    wall: list[Point] | None = Field(default=None, min_length=2)
    crest: Level | None = None
    sill: Level | None = None
    dug: list[Point] | None = Field(default=None, min_length=3)
    depth: Length | None = None
    batter: float = Field(default=3.0, ge=0)
    sill_length: Length | None = None
    rock_at: Length | None = None
    holds_water: bool = False
    seepage: Seepage | None = None
    infiltration: Rate | None = None
    texture: str | None = None
    trees: Trees | None = None

    @model_validator(mode="after")
    def _forms(self) -> Basin:
        if self.wall is None and self.dug is None:
            raise ValueError("a basin has a wall with a crest, a dug shape with a depth, or both")
        if self.wall is not None and self.crest is None:
            raise ValueError("a wall needs a crest level")
        if self.wall is None and (self.crest is not None or self.sill is not None):
            raise ValueError("crest and sill are levels of a wall, and there is none")
        if self.dug is None and self.depth is not None:
            raise ValueError("a depth is that of a dug shape, and there is none")
        if self.dug is not None and self.wall is None and self.depth is None:
            raise ValueError("a dug shape needs a depth; only behind a wall may it be left out, "
                             "and is then what makes the spoil build the wall")
        if self.seepage is not None and not self.holds_water:
            raise ValueError("seepage is that of a pond meant to hold water (holds water: true)")
        if self.trees is not None and self.holds_water:
            raise ValueError("a pond meant to hold water (holds water: true) soaks in next to "
                             "nothing for trees")
        if self.trees is not None and self.trees.count is None:
            raise ValueError("the trees of a basin are given by their count; a spacing is along a "
                             "swale's line")
        if self.seepage is not None and (self.infiltration, self.texture) != (None, None):
            raise ValueError("seepage and infiltration or texture are both given; a pond loses "
                             "water at one rate")
        return self


class TreeBasin(_Work):
    """Bowls, crescents or trenches that water a tree each: at points, or in a row."""

    kind: Literal["tree basin"]
    form: Literal["bowl", "crescent", "trench"] = "bowl"
    at: list[Point] | None = Field(default=None, min_length=1)
    along: str | list[Point] | None = None
    spacing: Length | None = None
    count: int | None = Field(default=None, ge=1, le=500)
    first: Span | None = None
    last: Span | None = None
    crown: Length
    tree: str | None = None
    plant_factor: float | None = Field(default=None, gt=0, le=1.5)
    radius: Length | None = None
    depth: Length | None = None
    length: Length | None = None
    width: Length | None = None
    gravel_porosity: float | None = Field(default=None, ge=0.1, le=0.6)
    rock_at: Length | None = None
    infiltration: Rate | None = None
    texture: str | None = None

    @field_validator("at", mode="before")
    @classmethod
    def _one_or_many(cls, given: Any) -> Any:
        single = isinstance(given, list) and given and not isinstance(given[0], list)
        return [given] if single else given

    @field_validator("along", mode="before")
    @classmethod
    def _a_name_or_a_line(cls, given: Any) -> Any:
        if isinstance(given, str) or given is None:
            return given
        if not (isinstance(given, list) and len(given) > 1 and all(
                isinstance(point, list) and len(point) == 2 for point in given)):
            raise ValueError("along is neither a swale's name nor a line of two points or more, "
                             "such as [[1, 2], [3, 4]]")
        return given

    @model_validator(mode="after")
    def _places_and_sizes(self) -> TreeBasin:
        if (self.at is None) == (self.along is None):
            raise ValueError("tree basins stand either at points or along a swale or line")
        if self.along is not None and (self.spacing is None) == (self.count is None):
            raise ValueError("a row needs either a spacing or a count of its trees")
        if self.at is not None and (self.spacing is not None or self.count is not None):
            raise ValueError("spacing and count belong to a row (along)")
        if not isinstance(self.along, str) and (self.first is not None or self.last is not None):
            raise ValueError("first and last are stations of the swale that a row stands along")
        for field, form in (("radius", "crescent"), ("length", "trench"), ("width", "trench"),
                            ("gravel_porosity", "trench")):
            if getattr(self, field) is not None and self.form != form:
                raise ValueError(f"{field.replace('_', ' ')} belongs to a {form}, and this is a "
                                 f"{self.form}")
        return self


class Tank(_DrawnFrom):
    """A tank or barrel fed by roofs."""

    kind: Literal["tank"]
    at: Point
    volume: Volume
    height: Length | None = None
    roofs: list[str] = Field(default_factory=list)
    first_flush: Rain = 0.0
    first_flush_volume: Volume | None = None
    leaf_screen: Literal["basket", "self-cleaning", "none"] | None = None
    top_up: TankerTopUp | None = None
    joined_with: str | None = None
    price: Annotated[tuple[float, float] | None, BeforeValidator(price_of_one)] = None
    made_of: Literal["plastic", "steel", "ferrocement"] = "plastic"

    @model_validator(mode="after")
    def _one_of_each(self) -> Tank:
        if self.first_flush and self.first_flush_volume is not None:
            raise ValueError("the first flush is given as a depth of rain and as a volume too")
        low = 0.0 if self.top_up is None else (
            self.top_up.below[1] or (self.top_up.below[0] or 0.0) * self.volume)
        if self.joined_with is not None:
            own = {"demand": self.demand, "uses": self.uses, "top up": self.top_up,
                   "spills to": self.spills_to, "pipe": self.pipe, "pump": self.pump,
                   "first flush": self.first_flush or self.first_flush_volume,
                   "leaf screen": self.leaf_screen, "height": self.height}
            first = next((field for field, given in own.items() if given), None)
            if first is not None:
                raise ValueError(f"it is joined with \"{self.joined_with}\", and {first} "
                                 "belongs to that one")
        elif self.top_up is not None and low >= self.volume:
            raise ValueError("the top-up comes before the tank is below full")
        return self


class Hollow(_DrawnFrom):
    """A natural hollow of the ground that the owner knows to be real; `at` is a point in it."""

    kind: Literal["hollow"]
    at: Point
    infiltration: Rate | None = None
    texture: str | None = None


class Drain(_Work):
    """A channel at a steady grade from a point to another work or point."""

    kind: Literal["drain"]
    from_: Point = Field(alias="from")
    to: str | Point
    grade: float | None = None
    width: Span | None = None
    depth: Length | None = None
    side_slope: float | None = Field(default=None, gt=0)
    lining: Literal["bare", "grass", "stone"] = "bare"
    soil: Literal["clay", "loam", "sand"] = "loam"
    rock_at: Length | None = None

    @field_validator("to", mode="before")
    @classmethod
    def _work_or_point(cls, given: Any) -> Any:
        pair = isinstance(given, list) and len(given) == 2
        if not (isinstance(given, str) and given.strip()) and not (
                pair and all(isinstance(v, int | float) for v in given)):
            raise ValueError(f"'{given}' is neither a work's name nor a point such as [1, 2]")
        return tuple(given) if pair else given

    @field_validator("grade", mode="before")
    @classmethod
    def _as_share(cls, given: Any) -> Any:
        if given is None:
            return None
        text = str(given).strip()
        try:
            grade = float(text[:-1]) / 100 if text.endswith("%") else float(text)
        except ValueError:
            raise ValueError(f"'{given}' is not a grade such as 0.4 %") from None
        if not grade > 0:
            raise ValueError(f"a grade of {grade:g} does not fall; a drain falls by 0.2 to 0.5 %")
        if grade > 0.5:
            raise ValueError(f"a grade of {grade:.0%} is no drain's; a figure without % is a fall "
                             "over length, such as 0.004 for 0.4 %")
        return grade

    @model_validator(mode="after")
    def _leads_one_way(self) -> Drain:
        if (self.spills_to, self.pipe, self.pipe_diameter, self.pump) != (None,) * 4:
            raise ValueError("a drain leads to what its `to` names, and takes no spill, pipe or "
                             "pump of its own")
        return self


Work = Annotated[Swale | Basin | TreeBasin | Tank | Hollow | Drain, Field(discriminator="kind")]
#: Works whose water may be drawn.
DRAWN_FROM = (Tank, Basin, Hollow)
