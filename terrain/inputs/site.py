"""The site file: a property described in YAML, read into a checked `Site`.

Every field error is told with the file, the line and the field.  Points are
kept as written; whoever knows the raster moves them into its working frame.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any, ClassVar, Literal, Self, TypeVar

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


class Elevation(Part):
    """The elevation raster, tiles or surveyed points, and what they do not say of themselves."""

    file: list[Path] = Field(min_length=1)
    crs: str | None = None
    plan_unit: Literal["m", "ft", "us-ft"] | None = None
    height_unit: Literal["m", "ft", "us-ft"] | None = None
    nodata: float | None = None
    fill_holes_up_to: Area = FILL_UP_TO
    breach_depth: Span = 0.0
    breach_length: Span = 0.0
    cell: Length | None = None
    columns: tuple[str, ...] | None = None

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
    layer: str | None = None
    crs: str | None = None

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


class Cover(Layer):
    """What covers the ground: polygons with a class, or a raster of class codes.

    Areas `drawn` take the place of either where they lie; the columns, and what `classes` says
    of words, are the same for both.
    """

    field: str = "cover"
    classes: dict[str, str] = Field(default_factory=dict)
    codes: Literal["worldcover", "nlcd"] | None = None
    otherwise: str | None = None
    table: Path | None = None
    drawn: Layer | None = None
    impervious_field: str = "impervious"
    unconnected_field: str = "unconnected"

    @field_validator("classes", mode="before")
    @classmethod
    def _codes_as_text(cls, given: Any) -> Any:
        return ({str(key): value for key, value in given.items()} if isinstance(given, dict)
                else given)


class Soils(Layer):
    """Hydrologic soil groups: polygons with a group."""

    field: str = "group"
    otherwise: SoilGroup | None = None
    drained: bool = False
    table: Path | None = None
    key: str = "mukey"


class Roads(NamedLayer):
    """Road lines; their width from a field, or one width for all."""

    width_field: str = "width"
    width: Length | None = None
    cover_field: str = "cover"
    cover: str = "dirt road"
    soil: Literal["clay", "loam", "sand"] = "loam"


class Roofs(NamedLayer):
    """Roof outlines in plan, and what share of the rain on them reaches the gutter."""

    efficiency: float = Field(default=0.9, gt=0, le=1)
    efficiency_field: str = "efficiency"
    material: str | None = None
    material_field: str | None = None
    gutters: list[GutterSpec] = Field(default_factory=list)
    gutter_return_period: float | None = Field(default=None, ge=1, le=1000)


class Culverts(NamedLayer):
    """Culvert and bridge lines, and perhaps the diameter of each pipe."""

    diameter_field: str = "diameter"


class Runoff(Part):
    """How rain becomes runoff, and how the runoff travels."""

    antecedent: Literal["I", "II", "III"] = "II"
    abstraction_ratio: float = 0.2
    loss_on_the_way: bool = False
    soil_moisture: Literal["continuous", "average"] | None = None
    travel_time: Literal["segments", "lag"] | None = None
    peak_factor: float = Field(default=484.0, ge=100, le=600)
    channel_from: Area = 20_000.0
    channel_roughness: float = Field(default=0.035, ge=0.005, le=0.3)
    channel_radius: Radius = 0.15

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
    level: Level
    staff_reading: Length | None = None


class Land(Described):
    """Ground and rain, as files describe them.

    Attributes are the fields of the file.
    """

    name: str
    points: Literal["raster", "lonlat"] = "raster"
    date: str | None = None
    elevation: Elevation
    cover: Cover
    soils: Soils
    roads: Roads | None = None
    roofs: Roofs | None = None
    culverts: Culverts | None = None
    keep_clear: list[KeepClear] = Field(default_factory=list)
    runoff: Runoff = Field(default_factory=Runoff)
    rain: RainInputs
    evapotranspiration: list[Rain] | None = Field(default=None, min_length=12, max_length=12)
    weather: Weather | None = None
    money: Money | None = None
    suggest: Suggest | None = None
    rules: dict[str, str | float] = Field(default_factory=dict)

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
    boundary: Layer
    benchmark: Benchmark | None = None
    setting_out: SettingOutSpec = Field(default_factory=SettingOutSpec)
    doubt: Doubts | None = None
    works: list[Work] = Field(default_factory=list)

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
    site._looked_up += table.attrs["notes"]
    return site.model_copy(update={"rain": rain})


def _refuse_twins(site: Site) -> None:
    seen: set[str] = set()
    for index, work in enumerate(site.works):
        if work.name in seen:
            raise InputError(f'{site.where("works", index, "name")}, works "{work.name}"',
                             "two works have this name", "Give each its own name")
        seen.add(work.name)
