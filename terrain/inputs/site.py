"""The site file: a property described in YAML, read into a checked `Site`.

Every field error is told with the file, the line and the field.  Points are
kept as written; whoever knows the raster moves them into its working frame.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal, Self, TypeVar

from pydantic import Field, PrivateAttr, field_validator, model_validator

from terrain.errors import InputError
from terrain.inputs.described import Described, read_described
from terrain.inputs.fields import (
    Area,
    Length,
    Level,
    Part,
    Point,
    Radius,
    Rain,
    SoilGroup,
    Span,
    Written,
)
from terrain.inputs.site_doubt import Doubts
from terrain.inputs.site_keep_clear import KeepClear
from terrain.inputs.site_money import Money
from terrain.inputs.site_rain import RainInputs, Weather
from terrain.inputs.site_setting_out import SettingOutSpec
from terrain.inputs.site_suggest import Suggest
from terrain.inputs.site_tanks import GutterSpec
from terrain.inputs.site_works import Work
from terrain.inputs.survey_points import checked_columns
from terrain.inputs.voids import FILL_UP_TO
from terrain.units import in_both, told_first

if TYPE_CHECKING:
    import pandas


class Elevation(Part):
    """The elevation raster, tiles or surveyed points, and what they do not say of themselves."""

    file: Annotated[list[Path], Written("file's name, or list of them")] = Field(min_length=1)
    """A raster, tiles or surveyed points, as above: one, a list, a pattern or a folder."""
    crs: str | None = None
    """Its coordinate system, such as `EPSG:32734`.
    Left out: what the file states."""
    plan_unit: Literal["m", "ft", "us-ft"] | None = None
    """Unit of the plan, if there is no coordinate system at all.
    Left out: that of the coordinate system."""
    height_unit: Literal["m", "ft", "us-ft"] | None = None
    """Unit of the heights, if the file does not state it or states it wrongly.
    Left out: what the file states."""
    nodata: float | None = None
    """What marks holes, as the file stores it.
    Left out: what the file states."""
    fill_holes_up_to: Area = FILL_UP_TO
    """Holes of the raster up to this area that known ground encloses are filled from their rims,
    and counted; `0` fills none."""
    breach_depth: Span = 0.0
    """Hollows are cut open, in the surface that water is led over, where a channel no deeper than
    this and no longer than `breach length` does it. For roughness of the survey: 0.2 m and 10 m,
    say; deeper than that a hollow may be real, or a bank that wants its culvert drawn.
    Left out: none are."""
    breach_length: Span = 0.0
    """See `breach depth`, with which it goes.
    Left out: none are."""
    cell: Length | None = None
    """For points: side of a cell.
    Left out: half the median distance from a point to its nearest neighbour, rounded down to 1, 2
    or 5."""
    columns: tuple[str, ...] | None = None
    """For points: what each column is, such as `point y x z code`, with `-` for one not used.
    Left out: as their heads say."""

    @model_validator(mode="after")
    def _both_bounds(self) -> Elevation:
        if (self.breach_depth > 0) != (self.breach_length > 0):
            raise ValueError("breaching needs both a breach depth and a breach length above 0")
        return self

    @field_validator("file", mode="before")
    @classmethod
    def _one_or_several(cls, given: Any) -> Any:
        return [given] if isinstance(given, str | Path) else given

    @field_validator("columns", mode="before")
    @classmethod
    def _known_columns(cls, given: Any) -> Any:
        return checked_columns(given) if isinstance(given, str | list) else given


class Layer(Part):
    """A vector layer of the site."""

    file: Path
    """GeoPackage, GeoJSON, shapefile or KML, in any coordinate system."""
    layer: str | None = None
    """Which layer, if the file holds several.
    Left out: the only one."""
    crs: str | None = None
    """Its coordinate system, such as `EPSG:32734`.
    Left out: what the file states."""

    _ordered_by: str | None = PrivateAttr(default=None)

    @property
    def ordered_by(self) -> str | None:
        """The column that says in which order features stand, where only those are to be read that
        lie near what is looked at; None where all are, in the file's own order."""
        return self._ordered_by

    def kept_in(self, file: Path, ordered_by: str) -> Self:
        """The same layer as a copy holds it: in the working frame, to be read part by part."""
        found = self.model_copy(update={"file": file, "layer": None, "crs": None})
        found._ordered_by = ordered_by
        return found


class NamedLayer(Layer):
    """A vector layer whose features have a name each."""

    name_field: str = "name"
    """Column that names each."""


class GroundLayer(Layer):
    """A layer of the ground, or one word that holds for all of it."""

    #: Fields that say nothing without a layer, and hint that one was meant.
    FOR_A_FILE: ClassVar[tuple[str, ...]] = ("layer", "crs")

    file: Path | None = None  # type: ignore[assignment]  # who reads it looks whether there is one
    """As of any layer.
    Left out: all ground is as `otherwise` says."""

    @model_validator(mode="after")
    def _file_or_otherwise(self) -> Self:
        if self.file is not None:
            return self
        if "file" in self.model_fields_set:
            raise ValueError("its file has no name; name one, or leave the line out")
        if getattr(self, "otherwise", None) is None:
            raise ValueError("neither a layer (file) nor what holds for all the ground "
                             "(otherwise) is stated")
        needless = [name for name in self.FOR_A_FILE if name in self.model_fields_set]
        if needless:
            raise ValueError(f"{' and '.join(needless)} would say how a layer is read, and none "
                             "is named (file)")
        return self


class Cover(GroundLayer):
    """What covers the ground: polygons with a class, or a raster of class codes.

    Areas `drawn` take the place of either where they lie; the columns, and what `classes` says
    of words, are the same for both.
    """

    FOR_A_FILE = ("layer", "crs", "codes")

    field: str = "cover"
    """Column that holds a class of the [list](#classes-of-cover), or your own word."""
    classes: Annotated[dict[str, str], Written("words with classes")] = Field(default_factory=dict)
    """Translates your own words or a raster's codes into classes of the list, such as `{veld:
    "herbaceous range, fair"}`; with `codes` it overrules single ones."""
    codes: Literal["worldcover", "nlcd"] | None = None
    """Which public class list the codes of a raster are of ([what each stands
    for](#curve-numbers)). `file` may be such a raster (`.tif`, `.tiff`, `.vrt`, `.img`, `.asc`).
    Left out: `classes` translates every code."""
    otherwise: str | None = None
    """Class where nothing lies.
    Left out: ground that counts and has none is refused."""
    table: Path | None = None
    """A CSV of [your own curve numbers](#curve-numbers)."""
    drawn: Layer | None = None
    """A layer of polygons, as `{file: yard.gpkg, layer: yards}`, that count in place of `file`
    where they lie (the later of two that overlap): yards, roofs and tracks that a raster cannot
    show. Its columns are named as those of `cover`, `classes` holds for it too, and each of its
    polygons needs a class; a note says how much of the ground still rests on `file`."""
    impervious_field: str = "impervious"
    """Column of percentages: how much of an area is [roof and paving](#curve-numbers)."""
    unconnected_field: str = "unconnected"
    """Column of percentages: how much of that drains over soil first."""

    @field_validator("classes", mode="before")
    @classmethod
    def _codes_as_text(cls, given: Any) -> Any:
        return ({str(key): value for key, value in given.items()} if isinstance(given, dict)
                else given)


class Soils(GroundLayer):
    """Hydrologic soil groups: polygons with a group."""

    FOR_A_FILE = ("layer", "crs", "table")

    field: str = "group"
    """Column with the hydrologic soil group, or a dual group `A/D`, `B/D`, `C/D`."""
    otherwise: SoilGroup | None = None
    """Group where nothing lies.
    Left out: ground that counts and has none is refused."""
    drained: bool = False
    """A dual group counts as the second of its two, or as the first where this is `true`."""
    table: Path | None = None
    """A CSV that gives each key of the areas its group, where they hold only a [map-unit
    key](#curve-numbers)."""
    key: str = "mukey"
    """Column, in areas and table, by which they are joined."""


class Roads(NamedLayer):
    """Road lines; their width from a field, or one width for all."""

    width_field: str = "width"
    """Column with the width of each."""
    width: Length | None = None
    """Width of all that state none.
    Left out: 3.5 m, told as an assumption."""
    cover_field: str = "cover"
    """Column with the class of cover of each."""
    cover: str = "dirt road"
    """Class of all that state none."""
    soil: Literal["clay", "loam", "sand"] = "loam"
    """For the spacing of turn-outs: clay resists the water, the others are taken as easily eroded.
    """


class Roofs(NamedLayer):
    """Roof outlines in plan, and what share of the rain on them reaches the gutter."""

    efficiency: float = Field(default=0.9, gt=0, le=1)
    """Share of rain that reaches the gutter, of all roofs that do not state their own."""
    efficiency_field: str = "efficiency"
    """Column with the share of each."""
    material: str | None = None
    """Tells the share instead, of the list under [Roofs and gutters](#roofs-and-gutters), of all.
    """
    material_field: str | None = None
    """Column with the material of each."""
    gutters: list[GutterSpec] = Field(default_factory=list)
    """What hangs on them."""
    gutter_return_period: float | None = Field(default=None, ge=1, le=1000)
    """How rare, in years, the cloudburst is that gutters are held against.
    Left out: the rule `gutter return period`, 10 years."""


class Culverts(NamedLayer):
    """Culvert and bridge lines, and perhaps the diameter of each pipe."""

    diameter_field: str = "diameter"
    """Column with the width of each pipe with its unit, such as `450 mm`, held against what it must
    carry."""


class Runoff(Part):
    """How rain becomes runoff, and how the runoff travels."""

    antecedent: Literal["I", "II", "III"] = "II"
    """Antecedent runoff condition of the storms: `I` dry, `II` average, `III` wet."""
    abstraction_ratio: Annotated[float, Written("`0.2`, `0.05`")] = 0.2
    """Initial abstraction over retention; with 0.05 curve numbers are converted."""
    loss_on_the_way: bool = False
    """`true`: runoff that crosses ground which could still take water soaks in on the way; `false`:
    all of it arrives."""
    soil_moisture: Literal["continuous", "average"] | None = None
    """Of the years: `average` keeps curve numbers at average wetness on every day; `continuous`
    lets them follow the wetness of the soil, from dry to wet. Where evapotranspiration is known the
    average year stands in the report both ways.
    Left out: `average`."""
    travel_time: Literal["segments", "lag"] | None = None
    """`segments`: sheet, shallow and channel flow along the longest path; `lag`: the watershed lag
    equation.
    Left out: `segments` where the 2-year day is known, else `lag`."""
    peak_factor: float = Field(default=484.0, ge=100, le=600)
    """Peak rate factor of the unit hydrograph: low on flat swampy ground, high on steep rough
    ground."""
    channel_from: Area = 20_000.0
    """Area above which the path runs in a channel."""
    channel_roughness: float = Field(default=0.035, ge=0.005, le=0.3)
    """Manning's n of that channel."""
    channel_radius: Radius = 0.15
    """Hydraulic radius of that channel."""

    @field_validator("abstraction_ratio")
    @classmethod
    def _published_ratio(cls, given: float) -> float:
        if given not in (0.2, 0.05):
            raise ValueError(f"the ratio {given:g} is neither 0.2 nor 0.05, for which curve "
                             "numbers are published")
        return given


class Benchmark(Part):
    """A fixed point of known level from which stakes are set."""

    at: Point
    """Where it is."""
    level: Level
    """Its level."""
    staff_reading: Length | None = None
    """Reading on it where your level stands already; the stakes then carry staff readings, from
    further set-ups where one does not reach.
    Left out: levels only."""


class Land(Described):
    """Ground and rain, as files describe them.

    Attributes are the fields of the file.
    """

    name: str
    """The property's name, printed on everything."""
    points: Literal["raster", "lonlat"] = "raster"
    """`raster`: points are `[x, y]` in the raster's own coordinate system; `lonlat`: longitude and
    latitude."""
    date: Annotated[str | None, Written("day")] = None
    """The day that pages are dated with, such as `2026-03-14`.
    Left out: that of `SOURCE_DATE_EPOCH`, or none: never today's, so that the same inputs give the
    same pages."""
    elevation: Elevation
    """Heights of the ground."""
    cover: Cover
    """What covers the ground: polygons, or a raster of class codes."""
    soils: Soils
    """Hydrologic soil groups: polygons."""
    roads: Roads | None = None
    """Lines."""
    roofs: Roofs | None = None
    """Outlines seen from above, tarpaulins and awnings among them."""
    culverts: Culverts | None = None
    """Lines, each from where water goes into a pipe or under a bridge to where it comes out, on the
    ground on both sides of the bank. The bank is cut along them in the surface that water is led
    over."""
    keep_clear: list[KeepClear] = Field(default_factory=list)
    """What works are to stay away from."""
    runoff: Runoff = Field(default_factory=Runoff)
    """How rain becomes runoff, and how that travels."""
    rain: RainInputs
    """The storms to plan for and the daily record."""
    evapotranspiration: list[Rain] | None = Field(default=None, min_length=12, max_length=12)
    """Twelve monthly depths of reference evapotranspiration, January first; not together with
    `weather`."""
    weather: Weather | None = None
    """Gives the evapotranspiration of every day instead."""
    money: Money | None = None
    """What things cost here; without it no money is printed."""
    suggest: Suggest | None = None
    """What `levelsill suggest` is to look for ([suggest.md](suggest.md)). Planning does not read
    it."""
    rules: Annotated[dict[str, str | float], Written("names with figures")] = Field(
        default_factory=dict)
    """Overrules figures of the trade by name, such as `{berm freeboard: 0.2 m}`; the report lists
    all with their sources, on a site in US units with the figures of `terrain/works/us_figures.py`.
    """

    @field_validator("date", mode="before")
    @classmethod
    def _a_day(cls, given: Any) -> Any:
        """The day that pages are dated with, as YYYY-MM-DD."""
        if given is None:
            return None
        try:
            return dt.date.fromisoformat(str(given)).isoformat()
        except ValueError:
            raise ValueError(f"'{given}' is not a day such as 2026-03-14") from None

    @field_validator("keep_clear", mode="before")
    @classmethod
    def _none_kept(cls, given: Any) -> Any:
        """A list of which every entry is still a comment is empty."""
        return [] if given is None else given

    @model_validator(mode="after")
    def _one_evaporation(self) -> Self:
        if self.weather is not None and self.evapotranspiration is not None:
            raise ValueError("evapotranspiration is given by month and by weather too")
        return self

    _looked_up: list[str] = PrivateAttr(default_factory=list)

    @property
    def looked_up(self) -> list[str]:
        """Which storm depths were looked up, and where."""
        return self._looked_up


class Site(Land):
    """A property: files, rain and works, as the site file states them."""

    CALLED: ClassVar[str] = "site file"
    PAGE: ClassVar[str] = "docs/site-file.md"
    BEGUN_BY: ClassVar[str] = "levelsill start DIR"

    paper: Literal["A4", "A3", "Letter", "Tabloid"] | None = None
    """Paper of `plan_set.pdf`.
    Left out: A4, or Letter in US units."""
    boundary: Layer
    """One outline."""
    benchmark: Benchmark | None = None
    """A fixed point of known level from which stakes are set."""
    setting_out: SettingOutSpec = Field(default_factory=SettingOutSpec)
    """How stakes are set."""
    doubt: Doubts | None = None
    """How far what the plan rests on may be off."""
    works: list[Work] = Field(default_factory=list)
    """What is dug, built or set up."""

    @field_validator("works", mode="before")
    @classmethod
    def _none_yet(cls, given: Any) -> Any:
        """A list of which every entry is still a comment is empty."""
        return [] if given is None else given

    def where_work(self, name: str, field: str | None = None) -> str:
        """Say where in the site file a work stands."""
        index = next(i for i, work in enumerate(self.works) if work.name == name)
        place = ("works", index) if field is None else ("works", index, field)
        return f'{self.where(*place)}, works "{name}"' + (f", {field}" if field else "")


def read_site(path: Path, text: str | None = None) -> Site:
    """Read and check a site file.

    Parameters
    ----------
    text : str, optional
        What is to be read as if it stood in the file.

    Raises
    ------
    InputError
        Naming the line and field of the first thing that is wrong.
    """
    site = read_described(Path(path), Site, text)
    _refuse_twins(site)
    with told_first(site.units):
        return with_depths(site)


AnyLand = TypeVar("AnyLand", bound=Land)


def with_depths(site: AnyLand) -> AnyLand:
    """The same with the depths of its storms looked up where the file gives none.

    Raises
    ------
    InputError
        If the table does not tell one.
    """
    from terrain.inputs.rain_frequency import depth_of, frequency_table

    given = site.rain.frequency
    if given is None:
        return site
    table = frequency_table(site.folder / given.file, given.unit)
    factor = site.rain.climate_factor
    storms = []
    for index, storm in enumerate(site.rain.storms):
        if not storm.depth:
            try:
                depth = factor * depth_of(table, storm.duration, storm.return_period or 0.0)
            except ValueError as error:
                raise InputError(f'{site.where("rain", "storms", index)}, storm "{storm.name}"',
                                 str(error), "State its depth") from None
            storm = storm.model_copy(update={"depth": depth})
        storms.append(storm)
    rain = site.rain.model_copy(update={"storms": storms})
    times = f" times the climate factor {factor:g}" if factor != 1 else ""
    site._looked_up = [f"Depth of the storm \"{new.name}\": {in_both(new.depth, 'rain')}, from "
                       f"{given.file.name}{times}."
                       for old, new in zip(site.rain.storms, storms, strict=True) if not old.depth]
    site._looked_up += _beyond(rain, table, given.file.name)
    site._looked_up += table.attrs["notes"]
    return site.model_copy(update={"rain": rain})


def _beyond(rain: RainInputs, table: pandas.DataFrame, name: str) -> list[str]:
    """What is said of storms deeper than the rarest of their duration in the frequency table."""
    from terrain.inputs.rain_frequency import depth_of

    said, years = [], float(table.columns[-1])
    for storm in rain.storms:
        if not table.index[0] <= storm.duration <= table.index[-1]:
            continue
        rarest = rain.climate_factor * depth_of(table, storm.duration, years)
        if storm.depth > rarest * (1 + 1e-9):
            design = " (works are sized for it)" if storm is rain.design else ""
            said.append(f"The storm \"{storm.name}\"{design} is "
                        f"{in_both(storm.depth - rarest, 'rain')} deeper than the rarest of its "
                        f"duration in {name}, {in_both(rarest, 'rain')} once in {years:g} years: "
                        "how often it falls is not known from that table.")
    return said


def _refuse_twins(site: Site) -> None:
    seen: set[str] = set()
    for index, work in enumerate(site.works):
        if work.name in seen:
            raise InputError(f'{site.where("works", index, "name")}, works "{work.name}"',
                             "two works have this name", "Give each its own name")
        seen.add(work.name)
