"""Tables of a search: heads, and rows of printed figures."""

from __future__ import annotations

from terrain.outputs.page.money_tables import figure
from terrain.outputs.suggest.figures import (
    aim_words,
    currency,
    gap_words,
    ground_words,
    limit_words,
    range_words,
)
from terrain.outputs.suggest.words import called, why_lines
from terrain.suggest.candidate import Cost
from terrain.suggest.suggestion import FrontPoint, Proposal, Suggestion, Water
from terrain.units import shown

FRONT = ("for at most", "spent", "by the model", "no more than", "by the runs", "works", "proposal")
GOOD = ("proposal", "works", "by the runs", "by the model", "no more than", "below the best",
        "next step brings")
REJECTED = ("work", "would add", "takes", "why not")


def good_rows(suggestion: Suggestion, system: str) -> list[list[str]]:
    """Rows to `GOOD`: what is aimed at, how far it may be from the best at most, and what the next
    step of what may be spent would bring."""
    return [[one.name, f"{len(one.works)}",
             *(aim_words(value, suggestion, system)
               for value in (one.water.aim, one.model, one.bound)),
             gap_words(one.gap), aim_words(one.more or 0.0, suggestion, system)]
            for one in suggestion.proposals]


def takes_heads(suggestion: Suggestion) -> tuple[str, ...]:
    """Heads of `takes_rows`."""
    return ("proposal", *cost_heads(suggestion), "kept of the storm, as far as known")


def takes_rows(suggestion: Suggestion, system: str) -> list[list[str]]:
    """What each proposal takes, and how surely it keeps the storm."""
    return [[one.name, *cost_cells(one.cost, suggestion, system), range_words(one.water, system)]
            for one in suggestion.proposals]


def water_heads(suggestion: Suggestion) -> tuple[str, ...]:
    """Heads of `water_rows`."""
    years = suggestion.before.year_kept is not None
    trees = suggestion.before.trees is not None
    return ("layout", "storm kept", "storm leaves", "peak flow",
            *(("year kept", "roofs", "year leaves") if years else ()),
            *(("trees",) if trees else ()))


def water_rows(suggestion: Suggestion, system: str) -> list[list[str]]:
    """What each layout does in the design storm and in an average year, by the runs of the plan;
    roofs apart from what the ground keeps, and trees that live through a dry year."""
    return [_water(name, water, suggestion, system) for name, water in (
        ("what stands", suggestion.before), *((p.name, p.water) for p in suggestion.proposals))]


def _water(name: str, water: Water, suggestion: Suggestion, system: str) -> list[str]:
    row = [name, shown(water.storm_kept, "volume", system),
           shown(water.storm_left, "volume", system), shown(water.peak_left, "flow", system)]
    if suggestion.before.year_kept is not None:
        row += ["–" if value is None else shown(value, "volume", system)
                for value in (water.year_kept, water.year_roof, water.year_left)]
    if suggestion.before.trees is not None:
        row.append("–" if water.trees is None else f"{water.trees:,}")
    return row


def cost_heads(suggestion: Suggestion) -> tuple[str, ...]:
    """Heads of `cost_cells`."""
    money = () if suggestion.site.money is None else (currency(suggestion),)
    return (*money, "machine", "dug")


def cost_cells(cost: Cost, suggestion: Suggestion, system: str) -> list[str]:
    """What a work or a layout takes."""
    money = [] if suggestion.site.money is None else [
        "–" if cost.money is None else figure(cost.money)]
    return [*money, f"{cost.hours:,.1f} h", shown(cost.earth, "earth", system)]


def work_heads(suggestion: Suggestion) -> tuple[str, ...]:
    """Heads of `work_rows`."""
    kept = "year keeps" if suggestion.before.year_kept is not None else "storm keeps"
    return ("work", "holds", "drains", kept, *cost_heads(suggestion), "lost without")


def work_rows(one: Proposal, suggestion: Suggestion, system: str) -> list[list[str]]:
    """Works of a proposal, from the top of the land down."""
    return [[called(c.candidate), shown(c.candidate.storage, "volume", system),
             ground_words(c.ground, system), shown(c.kept, "volume", system),
             *cost_cells(c.cost, suggestion, system),
             aim_words(c.lost_without, suggestion, system)] for c in one.works]


def why_rows(one: Proposal, suggestion: Suggestion, system: str) -> list[tuple[str, str]]:
    """Each work, and why it stands where it does."""
    return [(called(c.candidate), " ".join(why_lines(c, suggestion, system))) for c in one.works]


def rejected_rows(one: Proposal, suggestion: Suggestion, system: str) -> list[list[str]]:
    """Rows to `REJECTED`."""
    return [[called(r.candidate), aim_words(r.gain, suggestion, system),
             limit_words(r.candidate.cost.of(suggestion.aim.limit), suggestion, system), r.why_not]
            for r in one.rejected]


def front_rows(suggestion: Suggestion, system: str) -> list[list[str]]:
    """Rows to `FRONT`."""
    def row(number: int, point: FrontPoint) -> list[str]:
        named = [point.name] if point.name else []
        named += ["knee"] if number == suggestion.knee else []
        return [limit_words(point.limit, suggestion, system),
                limit_words(point.cost, suggestion, system),
                *(aim_words(value, suggestion, system)
                  for value in (point.model, point.bound, point.real)),
                f"{point.works}", ", ".join(named) or "–"]

    return [row(number, point) for number, point in enumerate(suggestion.front)]
