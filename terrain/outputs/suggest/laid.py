"""A proposal laid out as its site file would be planned: what a map of it draws."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.inputs.site import Site
from terrain.plan.plan import laid_out as works_laid_out
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Cascade, build_cascade
from terrain.suggest.look import look_at
from terrain.suggest.suggestion import Proposal, Suggestion
from terrain.surface.terrain import Terrain


@dataclass(frozen=True)
class Store:
    """A work of a proposal, as far as a map asks for it.

    Attributes
    ----------
    placed : Placed
    swale : None
        The plan alone sizes it.
    stays : bool
        Whether it is the site file's own.
    """

    placed: Placed
    stays: bool
    swale: None = None


@dataclass(frozen=True)
class Laid:
    """A proposal laid out: what a map draws of a plan.

    Attributes
    ----------
    inputs : Inputs
        With the works of the proposal.
    cascade : Cascade
    stores : tuple of Store
        In the order of the cascade's nodes.
    """

    inputs: Inputs
    cascade: Cascade
    stores: tuple[Store, ...]

    @property
    def site(self) -> Site:
        """The site, with the works of the proposal."""
        return self.inputs.site

    @property
    def terrain(self) -> Terrain:
        """The ground."""
        return self.inputs.terrain


@dataclass(frozen=True)
class Standing:
    """What the maps of all proposals share.

    Attributes
    ----------
    own : tuple of Placed
        Every work of the site file.
    closed : bool, shape (rows, columns)
        Cells of the property on which no earth may be moved, whatever is built.
    """

    own: tuple[Placed, ...]
    closed: NDArray[np.bool_]


def standing(suggestion: Suggestion) -> Standing:
    """Lay the site file's own works out, and find the ground that is left alone."""
    inputs = suggestion.inputs
    with inputs.told():
        own = works_laid_out(inputs)
        room = look_at(inputs, suggestion.asked, ()).room
    return Standing(tuple(own), np.asarray((room <= 0) & inputs.ground.inside))


def laid_out(suggestion: Suggestion, proposal: Proposal, about: Standing) -> Laid:
    """Join the works of a proposal.

    Raises
    ------
    InputError
        If its works cannot stand so together.
    """
    own = suggestion.inputs
    kept = {work.name: _alone(work, proposal) for work in own.site.works
            if work.name not in proposal.leaves_out}
    new = [chosen for chosen in proposal.works if chosen.candidate.kind != "own"]
    site = own.site.model_copy(update={"works": [
        *kept.values(), *(work for chosen in new for work in chosen.candidate.works)]})
    inputs = replace(own, site=site)
    placed = [replace(place, work=kept[place.work.name]) for place in about.own
              if place.work.name in kept]
    placed += [place for chosen in new for place in chosen.placed]
    with inputs.told():
        cascade = build_cascade(site, inputs.terrain, inputs.ground, placed, inputs.rules,
                                inputs.hydrology)
    return Laid(inputs, cascade, tuple(Store(place, place.work.name in kept) for place in placed))


def _alone(work: Any, proposal: Proposal) -> Any:
    """A work that stays, its spill led to no work that goes."""
    return (work.model_copy(update={"spills_to": None}) if work.spills_to in proposal.leaves_out
            else work)
