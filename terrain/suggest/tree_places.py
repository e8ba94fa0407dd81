"""Rows of trees on contour, each tree in a bowl or behind a crescent, that water could reach."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely
from scipy.spatial.distance import pdist

from terrain.inputs.site_works import TreeBasin
from terrain.suggest.candidate import Candidate
from terrain.suggest.cells import is_open, known, spill_below, touched
from terrain.suggest.floors import near_rock, soaked_depth
from terrain.suggest.look import Look
from terrain.suggest.naming import named
from terrain.suggest.tree_bodies import Bodies
from terrain.suggest.tree_rows import Row, tree_rows
from terrain.suggest.tree_spots import counted
from terrain.units import in_both
from terrain.works.root_zone import root_zone_room
from terrain.works.tree_basin import depth_for


def tree_places(look: Look, most: int) -> list[Candidate]:
    """Rows of 4, 8 and 12 trees on contour, best first: those whose need is met best.

    Bowls lie where the ground slopes up to 10 %, crescents where it slopes between the rules'
    `crescent flattest` and `crescent steep`, at half the crown and at twice that.  Trees stand as
    far apart as is asked for (their crowns if nothing is), and farther where their earth would
    touch.  What comes to a tree counts from ground up to 10 times its crown's; no tree has a
    catchment beyond the rules' `tree catchment largest`.  Its need is that of its plant factor by
    the sun that its slope gets, less rain.

    Parameters
    ----------
    most : int
        Rows at most.
    """
    rows = tree_rows(look)
    order = sorted(range(len(rows)), key=lambda i: (-round(rows[i].share, 6),
                                                    -len(rows[i].spots.at), i))
    found: list[Candidate] = []
    for i in order:
        if len(found) == most:
            break
        made = _laid(look, rows[i])
        if made is not None:
            found.append(made)
    return named(look, "tree row", found)


def _work(look: Look, row: Row, depth: float | None) -> TreeBasin:
    """The entry of the site file, but for its name."""
    trees, form = look.asked.trees, row.form
    entry: dict[str, Any] = {
        "name": "tree row", "kind": "tree basin", "form": form.form,
        "at": [list(look.stated(*p)) for p in row.spots.at.tolist()], "crown": trees.crown}
    optional = {"radius": form.radius if form.form == "crescent" else None, "depth": depth,
                "tree": trees.tree, "plant factor": trees.plant_factor,
                "infiltration": look.asked.infiltration}
    entry |= {field: value for field, value in optional.items() if value is not None}
    return TreeBasin.model_validate(entry)


def _laid(look: Look, row: Row) -> Candidate | None:
    """A row laid out; None where it cannot lie there."""
    inputs, form = look.inputs, row.form
    dem, rules, spots = inputs.dem, inputs.rules, row.spots
    if pdist(spots.at).min() < look.asked.trees.crown:  # the contour turns back on itself
        return None
    cells = np.stack(dem.row_column(*spots.at.T), 1)
    slowest = min(look.soaks(cells[i:i + 1]).rate for i in range(len(cells)))
    deepest = soaked_depth(look, slowest)
    if form.form == "crescent":
        deepest = min(deepest, look.asked.water_at_bank or rules["embankment water"])
    bodies = Bodies.of_bowls if form.form == "bowl" else Bodies.of_crescents
    depth = _depth(look, row, deepest)
    if depth is None:
        return None
    stated = None if form.form == "crescent" and depth >= float(
        (form.radius * spots.slope).max()) - 1e-9 else depth
    made = bodies(dem, row, depth, rules)
    if made is None or made.deepest > deepest:
        return None
    tight = shapely.STRtree(made.footprints)
    one, other = tight.query(made.footprints, predicate="intersects")
    if (one != other).any():
        return None
    if not is_open(dem, look.room, made.footprints):
        return None
    # A crescent's pool is not dug.
    floors = made.levels - depth if form.form == "bowl" else np.full(len(spots.at), np.inf)
    if any(near_rock(look, one, floor)
           for one, floor in zip(made.footprints, floors.tolist(), strict=True)):
        return None
    own = known(dem, touched(dem, made.outlines))
    lowest = dem.row_column(*made.spills[int(np.argmin(made.levels))])
    spill = spill_below(look, (int(lowest[0]), int(lowest[1])), own, back=True)
    if spill is None:
        return None
    cost = look.cost(float(made.dig.sum()), float(made.bank.sum()), look.soil_of(own),
                     trees=len(spots.at), seeded=float(made.seeded))
    return Candidate(
        "tree row", "tree row", (_work(look, row, stated),), own, spill,
        shapely.union_all(made.footprints), float(made.storage.sum()), float(made.water.sum()),
        look.soaks(own).rate, cost, made.deepest if form.form == "crescent" else 0.0, len(spots.at),
        look.asked.trees.crown, _said(look, row))


def _depth(look: Look, row: Row, deepest: float) -> float | None:
    """Depth of a row's bowls or crescents, none deeper than drains in time; None for no depth.

    A crescent's is as much as the ground falls; all get the same where that would not drain.
    """
    rules, spots, form = look.inputs.rules, row.spots, row.form
    if form.form == "crescent":
        usual = min(float((form.radius * spots.slope).max()), rules["crescent deepest"])
        if usual <= deepest:
            return usual
        least = min(deepest, float((form.radius * spots.slope).min()) - 0.005)
        depth = math.floor(100 * least + 1e-9) / 100
        return depth if depth > 0 else None
    roots = root_zone_room(math.pi * look.asked.trees.crown**2 / 4, rules, None)
    wanted = np.minimum(np.minimum(counted(look, spots, spots.storm), spots.need), roots)
    depth = min(depth_for(2 * form.radius, float(np.median(wanted)), rules),
                math.floor(100 * deepest + 1e-9) / 100)
    shallowest = min(rules["tree bowl shallowest"],
                     0.9 * form.radius / rules["tree bowl side slope"])
    return depth if depth >= shallowest - 1e-9 else None


def _said(look: Look, row: Row) -> tuple[str, ...]:
    spots = row.spots
    ground = in_both(float(np.mean(spots.area)), "ground")
    said = [f"The trees stand on one contour where the ground slopes {np.mean(spots.slope):.1%}, "
            f"and water of {ground} of ground comes to each."]
    if look.inputs.evaporation is not None and np.isfinite(spots.need).all():
        need = in_both(float(np.mean(spots.need)), "volume")
        said.append(f"A tree needs {need} a year beyond rain, as its slope gets "
                    f"{np.mean(spots.sun):.0%} of the direct sun of level ground; what comes and "
                    f"is used meets {row.share:.0%} of that.")
    return tuple(said)
