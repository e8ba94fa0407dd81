"""Every figure of a parcel, once for all tables: what it is, its unit, where it comes from."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from terrain.district.screened import Ground, Screened, Screening
from terrain.outputs.district.told import own_at_least, run_on_at_least
from terrain.outputs.gis.fields import storm_fields
from terrain.units import printed

#: Letters of a unit that not every program of tables reads.
_PLAIN = str.maketrans({"²": "2", "³": "3"})
#: Decimals of a printed figure in a table of figures, beyond those that are told to people.
_MORE = 2
#: Parts of a storm's water, by the attribute that holds them.
WATERS = {"own": "own", "run-on": "run_on", "catchable": "catchable", "road": "road",
          "roof": "roof"}


@dataclass(frozen=True)
class Figure:
    """A figure of a parcel.

    Attributes
    ----------
    field : str
        In layers, in SI; ends in its unit.
    head : str
        In tables, without its unit.
    dimension : str
        A key of `terrain.units.PRINTED`; "hours", "count", "money" or "words" else.
    of : callable (Screened) -> value
        In SI; None where there is none.
    """

    field: str
    head: str
    dimension: str
    of: Callable[[Screened], Any]


def figures_of(screening: Screening) -> list[Figure]:
    """Every figure that the table and the layer of parcels hold, in their order; the rank is told
    apart."""
    district = screening.district
    names = [storm.name for storm in district.rain.storms]
    found = [
        Figure("area_m2", "area", "land", lambda s: s.parcel.area),
        Figure("own_m2", "ground known", "land", lambda s: s.own_area),
        Figure("run_on_m2", "run-on ground", "land", lambda s: s.run_on_area),
        Figure("run_on_at_least", "run-on is at least", "words",
               lambda s: "yes" if run_on_at_least(s, screening) else "no"),
        Figure("own_at_least", "own is at least", "words",
               lambda s: "yes" if own_at_least(s, screening) else "no"),
        Figure("road_own_m2", "road on it", "area", lambda s: s.road.own),
        Figure("road_run_on_m2", "road beyond that drains over it", "area",
               lambda s: s.road.run_on),
        Figure("road_at_one_place_m2", "road that drains to one place of it", "area",
               lambda s: s.road.there),
        Figure("roofs", "roofs", "count", lambda s: s.roofs.count),
        Figure("roof_m2", "roof area", "area", lambda s: s.roofs.area)]
    taken = [figure.field for figure in found]
    for part, attribute in WATERS.items():
        for number, field in enumerate(storm_fields(names, part, "m3", taken)):
            found.append(Figure(field, field.removesuffix(" m3"), "volume",
                                _storm(number, attribute)))
        if any(one.year is not None for one in screening.parcels):
            found.append(Figure(f"{attribute}_in_year_m3", f"{part} in an average year", "volume",
                                _year(attribute)))
    for kind in ("swale", "basin"):
        found += _places(screening, kind)
    return [*found, Figure("not_screened", "not screened, because", "words",
                           lambda s: s.fault or None)]


def _storm(number: int, attribute: str) -> Callable[[Screened], Any]:
    def of(one: Screened) -> Any:
        return getattr(one.storms[number], attribute) if one.storms else None
    return of


def _year(attribute: str) -> Callable[[Screened], Any]:
    def of(one: Screened) -> Any:
        return None if one.year is None else getattr(one.year, attribute)
    return of


def _places(screening: Screening, kind: str) -> Iterable[Figure]:
    design = screening.design
    storm = screening.district.rain.storms[design].name

    def place(of: Callable[[Ground], Any]) -> Callable[[Screened], Any]:
        def found(one: Screened) -> Any:
            ground = one.swale if kind == "swale" else one.basin
            return None if ground is None else of(ground)
        return found

    figures: list[tuple[str, str, str, Callable[[Ground], Any]]] = [
        ("kind", "is a", "words", lambda g: g.kind),
        ("holds_m3", "holds", "volume", lambda g: g.storage),
        ("cut_m3", "earth to dig", "earth", lambda g: g.cut),
        ("machine_h", "machine", "hours", lambda g: g.hours),
        ("money", "cost", "money", lambda g: g.money),
        ("bank_m", "water against its bank", "length", lambda g: g.bank),
        ("catchment_m2", "drained ground", "land", lambda g: g.catchment),
        ("comes_m3", f"gets, {storm}", "volume", lambda g: g.comes[design]),
        ("kept_m3", f"keeps, {storm}", "volume", lambda g: g.kept[design]),
        ("comes_in_year_m3", "gets in an average year", "volume", lambda g: g.comes_in_year),
        ("kept_in_year_m3", "keeps in an average year", "volume", lambda g: g.kept_in_year)]
    for field, head, dimension, of in figures:
        if (kind, field) == ("swale", "kind"):
            continue  # it is a swale
        if dimension == "money" and screening.district.money is None:
            continue
        yield Figure(f"{kind}_{field}", f"best {kind} {head}", dimension, place(of))


def unit_of(figure: Figure, screening: Screening) -> str:
    """The unit in which a figure stands in the district's own table; "" for none."""
    if figure.dimension == "hours":
        return "h"
    if figure.dimension == "money":
        money = screening.district.money
        return "" if money is None else str(money.currency)
    if figure.dimension in ("count", "words"):
        return ""
    return printed(figure.dimension, screening.district.units)[0].translate(_PLAIN)


def value_of(figure: Figure, one: Screened, system: str) -> str:
    """A figure of a parcel as the district's own table holds it; empty where there is none, as
    where the parcel could not be screened."""
    value = figure.of(one) if not one.fault or figure.field in ("area_m2", "not_screened") else None
    if value is None or value != value:
        return ""
    if figure.dimension == "words":
        return str(value)
    if figure.dimension == "count":
        return f"{value:d}"
    if figure.dimension in ("hours", "money"):
        return f"{value:.2f}"
    _, factor, places = printed(figure.dimension, system)
    return f"{value * factor:.{places + _MORE}f}"


def field_value(figure: Figure, one: Screened) -> Any:
    """A figure of a parcel in SI as a layer holds it; NaN, or None of words, where there is none.
    """
    known = not one.fault or figure.field in ("area_m2", "not_screened")
    value = figure.of(one) if known else None
    return math.nan if value is None and figure.dimension != "words" else value


def ranks_of(screening: Screening) -> list[int | None]:
    """The rank of each parcel in the screening's order, from 1; None where it was not screened."""
    return [None if one.fault else number
            for number, one in enumerate(screening.parcels, 1)]
