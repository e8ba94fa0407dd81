"""Gutters and downspouts: what flows off a roof in a cloudburst, and what they carry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from terrain.works.manning import Trapezoid, flow, full_flow

#: Widths of downspouts that are sold; common practice, no source. [m]
SOLD = (0.075, 0.1, 0.125, 0.15, 0.2)


@dataclass(frozen=True)
class Gutter:
    """A gutter's section and its downspouts.

    Attributes
    ----------
    shape : {"half round", "box"}
    width, depth : float
        Depth of a half-round one is half its width. [m]
    fall : float
        Over length. [-]
    runs, downspouts : int
        Lengths of gutter that share the roof, and pipes that take the water down.
    diameter : float
        Of each downspout. [m]
    """

    shape: str
    width: float
    depth: float
    fall: float
    runs: int
    downspouts: int
    diameter: float


def roof_flow(area: float, intensity: float) -> float:
    """Flow off a roof. [m3/s]

    Parameters
    ----------
    area : float
        In plan. [m2]
    intensity : float
        [mm/h]

    Notes
    -----
    All that falls on the plan area: nothing is lost or held back in a cloudburst.

    Examples
    --------
    >>> round(1000 * roof_flow(100.0, 100.0), 2)   # L/s
    2.78
    """
    return area * intensity / 3.6e6


def gutter_capacity(shape: str, width: float, depth: float, fall: float, roughness: float
                    ) -> float:
    """What a gutter carries brim full. [m3/s]

    Parameters
    ----------
    shape : {"half round", "box"}
    width, depth : float
        Of a half-round one the depth is half the width, whatever is given. [m]
    fall : float
        Over length, above 0. [-]
    roughness : float
        Manning's n. [-]

    Notes
    -----
    Manning's equation for even flow at the fall, in SI.  Water comes in all along a real gutter,
    so the section at its outlet alone carries all of it.

    References
    ----------
    .. [1] Chow, Open-Channel Hydraulics, 1959, chapter 5.
    """
    if shape == "half round":  # half of a pipe just full, of the same hydraulic radius
        return full_flow(width, fall, roughness) / 2
    return flow(Trapezoid(width, 0.0), depth, fall, roughness)


def gutter_width_for(carried: float, shape: str, depth_over_width: float, fall: float,
                     roughness: float) -> float:
    """Width of a gutter of the same proportions that carries a flow [m3/s]. [m]"""
    one = gutter_capacity(shape, 1.0, depth_over_width, fall, roughness)
    return float((carried / one)**(3 / 8))


def pipe_capacity(diameter: float, filled: float, roughness: float) -> float:
    """What an upright pipe carries with water down its wall. [m3/s]

    Parameters
    ----------
    diameter : float
        Inside. [m]
    filled : float
        Share of its section that is water. [-]
    roughness : float
        [m]

    Notes
    -----
    Wyly and Eaton's equation, Q = 2.5e-4 k^(-1/6) d^(8/3) f^(5/3) with Q in L/s and k, d in mm, as
    in EN 12056-3 [1]_.  At 7/24 filled and 0.25 mm it gives what US plumbing codes allow: 23, 67
    and 144 gallons a minute for pipes 2, 3 and 4 inches wide (from memory).

    References
    ----------
    .. [1] EN 12056-3, Gravity drainage systems inside buildings, 2000, section 6.1.
    """
    return float(2.5e-7 * (1000 * roughness)**(-1 / 6) * (1000 * diameter)**(8 / 3)
                 * filled**(5 / 3))


def outlet_capacity(diameter: float, head: float) -> float:
    """What goes down a flat round outlet with water so deep over it [m]. [m3/s]

    Notes
    -----
    A weir round its rim while the water is no deeper than half its width, Q = D h^1.5 / 7500; an
    orifice from there on, Q = D^2 h^0.5 / 15000; Q in L/s, D and h in mm.

    References
    ----------
    .. [1] EN 12056-3, Gravity drainage systems inside buildings, 2000, Table 7; from memory.
    """
    wide, deep = 1000 * diameter, 1000 * head
    down = wide * deep**1.5 / 7500 if deep <= wide / 2 else wide**2 * np.sqrt(deep) / 15000
    return float(down / 1000)


@dataclass(frozen=True)
class Needed:
    """Downspouts that would do, with the gutter that as many of them go with.

    Attributes
    ----------
    count : int
    diameter : float
        Of each. [m]
    runs : int
        Lengths of gutter that share the roof with so many downspouts: as many to each as of the
        gutter stated, one where none is.
    width : float
        Of those lengths; never less than that of the gutter stated. [m]
    """

    count: int
    diameter: float
    runs: int
    width: float


@dataclass(frozen=True)
class GutterCheck:
    """A roof's gutter held against a cloudburst; flows in m3/s.

    Attributes
    ----------
    roof : str
    area : float
        In plan. [m2]
    flow : float
        Off the whole roof.
    gutter : Gutter or None
        None where none is stated: then only what it needs is told.
    gutter_carries, downspouts_carry : float or None
        All runs, and all downspouts, together.
    outlet_decides : bool
        Whether the outlet, not the pipe below it, holds a downspout's flow back.
    needs_width : float
        Of a gutter of that shape and fall, so many runs. [m]
    needs : tuple of Needed
        Downspouts that would do, the least number of each width sold, the narrowest first.
    """

    roof: str
    area: float
    flow: float
    gutter: Gutter | None
    gutter_carries: float | None
    downspouts_carry: float | None
    outlet_decides: bool
    needs_width: float
    needs: tuple[Needed, ...]

    @property
    def gutter_enough(self) -> bool | None:
        """Whether the gutter carries the flow; None where none is stated."""
        return None if self.gutter_carries is None else self.gutter_carries >= self.flow

    @property
    def downspouts_enough(self) -> bool | None:
        """Whether the downspouts do."""
        return None if self.downspouts_carry is None else self.downspouts_carry >= self.flow


def check_gutter(roof: str, area: float, intensity: float, gutter: Gutter | None, fall: float,
                 roughness: float, filled: float, pipe_roughness: float) -> GutterCheck:
    """Hold a roof's gutter and downspouts against a cloudburst.

    Parameters
    ----------
    intensity : float
        [mm/h]
    gutter : Gutter or None
    fall, roughness : float
        Of a gutter where none is stated, and Manning's n of any. [-]
    filled, pipe_roughness : float
        As of `pipe_capacity`.
    """
    comes = roof_flow(area, intensity)

    def down(diameter: float, depth: float) -> tuple[float, bool]:
        pipe, outlet = pipe_capacity(diameter, filled, pipe_roughness), outlet_capacity(diameter,
                                                                                       depth)
        return min(pipe, outlet), outlet < pipe

    shape, runs, proportion = "half round", 1, 0.5
    carries: float | None = None
    falls_down: float | None = None
    outlet = False
    if gutter is not None:
        shape, runs, fall = gutter.shape, gutter.runs, gutter.fall
        proportion = gutter.depth / gutter.width
        carries = runs * gutter_capacity(shape, gutter.width, gutter.depth, fall, roughness)
        one, outlet = down(gutter.diameter, gutter.depth)
        falls_down = gutter.downspouts * one
    width = gutter_width_for(comes / runs, shape, proportion, fall, roughness)

    def beside(count: int) -> tuple[int, float]:
        """Lengths of gutter that go with so many downspouts, and how wide they must be."""
        lengths = count if gutter is None else max(count * gutter.runs // gutter.downspouts, 1)
        return lengths, max(gutter_width_for(comes / lengths, shape, proportion, fall, roughness),
                            0.0 if gutter is None else gutter.width)

    needs: list[Needed] = []
    for diameter in SOLD:
        # No downspout takes more than its wall does; more of them stand in narrower gutters.
        count = max(int(np.ceil(comes / pipe_capacity(diameter, filled, pipe_roughness) - 1e-9)), 1)
        while count * down(diameter, beside(count)[1] * proportion)[0] < comes * (1 - 1e-9):
            count += 1
        if not needs or count < needs[-1].count:
            needs.append(Needed(count, diameter, *beside(count)))
        if count == 1:
            break
    return GutterCheck(roof, area, comes, gutter, carries, falls_down, outlet, width, tuple(needs))
