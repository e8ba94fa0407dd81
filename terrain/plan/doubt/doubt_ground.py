"""Whose water comes to which store, and where spills run, on ground whose heights are off."""

from __future__ import annotations

from dataclasses import dataclass, replace
from graphlib import CycleError, TopologicalSorter

import numpy as np
from numpy.typing import NDArray
from shapely import box

from terrain.inputs.dem import Dem
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Cascade, Node
from terrain.runoff.catchment import Catchment, with_water
from terrain.surface.elevation_error import ErrorField, error_field
from terrain.surface.kernels import kernel
from terrain.surface.terrain import Terrain

#: Ground about all that drains to the property is looked at for as many reaches of the errors, and
#: no less than this, beside it; common practice, no source. [m]
MARGIN, MARGIN_REACHES = 50.0, 2.0
#: A part that is nearly all of the raster is not cut out.
NEARLY_ALL = 0.8


@dataclass(frozen=True)
class Drained:
    """What the ground of one run does.

    Attributes
    ----------
    areas : float64, shape (nodes,)
        Ground that comes to each store. [m2]
    apart : float64, shape (nodes,)
        Ground that comes to it here and not by the plan, or by the plan and not here. [m2]
    spills_to : tuple of int or None
        Where each spills, by this ground.
    moved : float64, shape (nodes,)
        How far from the plan's place a spill leaves the property; 0 where either does not. [m]
    untangled : bool
        Spills ran in a circle and were led as the plan says.
    cut : bool
        The ground of some store reaches the border of the part that was looked at.
    """

    areas: NDArray[np.float64]
    apart: NDArray[np.float64]
    spills_to: tuple[int | None, ...]
    moved: NDArray[np.float64]
    untangled: bool
    cut: bool


@dataclass(frozen=True)
class Ground:
    """The ground of one run: what it does, and the plan's cascade with its catchments and spills,
    whose `labels` stay the plan's."""

    drained: Drained
    cascade: Cascade


@kernel
def _tally(label: NDArray[np.int32], reached: NDArray[np.int32], code: NDArray[np.int32],
           around: NDArray[np.bool_], plan_label: NDArray[np.int32], kinds: int,
           areas: NDArray[np.int64], sizes: NDArray[np.int64], same: NDArray[np.int64]) -> None:
    """Count cells of each kind of ground by store, the last row for ground that meets none."""
    nodes = sizes.size
    for cell in range(label.size):
        kind = code[cell]
        if kind < 0:
            continue
        store = label[cell]
        if store > 0:
            sizes[store - 1] += 1
            if plan_label[cell] == store:
                same[store - 1] += 1
            if around[cell]:
                areas[(store - 1) * kinds + kind] += 1
        elif reached[cell] > 0:
            areas[nodes * kinds + kind] += 1


class DoubtedGround:
    """The plan's ground, ready to be looked at with errors in its heights.

    Works stay where they are dug and hold what they hold: their cells, levels and curves are set
    out with an instrument.  What changes is who drains to them, and where their spills run.

    Parameters
    ----------
    inputs : Inputs
    placed : list of Placed
    cascade : Cascade
        The plan's.
    error, reach : float
        Standard deviation and reach of the heights' error. [m]
    """

    def __init__(self, inputs: Inputs, placed: list[Placed], cascade: Cascade, error: float,
                 reach: float) -> None:
        self.cascade, self.placed = cascade, placed
        ground, terrain = inputs.ground, inputs.terrain
        whole = terrain.dem
        roofs = {roof.name: roof for roof in ground.roofs}
        dry = np.zeros(whole.shape, bool)
        for node in cascade.nodes:
            for name in node.roof.names:
                dry |= roofs[name].cells
        marks = np.zeros(whole.shape, np.int32)
        for index, place in enumerate(placed):
            rows, columns = place.cells[:, 0], place.cells[:, 1]
            free = marks[rows, columns] == 0
            marks[rows[free], columns[free]] = index + 1
        numbers = np.where(dry, np.nan, ground.curve_number)
        self.cell_area, self.cell = float(whole.cell_area), whole.cell
        self.kinds, which = np.unique(numbers[np.isfinite(numbers)], return_inverse=True)
        code = np.full(whole.shape, -1, np.int32)
        code[np.isfinite(numbers)] = 2 * which + ground.inside[np.isfinite(numbers)]
        self.terrain = terrain
        everything = (slice(0, whole.shape[0]), slice(0, whole.shape[1]))
        part = self._part(terrain, cascade, marks, ground.inside, reach)
        for span in (everything,) if part is None else (part, everything):
            self.dem = _cut_out(whole, span)
            self.marks, self.inside, self.dry, self.code = (
                np.ascontiguousarray(grid[span]) for grid in (marks, ground.inside, dry, code))
            self.plan_labels = np.ascontiguousarray(cascade.labels[span])
            self.border = self._border(whole, span)
            raw = Terrain(self.dem, terrain.conditioning).labels(self.marks)
            if np.array_equal(np.where(self.dry, 0, raw), self.plan_labels):
                break  # the part says of the plan's own ground what the whole says
        self.around = self.marks == 0
        self.field: ErrorField | None = (error_field(self.dem.shape, self.cell, error, reach)
                                         if error else None)
        self.led = [self._led(place, node) for place, node in
                    zip(placed, cascade.nodes, strict=True)]
        self.under = [self._gathered(node.catchment, np.bincount(
            self.code[(self.marks == index + 1) & (self.code >= 0)], minlength=2 * self.kinds.size))
            for index, node in enumerate(cascade.nodes)]
        self.stops = {index: (self.marks > 0) & (self.marks != index + 1)
                      for index, at in enumerate(self.led) if at is not None}
        direct = Terrain(self.dem, terrain.conditioning)
        self.left_at = [self._leaves(direct, index) if node.spills_to is None else None
                        for index, node in enumerate(cascade.nodes)]
        self.plan_sizes = np.bincount(self.plan_labels[self.code >= 0],
                                      minlength=len(placed) + 1)[1:]

    def _part(self, terrain: Terrain, cascade: Cascade, marks: NDArray[np.int32],
              inside: NDArray[np.bool_], reach: float) -> tuple[slice, slice] | None:
        """Rows and columns that hold all that drains to the property or a store; None for all."""
        held = (terrain.labels(inside.astype(np.int32)) > 0) | (cascade.labels > 0) | (marks > 0)
        margin = int(np.ceil(max(MARGIN, MARGIN_REACHES * reach) / terrain.dem.cell))
        span = []
        for axis in (0, 1):
            along = np.flatnonzero(held.any(axis=1 - axis))
            span.append(slice(max(int(along[0]) - margin, 0),
                              min(int(along[-1]) + margin + 1, terrain.dem.shape[axis])))
        rows, columns = span
        count = (rows.stop - rows.start) * (columns.stop - columns.start)
        within = box(*_cut_out(terrain.dem, (rows, columns)).bounds)
        if count > NEARLY_ALL * marks.size or not all(
                within.contains(culvert.line) for culvert in terrain.conditioning.culverts):
            return None
        return rows, columns

    def _border(self, whole: Dem, span: tuple[slice, slice]) -> NDArray[np.bool_]:
        """Cells at the sides of the part beyond which the raster goes on."""
        rows, columns = span
        border = np.zeros((rows.stop - rows.start, columns.stop - columns.start), bool)
        border[0] |= rows.start > 0
        border[-1] |= rows.stop < whole.shape[0]
        border[:, 0] |= columns.start > 0
        border[:, -1] |= columns.stop < whole.shape[1]
        return border

    def _led(self, place: Placed, node: Node) -> tuple[int, int] | None:
        """Where the ground begins to lead a store's spill; None where a pipe or a word does."""
        x, y = place.spill_x, place.spill_y
        if node.piped:
            if len(node.spill_path) <= node.led_points:
                return None
            x, y = node.spill_path[node.led_points - 1]
        row, column = self.dem.row_column(x, y)
        return int(row), int(column)

    def _path(self, terrain: Terrain, index: int) -> NDArray[np.int64]:
        at = self.led[index]
        assert at is not None
        return terrain.path(*at, self.stops[index])

    def _leaves(self, terrain: Terrain, index: int) -> NDArray[np.float64] | None:
        """Where a spill leaves the property; None where its way is not over the ground. [m]"""
        if self.led[index] is None:
            return None
        path = self._path(terrain, index)
        own = np.flatnonzero(self.inside[path[:, 0], path[:, 1]])
        last = path[own[-1]] if own.size else path[0]
        found: NDArray[np.float64] | None = last.astype(np.float64) * self.cell
        return found

    def look(self, generator: np.random.Generator | None) -> Ground:
        """The ground with an error drawn; as it is without a generator."""
        dem = self.dem
        if generator is not None and self.field is not None:
            dem = replace(dem, heights=dem.heights + self.field.draw(generator))
        terrain = Terrain(dem, self.terrain.conditioning)
        raw = terrain.labels(self.marks)
        # Whether water that meets no store meets the property; the rest need not be followed.
        reached = terrain.labels((self.inside | (raw > 0)).astype(np.int32))
        label = np.where(self.dry, 0, raw).astype(np.int32)
        count, kinds = len(self.placed), 2 * self.kinds.size
        tally = np.zeros((count + 1, kinds), np.int64)
        sizes, same = np.zeros(count, np.int64), np.zeros(count, np.int64)
        _tally(label.reshape(-1), reached.reshape(-1), self.code.reshape(-1),
               self.around.reshape(-1), self.plan_labels.reshape(-1), kinds, tally.reshape(-1),
               sizes, same)
        targets, moved = self._spills(terrain, raw)
        nodes = [replace(node, spills_to=target, catchment=self._catchment(index, tally[index]))
                 for index, (node, target) in
                 enumerate(zip(self.cascade.nodes, targets, strict=True))]
        nodes, order, untangled = self._ordered(nodes)
        beyond = self._like(self.cascade.open_ground,
                            self._gathered(self.cascade.open_ground, tally[count]))
        cascade = replace(self.cascade, nodes=nodes, order=order, open_ground=beyond)
        apart = self._area(sizes + self.plan_sizes - 2 * same)
        cut = bool((self.border & ((label > 0) | (reached > 0))).any())
        return Ground(Drained(np.array([node.catchment.area for node in nodes]), apart,
                              tuple(node.spills_to for node in nodes), moved, untangled, cut),
                      cascade)

    def _spills(self, terrain: Terrain, raw: NDArray[np.int32]
                ) -> tuple[list[int | None], NDArray[np.float64]]:
        targets: list[int | None] = []
        moved = np.zeros(len(self.placed))
        for index, (node, at) in enumerate(zip(self.cascade.nodes, self.led, strict=True)):
            if at is None:
                targets.append(node.spills_to)
                continue
            met = int(raw[at])
            if met == index + 1:  # it runs through the store's own cells first
                path = self._path(terrain, index)
                met = int(self.marks[path[-1][0], path[-1][1]])
            targets.append(met - 1 if met > 0 and met != index + 1 else None)
            plan = self.left_at[index]
            if targets[-1] is None and plan is not None:
                here = self._leaves(terrain, index)
                assert here is not None
                moved[index] = float(np.hypot(*(here - plan)))
        return targets, moved

    def _catchment(self, index: int, counts: NDArray[np.int64]) -> Catchment:
        """A store's catchment with other ground about it; what lies in the store stays."""
        node = self.cascade.nodes[index]
        around = self._gathered(node.catchment, counts)
        water = 0.0 if node.store.kind == "tank" else float(node.store.curve.areas[-1])
        return self._like(node.catchment, with_water(around, self.under[index], water))

    def _gathered(self, like: Catchment, counts: NDArray[np.int64]) -> Catchment:
        """Cells by kind of ground as a catchment with the path, slope and rule of another."""
        beyond, every = counts[0::2], counts[0::2] + counts[1::2]
        there = every > 0
        return replace(like, curve_numbers=self.kinds[there], areas=self._area(every[there]),
                       run_on_areas=self._area(beyond[there]), direct=None, delivery=None)

    def _area(self, cells: NDArray[np.int64]) -> NDArray[np.float64]:
        return np.asarray(cells * self.cell_area, np.float64)

    def _like(self, plan: Catchment, found: Catchment) -> Catchment:
        """Let as large a share of the runoff soak in on the way as the plan does."""
        if plan.delivery is None:
            return found
        before, now = plan.ground.area, found.ground.area
        same = before == now or not before
        return replace(found, delivery=plan.delivery if same else plan.delivery.times(now / before))

    def _ordered(self, nodes: list[Node]) -> tuple[list[Node], list[int], bool]:
        """Nodes in an order that has those above first; a circle is led as the plan says."""
        if [node.spills_to for node in nodes] == [n.spills_to for n in self.cascade.nodes]:
            return nodes, self.cascade.order, False
        found, untangled = list(nodes), False
        while True:
            feeds: dict[int, set[int]] = {i: set() for i in range(len(found))}
            for i, node in enumerate(found):
                for to in (*node.takers, *getattr(node, "grey_to", ())):
                    if to is not None:
                        feeds[to].add(i)
            try:
                order = TopologicalSorter({i: sorted(f) for i, f in feeds.items()}).static_order()
                return found, list(order), untangled
            except CycleError as error:
                untangled = True
                for i in error.args[1]:
                    found[i] = replace(found[i], spills_to=self.cascade.nodes[i].spills_to)


def _cut_out(dem: Dem, span: tuple[slice, slice]) -> Dem:
    """A part of a raster."""
    rows, columns = span
    return replace(dem, heights=np.ascontiguousarray(dem.heights[span]),
                   left=dem.left + columns.start * dem.cell, top=dem.top - rows.start * dem.cell,
                   filled_holes=dem.filled_holes[span])
