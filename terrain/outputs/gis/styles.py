"""What each layer of the plan looks like: the colours of the map."""

from __future__ import annotations

from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.keep_clear_symbols import WORDS
from terrain.outputs.gis.style import Fill, Line, Mark, Rule, Symbol, Words

_NAME = Words("name", sy.INK, 11, sy.PAPER)
_DASHED = (6.0, 3.0)

_DOT = (Mark("square", sy.PAPER, 8, sy.INK),)
_TICKED = (8.0, 2.0, 2.0, 2.0)
#: Looks of things to keep clear of, by their shape and their symbol on the map.
_KEEP_CLEAR: dict[str, dict[str, tuple[Symbol, ...]]] = {
    "points": {"keep well": (Mark("circle", sy.PAPER, 10, sy.INK),), "keep septic": _DOT,
               "keep line": _DOT, "keep tree": (Mark("circle", sy.TREE, 7, sy.PAPER),),
               "keep edge": _DOT, "keep ground": (Mark("square", sy.FAINT_INK, 8, sy.INK),)},
    "lines": {key: (Line(sy.TREE if key == "keep tree" else sy.INK, 1.4,
                         _TICKED if key == "keep line" else ()),) for key in WORDS},
    "areas": {"keep well": (Fill(sy.PAPER, 0.4, sy.INK, 1.2),),
              "keep septic": (Fill(sy.PAPER, 0.4, sy.INK, 1.2, (4.0, 2.0)),),
              "keep line": (Fill(None, edge=sy.INK, width=1.4, dashes=_TICKED),),
              "keep tree": (Fill(None, edge=sy.TREE, width=1.2, dashes=(4.0, 2.0)),),
              "keep edge": (Fill(None, edge=sy.INK, width=1.4),),
              "keep ground": (Fill(sy.FAINT_INK, 0.4, sy.INK, 1.2, (4.0, 2.0)),)}}

#: Rules of every layer, by its name.
STYLES: dict[str, tuple[Rule, ...]] = {
    "boundary": (Rule("Boundary of the land", (Fill(None, edge=sy.BOUNDARY, width=2.5,
                                                     dashes=(9.0, 3.0, 2.0, 3.0)),)),),
    "stores": (
        Rule("Swale", (Mark("circle", sy.WATER, 8, sy.PAPER), _NAME), "kind", ("swale",)),
        Rule("Basin", (Mark("circle", sy.POOL, 11, sy.WATER), _NAME), "kind", ("basin",)),
        Rule("Tree basin", (Mark("circle", sy.TREE, 8, sy.PAPER), _NAME), "kind",
             ("tree basin",)),
        Rule("Tank", (Mark("square", sy.TANK, 10, sy.PAPER), _NAME), "kind", ("tank",)),
        Rule("Natural hollow", (Mark("circle", sy.HOLLOW, 10, sy.WATER), _NAME), "kind",
             ("hollow",)),
        Rule("Drain", (Mark("triangle", sy.WATER, 8, sy.PAPER), _NAME), "kind", ("drain",))),
    "works": (
        Rule("Dug", (Fill(sy.POOL, 0.8, sy.WATER, 1.0),), "takes", ("dug",)),
        Rule("Heaped", (Fill(sy.BERM, 0.9, sy.EARTH, 1.0),), "takes", ("heaped",)),
        Rule("Under water when full", (Fill(sy.POOL, 0.5, sy.WATER, 1.0),), "takes",
             ("water",))),
    "swales": (Rule("Swale, its downhill lip", (Line(sy.WATER, 3.0),)),),
    "basins": (
        Rule("Basin, full", (Fill(sy.POOL, 0.8, sy.WATER, 1.4),), "kind", ("basin",)),
        Rule("Tree basin", (Fill(sy.TREE_FILL, 0.8, sy.TREE, 1.2),), "kind",
             ("tree basin",))),
    "hollows": (Rule("Natural hollow, full", (Fill(sy.HOLLOW, 0.8, sy.WATER, 1.0,
                                                   (3.0, 2.0)),)),),
    "drains": (Rule("Drain", (Line(sy.PAPER, 5.0), Line(sy.WATER, 3.0))),),
    "sills": (Rule("Sill", (Mark("circle", sy.PAPER, 8, sy.WATER),)),),
    "catchments": tuple(
        Rule(f"Catchment, tint {number}", (Fill(colour, sy.TINT_ALPHA, sy.SOFT_INK, 0.8),), "tint",
             (number,)) for number, colour in enumerate(sy.TINTS, 1)),
    "spills": (
        Rule("Spill over the ground", (Line(sy.WATER, 1.8, _DASHED),), "led", ("over the ground",)),
        Rule("Spill led in a pipe, by a pump or a drain", (Line(sy.WATER, 1.8),), "led",
             ("by a pipe", "by a pump", "by a drain", "by the owner's word")),
        Rule("Spill led in a furrow", (Line(sy.EARTH, 2.8), Line(sy.POOL, 1.1)), "led",
             ("by a furrow",))),
    "furrows": (Rule("Furrow dug by hand", (Line(sy.EARTH, 2.8), Line(sy.POOL, 1.1))),),
    "longest_ways": (Rule("Longest way of the water", (Line(sy.FLOW, 2.2, (2.0, 2.0)),)),),
    "flow_lines": tuple(
        Rule(f"Way of the water, gathers {words}", (Line(sy.FLOW, 0.6 + 0.8 * size),), "size",
             (size,)) for size, words in ((1, "least"), (2, "more than 10 times that"),
                                          (3, "more than 100 times that"),
                                          (4, "more than 1000 times that"))),
    "road_surfaces": (Rule("Road", (Fill(sy.ROAD, 1.0, sy.ROAD_EDGE, 1.0),)),),
    "roof_outlines": (Rule("Roof", (Fill(sy.ROOF, 1.0, sy.ROOF_EDGE, 1.2),)),),
    "road_sheds": (Rule("Ground that drains to a road", (Fill(sy.ROAD, 0.55, sy.SHED, 1.2),)),),
    "bare_sheds": (Rule("Ground that drains to a bare patch",
                        (Fill(sy.BARE, 0.3, sy.BARE, 1.2),)),),
    "shed_points": (
        Rule("Where a road lets water go", (Mark("triangle", sy.SHED, 10, sy.PAPER),), "kind",
             ("road",)),
        Rule("Where bare ground lets water go", (Mark("triangle", sy.BARE, 10, sy.PAPER),), "kind",
             ("bare ground",))),
    "shed_paths": (Rule("Its way on", (Line(sy.SHED, 1.4, _DASHED),)),),
    "road_turnouts": (Rule("Let the road's water go here",
                           (Mark("square", sy.ROAD, 9, sy.ROAD_INK),)),),
    "breaklines": (
        Rule("Sill", (Line(sy.WATER, 2.4),), "marks", ("sill",)),
        Rule("Edge of the designed ground", (Line(sy.EARTH, 1.2),), "marks", ("edge",))),
    "designed_contours": (
        Rule("Contour of the designed ground", (Line(sy.EARTH, 0.7),), "index", (0,)),
        Rule("Every fifth", (Line(sy.EARTH, 1.5), Words("level_m", sy.EARTH, 9, sy.PAPER)),
             "index", (1,))),
    "contours": (
        Rule("Contour", (Line(sy.CONTOUR, 0.7),), "index", (0,)),
        Rule("Every fifth contour", (Line(sy.INDEX_CONTOUR, 1.3),
                                     Words("level_m", sy.INDEX_CONTOUR, 9, sy.PAPER)),
             "index", (1,))),
    "stakes": (
        Rule("Stake, dig", (Mark("x", sy.WATER, 7, sy.WATER),), "to", ("dig",)),
        Rule("Stake, fill", (Mark("cross", sy.EARTH, 7, sy.EARTH),), "to", ("fill",)),
        Rule("Stake, ground at its level", (Mark("circle", sy.INK, 4),), "to", ("keep",))),
    "cautions": (Rule("Caution: read it before anybody digs",
                      (Mark("triangle", "#f2c14e", 13, sy.INK),)),),
    **{f"keep_clear_{end}": tuple(Rule(WORDS[key], symbols, "symbol", (key,))
                                  for key, symbols in looks.items())
       for end, looks in _KEEP_CLEAR.items()},
    "breach_ways": (Rule("Way of the water if the bank fails", (Line(sy.SHED, 2.4, (2.0, 3.0)),)),),
    "culverts": (Rule("Culvert or bridge", (Line(sy.WATER, 4.0), Line(sy.ROAD, 2.0))),),
    "pipes": (Rule("Pipe", (Line(sy.TANK, 1.8),)),),
    "cover": (
        Rule("Bare ground", (Fill(sy.BARE, 0.45),), "looks", ("bare",)),
        Rule("Roof or paving", (Fill(sy.ROOF, 0.7),), "looks", ("roof or paving",)),
        Rule("Other cover", (Fill(sy.TREE_FILL, 0.35, sy.TREE, 0.5),), "looks", ("other",))),
    "soils": tuple(Rule(f"Soil group {group}", (Fill(sy.TINTS[number], 0.35, sy.SOFT_INK, 0.5),),
                        "group", (group,)) for number, group in enumerate("ABCD")),
}
