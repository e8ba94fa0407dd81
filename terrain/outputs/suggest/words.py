"""A search in words: the answer, why each work stands where it does, and tables of figures."""

from __future__ import annotations

from collections.abc import Sequence

from terrain.outputs.one_system import in_one
from terrain.outputs.suggest.figures import (
    aim_words,
    cost_words,
    ground_words,
    limit_words,
    reached_words,
)
from terrain.suggest.candidate import Candidate
from terrain.suggest.notes import shares_note, why_none
from terrain.suggest.suggestion import Chosen, Proposal, Suggestion
from terrain.units import in_both, shown
from terrain.works.basin import drowning

#: So many names stand in a sentence.
MOST_NAMED = 8
#: A peak raised by less than this share is not told as raised.
OF_NO_ACCOUNT = 0.005
TAKE_CARE = (
    "A proposal is a sketch of where earthworks could go, drawn from a raster: walk to each place, "
    "plan the proposal, prove it, and dig a test hole before anybody digs.",
    "Local codes and licensed people come first, above all for a bank that holds water, and where "
    "water could reach a house, a road or a neighbour.",
    "What keeps water on the land takes it from the stream below: ask what water rights allow.")


def care_lines(suggestion: Suggestion, system: str) -> list[str]:
    """What to take care of, a peak that a proposal raises first."""
    before = suggestion.before.peak_left
    raised = [f"\"{one.name}\" from {shown(before, 'flow', system)} to "
              f"{shown(one.water.peak_left, 'flow', system)}" for one in suggestion.proposals
              if one.water.peak_left > before * (1 + OF_NO_ACCOUNT)]
    said = [] if not raised else [
        "The greatest flow that leaves the land in the design storm is raised by "
        f"{', '.join(raised)}, as spills come later and meet: who lies below gets that flow. "
        "Prove it, and have it looked at, before anything is dug."]
    return [*said, *TAKE_CARE]


def lead(suggestion: Suggestion) -> str:
    """What was sought, in one line."""
    aim = suggestion.aim
    storm = f" of the {aim.storm}" if aim.storm and aim.storm not in aim.what else ""
    against = {"money": "money", "hours": "hours of the machine", "earth": "earth dug"}[aim.limit]
    return f"Layouts by {aim.what}{storm}, against {against}"


def answer_lines(suggestion: Suggestion, system: str) -> list[str]:
    """What was found, in sentences, what matters most first."""
    said = [proposal_line(one, suggestion, system) for one in suggestion.proposals]
    if not said:
        said = ["No layout better than what stands was found within the limits.",
                *_hints(suggestion, system)]
    named = {point.name for point in suggestion.front if point.name}
    if suggestion.knee is not None:
        knee = suggestion.front[suggestion.knee]
        here = f", which is \"{knee.name}\"" if knee.name in named else ""
        said.append(f"The knee of the front lies at {limit_words(knee.cost, suggestion, system)}"
                    f"{here}: there it stands furthest over the straight line from what stands "
                    "alone to the most.")
    own = own_line(suggestion, system)
    if own:
        said.append(own)
    said += pond_lines(suggestion, system)
    if suggestion.stopped:
        said.append("The search was stopped before its end: these are the best so far, and their "
                    "distance from the best possible holds all the same.")
    return said


def _hints(suggestion: Suggestion, system: str) -> list[str]:
    """What may open a way where nothing was found."""
    limit = suggestion.aim.limit
    said = []
    costs = [one.cost.of(limit) for one in suggestion.candidates if one.kind != "own"]
    if costs:
        said.append("The least that a place takes is about "
                    f"{limit_words(min(costs), suggestion, system)}, whatever brings the machine "
                    "aside.")
    if suggestion.asked.infiltration is None:
        said.append("Nobody stated a hole test, and on slow soil most works would hold water too "
                    "long by the table's rates: dig one, and state what it took in under suggest "
                    "(infiltration:).")
    return said


def proposal_line(one: Proposal, suggestion: Suggestion, system: str) -> str:
    """What a proposal does, costs, and how good it is."""
    works = len(one.works)
    gain = one.water.aim - suggestion.before.aim
    return (f"{one.name.capitalize()}: {works} work{'' if works == 1 else 's'} for "
            f"{cost_words(one.cost, suggestion, system)}; "
            f"{suggestion.aim.what} {aim_words(one.water.aim, suggestion, system)}, "
            f"{aim_words(abs(gain), suggestion, system)} "
            f"{'more' if gain >= 0 else 'less'} than with what stands alone. {gap_line(one)}")


def gap_line(one: Proposal) -> str:
    """How good it is beside the best choice of these places."""
    if one.gap < 1e-6:
        return "By the model no choice of the places weighed is better for what may be spent."
    return (f"By the model it reaches at least {reached_words(one.gap)} of what the best choice of "
            "the places weighed can reach for what may be spent on it.")


def own_line(suggestion: Suggestion, system: str) -> str:
    """The owner's own plan beside the best of its cost; "" where there is none."""
    own = suggestion.own
    if own is None:
        return ""
    said = (f"The site file's own works, for {limit_words(own.cost, suggestion, system)}: "
            f"{suggestion.aim.what} {aim_words(own.real, suggestion, system)} by the runs of the "
            f"plan. By the model it is {aim_words(own.model, suggestion, system)}, ")
    broken = (f" {named(own.breaks)} take{'s' if len(own.breaks) == 1 else ''} ground that the "
              "rules of siting keep clear, which the search may not." if own.breaks else "")
    if own.best > own.model * (1 + 1e-6):
        return said + (f"and {aim_words(own.best, suggestion, system)} was found for the same "
                       "cost; nothing for that cost can pass "
                       f"{aim_words(own.bound, suggestion, system)}.{broken}")
    return said + ("and nothing better was found for that cost; nothing can pass "
                   f"{aim_words(own.bound, suggestion, system)}.{broken}")


def more_line(one: Proposal, suggestion: Suggestion, system: str) -> str:
    """What the next step of what may be spent would bring."""
    step = limit_words(suggestion.step, suggestion, system)
    if one.more is None or one.more <= 0:
        return f"The next {step} would bring nothing more from the places looked at."
    return (f"The next {step} would bring {aim_words(one.more, suggestion, system)} more, by the "
            "model.")


def why_lines(chosen: Chosen, suggestion: Suggestion, system: str) -> list[str]:
    """Why a work stands where it does, what drains to it, what it keeps."""
    when = "an average year" if suggestion.before.year_kept is not None else "the design storm"
    said = [*(in_one(line, system) for line in (*chosen.candidate.said, *chosen.why))]
    said.append(f"{ground_words(chosen.ground, system)} drain to it before any other store; of "
                f"{when} it keeps {shown(chosen.kept, 'volume', system)}.")
    if chosen.lost_without > 0:
        said.append(f"Without it the proposal loses "
                    f"{aim_words(chosen.lost_without, suggestion, system)} of "
                    f"{suggestion.aim.what}.")
    return list(dict.fromkeys(said))


def pond_lines(suggestion: Suggestion, system: str) -> list[str]:
    """Cautions about ponds of the proposals that are meant to hold water; none without one."""
    rules = suggestion.inputs.rules
    ponds = {chosen.candidate.name: chosen for one in suggestion.proposals for chosen in one.works
             if pond_of(chosen.candidate)}
    if not ponds:
        return []
    basins = [place.basin for chosen in ponds.values() for place in chosen.placed
              if place.basin is not None and place.work.holds_water]
    deepest = max(basin.deepest_water for basin in basins)
    said = ["Meant to hold water all the time: "
            f"{named([called(chosen.candidate) for chosen in ponds.values()])}. Water that stands "
            f"longer than {rules['standing water']:g} h breeds mosquitoes "
            f"({rules.cited('standing water')}): keep fish in a pond, which want "
            f"{in_both(rules['fish depth'], 'length')} of water ({rules.cited('fish depth')})."]
    if deepest > rules["drowning depth"]:
        said.append(drowning(deepest, rules))
    return [in_one(line, system) for line in said]


def called(candidate: Candidate) -> str:
    """The name of a work, and that it is a pond where it is to hold water all the time."""
    pond = pond_of(candidate)
    return f"{candidate.name} ({pond})" if pond else candidate.name


def pond_of(candidate: Candidate) -> str:
    """What kind of pond a work is that is meant to hold water all the time; "" if it is none."""
    for work in candidate.works:
        if getattr(work, "holds_water", False):
            return "dug pond" if work.wall is None else "pond behind a wall"
    return ""


def kept_line(one: Proposal) -> str:
    """What of the site file's own works it keeps, and what not."""
    said = [f"It keeps {named(one.stays)}." if one.stays else ""]
    said.append(f"It leaves out {named(one.leaves_out)}." if one.leaves_out else "")
    return " ".join(part for part in said if part)


def named(names: Sequence[str], most: int = MOST_NAMED) -> str:
    """Names, and how many more."""
    if len(names) == 1:
        return names[0]
    if len(names) > most:
        return f"{', '.join(names[:most - 1])} and {len(names) - most + 1} more"
    return f"{', '.join(names[:-1])} and {names[-1]}"


def looked_lines(suggestion: Suggestion, system: str) -> list[str]:
    """What was looked at."""
    kinds = [f"{count:,} of {_kind(kind)}" for kind, count in suggestion.looked_at.items() if count]
    total = sum(suggestion.looked_at.values())
    said = [f"{total:,} places were looked at{': ' if kinds else ''}{', '.join(kinds)}, on the "
            f"{shown(suggestion.open_ground, 'land', system)} where earth may be moved."]
    if suggestion.stopped:  # perhaps before it came to the rest
        return said
    asked = suggestion.asked
    empty = [kind for kind in asked.kinds if not suggestion.looked_at.get(kind)]
    why = {kind: why_none(suggestion.inputs, asked, kind) for kind in empty}
    said += [in_one(line, system) for line in why.values() if line]
    unknown = [_kind(kind) for kind, line in why.items() if not line]
    if unknown:
        said.append(f"The ground offers none of {named(unknown)}.")
    found = total - suggestion.looked_at.get("own", 0)
    if "swale" not in asked.kinds or "swale" in empty:
        said += [line for line in [shares_note(asked)] if line and found < asked.places]
    return said


def _kind(kind: str) -> str:
    return {"swale": "swales", "wall": "walls across valleys", "dug basin": "dug basins",
            "road basin": "road turn-outs with a basin", "tree row": "tree rows",
            "own": "the site file's own works"}.get(kind, kind)
