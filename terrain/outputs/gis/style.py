"""How a layer looks, as an OGC Styled Layer Descriptor 1.0.0 that desktop GIS reads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

SLD = "http://www.opengis.net/sld"
OGC = "http://www.opengis.net/ogc"
XLINK = "http://www.w3.org/1999/xlink"


@dataclass(frozen=True)
class Fill:
    """An area: its colour, how opaque it is [-], its edge's colour, width [px] and dashes [px].
    Without a colour it is not filled, without an edge it has none."""

    colour: str | None
    opacity: float = 1.0
    edge: str | None = None
    width: float = 1.0
    dashes: tuple[float, ...] = ()


@dataclass(frozen=True)
class Line:
    """A line: its colour, width [px] and dashes [px]."""

    colour: str
    width: float = 1.5
    dashes: tuple[float, ...] = ()


@dataclass(frozen=True)
class Mark:
    """A point: a well-known mark (circle, square, triangle, star, cross, x), its colour, size [px]
    and edge."""

    shape: str
    colour: str
    size: float = 8.0
    edge: str | None = None


@dataclass(frozen=True)
class Words:
    """A label: the field it is written from, its colour, its size [px], its halo's colour."""

    field: str
    colour: str
    size: float = 11.0
    halo: str = "#ffffff"


Symbol = Fill | Line | Mark | Words


@dataclass(frozen=True)
class Rule:
    """What some features of a layer look like.

    Attributes
    ----------
    title : str
        In a legend.
    symbols : tuple
        Drawn in this order.
    field, values : str, tuple
        Features whose field is one of the values; all features where no field is named.
    """

    title: str
    symbols: tuple[Symbol, ...]
    field: str = ""
    values: tuple[str | int, ...] = ()


def sld(layer: str, title: str, rules: Sequence[Rule]) -> str:
    """A style as a document.

    References
    ----------
    .. [1] OGC 02-070, Styled Layer Descriptor Implementation Specification 1.0.0, 2002.
    .. [2] OGC 02-059, Filter Encoding Implementation Specification 1.0.0, 2001.
    """
    for prefix, space in (("", SLD), ("ogc", OGC), ("xlink", XLINK)):
        ET.register_namespace(prefix, space)
    root = ET.Element(_in(SLD, "StyledLayerDescriptor"), {"version": "1.0.0"})
    named = _part(root, "NamedLayer")
    _part(named, "Name", layer)
    style = _part(named, "UserStyle")
    _part(style, "Name", layer)
    _part(style, "Title", title)
    _part(style, "IsDefault", "1")
    features = _part(style, "FeatureTypeStyle")
    for number, rule in enumerate(rules, 1):
        made = _part(features, "Rule")
        _part(made, "Name", f"{layer} {number}")
        _part(made, "Title", rule.title)
        if rule.field:
            _filter(made, rule)
        for symbol in rule.symbols:
            _symbol(made, symbol)
    ET.indent(root, " ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, "unicode") + "\n"


def _in(space: str, name: str) -> str:
    return f"{{{space}}}{name}"


def _part(parent: ET.Element, name: str, text: str | None = None, space: str = SLD) -> ET.Element:
    made = ET.SubElement(parent, _in(space, name))
    made.text = text
    return made


def _filter(parent: ET.Element, rule: Rule) -> None:
    within = _part(parent, "Filter", space=OGC)
    if len(rule.values) > 1:
        within = _part(within, "Or", space=OGC)
    for value in rule.values:
        equal = _part(within, "PropertyIsEqualTo", space=OGC)
        _part(equal, "PropertyName", rule.field, OGC)
        _part(equal, "Literal", str(value), OGC)


def _symbol(parent: ET.Element, symbol: Symbol) -> None:
    if isinstance(symbol, Fill):
        made = _part(parent, "PolygonSymbolizer")
        if symbol.colour is not None:
            _css(_part(made, "Fill"), {"fill": symbol.colour,
                                       "fill-opacity": f"{symbol.opacity:g}"})
        if symbol.edge is not None:
            _stroke(made, symbol.edge, symbol.width, symbol.dashes)
    elif isinstance(symbol, Line):
        _stroke(_part(parent, "LineSymbolizer"), symbol.colour, symbol.width, symbol.dashes)
    elif isinstance(symbol, Mark):
        graphic = _part(_part(parent, "PointSymbolizer"), "Graphic")
        mark = _part(graphic, "Mark")
        _part(mark, "WellKnownName", symbol.shape)
        _css(_part(mark, "Fill"), {"fill": symbol.colour})
        if symbol.edge is not None:
            _stroke(mark, symbol.edge, 1.0, ())
        _part(graphic, "Size", f"{symbol.size:g}")
    else:
        made = _part(parent, "TextSymbolizer")
        _part(_part(made, "Label"), "PropertyName", symbol.field, OGC)
        _css(_part(made, "Font"), {"font-family": "sans-serif", "font-size": f"{symbol.size:g}"})
        halo = _part(made, "Halo")
        _part(halo, "Radius", "1.5")
        _css(_part(halo, "Fill"), {"fill": symbol.halo})
        _css(_part(made, "Fill"), {"fill": symbol.colour})


def _stroke(parent: ET.Element, colour: str, width: float, dashes: tuple[float, ...]) -> None:
    told = {"stroke": colour, "stroke-width": f"{width:g}"}
    if dashes:
        told["stroke-dasharray"] = " ".join(f"{dash:g}" for dash in dashes)
    _css(_part(parent, "Stroke"), told)


def _css(parent: ET.Element, told: dict[str, str]) -> None:
    for name, value in told.items():
        _part(parent, "CssParameter", value).set("name", name)
