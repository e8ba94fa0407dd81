"""One store's account: what came to it and where it went."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Entry:
    """One store's account over a storm or a year. [m3]

    `inflow` is `runoff` from its own ground (with `run_on`, the part from beyond the boundary),
    `roof` water, `from_above`, the spill of other stores, `grey`, what uses of tanks return to
    it, and `brought` by tankers.  It equals `infiltrated` + `evaporated` + `used` + `held` +
    `spilled`.
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
    grey: float = field(default=0.0, kw_only=True)
    brought: float = field(default=0.0, kw_only=True)

    @property
    def inflow(self) -> float:
        """All that comes. [m3]"""
        return self.runoff + self.roof + self.from_above + self.grey + self.brought

    @property
    def caught(self) -> float:
        """All that comes and does not spill. [m3]"""
        return self.inflow - self.spilled

    @property
    def captured(self) -> float:
        """What it keeps of rain, runoff and spill of others: neither what was brought nor grey
        water, which a tank captured before. [m3]"""
        return self.caught - self.grey - self.brought
