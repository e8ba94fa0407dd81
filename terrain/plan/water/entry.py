"""One store's account: what came to it and where it went."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Entry:
    """One store's account over a storm or a year. [m3]

    `inflow` is `runoff` from its own ground (with `run_on`, the part from beyond the boundary),
    `roof` water, `from_above`, the spill of other stores, `grey`, what uses of tanks return to
    it, and `brought` by tankers.  Of `spilled`, `over` is what a pump of stated capacity cannot
    lift.  Inflow equals `infiltrated` + `evaporated` + `used` + `held` +
    `spilled`.

    `off_roofs` is the part of `captured` that came off roofs.  `before` is what was held when it
    began; None of an average year, which begins nowhere.
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
    over: float = field(default=0.0, kw_only=True)
    off_roofs: float = field(default=0.0, kw_only=True)
    before: float | None = field(default=0.0, kw_only=True)

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

    @property
    def roof_capture(self) -> float:
        """What a tank keeps of water that came off roofs; 0 of stores on the ground. [m3]"""
        if self.kind != "tank":
            return 0.0
        rounding = abs(self.captured - self.off_roofs) <= 1e-12 * self.inflow
        return self.captured if rounding else self.off_roofs

    @property
    def passive_capture(self) -> float:
        """All that a store on the ground keeps, and what a tank keeps of water that came off the
        ground. [m3]"""
        return self.captured - self.roof_capture
