"""Fields of the site file about works: what is dug, built or set up."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator, model_validator

from terrain.inputs.fields import (
    Bed,
    Bore,
    Crown,
    Depth,
    Length,
    Level,
    Part,
    Point,
    Rain,
    Rate,
    Seepage,
    Span,
    TankVolume,
    Use,
    Volume,
    Written,
)
from terrain.inputs.site_money import PRICE_OF_ONE, Range, price_of_one
from terrain.inputs.site_tanks import TankerTopUp, WaterUse
from terrain.units import read_quantity

#: What `spills to` says of water that leaves the site.
OFF_SITE = "off site"
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
    """What it is called; no two alike."""
    spills_to: str | None = None
    """Another work's name, or `off site`.
    Left out: the way of the water over the ground."""
    pipe: list[Point] | None = Field(default=None, min_length=2)
    """Points of a pipe; the spill comes out at its end."""
    pipe_diameter: Bore | None = None
    """Its width, held against what it must carry.
    Left out: 100 mm, told as an assumption."""
    pump: Annotated[bool | float | None, BeforeValidator(_pump),
                    Written("`true`, or flow with its unit (`40 L/min`, `2.4 m3/h`)")] = None
    """`true` is taken to lift all that spills; else what it lifts.
    Left out: none; a spill or pipe goes downhill."""

    @field_validator("name")
    @classmethod
    def _is_a_name(cls, name: str) -> str:
        if name == OFF_SITE:
            raise ValueError(f"no work can be called {OFF_SITE}, as a spill to that leaves the "
                             "site; give it another name")
        return name

    @model_validator(mode="after")
    def _pumps_somewhere(self) -> _Work:
        leads = self.pipe is not None or self.spills_to not in (None, OFF_SITE)
        if self.pump and not leads and not isinstance(self, Drain):  # a drain says it itself
            raise ValueError("a pump lifts water through a pipe or to the work that `spills to` "
                             "names, and neither is given")
        return self


class _DrawnFrom(_Work):
    """A work whose water people, animals or plants draw: a plain demand, or uses."""

    demand: Use = 0.0
    """Water drawn a day."""
    uses: list[WaterUse] = Field(default_factory=list)
    """The same, use by use, the first served first."""

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

    crown: Crown
    """Diameter of each crown."""
    count: int | None = Field(default=None, ge=1, le=500)
    """How many.
    Left out: as many as stand along a swale by their `spacing`."""
    spacing: Length | None = None
    """Of a swale, in place of `count`: how far apart along its line, the first at its start. Along
    a swale no closer than their crowns are wide."""
    tree: str | None = None
    """As of a [tree basin](#tree-basins)."""
    plant_factor: float | None = Field(default=None, gt=0, le=1.5)
    """As of a [tree basin](#tree-basins).
    Left out: that of the `tree`, else the rule `plant factor`, 0.5."""

    @model_validator(mode="after")
    def _how_many(self) -> Trees:
        if (self.count is None) == (self.spacing is None):
            raise ValueError("trees need either a count or a spacing")
        return self


class Swale(_Work):
    """A level channel on contour: through a point, at a level near one, or along a drawn line."""

    kind: Literal["swale"]
    """This kind of work."""
    through: Point | None = None
    """A point on its contour."""
    level: Level | None = None
    """Level of its contour, with a point `near` it; or of a line drawn `along`, in place of that of
    its median ground."""
    near: Point | None = None
    """The point near that contour."""
    along: list[Point] | None = None
    """A drawn line, pulled on to the contour of its median ground (or of `level`), which gives the
    length."""
    radius: Length | None = None
    """Least radius of its bends.
    Left out: 3 m."""
    shape: Literal["trapezoid", "parabola", "vee"] = "trapezoid"
    """Of its section; a parabola is a dish."""
    length: Length | None = None
    """Along the contour.
    Left out: 60 m, or longer where that holds the design storm."""
    depth: Depth | None = None
    """Of water.
    Left out: what holds the design storm, between 0.2 and 0.5 m."""
    width: Bed | None = None
    """Of the bed; of a parabola its water at the sill; none of a vee.
    Left out: 0.6 m; of a parabola what makes its edges as steep as the side slope."""
    side_slope: float | None = Field(default=None, gt=0)
    """Horizontal over vertical.
    Left out: 2."""
    solve: Literal["depth", "width", "length"] | None = None
    """The one size to find so that it holds the design storm."""
    checks: Span | None = None
    """Spacing of earth ties in its bed, `0` for none.
    Left out: 12 m in lines over 150 m and where the ground leaves the level by more than the rule
    `level tolerance`."""
    soil: Literal["clay", "loam", "sand"] | None = None
    """Of its berm.
    Left out: by soil group: A sand, B and C loam, D clay."""
    berm_side_slope: float | None = Field(default=None, gt=0)
    """Horizontal over vertical.
    Left out: by soil."""
    crest: Level | None = None
    """Level of the settled berm.
    Left out: the water at the design peak and the rule `berm freeboard`."""
    sill_at: Point | None = None
    """Where its sill is.
    Left out: where the overflow does least harm."""
    sill_length: Length | None = None
    """How long the sill is.
    Left out: what the design storm needs."""
    rock_at: Length | None = None
    """Depth of rock below the ground, below which nothing is dug.
    Left out: none is met."""
    infiltration: Rate | None = None
    """Rate from a hole test (`levelsill soak` prints the line).
    Left out: by its texture, else by its soil group."""
    texture: str | None = None
    """Of its soil, [as above](#works), where no hole was tested.
    Left out: the soil group counts."""
    trees: Trees | None = None
    """Trees [along or below it](#trees-beside-a-swale-or-basin) that live from what it soaks in,
    such as `{crown: 3 m, spacing: 5 m, tree: olive}`."""

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
    """This kind of work."""
    wall: list[Point] | None = Field(default=None, min_length=2)
    """Line of its wall."""
    crest: Level | None = None
    """Level of the wall once it has settled."""
    sill: Level | None = None
    """Level of its spillway.
    Left out: 0.45 m under the crest."""
    dug: list[Point] | None = Field(default=None, min_length=3)
    """Corners of its rim; with a `wall`, of a pit in the pool whose spoil builds the wall."""
    depth: Depth | None = None
    """Below the lowest ground on the rim.
    Left out: of a pit behind a wall, what makes the usable cut of pit and cut-off trench equal the
    fill (compacted), and the earth of the spillway, which is sized later, is left over beside it. A
    depth stated is kept, and the report says what is left over or must be brought."""
    batter: float = Field(default=3.0, ge=0)
    """Side slope of what is dug, horizontal over vertical."""
    sill_length: Length | None = None
    """How long the sill is.
    Left out: what the design storm needs."""
    rock_at: Length | None = None
    """Depth of rock below the ground, below which nothing is dug.
    Left out: none is met."""
    holds_water: bool = False
    """`true` for a pond meant to hold water: the report then tells its months."""
    seepage: Seepage | None = None
    """What such a pond loses, such as `3 mm/day`.
    Left out: the rate of its soil, told as a default."""
    infiltration: Rate | None = None
    """Rate from a hole test (`levelsill soak` prints the line).
    Left out: by its texture, else by its soil group."""
    texture: str | None = None
    """Of its soil, [as above](#works), where no hole was tested.
    Left out: the soil group counts."""
    trees: Trees | None = None
    """Of a basin that soaks in: [trees below it](#trees-beside-a-swale-or-basin)."""

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
    """This kind of work."""
    form: Literal["bowl", "crescent", "trench"] = "bowl"
    """`bowl`: round, under the drip line, level floor, trunk on a mound; `crescent`: an arc bund on
    a slope, open uphill, its ends on one contour, the trunk at the arc's centre; `trench`: level,
    along the contour at the drip line uphill of the tree."""
    at: list[Point] | None = Field(default=None, min_length=1)
    """The trunks, one or several."""
    along: str | list[Point] | None = None
    """Instead of `at`, a row: the name of a swale, the trees then stand below the toe of its berm,
    clear of it; or a line of points, such as that of a downspout. A row below a swale is fed by its
    own ground and by what spills over the swale's sill, no seepage is counted; `spills to` at the
    swale leads the spill to the row's first tree."""
    spacing: Length | None = None
    """Of a row: distance of the trees, from the row's start on, no closer than their crowns are
    wide.
    Left out: `count` tells it."""
    count: int | None = Field(default=None, ge=1, le=500)
    """Of a row: how many, from end to end, no closer than their crowns are wide.
    Left out: `spacing` tells it."""
    first: Span | None = None
    """Station of the swale from which on the row stands.
    Left out: its start."""
    last: Span | None = None
    """Station of the swale at which the row ends.
    Left out: its end."""
    crown: Crown
    """Diameter of the crown."""
    tree: str | None = None
    """A kind, of those below, whose mid-season crop coefficient is the plant factor."""
    plant_factor: float | None = Field(default=None, gt=0, le=1.5)
    """Water that the tree uses over reference evapotranspiration; overrules `tree`.
    Left out: that of the `tree`, else the rule `plant factor`, 0.5."""
    radius: Length | None = None
    """Of a crescent, from the trunk to the bund's inner foot: at least half the crown.
    Left out: 1 to 4 m."""
    depth: Depth | None = None
    """Of a bowl, of the water at a crescent's toe, of a trench (refused above 1.5 m).
    Left out: of a bowl 0.15 to 0.3 m, of a crescent at most 0.3 m, of a trench 0.3 to 0.6 m."""
    length: Length | None = None
    """Of a trench.
    Left out: the crown's width."""
    width: Bed | None = None
    """Of a trench.
    Left out: 0.6 m."""
    gravel_porosity: float | None = Field(default=None, ge=0.1, le=0.6)
    """Share of pores where a trench is filled with gravel.
    Left out: it stays open."""
    rock_at: Length | None = None
    """Depth of rock below the ground, below which no bowl or trench is dug.
    Left out: none is met."""
    infiltration: Rate | None = None
    """Rate from a hole test (`levelsill soak` prints the line).
    Left out: by its texture, else by its soil group."""
    texture: str | None = None
    """Of its soil, [as above](#works), where no hole was tested.
    Left out: the soil group counts."""

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
    """This kind of work."""
    at: Point
    """Where it stands."""
    volume: TankVolume
    """What it holds."""
    height: Length | None = None
    """Of its overflow above the ground, which counts where water goes in and, through a `pipe` or a
    pump, for its spill: without them the spill starts from the ground at the tank.
    Left out: 2 m, told as an assumption."""
    roofs: list[str] = Field(default_factory=list)
    """Names of the roofs that feed it."""
    first_flush: Rain = 0.0
    """Rain turned away at the start of each day's storm."""
    first_flush_volume: Volume | None = None
    """What the chamber on the downspout holds, instead of a depth of rain."""
    leaf_screen: Literal["basket", "self-cleaning", "none"] | None = None
    """`basket`, which loses no water; `self-cleaning`, over which a tenth runs off with the leaves
    (rule `screen loss`); or `none`.
    Left out: none is reckoned with."""
    top_up: TankerTopUp | None = None
    """A tanker that comes when it runs low."""
    joined_with: str | None = None
    """Another tank, with which it is joined below: the two are one store of both volumes and both
    tanks' `roofs`. Demand, uses, top-up, first flush, leaf screen and spill are then those of the
    other."""
    price: Annotated[Range | None, BeforeValidator(price_of_one), PRICE_OF_ONE] = None
    """Of the tank set up; 0 for one that stands already.
    Left out: `money`'s rate for what it holds."""
    made_of: Literal["plastic", "steel", "ferrocement"] = "plastic"
    """How long it lasts goes by it, by the rules."""

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
    """This kind of work."""
    at: Point
    """A point in a natural hollow, under its water when it is full."""
    infiltration: Rate | None = None
    """Rate from a hole test (`levelsill soak` prints the line).
    Left out: by its texture, else by its soil group."""
    texture: str | None = None
    """Of its soil, [as above](#works), where no hole was tested.
    Left out: the soil group counts."""


class Drain(_Work):
    """A channel at a steady grade from a point to another work or point."""

    kind: Literal["drain"]
    """This kind of work."""
    from_: Point = Field(alias="from")
    """Where it begins."""
    to: str | Point
    """The name of a work on the ground, or a point."""
    grade: Annotated[float | None, Written("share, up to 50 %")] = None
    """Its fall over length: `0.4 %`, or `0.004`.
    Left out: the rule `drain grade` (0.3 %), or the nearest grade at which the line arrives, and
    the notes say which."""
    width: Span | None = None
    """Of the bed; 0 makes a vee.
    Left out: 0.4 m, or as wide as keeps the water shallow and slow enough, up to 2 m."""
    depth: Depth | None = None
    """From its lip to its bed.
    Left out: the water of the design peak and the freeboard."""
    side_slope: float | None = Field(default=None, gt=0)
    """Horizontal over vertical.
    Left out: 2."""
    lining: Literal["bare", "grass", "stone"] = "bare"
    """What its bed is."""
    soil: Literal["clay", "loam", "sand"] = "loam"
    """Clay resists the water, the others are taken as easily eroded."""
    rock_at: Length | None = None
    """Depth of rock below the ground, below which nothing is dug.
    Left out: none is met."""

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
