"""Cautions that trees and their basins earn."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from shapely import LineString, Point

from terrain.plan.earth.built import build
from terrain.plan.earth.furrow_runs import flow_in_furrow
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Cascade
from terrain.units import first_system, in_both, soil_water
from terrain.works.footprints import berm_toe, swale_footprint
from terrain.works.furrow_flow import over_sill
from terrain.works.rules import OWNER, PRACTICE
from terrain.works.tree_basin import TreeShape, mound_over

#: No berm reaches further from its swale's line than this. [m]
NEAR = 30.0
#: A berm's toe is drawn to within this. [m]
SLACK = 0.05


def tree_cautions(inputs: Inputs, cascade: Cascade, place: Placed, placed: Sequence[Placed]
                  ) -> list[str]:
    """What to beware of at a tree basin, or of trees beside a swale or basin."""
    shape, rules = place.tree, inputs.rules
    if shape is None:
        return _beside(inputs, place)
    said = [*shape.cautions, *_on_banks(inputs, cascade, place, placed),
            *_fed(cascade, place, placed)]
    node = next(node for node in cascade.nodes if node.store.name == place.name)
    if node.catchment.area > rules["tree catchment largest"]:
        said.append(f"{in_both(node.catchment.area, 'land')} drain to it, and a basin for one tree "
                    f"stands up to {in_both(rules['tree catchment largest'], 'land')} "
                    f"({rules.cited('tree catchment largest')}): in a storm it is washed out. Move "
                    "it off the water's way, and lead in only what it holds.")
    practice = f"({PRACTICE}; {OWNER})"
    if shape.form == "bowl":
        dug, head = node.furrow, node.store.sill.head
        runs = None if dug is None else flow_in_furrow(inputs, place, node.store, dug)
        said += _mound(shape, head, over_sill(head, dug, runs), inputs)
    elif shape.form == "crescent":
        said.append("Set the trunk above the water, on a step or mound at the bund's inner side "
                    f"{practice}.")
    said.append("Keep mulch a hand's width off the bark, and water by hand for two or three "
                f"years: young roots do not reach what soaks in {practice}.")
    return said


def _mound(shape: TreeShape, head: float, water: float, inputs: Inputs) -> list[str]:
    """How high the mound about a trunk stands, and whether the design peak stands over it.

    Parameters
    ----------
    head, water : float
        Over the sill, of a free spill and with what its furrow holds back. [m]
    """
    over = mound_over(shape, water, inputs.rules)
    held = ", held back by the furrow it spills into" if water > head else ""
    said = [f"Set the trunk on a mound, its top {in_both(over, 'size')} over the sill: at the "
            f"design peak water stands {in_both(water, 'size')} over that{held} ({PRACTICE}; "
            f"{OWNER})."]
    if over < water:
        said.append(f"Its mound rises {in_both(over, 'size')} over the sill, as far as its floor "
                    f"has room for, and at the design peak water stands {in_both(water, 'size')} "
                    f"over it: the trunk stands {in_both(water - over, 'size')} deep until that "
                    f"has run off. Lead less water to it, or give it a wider crown; {OWNER}.")
    return said


def _beside(inputs: Inputs, place: Placed) -> list[str]:
    """Trees stated along or below a swale or basin."""
    if place.stand is None:
        return []
    rules = inputs.rules
    name = ("tree clear of wall" if place.basin is not None and place.basin.has_wall else
            "tree clear of berm")
    bank = "wall" if name == "tree clear of wall" else "berm"
    return [f"Plant its trees below the {bank}, {in_both(rules[name], 'length')} clear of its foot "
            f"({rules.cited(name)}), and water them by hand for two or three years: young roots do "
            f"not reach what soaks in ({PRACTICE}; {OWNER})."]


def _on_banks(inputs: Inputs, cascade: Cascade, place: Placed, placed: Sequence[Placed]
              ) -> list[str]:
    """Trees on or against banks that hold water."""
    trunk, rules = Point(place.x, place.y), inputs.rules
    said = []
    for other, node in zip(placed, cascade.nodes, strict=True):
        if other.swale is not None:
            line = LineString(other.swale.route.line)
            gap = line.distance(trunk)
            if gap > NEAR + rules["tree clear of berm"]:
                continue
            made = build(inputs, other, node.store).swale
            assert made is not None  # a work laid out as a swale is built as one
            berm = swale_footprint(made, inputs.dem)[1]
            toe = float(np.interp(line.project(trunk), [s.chainage for s in made.stations],
                                  berm_toe(made)))
            clear = min(gap - toe, np.inf if berm is None else berm.distance(trunk))
            if clear < rules["tree clear of berm"] - SLACK:
                said.append(f"Its trunk stands {in_both(gap, 'length')} from the line of "
                            f"\"{other.name}\", on or against its berm: roots open ways for water "
                            "through a bank; keep "
                            f"{in_both(rules['tree clear of berm'], 'length')} clear of its toe "
                            f"({rules.cited('tree clear of berm')}).")
        elif other.basin is not None and other.basin.has_wall:
            foot = (rules["wall top width"] / 2
                    + rules["wall dry slope"] * other.basin.height + rules["tree clear of wall"])
            gap = LineString(other.basin.line).distance(trunk)
            if gap < foot:
                said.append(f"Its trunk stands {in_both(gap, 'length')} from the line of the wall "
                            f"of \"{other.name}\": no trees on a bank that holds water (FEMA 534, "
                            f"2005); keep {in_both(rules['tree clear of wall'], 'length')} clear "
                            f"of its foot ({rules.cited('tree clear of wall')}).")
    return said


def _fed(cascade: Cascade, place: Placed, placed: Sequence[Placed]) -> list[str]:
    """What feeds a row below a swale."""
    if not isinstance(place.work.along, str):
        return []
    index = next((i for i, other in enumerate(placed) if other.name == place.work.along), None)
    if index is None:
        return []
    to = cascade.nodes[index].spills_to
    name = place.work.name
    first = next(other.name for other in placed if other.work.name == name)
    said = (f"The row is fed by its own ground and by what spills over the sill of "
            f"\"{place.work.along}\"; what seeps under the berm is not counted. ")
    if to is None or placed[to].work.name != name:
        return [said + f"That spill goes elsewhere: write spills to: {name} at the swale to bring "
                f"it here; {OWNER}."]
    if placed[to].name != first:
        return [said + f"That spill meets \"{placed[to].name}\" first and goes on from there: "
                f"write spills to: {name} at the swale for the trees before it to get some; "
                f"{OWNER}."]
    return [said + f"It goes from tree to tree through a furrow; {OWNER} whether that is enough."]


def tree_notes(inputs: Inputs, placed: Sequence[Placed]) -> list[str]:
    """What is assumed of trees and their soil; nothing where no work waters any."""
    rules = inputs.rules
    factors = {place.work.name: trees for place in placed
               if (trees := place.tree or place.stand) is not None}
    if not factors:
        return []
    said = "; ".join(f"{name} {tree.factor:.2f} ({tree.kind})" for name, tree in factors.items())
    notes = [f"Plant factors: {said}."]
    if any((place.work if place.tree is not None else place.work.trees).tree is not None
           for place in placed if place.tree is not None or place.stand is not None):
        notes.append("The mid-season coefficient of a kind of tree is taken all year, so trees "
                     "that stand bare in winter want less then; in dry windy air full-grown trees "
                     "want up to a fifth more (FAO 56, 1998, eq. 62, from memory).")
    held, deep = soil_water(rules["available water"], first_system())
    notes.append(
        f"A tree's root zone is as wide as its crown, {in_both(rules['tree root depth'], 'length')}"
        f" deep and holds {held} of water in a {deep} of soil "
        "(rules tree root depth and available water), or what its stated texture holds (FAO 56, "
        "1998, Table 19, from memory); what soaks in beyond that sinks out of "
        "reach. With less than "
        f"{1 - rules['root zone depletion']:.0%} of it left the tree takes the less the drier it "
        "is. All that a tree basin soaks in is taken to reach its own tree's roots, and no "
        "other's.")
    if any(place.tree is not None and place.tree.form == "bowl" for place in placed):
        notes.append("The mound left about a bowl's trunk takes some of its room, which what it "
                     "holds and what is dug for it still count.")
    if any(place.stand is not None for place in placed):
        notes.append(
            "Of what a swale or basin soaks in no more than "
            f"{rules['seepage to roots']:.0%} is taken to come to the roots of the trees stated "
            f"beside it (seepage to roots, {rules.source('seepage to roots')}), and of that no "
            "more than the share of its full water surface that their crowns would cover; the "
            "rest sinks past them.")
    return notes
