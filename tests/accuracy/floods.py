"""Shallow flow beside closed forms, by both methods."""

from __future__ import annotations

import numpy as np
from benchmarks import flood_convergence as closed
from published import published, rows

from accuracy.check import Check, by, compared, known
from terrain.flood.storm_flow import Method, Rain, flow_storm

LEAVES_OUT = "local inertia leaves out the advection of momentum: it is not meant for this"
#: Case, source, and how far off each method may be; cells of half a metre, of Thacker's 5 cm.
CASES = (
    ("a smooth wave into still water, 6 s", "Stoker, Water Waves, 1957, sect. 10.2 (from memory)",
     lambda method: closed.wave(method, 0.5), 0.03, 0.36),
    ("dam break on a dry bed, 5 s", "Ritter, 1892 (from memory)",
     lambda method: closed.dam(method, 0.5, 0.0), 0.003, 0.16),
    ("dam break over water, 5 s", "Stoker, Water Waves, 1957, sect. 10.8 (from memory)",
     lambda method: closed.dam(method, 0.5, 0.5), 0.0025, 0.08),
    ("water going round in a bowl, one turn", "Thacker, Journal of Fluid Mechanics 107, 1981 "
     "(from memory)", lambda method: closed.thacker(method, 0.05), 0.02, 0.6),
    ("steady rain on a plane of 50 m", "uniform flow by Manning's equation",
     lambda method: closed.sheet(method, 0.5, 900.0), 0.002, 0.005),
    ("the same while it rises, 300 s", "kinematic wave, Henderson & Wooding, Journal of "
     "Geophysical Research 69, 1964 (from memory)",
     lambda method: closed.sheet(method, 0.5, 300.0), 0.002, 0.009),
    ("head over a sill", "critical depth on a broad crest, Chow, 1959, ch. 3",
     lambda method: closed.sill(method, 0.5), 0.011, 0.36),
)


def _plane(method: Method) -> Check:
    """Flow off a plane of 50 m, n 0.05, 5 %, under 50 mm/h for ten minutes."""
    n, slope, cell, rate, stops = 0.05, 0.05, 0.5, 50.0, 600.0
    bed = -slope * (np.arange(100) + 0.5) * cell
    found = flow_storm(np.tile(bed, (2, 1)), cell, n, until=1110.0, rain=Rain.even(rate, stops),
                       edges={"east": "normal"}, gates={"low": [(2, 98), (0, 98)]}, record=3.0,
                       method=method)
    steady = rate / 3.6e6 * 98 * cell  # at the gate, 1 m above the end
    theirs, times = [], []
    for row in rows("kinematic_plane.csv"):
        time, share = float(row["t_s"]), float(row["fraction_of_steady"])
        if row["phase"].startswith("recession"):  # as long as the gate's plane
            time = stops + 98 * cell * (1 - share) / (
                5 / 3 * (slope**0.5 / n)**0.6 * (share * steady)**0.4)
        elif share < 1:  # rising limbs are the same at any length
            share = float(row["q_m2_s"]) / steady
        else:  # the corner where the limb meets the plateau is smoothed
            continue
        theirs.append(share)
        times.append(time)
    ours = np.interp(times, found.times - 1.5, found.gates["low"].flow / (2 * cell) / steady)
    return compared(by("kinematic wave, Henderson & Wooding, 1964; Woolhiser & Liggett, Water "
                       "Resources Research 3, 1967", "kinematic_plane.csv"),
                    f"flow off a plane as it rises and falls, {method}", "of the steady flow",
                    theirs, ours, 0.02)


def _broken() -> Check:
    """Depths where a dam broke, by the full equations."""
    table = [row for row in published("ritter_dam_break.csv") if -20 < row[0] < 43]
    x = (np.arange(240) + 0.5) * 0.5 - 60
    depth = np.where(x < 0, 2.0, 0.0)[None]
    found = flow_storm(np.zeros_like(depth), 0.5, 0.0, until=5.0, depth=depth, method="full")
    return compared(by("Ritter, 1892", "ritter_dam_break.csv"),
                    "depth after a dam break, full", "m", [row[1] for row in table],
                    np.interp([row[0] for row in table], x, found.depth[0]), 0.006)


def flood() -> list[Check]:
    """Flow off a plane, depths of a dam break; then errors of depth, summed, as a share of all
    depths (of the wave alone; of the head)."""
    whole = [known(source, f"{name}, {method}", run(method), within,
                   LEAVES_OUT if method != "full" and within > 0.05 else "")
             for name, source, run, *bounds in CASES
             for method, within in zip(closed.METHODS, bounds, strict=True)]
    return [*map(_plane, closed.METHODS), _broken(), *whole]
