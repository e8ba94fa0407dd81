"""How far a distance on the ground is from the same one reckoned from coordinates."""

from __future__ import annotations

import math

from terrain.inputs.frame import Frame

#: Mean radius of the earth. [m]
RADIUS = 6_371_000.0
#: What is less than this is told of by nobody: a centimetre in 100 m. [-]
TOLD = 1e-4


def combined_factor(frame: Frame, x: float, y: float, level: float) -> float | None:
    """A distance on the map's plane over the same one on the ground; None without a CRS.

    Parameters
    ----------
    x, y : float
        In the working frame. [m]
    level : float
        Of the ground; heights above the ellipsoid and above the sea are taken as one, which is
        some 5 mm in 1 km. [m]

    Notes
    -----
    The projection's scale at the point (of a projection that does not keep shapes, its mean scale)
    times R / (R + h).

    References
    ----------
    .. [1] Stem, State Plane Coordinate System of 1983, NOAA Manual NOS NGS 5, 1989, section 4,
       from memory.
    """
    from pyproj import Proj

    degrees = frame.to_lonlat(x, y)
    if frame.working is None or degrees is None:
        return None
    lon, lat = (float(part) for part in degrees)
    scale = math.sqrt(abs(float(Proj(frame.working).get_factors(lon, lat).areal_scale)))
    return scale * RADIUS / (RADIUS + level)


def grid_note(frame: Frame, x: float, y: float, level: float) -> str | None:
    """What to know of distances before a long tape is pulled; None where it is too little."""
    factor = combined_factor(frame, x, y, level)
    if factor is None or not abs(factor - 1) >= TOLD:
        return None
    per = 1 / factor - 1
    return (f"Coordinates, stations and lengths are distances on the map's plane: on the ground "
            f"they are {abs(per):.3%} {'longer' if per > 0 else 'shorter'}, "
            f"{abs(per) * 1e5:.0f} mm in 100 m ({abs(per) * 100:.2f} ft in 100 ft; combined factor "
            f"{factor:.6f}). A receiver set to the coordinate system allows for it; a tape does "
            "not.")
