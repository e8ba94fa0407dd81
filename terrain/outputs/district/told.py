"""Figures of a screening as people read them: no more digits than they are good for."""

from __future__ import annotations

import math

from shapely import box

from terrain.district.screened import Screened, Screening
from terrain.outputs.drawing.symbols import plain
from terrain.units import ground_unit, printed, shown

#: US volumes from this many gallons on are told in so many figures. [gal]
MANY_GALLONS, FIGURES = 100_000.0, 4
#: A parcel of which more than this share lies off the elevation is known in part only.
OFF = 0.01


def volume(value: float, system: str, decimals: int = 0) -> str:
    """A volume. [m3]

    Examples
    --------
    >>> volume(1234.56, "metric"), volume(1234.56, "us")
    ('1,235 m³', '326,100 gal')
    """
    _, factor, _ = printed("volume", system)
    told = value * factor
    if system == "us" and told >= MANY_GALLONS:
        return shown(round(told, FIGURES - 1 - math.floor(math.log10(told))) / factor, "volume",
                     system, 0)
    return shown(value, "volume", system, decimals)


def land(area: float, system: str) -> str:
    """An area of land or ground, as `terrain.units.shown` tells it everywhere. [m2]

    Examples
    --------
    >>> land(25_000.0, "metric"), land(4_000.0, "metric"), land(4046.8564224, "us")
    ('2.50 ha', '4,000 m²', '1.00 acre')
    """
    return shown(area, "ground", system)


def round_land_words(area: float, system: str) -> str:
    """An area of ground that is round. [m2]

    Examples
    --------
    >>> round_land_words(2 * 4046.8564224, "us"), round_land_words(2000.0, "metric")
    ('2 acre', '2,000 m²')
    """
    return plain(area, ground_unit(area, system), system)


def share_off(one: Screened, screening: Screening) -> float:
    """The share of a parcel that lies off the elevation; 0 where that is next to nothing."""
    outline = one.parcel.outline
    if not outline.area > 0:
        return 0.0
    share = float(outline.difference(box(*screening.overview.bounds)).area / outline.area)
    return share if share > OFF else 0.0


def own_at_least(one: Screened, screening: Screening) -> bool:
    """Whether a parcel's own water may be more than is said."""
    return share_off(one, screening) > 0


def run_on_at_least(one: Screened, screening: Screening) -> bool:
    """Whether run-on, and with it all that could be caught, may be more than is said."""
    return one.at_least or own_at_least(one, screening)
