"""What a sheet says of one work, from a quick answer or from a plan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from terrain.outputs.drawing.title_block import TitleBlock
from terrain.plan.answered import StormAnswer
from terrain.plan.earth.cost import Quantities
from terrain.surface.terrain import Terrain
from terrain.units import shown

if TYPE_CHECKING:
    from terrain.outputs.sheets.sheet import Sheet

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Subject:
    """A work with its ground and its water, whoever asks for its sheet.

    Attributes
    ----------
    name : str
        As the sheet is headed.
    terrain : Terrain
    system : str
        "metric" or "us".
    cells : bool, shape (rows, columns)
        Its catchment.
    area : float
        Of that, [m2]; before it stands `bound`, see `bound_of`.
    outline : shapely geometry or None
        Of its catchment, where all of it is to be seen as far as it is not vast. [m]
    ways : tuple of (float64 array, str)
        Ways of its spill from the sill on [m], and what leads each, as of a cascade's node; ""
        over the ground.
    leads_to : str
        Where its spill goes; "" where that is not known.
    quantities : Quantities or None
        Its earth by itself.
    earth : callable or None
        Gives rows of its earth among that of others, by what its bank is called; in their place.
    storms : tuple of StormAnswer
    cautions, rests_on : tuple of str
    told_in : str
        Where what finds no room on the sheet is told.
    kind : str
        What it is, where its name does not say so.
    benchmark : str
        Where the benchmark is and its level, as a sentence; "" without one.
    block : TitleBlock or None
        Of a page that is printed at a round scale.
    stakes : sequence of (int, float)
        Number of each stake along its line, and its chainage. [m]
    around : callable
        Draws what lies about it on a sheet's plan, and gives what letters it in the end.
    """

    name: str
    terrain: Terrain
    system: str
    cells: NDArray[np.bool_]
    area: float
    bound: str
    outline: Any = None
    ways: tuple[tuple[FloatArray, str], ...] = ()
    leads_to: str = ""
    quantities: Quantities | None = None
    earth: Callable[[str], list[tuple[str, str]]] | None = None
    storms: Sequence[StormAnswer] = ()
    cautions: Sequence[str] = ()
    rests_on: Sequence[str] = ()
    told_in: str = "in the answer's text"
    kind: str = ""
    benchmark: str = ""
    block: TitleBlock | None = None
    stakes: Sequence[tuple[int, float]] = ()
    around: Callable[[Sheet], Callable[[], None]] = lambda sheet: lambda: None

    @property
    def grows(self) -> float:
        """How much taller than on A4 its sections may be."""
        return self.block.imprint.paper.grows if self.block is not None else 1.0

    def bounds(self, work: Any, near: float = 0.35) -> tuple[float, float, float, float]:
        """What a plan shows of a work: all of it, and what is `near` sizes of it or less away.

        Where an outline of its catchment is given, as far as 1.4 sizes of it.
        """
        from shapely.geometry import LineString

        west, south, east, north = work.bounds
        size = max(east - west, north - south, 10.0)
        shown_ground = work.buffer(0.08 * size)
        if self.outline is not None:
            shown_ground = shown_ground.union(self.outline.intersection(work.buffer(size * 1.4)))
        for way, _ in self.ways:
            if len(way) > 1:
                shown_ground = shown_ground.union(
                    LineString(way).intersection(work.buffer(size * near)))
        bounds = shown_ground.bounds
        return float(bounds[0]), float(bounds[1]), float(bounds[2]), float(bounds[3])

    def titled(self, words: str) -> str:
        """The line below its name."""
        if not self.kind:
            return words
        gap = " " if words.startswith(("behind", "dug")) else ", "
        return f"{self.kind}{gap}{words}"

    def catchment_row(self) -> tuple[str, str]:
        """Its catchment among the figures."""
        return "catchment", self.bound + land(self.area, self.system)

    def earth_rows(self, sheet: Sheet, bank: str) -> list[tuple[str, str]]:
        """Earth, hours and money among the figures."""
        if self.earth is not None:
            return self.earth(bank)
        return sheet.earth(self.quantities, bank) if self.quantities is not None else []

    def spill_row(self) -> list[tuple[str, str]]:
        """Where its spill goes among the figures."""
        return [("spills to", self.leads_to)] if self.leads_to else []


def land(area: float, system: str) -> str:
    """Small ground in m2 or ft2, larger in ha or acres."""
    return shown(area, "ground", system)
