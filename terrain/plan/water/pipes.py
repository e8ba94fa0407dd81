"""The site's pipes and culverts, held against what they must carry in the design storm."""

from __future__ import annotations

import numpy as np
from shapely import LineString

from terrain.inputs import site_works as asked
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Cascade
from terrain.plan.water.routing import StormRun
from terrain.runoff.catchment import Catchment, gather, on_ground
from terrain.runoff.flow_way import reaches_of, timed
from terrain.runoff.peak import peaks_of
from terrain.runoff.storms import storm_steps
from terrain.surface.conditioning import Culvert, cells_along
from terrain.surface.flow_paths import longest_path_to
from terrain.units import in_both, ordered
from terrain.works.pipe import PipeCheck
from terrain.works.rules import OWNER, Rulebook


def pipe_checks(inputs: Inputs, cascade: Cascade, placed: list[Placed], run: StormRun
                ) -> tuple[PipeCheck, ...]:
    """Hold every pipe of a work, and every culvert, against its flow in the design storm.

    Parameters
    ----------
    run : StormRun
        Of the design storm.
    """
    found = []
    rules = inputs.rules
    for index, (node, place) in enumerate(zip(cascade.nodes, placed, strict=True)):
        if node.led != "pipe":  # a pump's pipe runs full under pressure
            continue
        work, line = place.work, LineString(node.led_way)
        if not line.length:
            continue
        tank = isinstance(work, asked.Tank)
        found.append(PipeCheck(
            work.name, "pipe", float(line.length), _fall(inputs, line),
            work.pipe_diameter or rules["pipe diameter"], work.pipe_diameter is None,
            rules["pipe roughness"], run.stores[index].peak_in,
            "peak of what its roofs shed" if tank else "peak that comes to the work",
            np.asarray(line.coords)))
    for culvert in inputs.terrain.conditioning.culverts:
        found.append(PipeCheck(
            culvert.name, "culvert", float(culvert.line.length),
            abs(_fall(inputs, culvert.line)), culvert.diameter, False,
            rules["culvert roughness"], _culvert_peak(inputs, culvert),
            "peak of all the ground above it, as if the works there were full",
            np.asarray(culvert.line.coords)[:, :2]))
    return tuple(found)


def _fall(inputs: Inputs, line: LineString) -> float:
    (x0, y0), (x1, y1) = line.coords[0][:2], line.coords[-1][:2]
    first, last = inputs.dem.height_at(np.array([x0, x1]), np.array([y0, y1]))
    return float(first - last)


def _culvert_peak(inputs: Inputs, culvert: Culvert) -> float:
    """Peak of a culvert's whole catchment in the design storm, by the unit hydrograph. [m3/s]"""
    terrain, ground, how = inputs.terrain, inputs.ground, inputs.hydrology
    dem, design = inputs.dem, inputs.site.rain.design
    at = cells_along(dem, culvert.line)
    outlet = np.zeros(dem.shape, bool)
    outlet[at[:, 0], at[:, 1]] = True
    cells = terrain.catchment(outlet)
    lengths = terrain.path_length[at[:, 0], at[:, 1]]
    foot = at[int(np.argmax(lengths))]
    path = longest_path_to(terrain.direction, terrain.path_length, dem.cell, int(foot[0]),
                           int(foot[1]))
    found: Catchment = on_ground(
        gather(ground.curve_number, cells, dem.cell_area, ground.inside, how.rule), terrain, cells,
        float(lengths.max()))
    reaches = reaches_of(terrain, path, terrain.contributing_area, ground.cover, ground.classes,
                         how.timing)
    found = timed(found, reaches, how.timing, how.peak_factor)
    return peaks_of(found, design.depth, how.shapes[design.name],
                    storm_steps(design.duration)).unit_hydrograph


def led_notes(cascade: Cascade, placed: list[Placed]) -> list[str]:
    """Pipes that nobody states and the plan takes for granted, in whole sentences."""
    said = []
    for node, place in zip(cascade.nodes, placed, strict=True):
        if node.led in ("pipe", "pump") and place.work.pipe is None and node.spills_to is not None:
            length = in_both(float(LineString(node.led_way).length), "length")
            said.append(f"\"{place.name}\" spills to \"{placed[node.spills_to].name}\" and no pipe "
                        f"is stated: a straight one was assumed, {length} over the ground, and is "
                        "counted in what is bought and checked; state its points (pipe:).")
    return said


def wide(diameter: float) -> str:
    """A pipe's diameter in both systems."""
    return ordered(f"{diameter * 1000:,.0f} mm", f"{diameter / 0.0254:,.1f} in")


def pipe_caution(check: PipeCheck, rules: Rulebook) -> str | None:
    """What is wrong with a pipe, in a sentence; None where nothing is, or nothing can be told."""
    whose = "Its pipe" if check.kind == "pipe" else "This culvert"
    if check.slope <= 0:
        return (f"{whose} does not fall on the raster's ground from one end to the other, so what "
                f"it carries cannot be told: lay it with a fall, set out with a level; {OWNER}.")
    if check.enough is not False or check.diameter is None or check.carries is None:
        return None
    said = (f" (assumed: pipe diameter, {rules.source('pipe diameter')})" if check.assumed else "")
    return (f"{whose}, {wide(check.diameter)} wide{said}, carries "
            f"{in_both(check.carries, 'flow')} just full at a slope of {check.slope:.1%}, and the "
            f"{check.what} is {in_both(check.must_carry, 'flow')} in the design storm: it needs "
            f"{wide(check.needed or 0.0)} (Manning's equation; {_decides(check)}).")


def _decides(check: PipeCheck) -> str:
    return "whoever keeps the road decides" if check.kind == "culvert" else OWNER


def pipe_notes(checks: tuple[PipeCheck, ...], rules: Rulebook) -> list[str]:
    """What the figures of pipes rest on, in whole sentences; none without pipes."""
    if not checks:
        return []
    said = ["Pipes and culverts: Manning's equation, just full and without pressure, at the slope "
            "between the ground at their ends; a culvert with little cover at its mouth, a bend or "
            "leaves at a grate carry less."]
    assumed = [check.name for check in checks if check.assumed]
    if assumed:
        said.append(f"No diameter is stated for the pipe of {', '.join(assumed)}; "
                    f"{wide(rules['pipe diameter'])} was assumed (pipe diameter, "
                    f"{rules.source('pipe diameter')}).")
    unstated = [check.name for check in checks if check.diameter is None]
    if unstated:
        said.append("The culverts layer states no diameter for " + ", ".join(unstated)
                    + ": only what each would need is told.")
    return said
