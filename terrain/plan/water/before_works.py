"""The same ground before anything was dug or set up: rain soaks in, runs off, or fills hollows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from terrain.inputs.site_works import Hollow
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Cascade, build_cascade


def cascade_before(inputs: Inputs, placed: Sequence[Placed]) -> Cascade:
    """The cascade without ground works and tanks; hollows, which nobody built, stay.

    Roofs that fed tanks shed onto the ground about them, as roofs or paving; what `spills to`, a
    pipe, a pump or a use said of a hollow is left out with the works.

    Parameters
    ----------
    placed : sequence of Placed
        Of the whole plan.
    """
    bare: dict[str, Any] = {"spills_to": None, "pipe": None, "pump": None, "demand": 0.0,
                            "uses": []}
    kept = [replace(place, work=place.work.model_copy(update=bare))
            for place in placed if place.hollow is not None]
    site = inputs.site.model_copy(update={"works": [
        work.model_copy(update=bare) for work in inputs.site.works if isinstance(work, Hollow)]})
    return build_cascade(site, inputs.terrain, inputs.ground, kept, inputs.rules,
                         inputs.hydrology)
