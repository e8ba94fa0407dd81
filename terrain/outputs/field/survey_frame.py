"""The coordinates and the unit that stakes are given in: those of the raster's own CRS."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS

from terrain.inputs.frame import METRES, Frame
from terrain.inputs.height_words import height_datum

#: unit: how it ends a column's name, and what it is called.
UNITS = {"m": ("m", "metres"), "ft": ("ft", "international feet (0.3048 m)"),
         "us-ft": ("usft", "US survey feet (1200/3937 m)")}


@dataclass(frozen=True)
class LengthUnit:
    """A unit of length: its key in `UNITS`."""

    key: str

    @property
    def suffix(self) -> str:
        """How a column's name ends."""
        return UNITS[self.key][0]

    @property
    def words(self) -> str:
        """What it is called, which foot included."""
        return UNITS[self.key][1]

    @property
    def sign(self) -> str:
        """As it stands behind a figure."""
        return "m" if self.key == "m" else "ft"

    def of(self, metres: float) -> float:
        """A length or level in it, of one in metres."""
        return metres / METRES[self.key]


def unit_of(metres: float) -> LengthUnit:
    """The unit that is so many metres long; the nearest known one."""
    return LengthUnit(min(METRES, key=lambda key: abs(METRES[key] - metres)))


@dataclass(frozen=True)
class SurveyFrame:
    """A plane for drawings and machines, and its unit, in which levels are too.

    Attributes
    ----------
    frame : Frame
    crs : CRS or None
        The raster's own where it is a plane, else that of the working frame; None without one.
    unit : LengthUnit
    """

    frame: Frame
    crs: CRS | None
    unit: LengthUnit

    @property
    def name(self) -> str:
        """What the plane is called."""
        return "the raster's own plane, no coordinate system" if self.crs is None else self.crs.name

    @property
    def epsg(self) -> int | None:
        """Its number in the EPSG register, the plane's own of a compound one."""
        if self.crs is None:
            return None
        plane = self.crs.to_2d() if self.crs.is_compound else self.crs
        return plane.to_epsg()

    def place(self, x: ArrayLike, y: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """East and north of points of the working frame, in its unit."""
        if self.crs is not None and self.crs == self.frame.working:
            return np.asarray(x, float), np.asarray(y, float)
        return self.frame.to_source(x, y)

    def points(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """East, north, level in its unit of points of the working frame; shape (n, 3)."""
        east, north = self.place(points[:, 0], points[:, 1])
        return np.column_stack([east, north, points[:, 2] / METRES[self.unit.key]])


def survey_frame(frame: Frame) -> SurveyFrame:
    """The plane to draw in: the raster's own, or the working frame of one in degrees."""
    source = frame.source
    if source is None:
        return SurveyFrame(frame, None, unit_of(frame.metres_per_unit))
    if source.is_geographic:
        return SurveyFrame(frame, frame.working, LengthUnit("m"))
    return SurveyFrame(frame, source, unit_of(source.axis_info[0].unit_conversion_factor))


def table_unit(frame: Frame, system: str) -> LengthUnit:
    """The unit of levels and stations in tables: metres, or for a site in US units the foot of
    the raster's heights, else of its CRS, the international one where neither has one."""
    return LengthUnit(frame.foot if system == "us" else "m")


def datum_words(frame: Frame) -> str:
    """What the levels of a field file are, for its head."""
    named = height_datum(frame.source)
    return "levels on the elevation raster's own heights" + (
        f", {named}" if named else ", whose datum its files do not name")
