"""The GeoPackage of a district: parcels with their figures, best places, where water comes in."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from shapely import Point

from terrain.district.screened import Screened, Screening
from terrain.outputs.district.figures import field_value, figures_of, ranks_of
from terrain.outputs.district.rank_colours import (
    COLOURS,
    NOTHING,
    class_of,
    class_words,
    classes_for,
    nothing_words,
)
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.gis.geopackage import write_layers
from terrain.outputs.gis.layers import Layer
from terrain.outputs.gis.style import Fill, Line, Mark, Rule, Words

Row = dict[str, Any]
_NAME = Words("parcel", sy.INK, 11, sy.PAPER)


def write_parcels(screening: Screening, path: Path) -> None:
    """Write every layer that has features, in the working frame, with what each looks like."""
    layers = [layer for layer in layers_of(screening) if layer.rows]
    write_layers(layers, path, screening.overview.frame.working, styles=styles_of(screening))


def layers_of(screening: Screening) -> list[Layer]:
    """The layers; those that lie over others come first."""
    ranked = list(zip(ranks_of(screening), screening.parcels, strict=True))
    return [
        Layer("entries", "Where water comes onto a parcel, and the ground that drains in there.",
              [row for _, one in ranked for row in _entries(one)]),
        Layer("road_water", "Where on a parcel the water of most road passes.",
              [{"parcel": one.parcel.name, "road_m2": one.road.there,
                "geometry": Point(one.road.at)} for _, one in ranked if one.road.at is not None]),
        Layer("best_lines", "Lines of the best ground for a swale and a basin of each parcel: the "
              "swale's, the wall's, or the rim.", _places(screening, "line")),
        Layer("best_ground", "Ground that the earth and the water of these take.",
              _places(screening, "footprint")),
        Layer("parcels", "Parcels with what was found of each, the best first.",
              [_parcel(rank, one, screening) for rank, one in ranked])]


def _parcel(rank: int | None, one: Screened, screening: Screening) -> Row:
    row: Row = {"parcel": one.parcel.name, "rank": rank,
                "rank_class": _class(rank, screening)}
    row |= {figure.field: field_value(figure, one) for figure in figures_of(screening)}
    return {**row, "geometry": one.parcel.outline}


def _class(rank: int | None, screening: Screening) -> int:
    """From 1; 0 where it was not screened, -1 where nothing was found that counts."""
    number = None if rank is None else class_of(rank, screening)
    return 0 if rank is None else -1 if number is None else number + 1


def _entries(one: Screened) -> list[Row]:
    return [{"parcel": one.parcel.name, "number": number, "area_m2": entry.area,
             "geometry": Point(entry.at)} for number, entry in enumerate(one.entries, 1)]


def _places(screening: Screening, shape: str) -> list[Row]:
    design = screening.design
    return [{"parcel": one.parcel.name, "best": best, "kind": ground.kind,
             "holds_m3": ground.storage, "cut_m3": ground.cut, "machine_h": ground.hours,
             "money": _figure(ground.money), "bank_m": ground.bank,
             "catchment_m2": ground.catchment, "comes_m3": ground.comes[design],
             "kept_m3": ground.kept[design],
             "comes_in_year_m3": _figure(ground.comes_in_year),
             "kept_in_year_m3": _figure(ground.kept_in_year),
             "why": " ".join(ground.why), "geometry": getattr(ground, shape)}
            for one in screening.parcels
            for best, ground in (("swale", one.swale), ("basin", one.basin))
            if ground is not None]


def _figure(value: float | None) -> float:
    """A figure, NaN where there is none, so that its field stays one of numbers."""
    return math.nan if value is None else value


def styles_of(screening: Screening) -> dict[str, tuple[Rule, ...]]:
    """What each layer looks like: the colours of the map."""
    ranks = tuple(Rule(class_words(number, screening), (
        Fill(COLOURS[colour], 0.75, sy.BOUNDARY, 1.0), _NAME), "rank_class", (number + 1,))
        for number, colour in enumerate(classes_for(screening)))
    if any(_class(rank, screening) < 0 for rank in ranks_of(screening)):
        ranks += (Rule(nothing_words(screening), (Fill(NOTHING, 0.75, sy.BOUNDARY, 1.0), _NAME),
                       "rank_class", (-1,)),)
    return {
        "parcels": (*ranks, Rule("Not screened", (Fill(None, edge=sy.BOUNDARY, width=1.0,
                                                       dashes=(3.0, 3.0)), _NAME),
                                 "rank_class", (0,))),
        "best_lines": (
            Rule("Best ground for a swale", (Line(sy.WATER, 3.0),), "best", ("swale",)),
            Rule("Best ground for a basin", (Line(sy.EARTH, 3.0),), "best", ("basin",))),
        "best_ground": (
            Rule("Ground of the best swale", (Fill(sy.BERM, 0.6, sy.EARTH, 0.8),), "best",
                 ("swale",)),
            Rule("Ground of the best basin", (Fill(sy.POOL, 0.6, sy.WATER, 0.8),), "best",
                 ("basin",))),
        "entries": (Rule("Water comes in", (Mark("triangle", sy.PAPER, 8, sy.WATER),)),),
        "road_water": (Rule("The water of most road passes here",
                            (Mark("circle", sy.SHED, 9, sy.PAPER),)),)}
