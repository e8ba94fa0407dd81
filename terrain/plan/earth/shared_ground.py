"""Ground that two works share: whether it is more than a sliver, and the cautions it earns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from terrain.plan.earth.designed import Designed
from terrain.plan.siting.layout import Placed
from terrain.units import in_both
from terrain.works.rules import ENGINEER, OWNER

#: Works that share less ground stand clear of each other; common practice, no source. [m2]
SLIVER = 0.5


def water_of(place: Placed) -> Any:
    """The ground under a work's water at its sill; a line of no width for a drain. [m]"""
    if place.swale is None:
        return place.outline
    section = place.swale.section
    return place.outline.buffer(section.top_width(section.depth) / 2, cap_style="flat")


def overlap(one: Placed, other: Placed) -> float:
    """Ground that the water of two works shares, by their outlines. [m2]"""
    return float(water_of(one).intersection(water_of(other)).area)


def shared_ground_cautions(placed: Sequence[Placed], overlaps: Mapping[int, Sequence[int]],
                           designed: Designed) -> dict[int, list[str]]:
    """Cautions on both works of every pair that shares ground, by their index in `placed`.

    Parameters
    ----------
    overlaps : mapping of int to sequence of int
        Works whose water shares ground, as `Cascade.overlaps`.
    designed : Designed
        What their earth changes.  Where a drain meets the work that it leads to, it is meant to.
    """
    index = {place.name: i for i, place in enumerate(placed)}
    met: dict[int, list[tuple[int, str]]] = {}
    for shared in designed.shared:
        one, other = (index[name] for name in shared.works)
        if _leads_to(placed[one], placed[other]) or _leads_to(placed[other], placed[one]):
            continue
        area = in_both(shared.area, "ground")
        met.setdefault(one, []).append((other, f"{area} with \"{shared.names[1]}\""))
        met.setdefault(other, []).append((one, f"{area} with \"{shared.names[0]}\""))
    said: dict[int, list[str]] = {}
    for i, found in sorted(met.items()):
        decides = _decides([placed[i], *(placed[other] for other, _ in found)])
        with_whom = ", ".join(words for _, words in found)
        said[i] = [f"It changes ground that other works change too: {with_whom}. "
                   "Each is drawn, measured and staked as if it stood alone, and what is built "
                   "last cuts into the earth of the other or heaps upon it there. Move one of the "
                   f"two, make it smaller, or build both as one bank there; {decides}."]
    for i, others in sorted(overlaps.items()):
        named = ", ".join(f"\"{placed[other].name}\"" for other in others)
        decides = _decides([placed[i], *(placed[other] for other in others)])
        said.setdefault(i, []).append(
            f"Its water covers ground that the water of {named} covers too, and each is reckoned "
            f"as if whole: move one of them, or lower its sill; {decides}.")
    return said


def _leads_to(one: Placed, other: Placed) -> bool:
    return one.drain is not None and one.drain.to == other.name


def _decides(works: Sequence[Placed]) -> str:
    walled = any(place.basin is not None and place.basin.has_wall for place in works)
    return ENGINEER if walled else OWNER
