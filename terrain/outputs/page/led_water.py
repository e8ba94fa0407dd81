"""Tables of the report about water that is led: drains, road turn-outs, pipes and culverts."""

from __future__ import annotations

from functools import partial

from terrain.plan.planned import Plan
from terrain.plan.water.pipes import pipe_caution
from terrain.units import PRINTED, shown
from terrain.works.drain import Drain
from terrain.works.furrow import Furrow
from terrain.works.furrow_flow import FurrowFlow
from terrain.works.rules import Rulebook

_BED = {"bare": "bare earth", "grass": "grass", "stone": "stone"}


def drain_shape(drain: Drain, to: str, rules: Rulebook, system: str) -> tuple[str, str, str]:
    """Shape, bank and end of a drain, as "what to build" tells them."""
    level, size, length, speed, flow = (partial(shown, dimension=d, system=system)
                                        for d in ("level", "size", "length", "speed", "flow"))
    route, section = drain.route, drain.section
    bed = f"bed {size(section.width)} wide" if section.width else "vee"
    shape = (f"{length(route.length)} at a grade of {route.grade:.2%}, lip from "
             f"{level(route.start_level)} to {level(route.end_level)}; {bed}, "
             f"{size(section.depth)} below the lip, sides {section.side_slope:g}:1, "
             f"{_BED[section.lining]}")
    bank = "what is dug lies along the downhill side, packed, with no gap to the lip"
    stands = ("none that grass stands" if section.permissible is None else
              f"{speed(section.permissible)} allowed")
    end = (f"carries {flow(section.peak)} at the design peak, {size(section.water)} deep, at up "
           f"to {speed(section.velocity)} ({stands}); bed at {level(drain.bed(route.length))} "
           f"where it ends" + (f" in {to}" if route.to else ""))
    return shape, bank, end


def turnout_rows(plan: Plan) -> list[tuple[str, list[str]]]:
    """Where the roads should let their water go."""
    system = plan.site.units
    length, volume = (partial(shown, dimension=d, system=system) for d in ("length", "volume"))
    rows = []
    for turnout in plan.turnouts:
        outlet = turnout.outlet
        where = f"{length(outlet.chainage, decimals=0)}" + (", foot" if outlet.foot else "")
        leads = (f"{turnout.leads_to}, {length(turnout.away, decimals=0)} off and "
                 f"{shown(turnout.fall, 'level', system)} lower" if turnout.leads_to else
                 "no store within reach")
        rows.append((turnout.road, [
            where, plan.inputs.dem.named(turnout.x, turnout.y), f"{outlet.grade:.1%}",
            length(outlet.spacing, decimals=0), length(turnout.water_bar, decimals=0),
            volume(turnout.volume), volume(turnout.own), leads]))
    return rows


def pipe_rows(plan: Plan) -> list[tuple[str, list[str]]]:
    """Each pipe and culvert beside what it must carry."""
    system = plan.site.units
    length, flow = (partial(shown, dimension=d, system=system) for d in ("length", "flow"))
    said = {True: "enough", False: "too small", None: "not known"}
    return [(check.name, [
        check.kind, length(check.length), f"{check.slope:.1%}" if check.slope > 0 else "no fall",
        "not stated" if check.diameter is None else
        _width(check.diameter, system) + (" (assumed)" if check.assumed else ""),
        "–" if check.carries is None else flow(check.carries), flow(check.must_carry),
        "–" if check.needed is None else _width(check.needed, system),
        said[check.enough]]) for check in plan.pipes]


def culvert_cautions(plan: Plan) -> list[tuple[str, tuple[str, ...]]]:
    """Cautions of culverts that are too small, or do not fall."""
    found = [(check.name, pipe_caution(check, plan.inputs.rules))
             for check in plan.pipes if check.kind == "culvert"]
    return [(f"culvert {name}", (said,)) for name, said in found if said is not None]


def _width(diameter: float, system: str) -> str:
    """A diameter in mm or inches."""
    unit, factor, _ = PRINTED["rain"][system == "us"]
    return f"{diameter * 1000 * factor:,.{1 if system == 'us' else 0}f} {unit}"


def furrow_rows(plan: Plan) -> list[tuple[str, list[str]]]:
    """Each furrow: where to, its length, levels, fall, depths and earth."""
    length, level, size, earth, flow, speed = (
        partial(shown, dimension=d, system=plan.site.units)
        for d in ("length", "level", "size", "earth", "flow", "speed"))
    rows = []
    for planned, node in zip(plan.stores, plan.cascade.nodes, strict=True):
        made, runs = planned.furrow, planned.furrow_runs
        if made is None or runs is None or node.spills_to is None:
            continue
        falls = (f"{size(made.fall)}, its bed {made.slope:.1%}" if made.falls else
                 f"no: lower that rim by {size(max(made.lower_by, 0.01))}")
        rows.append((planned.store.name, [
            plan.cascade.nodes[node.spills_to].store.name, length(made.length),
            level(made.start_level), level(made.end_level), falls,
            size(max(made.deepest[1], 0.0)), size(made.lowest[1]), earth(made.earth),
            flow(runs.capacity), flow(runs.peak), speed(runs.velocity), _judged(runs),
            _dug(runs, made, plan.site.units)]))
    return rows


def _judged(runs: FurrowFlow) -> str:
    """Whether a furrow does, in a word or two."""
    if runs.capacity <= 0:
        return "does not fall"
    bad = [*(["too small"] if not runs.enough else []), *(["scours"] if not runs.holds else [])]
    return ", ".join(bad) or "holds"


def _dug(runs: FurrowFlow, made: Furrow, system: str) -> str:
    """How it is to be dug: its width, and what makes it hold."""
    if runs.slope <= 0:
        return shown(made.width, "size", system)
    if runs.dug_width is None:
        return "not so"
    with_it = {"bare": "", "drops": ", with drops"}.get(runs.way, f", {runs.way}")
    return f"{shown(runs.dug_width, 'size', system)}{with_it}"


def furrow_words(plan: Plan) -> str:
    """What the furrows' figures rest on."""
    rules, system = plan.inputs.rules, plan.site.units
    wide, deep = (shown(rules[f"furrow {what}"], "size", system) for what in ("width", "depth"))
    return (f"A furrow leads a spill to the work that `spills to` names, or from one tree basin to "
            f"the next. It runs straight, round the water of its own work, {wide} wide (furrow "
            f"width, {rules.source('furrow width')}), its bed evenly down to the rim of the next "
            "work, from its depth below the sill where the fall allows that, else from the sill. "
            "A trench as wide and deep along the sill's foot gathers what comes over all of that; "
            f"its earth is counted. Where the ground stands less than {deep} over the bed (furrow "
            f"depth, {rules.source('furrow depth')}), its own earth makes up its sides, in a low "
            "place the ground under its bed too: there the ground over its bed is below 0. It "
            f"needs a fall of {rules['furrow fall']:.1%} (furrow fall, "
            f"{rules.source('furrow fall')}). What it carries brim full is by Manning (Chow, 1959, "
            "Table 5-6) for a worn channel with upright sides, its speed at the design peak for a "
            "new one, both as of drains. Earth, days and the price of digging are those "
            f"of bare furrows {wide} wide. \"To be dug\" tells how wide each really is to be, and "
            "what it is lined with where bare earth scours. The bill of quantities counts that "
            "stone and sod; the greater width is not priced.")
