"""A bank's failure as plan.json tells it."""

from __future__ import annotations

from typing import Any

from terrain.inputs.dem import Dem
from terrain.outputs.data.answers_json import line_string
from terrain.plan.safety.overtopping import Breach


def breach_facts(breach: Breach | None, dem: Dem) -> dict[str, Any] | None:
    """The worst place, what runs from there, and what lies in its way; None without a bank."""
    if breach is None:
        return None
    x, y = dem.frame.to_source(breach.x, breach.y)
    return {"at": [float(x), float(y)], "station_m": breach.chainage,
            "volume_m3": breach.volume, "water_against_m": breach.against,
            "length_m": breach.length, "fall_m": breach.fall,
            "way": line_string(dem, breach.way),
            "meets": [{"kind": met.kind, "name": met.name, "gap_m": met.gap,
                       "along_m": met.along, "beyond_boundary": met.beyond}
                      for met in breach.met]}
