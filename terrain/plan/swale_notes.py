"""What decided each swale's line and size, and how far apart swales stand, in whole sentences."""

from __future__ import annotations

import numpy as np
from shapely import Point

from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Cascade
from terrain.plan.water.water_balance import SeasonRun
from terrain.units import first_system, in_both, shown
from terrain.works.spacing import SOURCE, compared, horizontal_interval, terrace_interval

#: A swale lies below another if so much of the other's water would come to it over the ground.
SHARE = 0.25
#: So many points of a swale are followed downhill.
FOLLOWED = 24


def swale_notes(inputs: Inputs, cascade: Cascade, placed: list[Placed],
                seasons: SeasonRun | None) -> list[str]:
    """Every note about the swales of a plan."""
    said = [f"Swale \"{place.name}\": {note}" for place in placed if place.swale is not None
            for note in place.swale.notes]
    return said + _spacing_notes(inputs, cascade, placed, seasons)


def pairs(inputs: Inputs, placed: list[Placed]) -> list[tuple[int, int, float]]:
    """Swales that lie one below the other: upper, lower, and how far apart on the map. [m]

    The next below is the first to meet the water of the upper one's line over the ground.
    """
    marks = np.full(inputs.dem.shape, -1, np.int32)
    for index, place in enumerate(placed):
        if place.swale is not None:
            marks[place.cells[:, 0], place.cells[:, 1]] = index
    found = []
    for upper, place in enumerate(placed):
        if place.swale is None:
            continue
        step = max(len(place.cells) // FOLLOWED, 1)
        starts = place.cells[::step]
        met: dict[int, list[float]] = {}
        for row, column in starts.tolist():
            path = inputs.terrain.path(row, column)
            there = marks[path[:, 0], path[:, 1]]
            hits = np.flatnonzero((there >= 0) & (there != upper))
            if hits.size:
                lower = int(there[hits[0]])
                line, spot = place.outline, Point(*inputs.dem.xy(row, column))
                start = line.interpolate(line.project(spot))
                met.setdefault(lower, []).append(placed[lower].outline.distance(start))
        found += [(upper, lower, float(np.median(gaps))) for lower, gaps in sorted(met.items())
                  if len(gaps) >= SHARE * len(starts)]
    return found


def _spacing_notes(inputs: Inputs, cascade: Cascade, placed: list[Placed],
                   seasons: SeasonRun | None) -> list[str]:
    rules, said = inputs.rules, []
    rain = None if seasons is None else seasons.mean(seasons.rain_mm)
    low = rain is not None and rain < rules["low rain year"]
    form = "0.15 S + 0.6" if low else "0.3 (S / 3 + 2)"
    system = first_system()
    why = (f", as {shown(rain, 'rain', system)} fall in an average year (low rain year, under "
           f"{shown(rules['low rain year'], 'rain', system)}, {rules.source('low rain year')})"
           if low and rain is not None else "")
    for upper, lower, apart in pairs(inputs, placed):
        fall = placed[upper].sill_level - placed[lower].sill_level
        if fall <= 0 or apart <= 0:
            continue
        slope = fall / apart
        asked, verdict = compared(fall, slope, low, rules)
        terrace = terrace_interval(slope)
        what = {"wider": "further apart than the first, so that more gathers between them than "
                         "one such swale is meant for: a swale between them would halve it",
                "closer": "closer than the first, so that the lower one has little ground of "
                          "its own", "": "as the first asks"}[verdict]
        said.append(
            f"Swale \"{placed[lower].name}\" lies {in_both(fall, 'size')} below \"" +
            f"{placed[upper].name}\", {in_both(apart, 'length')} apart on ground of "
            f"{slope:.1%}. The vertical interval {form} of {SOURCE} asks for "
            f"{in_both(asked, 'size')}, {in_both(horizontal_interval(asked, slope), 'length')}"
            f" apart{why}; that between terraces (NRCS practice standard 600, from memory, middle "
            f"values of its table) for {in_both(terrace, 'size')}, "
            f"{in_both(horizontal_interval(terrace, slope), 'length')} apart: they are {what}."
            + _strip(inputs, cascade, placed, lower))
    return said


def _strip(inputs: Inputs, cascade: Cascade, placed: list[Placed], index: int) -> str:
    """The breadth of ground whose runoff in the design storm fills a swale."""
    place, design = placed[index], inputs.site.rain.design
    ground = cascade.nodes[index].catchment.ground
    runoff = ground.runoff(design.depth) / ground.area if ground.area else 0.0
    if place.route is None or not runoff:
        return ""
    strip = place.curve.capacity / place.route.length / runoff
    return (f" The storm \"{design.name}\" fills the lower one from a strip "
            f"{in_both(strip, 'length')} wide above it.")
