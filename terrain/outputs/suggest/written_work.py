"""A work as the site file states it: its fields by the names and in the units of the file."""

from __future__ import annotations

import io
from typing import Any

from terrain.units import DIMENSIONS, METRES, metres_in, read_quantity

#: Dimension of each field that has one; places, shares and words have none.
_DIMENSIONS = {
    **dict.fromkeys(("level", "crest", "sill"), "length"),
    **dict.fromkeys(("radius", "length", "depth", "width", "checks", "sill_length", "rock_at",
                     "crown", "spacing", "first", "last", "pipe_diameter"), "length"),
    "infiltration": "rate", "seepage": "seepage", "demand": "use", "pump": "flow"}
#: Decimals of each dimension: metric, US. A level and a length to the hundredth of either unit.
_DECIMALS = {"length": (2, 2), "rate": (2, 3), "seepage": (2, 3), "use": (1, 1), "flow": (4, 5)}
#: Fields that stand as they are: numbers without a unit, words, yes and no.
_BARE = {"name", "spills_to", "shape", "side_slope", "solve", "soil", "berm_side_slope", "texture",
         "batter", "holds_water", "form", "count", "tree", "plant_factor", "gravel_porosity",
         "lining", "kind"}
#: Fields that are a point, several, or a work's name.
_PLACES = {"through", "near", "along", "sill_at", "wall", "dug", "at", "from_", "to", "pipe"}
#: Units that a figure is written in where that of a bare number is too large.
_UNITS = {("flow", "metric"): "L/s"}


def written(work: Any, system: str) -> dict[str, Any]:
    """Fields of a work by the names that the site file has for them, in its order of fields.

    Parameters
    ----------
    work : Swale, Basin, TreeBasin or Drain
    system : str
        "metric" or "us"; a foot is that of `terrain.units.told_first`.

    Raises
    ------
    ValueError
        If it has a field that no proposal sets.
    """
    told: dict[str, Any] = {"name": work.name, "kind": work.kind}
    for name in type(work).model_fields:
        value = getattr(work, name)
        usual = type(work).model_fields[name].get_default(call_default_factory=True)
        if name in ("name", "kind") or value is None or value == usual:
            continue
        if name == "trees":
            told["trees"] = _parts(value, system)
        else:
            told[_called(type(work), name)] = _value(name, value, system)
    return told


def _parts(part: Any, system: str) -> dict[str, Any]:
    return {_called(type(part), name): _value(name, getattr(part, name), system)
            for name in type(part).model_fields if getattr(part, name) is not None}


def _called(kind: Any, name: str) -> str:
    return str(kind.model_fields[name].alias or name)


def _value(name: str, value: Any, system: str) -> Any:
    if name == "grade":
        return f"{100 * value:.6g} %"
    if name in _PLACES:
        return value if isinstance(value, str) else _place(value)
    if name in _BARE or isinstance(value, bool):
        return _bare(value) if isinstance(value, float) else value
    if name not in _DIMENSIONS:
        raise ValueError(f"a proposal sets no field '{name}'")
    return quantity(value, _DIMENSIONS[name], system)


def _place(value: Any) -> list[Any]:
    """A point, or several."""
    if isinstance(value[0], int | float):
        return [_bare(v) for v in value]
    return [[_bare(v) for v in point] for point in value]


def _bare(value: float) -> float | int:
    """A number without decimals that say nothing."""
    return int(value) if value == int(value) else float(value)


def quantity(value: float, dimension: str, system: str) -> str:
    """An inside value with its unit, as the site file is read: "75 m", "3.9 ft"."""
    unit = _UNITS.get((dimension, system), DIMENSIONS[dimension][2 if system == "us" else 1])
    factor = (metres_in(unit) if dimension == "length" and unit in METRES else
              read_quantity(f"1 {unit}", dimension))
    decimals = _DECIMALS[dimension][system == "us"]
    while decimals < 9 and value and float(f"{value / factor:.{decimals}f}") == 0:
        decimals += 1  # a small figure is no 0
    number = f"{value / factor:.{decimals}f}"
    if "." in number:
        number = number.rstrip("0").rstrip(".")
    return f"{number} {unit.replace('**', '')}"


def levels_and_all(work: dict[str, Any]) -> dict[str, Any]:
    """The same with levels to two decimals, whether they are round or not."""
    told = dict(work)
    for name in ("level", "crest", "sill"):
        if isinstance(told.get(name), str):
            number, _, unit = told[name].partition(" ")
            told[name] = f"{float(number):.2f} {unit}"
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

    if isinstance(value, dict):
        found = CommentedMap((key, _styled(part, flow)) for key, part in value.items())
        (found.fa.set_flow_style if flow else found.fa.set_block_style)()
        return found
    if isinstance(value, list):
        listed = CommentedSeq(_styled(part, True) for part in value)
        listed.fa.set_flow_style()
        return listed
    return value
