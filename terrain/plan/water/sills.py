"""The sills of a cascade, sized for the water that comes to them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from terrain.plan.earth.built import with_sill
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Cascade
from terrain.plan.water.routing import StormWater, peaks_when_full


def with_sills(inputs: Inputs, cascade: Cascade, placed: Sequence[Placed]) -> Cascade:
    """Size every sill for the greatest peak that comes to it in the storms that size sills.

    Every store is taken as full when the storm comes, and the ground as of average wetness at
    least.  A longer sill above passes more on, so peaks and sills are found in turn until no peak
    changes by more than a thousandth.
    """
    rule, shapes = inputs.hydrology.rule, inputs.hydrology.shapes
    wet = "II" if rule.condition == "I" else rule.condition
    peaks = np.zeros(len(placed))
    sodden = cascade.under(wet)
    brought = [StormWater(sodden, storm.depth, shapes[storm.name])
               for storm in inputs.site.rain.sizing]
    for _ in range(20):
        found = np.max([peaks_when_full(cascade, water) for water in brought], axis=0)
        if np.all(np.abs(found - peaks) <= 1e-3 * found):
            break
        peaks = found
        cascade = cascade.with_stores([
            with_sill(node.store, place, float(peak), inputs.rules)
            for node, place, peak in zip(cascade.nodes, placed, peaks, strict=True)])
    return cascade
