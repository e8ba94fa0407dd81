"""A work as the site file states it: its fields by the names and in the units of the file."""

from __future__ import annotations

import io
import re
from typing import Any
from unicodedata import category

from pydantic import BaseModel

from terrain.units import DIMENSIONS, METRES, metres_in, read_quantity

#: Dimension of each field that has one; places, shares and words have none.
_DIMENSIONS = {
    **dict.fromkeys(("level", "crest", "sill"), "length"),
    **dict.fromkeys(("radius", "length", "depth", "width", "checks", "sill_length", "rock_at",
                     "crown", "spacing", "first", "last", "pipe_diameter", "height"), "length"),
    **dict.fromkeys(("demand", "amount", "per_head"), "use"),
    **dict.fromkeys(("volume", "first_flush_volume", "load"), "volume"),
    "infiltration": "rate", "seepage": "seepage", "pump": "flow", "first_flush": "rain"}
#: Decimals of each dimension: metric, US. A level and a length to the hundredth of either unit.
_DECIMALS = {"length": (2, 2), "rate": (2, 3), "seepage": (2, 3), "use": (1, 1), "flow": (4, 5),
             "volume": (3, 1), "rain": (2, 3)}
#: Most decimals that are tried to tell a figure exactly.
_MOST_DECIMALS = 17
#: Words that YAML 1.1 takes for yes and no, for a number, a day or a time.
_LIKE_ANOTHER = re.compile(r"(?i)y|n|yes|no|on|off|true|false|null|[-+.]?\d[-+.:_,\dex]*|"
                           r"\d[\d:-]*[t ][\d:.]+z?|=")
#: Fields that stand as they are: numbers without a unit, words, yes and no.
_BARE = {"name", "spills_to", "shape", "side_slope", "solve", "soil", "berm_side_slope", "texture",
         "batter", "holds_water", "form", "count", "tree", "plant_factor", "gravel_porosity",
         "lining", "kind", "leaf_screen", "joined_with", "made_of", "heads", "grey_water_to"}
#: Fields that are a point, several, or a work's name.
_PLACES = {"through", "near", "along", "sill_at", "wall", "dug", "at", "from_", "to", "pipe"}
#: Fields of a tank that no proposal sets and no bench lays out.
OTHERS = ("uses", "top_up", "price")
#: Fields that are a share, and lists of parts that have fields of their own.
_SHARES = {"grade", "below", "draw", "grey_water"}
_LISTS = {"uses", "rationing"}
#: Units that a figure is written in where that of a bare number is too large.
_UNITS = {("flow", "metric"): "L/s"}


def written(work: Any, system: str) -> dict[str, Any]:
    """Fields of a work by the names that the site file has for them, in its order of fields.

    Parameters
    ----------
    work : Work
    system : str
        "metric" or "us"; a foot is that of `terrain.units.told_first`.

    Raises
    ------
    ValueError
        If it has a field that no proposal sets and no bench lays out: uses, a top-up or a price.
    """
    unset = next((name for name in OTHERS if getattr(work, name, None)), None)
    if unset is not None:
        raise ValueError(f"a proposal sets no field '{unset}'")
    return _fields(work, system, exact=False)


def without_others(work: Any, system: str) -> dict[str, Any]:
    """The same of any work, without its uses, its top-up and its price."""
    return _fields(work.model_copy(update={name: type(work).model_fields[name].get_default(
        call_default_factory=True) for name in OTHERS if hasattr(work, name)}), system, False)


def stated(work: Any, system: str) -> dict[str, Any]:
    """The same of any work, with each figure to as many decimals as give it back exactly, if
    some do; those that went through `written` have no more than it writes."""
    return levels_and_all(_fields(work, system, exact=True))


def _fields(part: Any, system: str, exact: bool) -> dict[str, Any]:
    """Fields of a work, or of a part of one, that are not what they are if nothing is said."""
    kind = type(part)
    first = [name for name in ("name", "kind") if name in kind.model_fields]
    told: dict[str, Any] = {}
    for name in (*first, *(name for name in kind.model_fields if name not in first)):
        value = getattr(part, name)
        usual = kind.model_fields[name].get_default(call_default_factory=True)
        if name in first or (value is not None and value != usual):
            told[called(kind, name)] = _value(name, value, system, exact)
    return told


def called(kind: Any, name: str) -> str:
    """What the site file calls a field of a model."""
    return str(kind.model_fields[name].alias or name)


def _value(name: str, value: Any, system: str, exact: bool) -> Any:
    if name == "below" and isinstance(value, tuple):  # a share of a tank, or a volume
        share, volume = value
        return (_share(share, exact) if volume is None else
                quantity(volume, "volume", system, exact))
    if name in _SHARES:
        return _share(value, exact)
    if isinstance(value, BaseModel):
        return _fields(value, system, exact)
    if name in _LISTS:
        return [_fields(part, system, exact) for part in value]
    if name == "price":
        return _price(value)
    if name == "roofs":
        return list(value)
    if name in _PLACES:
        return value if isinstance(value, str) else _place(value)
    if name in _BARE or isinstance(value, bool | str):
        return _bare(value) if isinstance(value, float) else value
    if name not in _DIMENSIONS:
        raise ValueError(f"the field '{name}' cannot be written")
    dimension = _DIMENSIONS[name]
    if isinstance(value, tuple):  # by month
        months = [quantity(one, dimension, system, exact) for one in value]
        return months[0] if len(set(value)) == 1 else months
    return quantity(value, dimension, system, exact)


def _share(value: float, exact: bool) -> str:
    """A share in per cent."""
    digits = 6
    while exact and digits < _MOST_DECIMALS and (
            float(f"{100 * value:.{digits}g}") / 100 != value):
        digits += 1
    return f"{100 * value:.{digits}g} %"


def _price(value: Any) -> Any:
    """A price, or a low and a high one."""
    if not isinstance(value, tuple):
        return _bare(float(value))
    low, high = (_bare(float(one)) for one in value)
    return low if low == high else [low, high]


def _place(value: Any) -> list[Any]:
    """A point, or several."""
    if isinstance(value[0], int | float):
        return [_bare(v) for v in value]
    return [[_bare(v) for v in point] for point in value]


def _bare(value: float) -> float | int:
    """A number without decimals that say nothing."""
    return int(value) if value == int(value) else float(value)


def quantity(value: float, dimension: str, system: str, exact: bool = False) -> str:
    """An inside value with its unit, as the site file is read: "75 m", "3.9 ft".

    Parameters
    ----------
    exact : bool
        With as many decimals as give the value back, not only those that its dimension has.
    """
    unit = _UNITS.get((dimension, system), DIMENSIONS[dimension][2 if system == "us" else 1])
    factor = (metres_in(unit) if dimension == "length" and unit in METRES else
              read_quantity(f"1 {unit}", dimension))
    unit = unit.replace("**", "")
    number = _rounded(value / factor, _DECIMALS[dimension][system == "us"])
    if exact and read_quantity(f"{number} {unit}", dimension) != value:
        number = next((said for decimals in range(1, _MOST_DECIMALS) if read_quantity(
            f"{(said := _short(value / factor, decimals))} {unit}", dimension) == value),
            _short(value / factor, _MOST_DECIMALS))
    return f"{number} {unit}"


def _rounded(value: float, decimals: int) -> str:
    """A number to so many decimals, or to more where it would be 0; rounded again it stays."""
    said, before = _short(value, decimals), None
    while said != before:
        before, most = said, decimals
        while most < 9 and value and float(said) == 0:
            most += 1  # a small figure is no 0
            said = _short(value, most)
        value = float(said)
        said = _short(value, decimals) if float(_short(value, decimals)) else said
    return said


def _short(value: float, decimals: int) -> str:
    """A number to so many decimals, without those that say nothing."""
    number = f"{value:.{decimals}f}"
    return number.rstrip("0").rstrip(".") if "." in number else number


def levels_and_all(work: dict[str, Any]) -> dict[str, Any]:
    """The same with levels to two decimals, whether they are round or not."""
    told = dict(work)
    for name in ("level", "crest", "sill"):
        if isinstance(told.get(name), str):
            number, _, unit = told[name].partition(" ")
            whole, _, parts = number.partition(".")
            told[name] = f"{whole}.{parts:0<2} {unit}"
    return told


def as_yaml(work: dict[str, Any], flow: bool = False) -> list[str]:
    """Lines of a work as YAML, without the dash before it; places stand in brackets.

    Parameters
    ----------
    flow : bool
        In braces, on one line.
    """
    from ruamel.yaml import YAML

    yaml = YAML(typ="rt")
    yaml.width, yaml.allow_unicode = 1 << 20, True
    yaml.default_flow_style = flow
    out = io.StringIO()
    yaml.dump(_styled(work, flow), out)
    return out.getvalue().rstrip("\n").split("\n")


def _styled(value: Any, flow: bool) -> Any:
    from ruamel.yaml.comments import CommentedMap, CommentedSeq
    from ruamel.yaml.scalarstring import DoubleQuotedScalarString

    if isinstance(value, dict):
        found = CommentedMap((key, _styled(part, flow)) for key, part in value.items())
        (found.fa.set_flow_style if flow else found.fa.set_block_style)()
        return found
    if isinstance(value, str) and _is_special(value):
        return DoubleQuotedScalarString(value)
    if isinstance(value, list):
        listed = CommentedSeq(_styled(part, True) for part in value)
        listed.fa.set_flow_style()
        return listed
    return value


def _is_special(words: str) -> bool:
    """Whether words need quotes that this writer of YAML would not set: those that readers of YAML
    1.1 take for something else, and those with letters that break a line or are not seen.

    References
    ----------
    .. [1] YAML 1.1, type repository, https://yaml.org/type/: bool, float, int, timestamp.
    """
    return (_LIKE_ANOTHER.fullmatch(words) is not None
            or words.startswith(("?", ":"))
            or any(category(letter)[0] in "CZ" and letter != " " for letter in words))
