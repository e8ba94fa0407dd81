"""Why each work of a proposal is there, and why the best of the others are not."""

from __future__ import annotations

from collections.abc import Sequence

from terrain.suggest.front import Layout, Search
from terrain.suggest.prepare import Prepared
from terrain.suggest.real import Ran, Runner
from terrain.suggest.suggestion import Chosen, Rejected
from terrain.units import in_both

#: So many of the best that are left out are told.
TOLD = 6
#: Of what it would keep alone, no more than this is left to it where others catch its water;
#: common practice, no source.
MOSTLY = 0.5
#: A share below 1 is not told as all.
ALL = 0.99


def chosen_works(runner: Runner, ran: Ran, lost: dict[str, float]) -> tuple[Chosen, ...]:
    """Every work of a layout, from the top of the land down.

    Parameters
    ----------
    lost : dict of str to float
        How much less of the aim is reached without each candidate.
    """
    costs, _ = runner.costs(ran)
    design = runner.inputs.site.rain.design.name
    found = []
    for candidate in ran.candidates:
        nodes = ran.nodes_of(candidate)
        storm = [ran.storms[design].stores[i] for i in nodes]
        if ran.year is not None:
            kept = sum(ran.year.entries[i].captured for i in nodes)
        else:
            kept = sum(entry.captured for entry in storm)
        ground = sum(ran.cascade.nodes[i].catchment.ground.area for i in nodes)
        level = max(ran.placed[i].sill_level for i in nodes)
        comes, holds = sum(e.inflow for e in storm), sum(e.captured for e in storm)
        last = ran.cascade.nodes[nodes[-1]].spills_to
        spill = ("what it spills leaves the site over the ground" if last is None else
                 f"what it spills goes on to {ran.cascade.nodes[last].store.name}")
        why = (*candidate.said,
               f"Of {in_both(comes, 'volume')} that come in the {design} it keeps "
               f"{in_both(holds, 'volume')}, and {spill}.")
        found.append((level, Chosen(
            candidate, tuple(ran.placed[i] for i in nodes), costs[candidate.name], ground, kept,
            lost.get(candidate.name, 0.0), why)))
    return tuple(one for _, one in sorted(found, key=lambda pair: (-pair[0],
                                                                   pair[1].candidate.name)))


def best_rejected(search: Search, prepared: Prepared, one: Layout, refused: dict[str, str],
                  scale: float = 1.0) -> tuple[Rejected, ...]:
    """The best candidates that a choice leaves out, each on ground of its own.

    Parameters
    ----------
    one : Layout
        In the numbers of `search`.
    refused : dict of str to str
        Candidates that could not be laid out, and why.
    scale : float
        Of the aim's own unit, in the model's.
    """
    model, chosen = search.model, one.chosen
    aim = model.aim(chosen)
    found: list[Rejected] = []
    taken: set[int] = set()
    costs = model.costs[search.axis]
    # Those that a layout of that size could hold come first.
    for j in sorted(search.free, key=lambda j: (costs[j] > one.limit, -search.alone[j], j)):
        candidate = prepared.candidates[search.number[j]]
        if len(found) == TOLD:
            break
        if j in chosen or j in taken or search.alone[j] <= 0:
            continue
        taken |= model.apart[j] | {j}
        bars = sorted(model.apart[j] & chosen)
        gain = model.aim((chosen - model.apart[j]) | {j}) - aim
        found.append(Rejected(candidate, scale * float(gain),
                              refused.get(candidate.name)
                              or _why_not(search, prepared, j, bars, gain, one.limit,
                                          one.price)))
    return tuple(found)


def _why_not(search: Search, prepared: Prepared, j: int, bars: Sequence[int], gain: float,
             limit: float, price: float) -> str:
    costs = search.model.costs[search.axis]
    if costs[j] > limit:
        return "It alone costs more than this layout may."
    names = [prepared.candidates[search.number[i]].name for i in bars]
    more = float(costs[j]) - float(sum(costs[i] for i in bars))
    worth = gain / (price * more) if price > 0 and more > 0 else None
    share = "" if worth is None else f"{min(worth, ALL):.0%}"
    if names:
        place = (f"Its ground is that of {_listed(names)}; in place of "
                 f"{'them' if len(names) > 1 else 'it'} the layout would reach ")
        return place + ("less." if gain <= 0 else "more, and cost more than the limit leaves."
                        if worth is None or worth >= 1 else
                        f"more, but for what it costs more only {share} of what the next of "
                        "the limit may bring elsewhere.")
    if gain <= MOSTLY * search.alone[j]:
        left = max(gain, 0.0) / search.alone[j]
        return (f"Works above or below it take its water: of what it would bring alone "
                f"{left:.0%} is left.")
    if worth is not None and worth < 1:
        return (f"For its cost it brings {share} of what the next of the limit may bring "
                "elsewhere.")
    return "It no longer fits the limits beside what is chosen."


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
