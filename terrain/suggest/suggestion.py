"""What the search found: proposals, the front they lie on, and how good they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from terrain.inputs.site_suggest import Suggest
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.suggest.candidate import Candidate, Cost

#: Names of the three proposals, the cheapest first.
NAMES = ("cheap", "balanced", "most")


@dataclass(frozen=True)
class AimWords:
    """What is aimed at.

    Attributes
    ----------
    aim : str
        One of `terrain.inputs.site_suggest.AIMS`.
    what : str
        As a sentence says it, such as "water kept in an average year".
    dimension : str or None
        Of the figure, a key of `terrain.units.PRINTED`; None for a count of trees.
    limit : str
        What the front goes against: "money", "hours" or "earth".
    storm : str
        The storm's name; "" where the aim is of years.
    """

    aim: str
    what: str
    dimension: str | None
    limit: str
    storm: str = ""


@dataclass(frozen=True)
class Chosen:
    """A work of a proposal.

    Attributes
    ----------
    candidate : Candidate
    placed : tuple of Placed
        As the plan lays it out.
    cost : Cost
    ground : float
        That drains to it before any other store. [m2]
    kept : float
        What it keeps: of the average year where there is a record, else of the design storm. [m3]
    lost_without : float
        How much less of the aim the proposal reaches without it, by the real run; in the aim's
        own unit.
    why : tuple of str
        Why here, in whole sentences.
    """

    candidate: Candidate
    placed: tuple[Placed, ...]
    cost: Cost
    ground: float
    kept: float
    lost_without: float
    why: tuple[str, ...]


@dataclass(frozen=True)
class Rejected:
    """One of the best works that a proposal leaves out.

    Attributes
    ----------
    candidate : Candidate
    gain : float
        What it would add to the proposal, by the model; in the aim's own unit.
    why_not : str
        A whole sentence.
    """

    candidate: Candidate
    gain: float
    why_not: str


@dataclass(frozen=True)
class Water:
    """What a layout does, by the runs of the plan.

    Attributes
    ----------
    aim : float
        What is aimed at, in its own unit; more is better.
    storm_kept, storm_left : float
        Passive capture, and what leaves the site, in the design storm. [m3]
    storm_low, storm_high : float
        Passive capture in that storm where curve numbers and soaking are off as the rules doubt
        them. [m3]
    peak_left : float
        Greatest flow that leaves the site in that storm. [m3/s]
    year_kept, year_roof, year_left : float or None
        Passive and roof capture, and what leaves, in an average year; None without a record. [m3]
    trees : int or None
        That live through a dry year; None where that is not told.
    """

    aim: float
    storm_kept: float
    storm_left: float
    storm_low: float
    storm_high: float
    peak_left: float
    year_kept: float | None
    year_roof: float | None
    year_left: float | None
    trees: int | None


@dataclass(frozen=True)
class Proposal:
    """A layout that the owner can edit and plan.

    Attributes
    ----------
    name : str
        One of `NAMES`.
    works : tuple of Chosen
        From the top of the land down.
    stays, leaves_out : tuple of str
        Works of the site file that it keeps, and those that it does not.
    model, bound : float
        The aim by the model, and what no choice of the candidates can pass in it at that cost.
    cost : Cost
        Of the works that are not dug yet, the machine's way there and back included.
    water : Water
    rejected : tuple of Rejected
        The best that it leaves out.
    more : float or None
        What the next step of the limit (`Suggestion.step`) would bring, by the model; None where
        nothing more is to be had.
    """

    name: str
    works: tuple[Chosen, ...]
    stays: tuple[str, ...]
    leaves_out: tuple[str, ...]
    model: float
    bound: float
    cost: Cost
    water: Water
    rejected: tuple[Rejected, ...]
    more: float | None

    @property
    def gap(self) -> float:
        """How far it may be from the best of the model, as a share of that."""
        return max(self.bound - self.model, 0.0) / self.bound if self.bound > 0 else 0.0


@dataclass(frozen=True)
class FrontPoint:
    """The best layout found for a limit.

    Attributes
    ----------
    limit, cost : float
        What may be spent, and what is spent by the plan's own prices: money, hours or m3, as
        `AimWords.limit` says.
    model, bound : float
        As in `Proposal`.
    real : float or None
        The aim by the runs of the plan; None where it was not run.
    works : int
    name : str
        Of the proposal that lies there; "" elsewhere.
    """

    limit: float
    cost: float
    model: float
    bound: float
    real: float | None
    works: int
    name: str = ""


@dataclass(frozen=True)
class OwnPlan:
    """The owner's own works beside the search.

    Attributes
    ----------
    cost : float
        As `FrontPoint.cost`.
    model, bound : float
        The aim by the model, and what no layout of the same cost can pass in it.
    real : float
        The aim by the runs of the plan.
    best : float
        The most that was found for that cost, by the model.
    breaks : tuple of str
        Works that take ground which the rules of siting keep clear: the search may not.
    """

    cost: float
    model: float
    bound: float
    real: float
    best: float
    breaks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Suggestion:
    """All that the search found.

    Attributes
    ----------
    inputs : Inputs
    asked : Suggest
    aim : AimWords
    looked_at : dict of str to int
        Candidates by kind.
    before : Water
        With nothing but what stands.
    front : tuple of FrontPoint
        By rising cost.
    knee : int or None
        Index of the front's point beyond which more brings least; None of a front without one.
    proposals : tuple of Proposal
        In the order of `NAMES`; fewer where they are the same.
    own : OwnPlan or None
        None where the site file lists no work that is not dug.
    step : float
        Of the limit, of which `Proposal.more` tells the worth: money, hours or m3.
    notes : tuple of str
        What all of it rests on, in whole sentences.
    stopped : bool
        Whether the search was stopped before its end.
    seconds : float
        That it took; printed, and in no file. [s]
    open_ground : float
        Ground on which earth may be moved. [m2]
    candidates : tuple of Candidate
    """

    inputs: Inputs
    asked: Suggest
    aim: AimWords
    looked_at: dict[str, int]
    before: Water
    front: tuple[FrontPoint, ...]
    knee: int | None
    proposals: tuple[Proposal, ...]
    own: OwnPlan | None
    step: float
    notes: tuple[str, ...]
    stopped: bool
    seconds: float
    open_ground: float
    candidates: tuple[Candidate, ...] = ()

    @property
    def site(self) -> Any:
        """The site as its file states it."""
        return self.inputs.site
