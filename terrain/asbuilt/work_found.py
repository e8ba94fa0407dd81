"""What a survey says of one work."""

from __future__ import annotations

from dataclasses import dataclass

from terrain.asbuilt.compared import LineFound
from terrain.asbuilt.designed_lines import DesignedLine
from terrain.asbuilt.mending import Mend
from terrain.asbuilt.spills import FirstSpill, Lip
from terrain.plan.planned import PlannedStore
from terrain.plan.water.routing import StoreStorm
from terrain.works.store import Store


@dataclass(frozen=True)
class StormBeside:
    """One storm at a work, as designed and as built.

    Attributes
    ----------
    name : str
    depth : float
        [mm]
    designed, built : StoreStorm
    freeboard_designed, freeboard, freeboard_settled : float or None
        Of the settled crest over the highest water as designed; of the lowest crest as it stands
        now, and once it has settled; None without a crest. [m]
    """

    name: str
    depth: float
    designed: StoreStorm
    built: StoreStorm
    freeboard_designed: float | None
    freeboard: float | None
    freeboard_settled: float | None


@dataclass(frozen=True)
class WorkFound:
    """A surveyed work.

    Attributes
    ----------
    index : int
        Of the plan's stores.
    planned : PlannedStore
    lines : tuple of LineFound
        What was surveyed of it.
    unsurveyed : tuple of DesignedLine
        What was not, and counts as designed.
    lip : Lip or None
        Every place over which water could leave it; None of a drain.
    spill : FirstSpill or None
        The lowest of those.
    store : Store
        As built: its storage up to where it first spills, and its sill.
    mends : tuple of Mend
    storms : tuple of StormBeside
    cautions : tuple of str
    """

    index: int
    planned: PlannedStore
    lines: tuple[LineFound, ...]
    unsurveyed: tuple[DesignedLine, ...]
    lip: Lip | None
    spill: FirstSpill | None
    store: Store
    mends: tuple[Mend, ...]
    storms: tuple[StormBeside, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Of the work."""
        return self.planned.store.name

    @property
    def within(self) -> bool:
        """Whether every surveyed line is within its tolerance."""
        return not any(line.stretches for line in self.lines) and all(
            line.state(i) == "within" for line in self.lines for i in range(len(line.points)))

    @property
    def held_designed(self) -> float:
        """What it was to hold. [m3]"""
        return self.planned.store.capacity

    @property
    def held(self) -> float:
        """What it really holds, up to where it first spills. [m3]"""
        return self.store.capacity
