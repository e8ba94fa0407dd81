"""The site file: a property described in YAML, read into a checked `Site`.

Every field error is told with the file, the line and the field.  Points are
kept as written; whoever knows the raster moves them into its working frame.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

from pydantic import (
    BaseModel,
    Field,
    PrivateAttr,
    ValidationError,
    field_validator,
    model_validator,
)

from terrain.errors import InputError
from terrain.inputs.csv_table import in_words
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
    UnitSystem,
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


class Site(Part):
    """A property: files, rain and works, as the site file states them."""

    name: str
    units: UnitSystem = "metric"
    points: Literal["raster", "lonlat"] = "raster"
    paper: Literal["A4", "A3", "Letter", "Tabloid"] | None = None
    date: str | None = None
    elevation: Elevation
    boundary: Layer
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
    benchmark: Benchmark | None = None
    setting_out: SettingOutSpec = Field(default_factory=SettingOutSpec)
    money: Money | None = None
    doubt: Doubts | None = None
    suggest: Suggest | None = None
    rules: dict[str, str | float] = Field(default_factory=dict)
    works: list[Work] = Field(default_factory=list)

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

    @field_validator("works", "keep_clear", mode="before")
    @classmethod
    def _none_yet(cls, given: Any) -> Any:
        """A list of which every entry is still a comment is empty."""
        return [] if given is None else given

    @model_validator(mode="after")
    def _one_evaporation(self) -> Site:
        if self.weather is not None and self.evapotranspiration is not None:
            raise ValueError("evapotranspiration is given by month and by weather too")
        return self

    _path: Path = PrivateAttr(default=Path("site.yaml"))
    _document: Any = PrivateAttr(default=None)
    _bare: list[tuple[str, str, str]] = PrivateAttr(default_factory=list)
    _looked_up: list[str] = PrivateAttr(default_factory=list)

    @property
    def path(self) -> Path:
        """The site file itself."""
        return self._path

    @property
    def folder(self) -> Path:
        """The folder that the site file's relative paths start from."""
        return self._path.parent

    @property
    def looked_up(self) -> list[str]:
        """Which storm depths were looked up, and where."""
        return self._looked_up

    @property
    def bare_numbers(self) -> list[str]:
        """What numbers without a unit were taken for, field by field."""
        fields: dict[tuple[str, str], list[str]] = {}
        for field, given, unit in self._bare:
            fields.setdefault((field, unit), []).append(given)
        return [f"{field} {', '.join(given)} taken as {unit}"
                for (field, unit), given in fields.items()]

    def where(self, *place: str | int) -> str:
        """Say where in the site file a field stands, e.g. ``site.yaml line 14``."""
        return f"{self._path} line {_line(self._document, place)}"

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
    path = Path(path)
    document = _document(path, _text_of(path) if text is None else text)
    context = {"units": document.get("units", "metric"), "bare": []}
    try:
        site = Site.model_validate(document, context=context)
    except ValidationError as error:
        raise _first(error, path, document) from None
    site._path, site._document, site._bare = path, document, context["bare"]
    _refuse_twins(site)
    with told_first(site.units):
        return _with_depths(site)


def _with_depths(site: Site) -> Site:
    """The same site with the depths of its storms looked up where the file gives none."""
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


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise InputError(str(path), "there is no such site file",
                         "Check the name, or make one with: levelsill start DIR") from None
    except UnicodeDecodeError:
        raise InputError(str(path), "it is no text in UTF-8",
                         "Give a site file written in YAML, saved in UTF-8") from None
    except OSError as error:
        raise InputError(str(path), f"it cannot be read ({in_words(error)})",
                         "Give a site file written in YAML") from None


def _document(path: Path, text: str) -> Any:
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError

    try:
        document = YAML(typ="rt").load(text)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = f" line {mark.line + 1}" if mark else ""
        problem = (error.problem or "not YAML").strip().rstrip(".")
        raise InputError(f"{path}{line}", f"this is not valid YAML ({problem})",
                         "Use blanks instead of tabs" if "\\t" in problem else
                         "Look for a missing colon, quote or blank there") from None
    except ValueError as error:  # a day that is none, such as 2026-02-30
        raise InputError(_line_of_no_day(path, text), f"a date in it cannot be ({error})",
                         "Write a day such as 2026-03-14") from None
    except YAMLError as error:
        problem = str(error).splitlines()[0].rstrip(".")
        raise InputError(str(path), f"this is not valid YAML ({problem})",
                         "Look for a missing colon, quote or blank") from None
    if not isinstance(document, dict):
        raise InputError(str(path), "it is not a list of fields such as 'name: My place'",
                         "Make a fresh one with: levelsill start DIR") from None
    return document


def _line_of_no_day(path: Path, text: str) -> str:
    """Where a site file states a day that is none."""
    for number, line in enumerate(text.splitlines(), 1):
        for year, month, day in re.findall(r"\b(\d{4})-(\d\d?)-(\d\d?)\b", line):
            try:
                dt.date(int(year), int(month), int(day))
            except ValueError:
                return f"{path} line {number}"
    return str(path)


def _line(document: Any, place: tuple[str | int, ...]) -> int:
    """Find the line of a field; stop at the deepest part that exists."""
    node: Any = document
    line = 1
    for key in place:
        try:
            find = node.lc.item if isinstance(key, int) else node.lc.key
            line = find(key)[0] + 1
            node = node[key]
        except (AttributeError, KeyError, IndexError, TypeError):
            break
    return line


def _first(error: ValidationError, path: Path, document: Any) -> InputError:
    # A misspelt field also leaves the right one missing: the misspelling is the news.
    found = min(error.errors(), key=lambda e: e["type"] != "extra_forbidden")
    kinds = {"swale", "basin", "tree basin", "tank", "hollow", "drain"}
    place = list(found["loc"])
    if len(place) > 2 and place[0] == "works" and place[2] in kinds:
        del place[2]
    where = f"{path} line {_line(document, tuple(place))}"
    words: list[str] = []
    if place and place[0] == "works" and len(place) > 1:
        name = _name(document, place)
        words.append(f'works "{name}"' if name else f"works item {int(place[1]) + 1}")
        place = place[2:]
    words += [str(part) if isinstance(part, str) else f"item {part + 1}" for part in place]
    return InputError(", ".join([where, *words]), *_plainly(found))


def _name(document: Any, place: list[Any]) -> str | None:
    try:
        return str(document["works"][place[1]]["name"])
    except (KeyError, IndexError, TypeError):
        return None


def _plainly(found: Any) -> tuple[str, str]:
    kind, given = found["type"], found.get("input")
    say: dict[str, Callable[[], tuple[str, str]]] = {
        "extra_forbidden": lambda: ("this field is not known", _nearest(str(found["loc"][-1]))),
        "missing": lambda: ("this field is missing", "Add it; docs/site-file.md says how"),
        "value_error": lambda: (str(found["ctx"]["error"]), _as_the_docs_say(found)),
        "union_tag_invalid": lambda: (
            f"the kind '{given.get('kind')}' is not known",
            "Use swale, basin, tree basin, tank, hollow or drain"),
        "union_tag_not_found": lambda: (
            "it has no kind", "Add kind: swale, basin, tree basin, tank, hollow or drain"),
        "too_short": lambda: _count(found),
        "too_long": lambda: _count(found),
        "tuple_type": lambda: (f"'{given}' is not a pair such as [1, 2]", "Write both in brackets"),
        "list_type": lambda: (f"'{given}' is not a list", "Write it in brackets or with dashes"),
        "float_parsing": lambda: (f"'{given}' is not a number", "Write a plain number here"),
        "float_type": lambda: (f"'{given}' is not a number", "Write a plain number here"),
        "string_type": lambda: (f"'{given}' is not text", "Put it in quotes"),
        "path_type": lambda: ("no file is named" if given is None else
                              f"'{given}' is not a file's name", "Name a file, in quotes"),
        "finite_number": lambda: (f"'{given}' is not a number", "Write a plain number here"),
        "bool_parsing": lambda: (f"'{given}' is neither true nor false", "Use one of those"),
        "bool_type": lambda: (f"'{given}' is neither true nor false", "Use one of those"),
        "dict_type": lambda: (f"'{given}' is no list of fields", "Write its fields under it, each "
                              "with a colon"),
        "model_type": lambda: (f"'{given}' is no list of fields", "Write its fields under it, each "
                               "with a colon"),
        "greater_than": lambda: (f"{given} is not above {found['ctx']['gt']:g}",
                                 f"Give more than {found['ctx']['gt']:g}"),
        "greater_than_equal": lambda: (f"{given} is below {found['ctx']['ge']:g}",
                                       f"Give {found['ctx']['ge']:g} or more"),
        "less_than_equal": lambda: (f"{given} is above {found['ctx']['le']:g}",
                                    f"Give {found['ctx']['le']:g} or less"),
        "literal_error": lambda: (
            f"'{given}' is not one of {found['ctx']['expected']}", "Use one of those"),
    }
    if kind in say:
        return say[kind]()
    message = found["msg"][0].lower() + found["msg"][1:]
    short = str(given)
    return f"{message}, but here stands '{short[:60]}'", _as_the_docs_say(found)


def _as_the_docs_say(found: Any) -> str:
    """Advice where the error itself says what is wrong with a value."""
    fields = [part for part in found["loc"] if isinstance(part, str)]
    return (f"Correct it as docs/site-file.md says of '{fields[-1]}'" if fields else
            "Correct it as docs/site-file.md says")


def _count(found: Any) -> tuple[str, str]:
    limits = found["ctx"]
    least, most = limits.get("min_length"), limits.get("max_length")
    wanted = f"at least {least}" if least is not None else f"at most {most}"
    return (f"it has {limits['actual_length']} entries, and {wanted} are needed",
            "Add or take out entries")


def _nearest(word: str) -> str:
    """Advice on a field that no part of the site file has."""
    import difflib

    known = {name.replace("_", " ").strip() for part in _parts(Part) for name in part.model_fields}
    if word in known:
        return "It belongs elsewhere; docs/site-file.md says where"
    near = difflib.get_close_matches(word, sorted(known), 1)
    return (f"Perhaps '{near[0]}' was meant; " if near else "") + (
        "docs/site-file.md lists them" if near else "Look it up in docs/site-file.md")


def _parts(part: type[BaseModel]) -> list[type[BaseModel]]:
    return [part, *(found for child in part.__subclasses__() for found in _parts(child))]


def _refuse_twins(site: Site) -> None:
    seen: set[str] = set()
    for index, work in enumerate(site.works):
        if work.name in seen:
            raise InputError(f'{site.where("works", index, "name")}, works "{work.name}"',
                             "two works have this name", "Give each its own name")
        seen.add(work.name)
