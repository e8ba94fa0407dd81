"""The report's cautions: those of each work, and the grave ones of all."""

from __future__ import annotations

from terrain.outputs.page.led_water import culvert_cautions
from terrain.plan.planned import Plan
from terrain.plan.safety.gravity import gravity, is_grave

#: So many of the grave cautions of all works are told at once.
MOST_GRAVE = 10


def gravest_of(plan: Plan) -> tuple[list[tuple[str, str]], int]:
    """The gravest cautions, each with the names of the works that earn it, and how many more of
    all are grave."""
    works: dict[str, list[str]] = {}
    for names, cautions, _ in cautions_by_work(plan):
        for caution in filter(is_grave, cautions):
            works.setdefault(caution, []).append(names)
    order = sorted(works, key=gravity)
    return ([(", ".join(works[caution]), caution) for caution in order[:MOST_GRAVE]],
            len(order[MOST_GRAVE:]))


def cautions_by_work(plan: Plan) -> list[tuple[str, tuple[str, ...], int]]:
    """Cautions by work and how many of them are grave, the work with most of these first; works
    of one entry that share them are named together."""
    sharing: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for planned in plan.stores:
        if planned.cautions:
            key = (planned.placed.work.name, planned.cautions)
            sharing.setdefault(key, []).append(planned.store.name)
    found = [*((", ".join(names), cautions) for (_, cautions), names in sharing.items()),
             *culvert_cautions(plan)]
    gravest = min(range(len(found)), default=None, key=lambda i: (
        -sum(map(is_grave, found[i][1])), min(map(gravity, found[i][1]))))
    order = sorted(range(len(found)), key=lambda i: i != gravest)
    return [(*found[i], sum(map(is_grave, found[i][1]))) for i in order]
