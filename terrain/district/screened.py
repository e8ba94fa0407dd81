"""What a screening says of each parcel of a district."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from terrain.inputs.dem import Dem
from terrain.inputs.district import District


@dataclass(frozen=True)
class Parcel:
    """A property of a district.

    Attributes
    ----------
    number : int
        From 1, in the layer's order.
    name : str
        No two parcels share one.
    outline : shapely geometry
        In the working frame. [m]
    page : bool
        Whether it asks for a page of its own.
    """

    number: int
    name: str
    outline: Any
    page: bool = False

    @property
    def area(self) -> float:
        """Of its outline. [m2]"""
        return float(self.outline.area)


@dataclass(frozen=True)
class Water:
    """What a storm, or an average year, brings to a parcel.

    Attributes
    ----------
    name : str
        Of the storm; "year" for an average year.
    rain : float
        [mm]
    own : float
        Runoff of the parcel's own ground, its roofs left out. [m3]
    run_on : float
        Runoff from ground beyond the parcel that drains over it, each cell's counted once. [m3]
    road : float
        The part of the two that roads shed. [m3]
    roof : float
        Rain on the parcel's roofs that reaches their gutters. [m3]
    """

    name: str
    rain: float
    own: float
    run_on: float
    road: float
    roof: float

    @property
    def catchable(self) -> float:
        """All that could be caught on the parcel by works in the ground. [m3]"""
        return self.own + self.run_on


@dataclass(frozen=True)
class Ground:
    """The best ground for a swale, or for a basin.

    Attributes
    ----------
    kind : str
        "swale", "wall" or "dug basin".
    line : shapely geometry
        The swale's line, the wall's, or the rim of a basin. [m]
    footprint : shapely geometry
        Ground that its earth and its water take. [m]
    storage, cut : float
        Up to its sill; earth to dig, as it lies. [m3]
    hours : float
        Of the machine. [h]
    money : float or None
        Between the low and the high quote; None where the district file states no rates.
    bank : float
        Deepest water against a bank of earth. [m]
    catchment : float
        Ground that drains to it, roofs of the parcel left out. [m2]
    comes, kept : tuple of float
        Of each storm, in the district file's order. [m3]
    comes_in_year, kept_in_year : float or None
        Of an average year, lived through day by day; None without a rain record. [m3]
    why : tuple of str
        In whole sentences.
    """

    kind: str
    line: Any
    footprint: Any
    storage: float
    cut: float
    hours: float
    money: float | None
    bank: float
    catchment: float
    comes: tuple[float, ...]
    kept: tuple[float, ...]
    comes_in_year: float | None
    kept_in_year: float | None
    why: tuple[str, ...] = ()


@dataclass(frozen=True)
class RoadShed:
    """Roads whose water crosses a parcel.

    Attributes
    ----------
    own, run_on : float
        Road within the parcel, and beyond it that drains over it. [m2]
    at : (float, float) or None
        Where on the parcel the water of most road passes, in the working frame; None without any.
    there : float
        Road that drains to that place. [m2]
    """

    own: float
    run_on: float
    at: tuple[float, float] | None
    there: float


@dataclass(frozen=True)
class Roofs:
    """Buildings of a parcel: how many, and their footprints within it. [m2]"""

    count: int
    area: float


@dataclass(frozen=True)
class Entry:
    """Where water comes onto a parcel: the place, and the ground that drains in there. [m2]"""

    at: tuple[float, float]
    area: float


@dataclass(frozen=True)
class Screened:
    """A parcel and what was found of it.

    Attributes
    ----------
    parcel : Parcel
    own_area, run_on_area : float
        The parcel's ground, and ground beyond it that drains over it. [m2]
    at_least : bool
        Some of that reaches the edge of the known ground, so there may be more.
    storms : tuple of Water
        In the district file's order.
    year : Water or None
        None without a rain record.
    road : RoadShed
    roofs : Roofs
    entries : tuple of Entry
        The largest first.
    swale, basin : Ground or None
        None where no ground of the parcel lets one lie.
    notes : tuple of str
        What was assumed or left out, in whole sentences.
    fault : str
        Why the parcel could not be screened; empty otherwise, and else the rest holds nothing.
    """

    parcel: Parcel
    own_area: float = 0.0
    run_on_area: float = 0.0
    at_least: bool = False
    storms: tuple[Water, ...] = ()
    year: Water | None = None
    road: RoadShed = field(default_factory=lambda: RoadShed(0.0, 0.0, None, 0.0))
    roofs: Roofs = field(default_factory=lambda: Roofs(0, 0.0))
    entries: tuple[Entry, ...] = ()
    swale: Ground | None = None
    basin: Ground | None = None
    notes: tuple[str, ...] = ()
    fault: str = ""


@dataclass(frozen=True)
class Screening:
    """A district and its parcels, the best first.

    Attributes
    ----------
    district : District
    overview : Dem
        The whole ground in coarse cells, each as low as its lowest.
    parcels : tuple of Screened
        Ranked as the district file asks; those that could not be screened last.
    design : int
        Which of the storms sills are sized for.
    cells, tiles : int
    graph : (int, int)
        Nodes and edges of the graph over borders of tiles.
    notes : tuple of str
    """

    district: District
    overview: Dem
    parcels: tuple[Screened, ...]
    design: int
    cells: int
    tiles: int
    graph: tuple[int, int]
    notes: tuple[str, ...] = ()
