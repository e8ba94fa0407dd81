"""The ground that a work's own earth and water take, to measure from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from terrain.inputs.dem import Dem
from terrain.plan.earth.built import Built
from terrain.plan.siting.layout import Placed
from terrain.works.basin import Basin
from terrain.works.drain import Drain
from terrain.works.footprints import (
    bund_footprint,
    cut_edge,
    drain_footprint,
    pit_footprint,
    swale_footprint,
    wall_footprint,
)
from terrain.works.ground_of_swale import floor_at as floor_of_section
from terrain.works.rules import Rulebook
from terrain.works.swale_built import Swale
from terrain.works.wall_and_pit import lowered_ground

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Body:
    """A work in plan.

    Attributes
    ----------
    parts : tuple of (str, shapely geometry)
        What each part is called in a sentence, and the ground it takes. [m]
    line : shapely LineString or None
        The line that chainages are told along.
    """

    parts: tuple[tuple[str, Any], ...]
    line: LineString | None = None

    @property
    def whole(self) -> Any:
        """All its ground."""
        return shapely.union_all([shape for _, shape in self.parts])

    def nearest(self, shape: Any) -> tuple[float, str]:
        """Distance of its nearest part from a shape [m], and what that part is called."""
        gaps = [(float(part.distance(shape)), called) for called, part in self.parts]
        return min(gaps, key=lambda gap: gap[0])


def body_of(made: Built, dem: Dem, rules: Rulebook) -> Body | None:
    """A work in plan; None for a tank, which takes no ground of its own that matters."""
    place = made.placed
    if made.swale is not None:
        return _swale(made.swale, dem)
    if made.basin is not None:
        return _basin(made.basin, dem)
    if made.drain is not None:
        return _drain(made.drain, dem)
    if place.tree is not None:
        return _tree(place, rules)
    if place.hollow is not None:
        return Body((("its full pool", place.outline),))
    return None


def floor_at(made: Built, dem: Dem, x: FloatArray, y: FloatArray, ground: FloatArray
             ) -> FloatArray:
    """Level of a work's floor at points, the ground where nothing is dug. [m]"""
    place, basin, drain = made.placed, made.basin, made.drain
    if basin is not None and basin.rim is not None:
        return lowered_ground(basin, x, y, ground)
    if drain is not None:
        along = shapely.line_locate_point(LineString(drain.route.line), shapely.points(x, y))
        found: FloatArray = np.minimum(ground, np.array([drain.bed(float(s)) for s in along]))
        return found
    if made.swale is not None:
        cut = shapely.contains_xy(swale_footprint(made.swale, dem)[0], x, y)
        away = shapely.distance(LineString(made.swale.route.line), shapely.points(x, y))
        section = made.swale.section
        bed = section.top_width() - section.side_slope * section.depth  # to its uphill edge
        dug = made.swale.sill.level + np.where(away <= bed, -section.depth,
                                               floor_of_section(section, away))
        return np.where(cut, np.minimum(ground, dug), ground)
    heaped = place.tree is not None and place.tree.form == "crescent"
    if heaped or place.hollow is not None or (basin is not None and basin.has_wall):
        return ground
    return np.minimum(ground, float(place.curve.levels[0]))


def _swale(swale: Swale, dem: Dem) -> Body:
    channel, berm = swale_footprint(swale, dem)
    parts = [("its cut", channel), *([("its berm", berm)] if berm is not None else [])]
    return Body(tuple(parts), LineString(swale.route.line))


def _basin(basin: Basin, dem: Dem) -> Body:
    parts: list[tuple[str, Any]] = []
    line = None
    if basin.profile is not None:
        line = LineString(basin.line)
        parts.append(("its bank", wall_footprint(basin, dem)[1]))
    parts.append(("its full pool" if basin.has_wall else "its rim", basin.outline))
    edge, pit = cut_edge(basin, dem), pit_footprint(basin)
    if edge is not None:
        parts.append(("its cut", Polygon(edge)))
    elif basin.has_wall and pit is not None:
        parts.append(("its pit", pit[0]))
    return Body(tuple(parts), line)


def _drain(drain: Drain, dem: Dem) -> Body:
    channel, bank = drain_footprint(drain, dem)
    parts = [("its channel", channel), *([("its bank", bank)] if bank is not None else [])]
    return Body(tuple(parts), LineString(drain.route.line))


def _tree(place: Placed, rules: Rulebook) -> Body:
    tree = place.tree
    assert tree is not None
    if tree.crescent is not None:
        bund = bund_footprint(tree.crescent, rules["crescent top width"],
                              rules["crescent side slope"], (tree.x, tree.y))
        return Body((("its bund", bund), ("its pool", tree.outline)))
    called = {"bowl": "its rim", "trench": "its trench"}[tree.form]
    return Body(((called, tree.outline),))
