"""One store's account: what came to it and where it went."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Entry:
    """One store's account over a storm or a year. [m3]

    `inflow` is `runoff` from its own ground (with `run_on`, the part from beyond the boundary),
    `roof` water and `from_above`, the spill of other stores.  It equals `infiltrated` +
    `evaporated` + `used` + `held` + `spilled`.
    """

    name: str
    kind: str
    runoff: float
    run_on: float
    roof: float
    from_above: float
    infiltrated: float
    evaporated: float
    used: float
    held: float
    spilled: float

    @property
    def inflow(self) -> float:
        """All that comes. [m3]"""
        return self.runoff + self.roof + self.from_above

    @property
    def caught(self) -> float:
        """All that comes and does not spill. [m3]"""
        return self.inflow - self.spilled
