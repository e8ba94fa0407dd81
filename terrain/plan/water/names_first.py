"""Names that works use for each other, for roofs, trees and soils, checked before any is laid out.

A slip in a name so shows before what the ground has to say.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from terrain.errors import InputError, kept, refuse
from terrain.inputs import site_works as asked
from terrain.inputs.site import Site
from terrain.inputs.site_works import OFF_SITE
from terrain.plan.siting.tank_works import leader_of
from terrain.plan.siting.tree_design import plant_factor
from terrain.plan.water.cascade import tanked_roofs
from terrain.runoff.green_ampt import texture_named
from terrain.runoff.ground import Ground
from terrain.works.rules import Rulebook


def refuse_unknown_names(site: Site, ground: Ground, rules: Rulebook) -> None:
    """Refuse names in the works that mean nothing here.

    Raises
    ------
    InputError
        For a roof of a tank, a tank joined, a work that a spill, a drain or grey water goes to, a
        swale that a row stands along, a kind of tree or a texture.
    """
    wrong: list[InputError] = []
    for work in site.works:
        with kept(wrong):
            _refuse_names_of(work, site, rules)
    with kept(wrong):
        tanked_roofs(site, ground)
    refuse(wrong)


def _refuse_names_of(work: Any, site: Site, rules: Rulebook) -> None:
    where = site.where_work(work.name)
    if isinstance(work, asked.TreeBasin):
        plant_factor(work, where, rules)
        if isinstance(work.along, str):
            _refuse_no_swale(work.along, f"{where}, along", site)
    if isinstance(work, asked.Swale | asked.Basin) and work.trees is not None:
        plant_factor(work.trees, f"{where}, trees", rules)
    texture = getattr(work, "texture", None)
    if texture is not None:
        try:
            texture_named(texture)
        except ValueError as error:
            raise InputError(site.where_work(work.name, "texture"), str(error),
                             "Use one of them, or a rate from a hole test (infiltration:)"
                             ) from None
    if isinstance(work, asked.Tank):
        leader_of(site, work.name)
        for use in work.uses:
            refuse_no_work(use.grey_water_to, f"{site.where_work(work.name, 'uses')}, "
                            f"\"{use.name}\", grey water to", site, "Name one of them")
    if work.spills_to != OFF_SITE:
        refuse_no_work(work.spills_to, site.where_work(work.name, "spills to"), site,
                        f"Name one of them, or write: {OFF_SITE}")
    if isinstance(work, asked.Drain) and isinstance(work.to, str):
        refuse_no_work(work.to, f"{where}, to", site, "Name one of them, or give a point")


def refuse_no_work(name: str | None, where: str, site: Site, remedy: str) -> None:
    """Refuse a name that no work has, and list those there are; None is no name."""
    if name is not None and not any(_called(work, name) for work in site.works):
        raise InputError(where, f"there is no work \"{name}\" (there are: "
                         f"{_listed(work.name for work in site.works)})", remedy)


def _called(work: Any, name: str) -> bool:
    """Whether a name is a work's, or that of one of a group's trees, such as "row 3"."""
    return work.name == name or (isinstance(work, asked.TreeBasin) and re.fullmatch(
        rf"{re.escape(work.name)} \d+", name) is not None)


def _refuse_no_swale(name: str, where: str, site: Site) -> None:
    swales = [work.name for work in site.works if isinstance(work, asked.Swale)]
    if name not in swales:
        what = "is no swale" if any(w.name == name for w in site.works) else "is not there"
        raise InputError(where, f"the row stands along \"{name}\", which {what} (swales: "
                         f"{_listed(swales) or 'none'})",
                         "Name a swale, or draw the row as a line of points")


def _listed(names: Iterable[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)
