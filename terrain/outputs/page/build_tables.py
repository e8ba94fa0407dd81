"""What each work is to be when it is finished, in words."""

from __future__ import annotations

from functools import partial

import numpy as np

from terrain.outputs.page.led_water import drain_shape
from terrain.outputs.page.rows import Row
from terrain.plan.planned import Plan, PlannedStore
from terrain.units import shown
from terrain.works.swale_built import Swale
from terrain.works.tree_basin import mound_over


def build_rows(plan: Plan) -> list[Row]:
    """What each work is to be when it is finished."""
    system = plan.site.units
    level, length, size = (partial(shown, dimension=d, system=system)
                           for d in ("level", "length", "size"))
    rows = []
    for planned in sorted(plan.stores, key=lambda p: -p.store.sill.level):
        sill, swale, basin = planned.store.sill, planned.swale, planned.basin
        spill = (f"at {level(sill.level)}, {length(sill.length)} long; {size(sill.head)} of water "
                 "on it at the design peak")
        if swale is not None:
            shape = _swale_shape(swale, system)
            bank = (f"berm on the downhill side, crest {size(swale.berm_height_built)} above the "
                    f"sill as built, {size(swale.berm_height)} once settled, top "
                    f"{size(swale.berm_top)} wide, sides {swale.berm_side_slope:g}:1; turned "
                    "uphill at both ends")
        elif basin is not None and basin.profile is not None:
            wall = basin.profile
            shape = f"pool of {shown(basin.pool_area, 'area', system)}, " \
                    f"{size(basin.deepest_water)} at its deepest"
            if basin.rim is not None:
                shape += (f"; pit in it, floor at {level(basin.floor)}, "
                          f"{size(basin.pit_depth)} below the lowest ground on its rim, sides "
                          f"{basin.batter:g}:1")
            bank = (f"wall with its settled crest at {level(basin.crest)}, built to "
                    f"{level(float(wall.built.max()))} where it is highest, "
                    f"{size(basin.height)}; top {size(wall.top)} wide, sides "
                    f"{wall.wet_slope:g}:1 wet and {wall.dry_slope:g}:1 dry; cut-off trench "
                    f"{size(wall.cutoff_depth)} deep, {size(wall.cutoff_width)} wide at its "
                    "floor")
        elif basin is not None:
            shape = (f"dug {size(basin.water_at_wall)} deep below its sill, floor at "
                     f"{level(sill.level - basin.water_at_wall)}, sides {basin.batter:g}:1")
            bank = "none"
        elif planned.store.kind == "tree basin":
            shape, bank = _tree_shape(plan, planned)
        elif planned.drain is not None:
            shape, bank, spill = drain_shape(planned.drain, planned.spills_to, plan.inputs.rules,
                                             system)
        else:
            continue
        rows.append(Row(planned.store.name, [shape, bank, spill]))
    return rows


def _tree_shape(plan: Plan, planned: PlannedStore) -> tuple[str, str]:
    """Shape and bank of a tree basin."""
    level, length, size = (partial(shown, dimension=d, system=plan.site.units)
                           for d in ("level", "length", "size"))
    made, rules = planned.placed.tree, plan.inputs.rules
    assert made is not None
    if made.form == "trench":
        filled = f", filled with gravel, {made.porosity:.0%} pores" if made.porosity < 1 else ""
        return (f"trench {length(made.length)} long on the contour, {size(made.width)} wide, "
                f"level floor {size(made.depth)} below its lower side{filled}; at the drip "
                "line, uphill of the tree", "none")
    if made.crescent is not None:
        bund = made.crescent
        return (f"crescent open uphill, {length(bund.radius)} from the trunk to the bund's inner "
                f"foot; both tips on the contour at {level(bund.level)}, water "
                f"{size(made.depth)} deep at its toe",
                f"bund up to {size(bund.bund_height)} high as built, top "
                f"{size(rules['crescent top width'])} wide, sides "
                f"{rules['crescent side slope']:g}:1")
    return (f"bowl {length(made.crown)} wide, level floor at "
            f"{level(planned.store.curve.levels[0])}; trunk on a mound, its top at "
            f"{level(made.level + mound_over(made, planned.over_sill, rules))}, "
            f"{size(mound_over(made, planned.over_sill, rules))} over the sill", "none")


def _swale_shape(swale: Swale, system: str) -> str:
    """A swale's line, section and checks in words."""
    level, length, size = (partial(shown, dimension=d, system=system)
                           for d in ("level", "length", "size"))
    section, route = swale.section, swale.route
    bed = level(swale.sill.level - section.depth)
    form = {"trapezoid": f"bed {size(section.width)} wide at {bed}",
            "parabola": f"a dish {size(section.width)} wide at the water, lowest at {bed}",
            "vee": f"a vee, lowest at {bed}"}[section.shape]
    bends = ("straight" if np.isinf(route.radius) else
             f"tightest bend {size(route.radius)} in radius")
    checks = ("" if not swale.checks else
              f"; {len(swale.checks)} earth checks, tops at "
              f"{level(swale.sill.level - section.depth + swale.checks[0].height)}, at station "
              + ", ".join(length(check.chainage) for check in swale.checks))
    return (f"{length(route.length)} on the contour at {level(route.level)}, ground within "
            f"{size(route.deviation)} of it, {bends}; {form}, sides {section.side_slope:.3g}:1"
            f"{checks}")
