"""Places that are suggested, beside the same laid out and built in full."""

from __future__ import annotations

from pathlib import Path

from terrain.inputs.site_suggest import Suggest
from terrain.plan.earth.built import build
from terrain.plan.siting.layout import first_sill, place_again
from terrain.plan.siting.reading import read_inputs
from terrain.suggest.look import look_at
from terrain.works.store import Store


def looked(path: Path, **asked):
    """A look at a site with what is asked of it."""
    written = {field.replace("_", " "): given for field, given in asked.items()}
    return look_at(read_inputs(path), Suggest(**written), ())


def placed(look, candidate):
    """A candidate laid out in full, beside nothing else."""
    inputs, work = look.inputs, candidate.works[-1]
    site = inputs.site.model_copy(update={"works": [*inputs.site.works, work]})
    [found] = place_again(work, site, inputs.terrain, look.soft, inputs.ground, inputs.rules,
                          look.design_runoff, None, [])
    return found


def built(look, place):
    """A place as it would be built."""
    store = Store(place.name, place.kind, place.curve, first_sill(place, look.inputs.rules),
                  place.x, place.y, place.spill_x, place.spill_y)
    return build(look.inputs, place, store)


def some(candidates, count):
    """So many of the candidates, spread over all."""
    return candidates[::max(len(candidates) // count, 1)]
