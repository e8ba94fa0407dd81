"""What all pages of a sitting have in common."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any

from terrain.bench.layers.lines import Contours, FlowWays, contours, flow_ways
from terrain.bench.layers.outlines import outlines
from terrain.bench.layers.pictures import Pictures
from terrain.bench.page.board import Ground
from terrain.bench.page.errand_bar import Runs
from terrain.bench.sitting import Sitting


@dataclass
class Shared:
    """What all pages of a sitting have in common."""

    sitting: Sitting
    pictures: Pictures
    picture_address: Callable[[str], str]
    runs: Runs
    aside: ThreadPoolExecutor = field(default_factory=lambda: ThreadPoolExecutor(1, "lines"))
    _contours: dict[str, Contours] | None = None
    _ways: Any = None

    def ready(self) -> None:
        """Draw what every page begins with, before the first one is asked for."""
        self.pictures.encoded("hillshade")
        self.ground(self.sitting.inputs.site.units)

    def contours(self, system: str) -> Contours:
        """Contours in a system's intervals."""
        self._contours = self._contours or {}
        if system not in self._contours:
            self._contours[system] = contours(self.sitting.inputs.dem, system)
        return self._contours[system]

    def lines(self, system: str, bounds: tuple[float, float, float, float], across: float
              ) -> tuple[Contours, FlowWays]:
        """Contours and ways of the water in a part of the ground that fills so many points of a
        screen."""
        inputs = self.sitting.inputs
        return (contours(inputs.dem, system, bounds, across),
                flow_ways(inputs.terrain, system, bounds))

    def ground(self, system: str) -> Ground:
        """What the map shows beside the works."""
        inputs = self.sitting.inputs
        if self._ways is None:
            self._ways = flow_ways(inputs.terrain, system)
        bounds = inputs.ground.boundary.bounds
        pad = 0.06 * max(bounds[2] - bounds[0], bounds[3] - bounds[1])
        return Ground(self.pictures.extent, (bounds[0] - pad, bounds[1] - pad, bounds[2] + pad,
                                             bounds[3] + pad),
                      self.picture_address("hillshade"), self.contours(system), self._ways,
                      outlines(inputs), system)
