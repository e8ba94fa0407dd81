"""Where the water goes if a bank fails, as a table."""

from __future__ import annotations

from functools import partial

from terrain.outputs.page.rows import Row
from terrain.plan.planned import Plan
from terrain.plan.safety.overtopping import MOST_NAMED, Breach
from terrain.units import shown

#: Heads of `bank_rows`, the bank's own first.
BANK_COLUMNS = ("bank of", "lets go", "water against it", "runs down", "falls", "then",
                "in its way")
#: What is said where no building, road, well or septic field lies in a way.
NOTHING = "nothing that the site file names"


def bank_rows(plan: Plan) -> list[Row]:
    """Berms and walls with all that runs out where they fail, as `BANK_COLUMNS` say."""
    volume, length, size = (partial(shown, dimension=d, system=plan.site.units)
                            for d in ("volume", "length", "size"))
    return [Row(planned.store.name, [
        volume(breach.volume), size(breach.against), length(breach.length), size(breach.fall),
        _then(plan, breach), _in_its_way(breach)]) for planned, breach in plan.failing_banks]


def _then(plan: Plan, breach: Breach) -> str:
    """Where its way leaves the property, or ends on it."""
    from shapely import contains_xy

    inside = contains_xy(plan.inputs.ground.boundary, *breach.way.T)
    if inside.all():
        place = plan.inputs.dem.named(*(float(v) for v in breach.way[-1]))
        return f"to the end of the known ground at {place}"
    x, y = breach.way[max(int(inside.argmin()), 1)]
    return f"leaves the property at {plan.inputs.dem.named(float(x), float(y))}"


def _in_its_way(breach: Breach) -> str:
    """What its water comes to."""
    works = [met for met in breach.met if met.kind == "work"]
    said = [met.words for met in breach.harms[:MOST_NAMED]] or [NOTHING]
    more = len(breach.harms) - MOST_NAMED
    if more > 0:
        said.append(f"{more} more")
    if works:
        said.append("it runs through " + ", ".join(f"\"{met.name}\"" for met in works[:MOST_NAMED]))
    return "; ".join(said)
