"""The trees that the site file states along or below a swale or a basin."""

from __future__ import annotations

from typing import Any

from terrain.errors import InputError
from terrain.inputs.site_works import Trees
from terrain.plan.siting.tree_design import plant_factor
from terrain.units import in_both
from terrain.works.rules import Rulebook
from terrain.works.tree_stand import TreeStand, trees_in_row


def stand_of(work: Any, where: str, length: float | None, water_area: float, rules: Rulebook
             ) -> TreeStand | None:
    """The trees of a work that soak up what it lets in; None where it states none.

    Parameters
    ----------
    length : float or None
        Of a swale's line, along which they stand; None for a basin. [m]
    water_area : float
        Of the work when full. [m2]

    Raises
    ------
    InputError
        If their kind is not known, or they stand closer than their crowns are wide.
    """
    trees: Trees | None = getattr(work, "trees", None)
    if trees is None:
        return None
    factor, kind = plant_factor(trees, f"{where}, trees", rules)
    count = trees.count
    if count is None:
        assert length is not None
        assert trees.spacing is not None
        count = trees_in_row(length, trees.spacing)
    if length is not None:
        gap = trees.spacing or (length / (count - 1) if count > 1 else length)
        if gap < trees.crown * (1 - 1e-3):
            field = "count" if trees.spacing is None else "spacing"
            raise InputError(f"{where}, trees, {field}", "they would stand "
                             f"{in_both(gap, 'length')} apart, closer than their crowns of "
                             f"{in_both(trees.crown, 'length')} are wide",
                             "Give them more room, or state a smaller crown")
    return TreeStand(trees.tree or work.name, count, trees.crown, factor, kind, water_area,
                     rules["seepage to roots"])
