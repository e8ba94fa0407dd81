"""What of a work is set by a slider or a word beside the map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from terrain.bench.laid import Laid
from terrain.bench.sketch import Sketch
from terrain.inputs import site_works as asked
from terrain.inputs.site_works import OFF_SITE
from terrain.units import printed, read_quantity, shown

#: Choices of where a spill goes that are no work's: left to the ground, or off the site.  A work's
#: begins with `WORK`, so that no name is taken for one of these.
OVER_GROUND, OFF, WORK = "ground", "off", "work "
#: What is read of them.
_WORDS = {OVER_GROUND: "over the ground", OFF: OFF_SITE}


@dataclass(frozen=True)
class Dial:
    """A length, level or volume that a slider sets, in the units that are shown.

    Attributes
    ----------
    key : str
        Field of the entry.
    factor : float
        Shown units in one inside.
    """

    key: str
    label: str
    low: float
    high: float
    step: float
    value: float
    unit: str
    factor: float


def dials(work: Any, laid: Laid, system: str) -> list[Dial]:
    """What sliders set of a work."""
    place = laid.placed[laid.nodes_of(work.name)[0]]

    def dial(key: str, label: str, value: float, low: float, high: float, step: float,
             dimension: str = "length", us_step: float | None = None) -> Dial:
        unit, factor, _ = printed("length" if dimension == "level" else dimension, system)
        if dimension == "size":  # told in inches below two feet
            unit, factor = ("in", 1 / 0.0254) if system == "us" else ("m", 1.0)
        each = us_step if system == "us" and us_step is not None else step
        least, most = np.floor(low * factor / each) * each, np.ceil(high * factor / each) * each
        at = value * factor
        return Dial(key, label, float(min(least or each, at)), float(max(most, at)), each,
                    float(at), unit, factor)

    if isinstance(work, asked.Swale) and place.route is not None and place.section is not None:
        depth, width, _ = place.section
        found = [] if work.along is not None else [
            dial("length", "Length", place.route.length, 4, 150, 1.0, us_step=2.0)]
        found.append(dial("depth", "Depth of water", depth, 0.15, 0.8, 0.05, "size", 1.0))
        if work.shape == "trapezoid":
            found.append(dial("width", "Bed width", width, 0.3, 2.0, 0.1, "size", 2.0))
        return found
    if isinstance(work, asked.Basin) and place.basin is not None:
        found = []
        if work.wall is not None:
            low = place.basin.crest - place.basin.height
            found.append(dial("crest", "Crest level", place.basin.crest, low + 0.5, low + 3.0,
                              0.05, "level", 0.1))
        if work.dug is not None and work.depth is not None:
            found += [dial("depth", "Depth", work.depth, 0.2, 2.5, 0.05, "size", 2.0)]
        return found
    if isinstance(work, asked.TreeBasin) and place.tree is not None:
        return [dial("crown", "Crown of the tree", work.crown, 1.0, 10.0, 0.5, us_step=1.0),
                dial("depth", "Depth of water", place.tree.depth, 0.1, 0.5, 0.05, "size", 1.0)]
    if isinstance(work, asked.Tank):
        return [dial("volume", "Volume", work.volume, 0.5, max(60.0, 2 * work.volume), 0.5,
                     "volume", 100.0)]
    return []


def dialled(work: Any, key: str, value: float, sketch: Sketch, laid: Laid) -> Any:
    """A work with one dial at another value, in inside units.

    A swale whose depth was left open keeps the one that was found when its bed is set wider, else
    it would grow shallower and hold no more.
    """
    if key == "crest":
        return sketch.with_crest(work, value)
    update: dict[str, Any] = {key: value}
    if key == "width" and isinstance(work, asked.Swale) and work.depth is None:
        place = laid.placed[laid.nodes_of(work.name)[0]]
        assert place.section is not None  # every swale has one
        update["depth"] = place.section[0]
    if getattr(work, "solve", None) == key:
        update["solve"] = None
    return work.model_copy(update=update)


def soaks_words(work: Any, system: str) -> str | None:
    """How fast its floor soaks as the owner states it, "" if not stated; None where it has none."""
    if not hasattr(work, "infiltration"):
        return None
    return "" if work.infiltration is None else shown(work.infiltration, "rate", system)


def with_soaking(work: Any, words: str, system: str) -> Any:
    """A work with another rate at which its floor soaks; none where the words are blank.

    Raises
    ------
    ValueError
        If the words are no rate.
    """
    rate = read_quantity(words, "rate", system) if words.strip() else None
    if rate is not None and not 0 <= rate < 10_000:
        raise ValueError(f"{words} is no rate at which ground soaks")
    return work.model_copy(update={"infiltration": rate})


def roofs(work: Any, laid: Laid) -> list[str] | None:
    """Roofs that a tank may take; None for what is no tank."""
    if not isinstance(work, asked.Tank):
        return None
    return [roof.name for roof in laid.inputs.ground.roofs
            if laid.inputs.ground.boundary.intersects(roof.outline)]


def roofs_moved(works: Sequence[Any], name: str, roofs: Sequence[str]) -> list[Any]:
    """The works that change where a tank takes these roofs, off other tanks too."""
    changed = []
    for work in works:
        if not isinstance(work, asked.Tank):
            continue
        left = list(roofs) if work.name == name else [r for r in work.roofs if r not in roofs]
        if left != work.roofs:
            changed.append(work.model_copy(update={"roofs": left}))
    return changed


def goals(work: Any, laid: Laid) -> list[tuple[str, str]]:
    """What the owner may choose as the goal of a work's spill, as choice and words; the one that
    it has now is among them."""
    own = set(laid.nodes_of(work.name))
    above = {laid.placed[i].work.name for j in own for i in laid.cascade.upstream_of(j)} - {
        work.name}
    # What the site file would read as "off the site" can be no work's.
    names = [name for name in dict.fromkeys(place.work.name for place in laid.placed)
             if name != work.name and name not in above and name != OFF_SITE]
    if work.spills_to not in (None, OFF_SITE, *names):  # one of a group's trees
        names.append(work.spills_to)
    return [*_WORDS.items(), *((WORK + name, f"\"{name}\"" if name in _WORDS.values() else name)
                               for name in names)]


def goal_of(work: Any) -> str:
    """The choice that a work's spill has now."""
    if work.spills_to is None:
        return OVER_GROUND
    return OFF if work.spills_to == OFF_SITE else WORK + work.spills_to


def spilling_to(work: Any, goal: str) -> Any:
    """A work whose spill goes elsewhere, by a choice of `goals`."""
    to = {OVER_GROUND: None, OFF: OFF_SITE}.get(goal, goal.removeprefix(WORK))
    update: dict[str, Any] = {"spills_to": to}
    if to is None or to == OFF_SITE:
        update["pump"] = work.pump if work.pipe is not None else None
    return work.model_copy(update=update)
