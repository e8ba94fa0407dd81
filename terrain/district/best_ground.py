"""The best ground of a parcel for a swale, and for a basin."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely import LineString

from terrain.district.parcel_ground import ParcelInputs, entering_of
from terrain.district.screened import Ground
from terrain.inputs.site_suggest import Kind, Suggest
from terrain.plan.siting.layout import Placed
from terrain.suggest.candidate import Candidate
from terrain.suggest.look import Look, look_at
from terrain.suggest.network import alone, crossings, network_of
from terrain.suggest.prepare import GENERATORS, enough_comes
from terrain.suggest.rains import Rains, storm_rains, year_rains
from terrain.suggest.real import Ran, Runner
from terrain.units import in_both

FloatArray = NDArray[np.float64]

#: Kinds of works that each may be.
KINDS: dict[str, tuple[Kind, ...]] = {"swale": ("swale",), "basin": ("wall", "dug basin")}
#: So many places of each kind are looked at, at most.
PLACES: dict[Kind, int] = {"swale": 400, "wall": 40, "dug basin": 40}
#: Places that keep less than this share of what the thriftiest keeps for an hour of the machine
#: are passed over; common practice, no source.  `_chosen` says it in words.
THRIFT = 0.5
#: So many are laid out before a parcel is said to have no place.
TRIES = 6


@dataclass(frozen=True)
class BestGround:
    """The best ground of a parcel for each of the two, as `best_ground` says.

    Attributes
    ----------
    swale, basin : Ground or None
    swale_entry, basin_entry : entry of the site file or None
        Each as a work that the plan can lay out.
    notes : tuple of str
        Why there is none.
    """

    swale: Ground | None
    basin: Ground | None
    swale_entry: Any
    basin_entry: Any
    notes: tuple[str, ...]


def best_ground(inputs: ParcelInputs, asked: Suggest, kept_out: Sequence[Any] = ()) -> BestGround:
    """Find the best ground of a parcel for a swale, and for a basin, each as if it alone were dug.

    Of places where the rules of siting let one lie, and to which enough comes and not far too much
    (`enough_comes`), those are left that keep at least half as much for each hour of the machine
    as the thriftiest; of these the best keeps the most water in an average year, or in the design
    storm where there is no rain record.  So neither a scrape that costs next to nothing nor a bank
    that costs a fortune wins.  Places are weighed roughly, as the search for a layout does; the
    best is laid out and run as the plan does, and if the plan refuses it the next takes its place.
    Nothing is kept of what roofs of the parcel shed.

    Parameters
    ----------
    asked : Suggest
        What the district file says of new works.
    kept_out : sequence of shapely geometry
        Ground on which nothing is to be dug. [m]
    """
    look = look_at(inputs, asked, (), kept_out)
    runner = Runner(look, *(storm.name for storm in inputs.site.rain.storms))
    seasons = runner.run([]).seasons
    rains = (storm_rains(inputs, inputs.site.rain.design.name) if seasons is None else
             year_rains(inputs, seasons))
    notes: list[str] = []
    found: list[tuple[Ground | None, Any]] = []
    for word, kinds in KINDS.items():
        said, ground, entry = _best(word, kinds, look, runner, rains)
        notes += said
        found.append((ground, entry))
    (swale, swale_entry), (basin, basin_entry) = found
    return BestGround(swale, basin, swale_entry, basin_entry, tuple(notes))


def _best(word: str, kinds: tuple[Kind, ...], look: Look, runner: Runner, rains: Rains
          ) -> tuple[list[str], Ground | None, Any]:
    kinds = tuple(kind for kind in kinds if kind in look.asked.kinds)
    candidates = [one for kind in kinds for one in GENERATORS[kind][0](look, PLACES[kind])]
    if not candidates:
        why = ("none was asked for" if not kinds else
               "what there is is too steep or too flat, too near to what works keep clear of, or "
               "soaks up too little")
        return [f"No ground for a {word}: {why}."], None, None
    ranked = list(_ranked(candidates, look, rains))
    if not ranked:
        return [f"No ground for a {word}: where one could lie, too little water comes for what it "
                "would hold, or far too much."], None, None
    for refused, one in enumerate(ranked[:TRIES]):
        ran = runner.run([one.candidate])
        if ran.candidates:
            best = _told(one, ran, runner, _chosen(len(candidates), refused))
            return [], best, one.candidate.works[-1]
    return [f"No ground for a {word}: none of the {len(ranked[:TRIES])} best places could be laid "
            "out as a plan would."], None, None


@dataclass(frozen=True)
class _Weighed:
    """A candidate, the ground that drains to it [m2], and what it keeps roughly. [m3]"""

    candidate: Candidate
    catchment: float
    kept: float

    @property
    def thrift(self) -> float:
        """Kept for each hour of the machine. [m3/h]"""
        return self.kept / max(self.candidate.cost.hours, 1e-9)


def _ranked(candidates: Sequence[Candidate], look: Look, rains: Rains) -> Iterator[_Weighed]:
    """Those worth digging, the best first."""
    inputs = look.inputs
    assert isinstance(inputs, ParcelInputs)
    areas = alone(network_of(crossings(candidates, inputs.terrain.direction,
                                       _areas(inputs, rains.numbers))), len(candidates))
    depths = np.asarray(inputs.hydrology.rule.runoff(inputs.site.rain.design.depth,
                                                     rains.numbers))
    comes = areas @ depths / 1000
    found = [_Weighed(c, float(own.sum()),
                      rains.kept(c.storage, c.water_area, c.soak, own)[1])
             for c, own, volume in zip(candidates, areas, comes.tolist(), strict=True)
             if enough_comes(c, volume)]
    most = max((one.thrift for one in found), default=0.0)
    fit = [one for one in found if one.thrift >= THRIFT * most and one.kept > 0]
    yield from sorted(fit, key=lambda one: (-one.kept, one.candidate.name))


def _areas(inputs: ParcelInputs, numbers: FloatArray) -> Iterator[FloatArray]:
    """Of each curve number the ground that drains over the land, cell by cell. [m2]"""
    beyond, known = entering_of(inputs), inputs.ground.curve_number
    for number in numbers:
        grid = np.where(known == number, inputs.dem.cell_area, 0.0)
        at = np.flatnonzero(beyond.numbers == number)
        if at.size:
            grid += beyond.at_cells(beyond.areas[:, at[0]], grid.shape)
        yield grid


def _chosen(looked_at: int, refused: int) -> str:
    """How a place was chosen of those looked at, some reckoned better refused by the plan."""
    if looked_at == 1:
        return "The only place found."
    but = "" if not refused else (
        f", {refused} left aside that could not be laid out as a plan would")
    return (f"The best of {looked_at:,} places looked at: among those that keep at least half as "
            "much water for an hour of the machine as the thriftiest of them, this one is "
            f"reckoned to keep the most{but}.")


def _told(one: _Weighed, ran: Ran, runner: Runner, chosen: str) -> Ground:
    """A candidate as the plan lays it out and runs it."""
    candidate, inputs = one.candidate, runner.inputs
    [node] = ran.nodes_of(candidate)
    place, site = ran.placed[node], inputs.site
    cost = runner.costs(ran)[0][candidate.name]
    storms = [ran.storms[storm.name].stores[node] for storm in site.rain.storms]
    year = None if ran.year is None else ran.year.entries[node]
    design = ran.storms[site.rain.design.name].stores[node]
    kept = design if year is None else year
    when = (f"in the storm \"{site.rain.design.name}\"" if year is None else "in an average year")
    why = (*_here(candidate, place),
           f"Of {in_both(design.inflow, 'volume')} that come in the storm "
           f"\"{site.rain.design.name}\" it keeps {in_both(design.captured, 'volume')}.",
           *([] if year is None else
             [f"Of {in_both(year.inflow, 'volume')} that come in an average year it keeps "
              f"{in_both(year.captured, 'volume')}."]),
           f"It takes about {cost.hours:.0f} h of the machine, so each hour keeps "
           f"{in_both(kept.captured / max(cost.hours, 1e-9), 'volume')} {when}.",
           chosen)
    catchment = ran.cascade.nodes[node].catchment
    return Ground(candidate.kind, _line(place), candidate.footprint, place.curve.capacity,
                  cost.earth, cost.hours, cost.money, candidate.bank, catchment.area,
                  tuple(entry.inflow for entry in storms),
                  tuple(entry.captured for entry in storms),
                  None if year is None else year.inflow,
                  None if year is None else year.captured, why)


def _here(candidate: Candidate, place: Placed) -> tuple[str, ...]:
    """What the ground offers here."""
    if candidate.kind != "dug basin":
        return candidate.said
    # What is said of the candidate tells the water of fewer cells than the plan leads into it.
    return (f"Gentle ground over which much runoff passes, beside the ways of streams: room for a "
            f"basin of {in_both(float(place.curve.areas[-1]), 'area')}.",)


def _line(place: Placed) -> Any:
    """A swale's line, a wall's, or the rim of a basin. [m]"""
    return place.outline if place.basin is None else LineString(place.basin.line)
