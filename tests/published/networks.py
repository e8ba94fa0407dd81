"""Cascades made without a raster: random ones for properties, and small ones by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from hypothesis import strategies as st

from terrain.plan.water.cascade import Cascade, Node
from terrain.runoff.catchment import Catchment
from terrain.runoff.evapotranspiration import on_days
from terrain.works.roof import RoofCatchment
from terrain.works.sill import Sill
from terrain.works.store import Curve, Store, bowl_curve, channel_curve, tank_curve

NO_ROOF = RoofCatchment(0.0, 0.0)
NO_GROUND = Catchment(np.zeros(0), np.zeros(0), np.zeros(0))


def ground_of(numbers: list[float], areas: list[float], beyond: list[float] | None = None,
              path: float = 60.0, slope: float = 0.08) -> Catchment:
    """A catchment of some curve numbers, their areas and the shares beyond the boundary. [m2]"""
    whole = np.asarray(areas, float)
    part = np.zeros(whole.size) if beyond is None else np.asarray(beyond, float) * whole
    return Catchment(np.asarray(numbers, float), whole, part, path, slope)


def store_of(kind: str, curve: Curve, sill_length: float = 4.0, infiltration: float = 0.0,
             demand: float = 0.0) -> Store:
    """A store that stands nowhere in particular."""
    sill = Sill(float(curve.levels[-1]), sill_length, 0.0, 0.0, 1.7)
    return Store(kind, kind, curve, sill, 0.0, 0.0, 0.0, 0.0, infiltration, "", demand,
                 kind != "tank")


def cascade_of(parts: list[tuple[Store, Catchment, RoofCatchment, int | None]],
               open_ground: Catchment = NO_GROUND,
               pumps: dict[int, tuple[float, int | None]] | None = None) -> Cascade:
    """Join stores given in any order; all their ground makes the property's own.

    `pumps`: what the pump of a store lifts [m3/s], and who takes what is over that.
    """
    nodes = [Node(store, ground, roof, to, np.zeros((0, 2)))
             for store, ground, roof, to in parts]
    for i, (lifts, over_to) in (pumps or {}).items():
        nodes[i] = replace(nodes[i], lifts=lifts, over_to=over_to)
    order: list[int] = []
    while len(order) < len(nodes):
        order += [i for i in range(len(nodes)) if i not in order
                  and all(j in order for j, node in enumerate(nodes)
                          if i == node.spills_to or (node.lifts is not None
                                                     and i == node.over_to))]
    return Cascade(nodes, order, open_ground, np.zeros((1, 1), np.int32))


def given_to(cascade: Cascade, index: int | None, stores: Sequence[Any]) -> Any:
    """What a node, or the land off the site, gets of the spills of all stores of a run."""
    total: Any = 0.0
    for node, store in zip(cascade.nodes, stores, strict=True):
        if node.lifts is None:
            total = total + (store.spilled if node.spills_to == index else 0.0)
            continue
        total = total + (store.spilled - store.over if node.spills_to == index else 0.0)
        total = total + (store.over if node.over_to == index else 0.0)
    return total


def reference_of(record: pd.Series, monthly: list[float] | None) -> np.ndarray | None:
    """Reference evapotranspiration of a record's days, from monthly depths. [mm]"""
    return None if monthly is None else on_days(pd.DatetimeIndex(record.index), monthly=monthly)[0]


curves = st.one_of(
    st.builds(channel_curve, st.just(10.0), st.floats(0.05, 1), st.floats(0.1, 3), st.floats(0, 4),
              st.floats(2, 150)),
    st.builds(lambda depth, floor, side: bowl_curve(10.0, depth, floor + side * depth, side),
              st.floats(0.05, 1), st.floats(0.3, 3), st.floats(0, 3)),
    st.builds(tank_curve, st.floats(0.2, 80), st.floats(0.5, 3)))

catchments = st.lists(
    st.tuples(st.floats(30, 100), st.floats(0, 20000), st.floats(0, 1)), max_size=4).flatmap(
    lambda parts: st.builds(
        ground_of, st.just([p[0] for p in parts]), st.just([p[1] for p in parts]),
        st.just([p[2] for p in parts]), st.floats(0, 500), st.floats(0.001, 0.5)))

roofs = st.one_of(st.just(NO_ROOF), st.builds(
    lambda area, share, flush: RoofCatchment(area, area * share, flush),
    st.floats(5, 500), st.floats(0.3, 1), st.floats(0, 4)))

stores = st.builds(store_of, st.sampled_from(["swale", "basin", "tree basin", "tank"]), curves,
                   st.floats(0.5, 40), st.floats(0, 60), st.floats(0, 2))


@st.composite
def cascades(draw: st.DrawFn) -> Cascade:
    """A random directed acyclic network of up to six stores, listed in random order."""
    count = draw(st.integers(1, 6))
    place = draw(st.permutations(range(count)))  # place[k]: where the k-th upstream is listed
    parts: list[tuple[Store, Catchment, RoofCatchment, int | None]] = [None] * count  # type: ignore[list-item]
    pumps: dict[int, tuple[float, int | None]] = {}
    for k, at in enumerate(place):
        below = st.none() | st.sampled_from(place[k + 1:]) if k + 1 < count else st.none()
        parts[at] = (draw(stores), draw(catchments), draw(roofs), draw(below))
        if draw(st.integers(0, 2)) == 0:  # about one store in three is pumped
            pumps[at] = draw(st.floats(0, 0.2)), draw(below)
    return cascade_of(parts, draw(catchments), pumps)
