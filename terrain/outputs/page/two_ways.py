"""Each work's earth by its sections and by the difference of surfaces, for the report."""

from __future__ import annotations

from functools import partial

from terrain.plan.earth.designed import Earth
from terrain.plan.planned import Plan
from terrain.units import in_both, shown


def two_ways_rows(plan: Plan) -> list[tuple[str, list[str]]]:
    """Cut and fill of each work by its sections and by the difference of surfaces."""
    if plan.designed is None:
        return []
    earth = partial(shown, dimension="earth", system=plan.site.units)

    def pair(by_sections: float, by_surface: float | None) -> list[str]:
        if by_surface is None:
            return [earth(by_sections), "not drawn", "–"]
        if max(by_sections, by_surface) < 1e-6:
            return ["–", "–", "–"]
        return [earth(by_sections), earth(by_surface), f"{by_surface / by_sections - 1:+.1%}"
                if by_sections > 1e-6 else "–"]

    return [(name, [*pair(found.cut_sections, found.cut_surface),
                    *pair(found.fill_sections, found.fill_surface)])
            for name, found in plan.designed.earth.items()]


def two_ways_notes(plan: Plan) -> list[str]:
    """Where the two ways differ by much, what the sections leave out, and works that meet."""
    designed, rules = plan.designed, plan.inputs.rules
    if designed is None or not designed.shapes:
        return []
    said = []
    for name, found in designed.earth.items():
        off = found.off(rules)
        if off is not None:
            said.append(f"{name}: the difference of surfaces comes to {abs(off):.0%} "
                        f"{'more' if off > 0 else 'less'} than the sections, and more than "
                        f"{rules['earth by two ways']:.0%} is told "
                        f"({rules.cited('earth by two ways')}): {_why(found, off)}")
        if found.spillway > 0.05:
            said.append(f"{name}: its spillway in natural ground beside the wall takes "
                        f"{in_both(found.spillway, 'earth')} more to dig, counted by the "
                        "difference of surfaces alone; the earth above and the money hold it.")
    said += [shared.said for shared in designed.shared]
    if designed_raster_is_coarse(plan):
        said.append("design_ground.tif has larger cells than the narrowest works ask for, to stay "
                    "within 16 million; the volumes above come from finer ones.")
    return said


def _why(found: Earth, off: float) -> str:
    return ("reckon with the larger of the two, and look at the ground there before ordering "
            "earth or a machine." if off > 0 else
            "look at the ground there before ordering earth or a machine.")


def designed_raster_is_coarse(plan: Plan) -> bool:
    """Whether the raster of the designed ground has larger cells than its works ask for."""
    from terrain.plan.earth.designed import raster_grid

    return plan.designed is not None and raster_grid(plan.inputs.dem, plan.designed.shapes)[1]
