"""What a basin catches of a storm, by how deep the rain is and how wet the ground was before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from terrain.plan.water.cascade import Cascade
from terrain.plan.water.routing import run_storm
from terrain.runoff.catchment import Catchment
from terrain.runoff.storms import Hyetograph

#: Depths of rain along a curve, its start at no rain included.
POINTS = 13
#: The curve goes this much beyond the deepest storm.
BEYOND = 1.25


@dataclass(frozen=True)
class StormCatch:
    """One storm at one basin. [m3]

    Attributes
    ----------
    name : str
    rain, hours : float
        [mm], [h]
    return_period : float or None
        [years]
    comes, caught : float
        On ground as wet as the site file says.
    dry, wet : float
        Caught on ground of antecedent condition I and III.
    """

    name: str
    rain: float
    hours: float
    return_period: float | None
    comes: float
    caught: float
    dry: float
    wet: float


@dataclass(frozen=True)
class CatchCurve:
    """Caught against the depth of rain, in the design storm's duration and shape.

    Attributes
    ----------
    rain : float64, shape (n,)
        [mm]
    caught, dry, wet : float64, shape (n,)
        As of `StormCatch`. [m3]
    """

    rain: NDArray[np.float64]
    caught: NDArray[np.float64]
    dry: NDArray[np.float64]
    wet: NDArray[np.float64]


def curve_depths(deepest: float, points: int = POINTS) -> NDArray[np.float64]:
    """Depths of rain to draw a curve by. [mm]

    Parameters
    ----------
    deepest : float
        Of the storms asked for. [mm]
    """
    # Closer at first, where a basin fills.
    return np.asarray(BEYOND * deepest * np.linspace(0.0, 1.0, points) ** 1.6)


def catches(cascade: Cascade, storms: Sequence[tuple[str, float, float | None]],
            shapes: dict[str, Hyetograph], design: str, indices: Sequence[int]
            ) -> dict[int, tuple[tuple[StormCatch, ...], CatchCurve]]:
    """What basins of a cascade catch of each storm, and along a curve of depths.

    Parameters
    ----------
    storms : sequence of (name, depth [mm], return period [years] or None)
    shapes : dict of str to Hyetograph
        By the storms' names.
    design : str
        Name of the storm whose shape the curve has.
    indices : sequence of int
        Nodes asked for.

    Notes
    -----
    Every storm runs through the whole cascade, stores empty, so that spills from above and what
    soaks in meanwhile count.
    """
    if not indices:
        return {}
    grounds = [cascade, cascade.under("I"), cascade.under("III")]
    own = [depth for name, depth, _ in storms if name == design]
    depths = np.union1d(curve_depths(max(depth for _, depth, _ in storms)), own)

    def run(depth: float, shape: Hyetograph) -> list[list[tuple[float, float]]]:
        """What comes to and what is caught by each basin, for each wetness."""
        stores = [run_storm(ground, depth, shape).stores for ground in grounds]
        return [[(found[i].inflow, found[i].caught) for i in indices] for found in stores]

    along = [run(float(depth), shapes[design]) for depth in depths]
    each = [run(depth, shapes[name]) for name, depth, _ in storms]
    found = {}
    for place, index in enumerate(indices):
        one = partial(_of, place)
        rows = [StormCatch(name, depth, shapes[name].duration, years, *one(ran)) for
                (name, depth, years), ran in zip(storms, each, strict=True)]
        _, caught, dry, wet = np.array([one(ran) for ran in along]).T
        found[index] = tuple(rows), CatchCurve(depths, caught, dry, wet)
    return found


def _of(place: int, ran: list[list[tuple[float, float]]]) -> tuple[float, float, float, float]:
    (comes, caught), (_, dry), (_, wet) = (wetness[place] for wetness in ran)
    return comes, caught, dry, wet


def catch_curve(catchment: Catchment, storage: float, deepest: float) -> CatchCurve:
    """The same of one catchment and what its basin holds, soaking left out.

    Parameters
    ----------
    storage : float
        [m3]
    deepest : float
        Of the storms asked for. [mm]
    """
    depths = curve_depths(deepest, 10 * (POINTS - 1) + 1)
    grounds = [catchment, catchment.under("I"), catchment.under("III")]
    held = [np.minimum(ground.runoff_volumes(depths), storage) for ground in grounds]
    return CatchCurve(depths, *held)
