"""The working frame: metres on a plane, and the way to and from the raster's own CRS."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Transformer
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import UTMConversion

from terrain.errors import InputError
from terrain.units import METRES

__all__ = ["METRES", "Frame", "in_metres", "plane_near", "unit_of"]


def unit_of(metres: float) -> str:
    """The key in `METRES` of the unit that is so many metres long; the nearest known one."""
    return min(METRES, key=lambda key: abs(METRES[key] - metres))


@dataclass(frozen=True)
class Frame:
    """Two coordinate systems and the exact way between them.

    Attributes
    ----------
    source : CRS or None
        The raster's own CRS; None where it has none and its plan unit was stated.
    working : CRS or None
        The CRS that everything inside is measured in: metres on a plane.
    metres_per_unit : float
        Used only where there is no CRS.
    heights_in : {"m", "ft", "us-ft"}
        The unit that the heights were read from.
    """

    source: CRS | None
    working: CRS | None
    metres_per_unit: float = 1.0
    heights_in: str = "m"
    _ways: dict[str, Transformer] = field(default_factory=dict, repr=False, compare=False)

    @property
    def foot(self) -> str:
        """The foot of the elevation's own, ft or us-ft: of its heights, as stated or declared, else
        of its plan; the international one where both are metric."""
        plan = "m"
        if self.source is None:
            plan = unit_of(self.metres_per_unit)
        elif not self.source.is_geographic:
            plan = unit_of(self.source.axis_info[0].unit_conversion_factor)
        return next((unit for unit in (self.heights_in, plan) if unit != "m"), "ft")

    def _move(self, xs: ArrayLike, ys: ArrayLike, start: CRS, end: CRS
              ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        key = f"{start.to_wkt()}>{end.to_wkt()}"
        if key not in self._ways:
            self._ways[key] = Transformer.from_crs(start, end, always_xy=True)
        x, y = self._ways[key].transform(np.asarray(xs, float), np.asarray(ys, float))
        return np.asarray(x), np.asarray(y)

    def to_working(self, xs: ArrayLike, ys: ArrayLike
                   ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Move points from the raster's CRS into the working frame. [m]"""
        if self.source is None or self.working is None:
            return (np.asarray(xs, float) * self.metres_per_unit,
                    np.asarray(ys, float) * self.metres_per_unit)
        if self.source == self.working:
            return np.asarray(xs, float), np.asarray(ys, float)
        return self._move(xs, ys, self.source, self.working)

    def to_source(self, xs: ArrayLike, ys: ArrayLike
                  ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Move points from the working frame into the raster's CRS."""
        if self.source is None or self.working is None:
            return (np.asarray(xs, float) / self.metres_per_unit,
                    np.asarray(ys, float) / self.metres_per_unit)
        if self.source == self.working:
            return np.asarray(xs, float), np.asarray(ys, float)
        return self._move(xs, ys, self.working, self.source)

    def from_lonlat(self, lon: ArrayLike, lat: ArrayLike
                    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Move longitudes and latitudes (WGS 84, degrees) into the working frame. [m]"""
        if self.working is None:
            raise InputError("the elevation raster", "it has no coordinate system, so longitude "
                             "and latitude cannot be placed on it",
                             "State its CRS, or give points in its own coordinates")
        return self._move(lon, lat, CRS.from_epsg(4326), self.working)

    def to_lonlat(self, xs: ArrayLike, ys: ArrayLike
                  ) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
        """Longitudes and latitudes (WGS 84) of points of the working frame; None without a CRS."""
        if self.working is None:
            return None
        return self._move(xs, ys, self.working, CRS.from_epsg(4326))


def in_metres(crs: CRS) -> CRS:
    """The same projected CRS with its axes in metres; heights and datum untouched."""
    plan: Any = crs.to_2d() if len(crs.axis_info) > 2 or crs.is_compound else crs
    described = plan.to_json_dict()
    system = described.get("coordinate_system") or {}
    if all(axis.get("unit") == "metre" for axis in system.get("axis", [])):
        return CRS(plan)
    for axis in system["axis"]:
        axis["unit"] = "metre"
    described.pop("id", None)
    described["name"] = f"{described['name']} in metres"
    return CRS.from_json_dict(described)


def plane_near(crs: CRS, longitude: float, latitude: float) -> CRS:
    """A metric plane for a geographic CRS: its UTM zone, on the same datum, so nothing shifts."""
    zone = int((longitude + 180) % 360 // 6) + 1  # longitudes may run from 0 to 360
    hemisphere = "N" if latitude >= 0 else "S"
    own = CRS(crs).geodetic_crs
    registered = CRS.from_epsg((32600 if latitude >= 0 else 32700) + zone)
    if registered.geodetic_crs == own:
        return registered
    plane = ProjectedCRS(conversion=UTMConversion(str(zone), hemisphere), geodetic_crs=own,
                         name=f"UTM zone {zone}{hemisphere} on {crs.name}")
    return CRS(plane)
