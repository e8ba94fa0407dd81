"""Colours that must be told apart are, by the colour-blind too."""

import itertools

import numpy as np
import pytest
from colorspacious import cspace_convert
from matplotlib.colors import to_rgb

from terrain.outputs.drawing import symbols as sy

#: Least CIE 1976 colour difference of areas and bars that are told apart by their colour alone:
#: four times the 2.3 that is just noticed (Mahy, Van Eycken & Oosterlinck, Color Research and
#: Application 19, 1994, from memory), for they are seen a few centimetres apart.
LEAST = 4 * 2.3
#: Vision by the matrices of Machado, Oliveira & Fernandes (IEEE Transactions on Visualization and
#: Computer Graphics 15, 2009) at full severity, as the library `colorspacious` gives them.
VISIONS = {"usual": "sRGB1", **{
    name: {"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}
    for name, kind in (("protanopia", "protanomaly"), ("deuteranopia", "deuteranomaly"),
                       ("tritanopia", "tritanomaly"))}}


def laid(colour, share, under=sy.SHADE_MIDDLE):
    """A colour over the middle tone of shaded ground."""
    return sy.mixed(under, colour, share)


SETS = {
    "catchments on the ground": {**{f"tint {i}": laid(t, sy.TINT_ALPHA)
                                    for i, t in enumerate(sy.TINTS)},
                                 "no catchment": to_rgb(sy.SHADE_MIDDLE)},
    "fates of water": {"passive": to_rgb(sy.PASSIVE), "roof": to_rgb(sy.ROOF_WATER),
                       "left": to_rgb(sy.LEFT), "rain": to_rgb(sy.RAIN)},
    "sections": {"ground": to_rgb(sy.GROUND), "fill": to_rgb(sy.BANK), "cut": to_rgb(sy.CUT),
                 "water": to_rgb(sy.POOL), "paper": to_rgb(sy.PAPER)},
    "areas of the site map": {"pool": to_rgb(sy.POOL), "hollow": to_rgb(sy.HOLLOW),
                              "roof": to_rgb(sy.ROOF), "road": to_rgb(sy.ROAD)},
    "areas of a work's plan": {"channel": to_rgb(sy.POOL), "berm": to_rgb(sy.BERM),
                               # The floor of a spillway is hatched: it may come close.
                               "catchment": laid(sy.TINTS[0], sy.TINT_ALPHA)},
    "swale, berm, way of the water, contour": {
        "channel": to_rgb(sy.WATER), "berm": to_rgb(sy.EARTH), "flow": to_rgb(sy.FLOW),
        "contour": to_rgb(sy.CONTOUR)},
    "tank's levels beside works'": {"tank": to_rgb(sy.ROOF_WATER), "works": to_rgb(sy.PASSIVE)},
    "trees": {"want": to_rgb(sy.PAPER), "get": to_rgb(sy.TREE_FILL)},
    "headlines in doubt": {"passive": to_rgb(sy.PASSIVE), "roof": to_rgb(sy.ROOF_WATER),
                           "left": to_rgb(sy.SOFT_INK), "share": to_rgb(sy.TREE)},
    "slopes": {name: laid(c, sy.SLOPE_ALPHA) for _, name, c in sy.SLOPES}}


def differences(colours, vision):
    """CIE 1976 difference of each pair as a vision sees it."""
    seen = {name: cspace_convert(np.clip(cspace_convert(c, VISIONS[vision], "sRGB1"), 0, 1),
                                 "sRGB1", "CIELab") for name, c in colours.items()}
    return {(a, b): float(np.linalg.norm(seen[a] - seen[b]))
            for a, b in itertools.combinations(seen, 2)}


@pytest.mark.parametrize("vision", VISIONS)
@pytest.mark.parametrize("name", SETS)
def test_areas_and_bars_keep_apart(name, vision):
    close = {pair: round(d, 1) for pair, d in differences(SETS[name], vision).items() if d < LEAST}
    assert close == {}


def test_the_measure_is_known_of_black_and_white_and_sees_red_and_green_meet():
    # L* of white is 100 and of black 0 by definition (CIE 15:2004).
    pair = ("a", "b")
    assert differences({"a": (0, 0, 0), "b": (1, 1, 1)}, "usual")[pair] == pytest.approx(100, 1e-3)
    mates = {"a": to_rgb("#a08000"), "b": to_rgb("#5a9a00")}
    assert differences(mates, "deuteranopia")[pair] < 0.6 * differences(mates, "usual")[pair]


def test_what_colour_alone_would_not_tell_apart_differs_in_line_or_shape(demo_plan, seen):
    """Lines of the map whose colours come close: spill, led water and boundary are dashed each in
    their own way; a shed is a disc, a berm a line; before and after the works differ in dashes."""
    from terrain.outputs.charts.capture_charts import draw_site_capture
    from terrain.outputs.drawing.site_map import draw_site_map

    figure = draw_site_map(demo_plan)
    styles = {gid: seen.with_gid(figure, gid)[0].get_linestyle()
              for gid in ("spill", "led", "boundary")}
    dashes = {gid: tuple(next(a for a in seen.with_gid(figure, gid)
                              if hasattr(a, "_dash_pattern"))._unscaled_dash_pattern[1])
              for gid in styles}
    assert len(set(dashes.values())) == 3
    assert {type(a).__name__ for a in seen.with_gid(figure, "shed")} == {"Circle"}
    lines = draw_site_capture(demo_plan.told.capture, "metric", "24 h").axes[0].lines
    before, kept = (next(x for x in lines if x.get_color() == colour)
                    for colour in (sy.SOFT_INK, sy.ROOF_WATER))
    assert before.is_dashed() != kept.is_dashed()


def test_the_floor_of_a_spillway_is_hatched(demo_plan, seen):
    """Its colour comes close to that of a catchment to one who sees no blue."""
    from terrain.outputs.sheets.plan_sheets import draw_sheet, dug_works

    entry = next(e for e in dug_works(demo_plan) if e.name == "gully pond")
    floor, = seen.with_gid(draw_sheet(demo_plan, entry), "spillway")
    assert floor.get_hatch()
