"""The site map: the ground, the works, and the ways of the water, on one A3 sheet."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from terrain.outputs.drawing import base_map as base
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.ground_map import GroundMap
from terrain.outputs.drawing.groups import tints_of
from terrain.outputs.drawing.labels import Column
from terrain.outputs.drawing.map_features import draw_grid
from terrain.outputs.drawing.map_labels import (
    label_roofs_and_roads,
    label_run_on,
    label_works,
)
from terrain.outputs.drawing.map_page import Frame
from terrain.outputs.drawing.map_panel import draw_panel
from terrain.outputs.drawing.map_water import largest_storm, shed_points_of, shed_size
from terrain.outputs.drawing.map_works import draw_breaches, draw_spills, draw_works
from terrain.plan.planned import Plan

FRAME = Frame(margin=0.42, panel=3.25, gutter=0.3)
#: How far off its roof a roof's name may stand. [pt]
ROOFS_FAR = 100.0


@sy.styled
def draw_site_map(plan: Plan) -> Figure:
    """Draw the map of a plan. A3, landscape.

    Everything is drawn from the plan; a figure of the same plan is the same, byte for byte, if
    it is saved without its maker's name (``metadata={"Software": None}``).
    """
    figure, ax = FRAME.begun(sy.A3)
    wide, high = FRAME.room(sy.A3)
    view = base.view_of(plan.inputs.ground.boundary.bounds, wide * 72, high * 72)
    view.shown_on(ax)
    SiteMap(plan, ax, view).draw(FRAME.column(figure))
    return figure


class SiteMap(GroundMap):
    """The map of the works, their catchments and the ways of their spills."""

    def draw(self, column: Column) -> None:
        """Draw map and panel."""
        base.draw_shade(self.ax, self.crop)
        self._catchments()
        self.surroundings()
        contours = self.contours()
        self.flow()
        self.roads_and_roofs()
        self.bare()
        draw_breaches(self)
        draw_spills(self)
        draw_works(self)
        self.boundary()
        self.keep_clear()
        self.scale_and_north()
        if self.block is not None:
            draw_grid(self.ax, self.view, self.labels, self.dem.frame)
        self._shed_points()
        entries = self.run_on()
        label_works(self)
        label_run_on(self, entries)
        label_roofs_and_roads(self, ROOFS_FAR)
        self.finish_contours(contours)
        draw_panel(self, column)

    def _catchments(self) -> None:
        labels = self.cut(self.plan.cascade.labels)
        tint = tints_of(labels, [group.members for group in self.groups])
        for group, colour in zip(self.groups, tint, strict=True):
            mask = np.isin(labels, np.array(group.members) + 1)
            if mask.shape == self.crop.shape and base.draw_region(self.ax, mask, self.crop,
                                                                  sy.TINTS[colour]):
                self.drawn.add("catchment")

    def _shed_points(self) -> None:
        self.numbered = [found for found in shed_points_of(self.plan)
                         if self.view.holds(*self.at(found[1]), 12)]
        if not self.numbered:
            return
        storm = largest_storm(self.plan)
        most = max(point.volumes[storm] for _, point in self.numbered)
        self.shed_marks([(*self.at(point), shed_size(point.volumes[storm], most))
                         for _, point in self.numbered])
