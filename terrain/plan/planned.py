"""What a plan is: every store with all that is said of it, and the site with all of them."""

from __future__ import annotations

from dataclasses import dataclass

from terrain.inputs.site import Site
from terrain.plan.doubt.doubt_found import Doubt
from terrain.plan.earth.built import Built
from terrain.plan.earth.designed import Designed
from terrain.plan.earth.earthworks import Earthworks
from terrain.plan.earth.fixed_value import FixedValue
from terrain.plan.money.money import SystemMoney
from terrain.plan.order_of_work import Step
from terrain.plan.safety.overtopping import Breach
from terrain.plan.siting.hydrology import YEARS, soil_dries
from terrain.plan.siting.reading import Inputs
from terrain.plan.siting.road_turnouts import Turnout
from terrain.plan.water.accounts import (
    Account,
    YearOfRecord,
    empty_start,
)
from terrain.plan.water.basin_facts import BasinFacts
from terrain.plan.water.cascade import Cascade
from terrain.plan.water.cascade_told import CascadeTold
from terrain.plan.water.roofs_told import RoofsTold
from terrain.plan.water.routing import StoreStorm, StormRun
from terrain.plan.water.short_record import short_record
from terrain.plan.water.tree_life import TreeLife
from terrain.plan.water.trees_carried import Carried
from terrain.plan.water.water_balance import SeasonRun
from terrain.runoff.peak import Peaks
from terrain.runoff.sheds import Shed, ShedPoint
from terrain.surface.terrain import Terrain
from terrain.works.pipe import PipeCheck


@dataclass(frozen=True, kw_only=True)
class PlannedStore(Built):
    """A work as it is to be built, with all that the plan says of it.

    Attributes
    ----------
    starts_at, full_at : float or None
        Smallest rain that feeds it, and that fills it; None where no storm up to 500 mm does. [mm]
    drain_hours : float
        [h]
    spills_to : str
        Name of a store, or what lies at the end of the spill's way.
    cautions : tuple of str
    trees_need : float or None
        Water that a tree basin's tree wants in an average year, its own rain included. [m3]
    trees_catchment : float or None
        Ground like its own that would carry it by the published catchment ratio; None where that
        ground never sheds, or there is no record. [m2]
    facts : BasinFacts or None
        What is told of a basin alone.
    life : TreeLife or None
        A tree basin's months, where there are a record and evapotranspiration.
    breach : Breach or None
        What happens where its bank fails; None without a bank.
    """

    starts_at: float | None
    full_at: float | None
    drain_hours: float
    spills_to: str
    cautions: tuple[str, ...]
    trees_need: float | None = None
    trees_catchment: float | None = None
    life: TreeLife | None = None
    facts: BasinFacts | None = None
    breach: Breach | None = None

    @property
    def crest_level(self) -> float | None:
        """Level of the settled crest of a swale's berm or a basin's wall; None without one. [m]"""
        if self.swale is not None:
            return self.store.sill.level + self.swale.berm_height
        if self.basin is not None and self.basin.has_wall:
            return self.basin.crest
        return None

    def freeboard_left(self, storm: StoreStorm) -> float | None:
        """Height of the settled crest over a storm's highest water; None without a crest. [m]"""
        crest = self.crest_level
        return None if crest is None or storm.peak_level is None else crest - storm.peak_level


@dataclass(frozen=True)
class Plan:
    """A site's plan.

    Attributes
    ----------
    inputs : Inputs
    cascade : Cascade
    stores : list of PlannedStore
        In the order of the cascade's nodes.
    sheds : list of Shed
        Roads first, then bare patches.
    runs : dict of str to StormRun
    storms : dict of str to Account
    peaks : list of Peaks or None
        Of each store's own ground in the design storm; None for a tank.
    seasons : SeasonRun or None
    year : Account or None
        Of an average year of the record.
    beside : (str, Account) or None
        The same with curve numbers that follow the wetness of the soil, or that do not where
        those of `seasons` do; named.  None without evapotranspiration.
    years : tuple of YearOfRecord
        A dry, a median and a wet year of the record.
    notes : tuple of str
        What the answers rest on.
    carried : tuple of Carried
        How many trees the water of stores and road sheds would carry.
    turnouts : tuple of Turnout
        Where the roads should let their water go.
    pipes : tuple of PipeCheck
        The works' pipes, then the culverts.
    doubt : Doubt or None
        How sure it is, where that was asked for (`terrain.plan.doubt.doubt`).
    told : CascadeTold or None
        Ways of the spills, captures, totals and seasons; `make_plan` always tells them.
    roofs : RoofsTold or None
        Gutters, and the tanks over the record; `make_plan` always tells them.
    earth : Earthworks or None
        Where its earth goes, and what that takes.
    order : tuple of Step
        In what order to build.
    fixed : tuple of FixedValue
        What the owner fixed by hand, and what that costs.
    designed : Designed or None
        The ground as all works leave it freshly built.
    money : SystemMoney or None
        What all costs and when it pays, where the site file has `money`.
    """

    inputs: Inputs
    cascade: Cascade
    stores: list[PlannedStore]
    sheds: list[Shed]
    runs: dict[str, StormRun]
    storms: dict[str, Account]
    peaks: list[Peaks | None]
    seasons: SeasonRun | None
    year: Account | None
    beside: tuple[str, Account] | None
    years: tuple[YearOfRecord, ...]
    notes: tuple[str, ...]
    carried: tuple[Carried, ...] = ()
    turnouts: tuple[Turnout, ...] = ()
    pipes: tuple[PipeCheck, ...] = ()
    doubt: Doubt | None = None
    told: CascadeTold | None = None
    roofs: RoofsTold | None = None
    earth: Earthworks | None = None
    order: tuple[Step, ...] = ()
    fixed: tuple[FixedValue, ...] = ()
    designed: Designed | None = None
    money: SystemMoney | None = None

    @property
    def accounts(self) -> list[tuple[str, Account]]:
        """Every account by its name: storms, years of the record, the average year last."""
        years = [(year.name, year.account) for year in self.years]
        if self.beside is not None:
            years.append(self.beside)
        return [*self.storms.items(), *years,
                *([(YEARS[soil_dries(self.site)], self.year)] if self.year else [])]

    @property
    def ranked_shed_points(self) -> list[tuple[Shed, ShedPoint]]:
        """Where roads and bare ground shed, by what passes in the deepest storm, most first."""
        storms = self.site.rain.storms
        deepest = max(range(len(storms)), key=lambda i: storms[i].depth)
        every = [(shed, point) for shed in self.sheds for point in shed.points]
        return sorted(every, key=lambda f: (-f[1].volumes[deepest], f[1].row, f[1].column))

    @property
    def failing_banks(self) -> list[tuple[PlannedStore, Breach]]:
        """Berms and walls with the way of their water if they fail, and bunds of trees where
        something that is no work lies in it; those that do harm first, then what lets go most."""
        found = [(p, p.breach) for p in self.stores if p.breach is not None and (
            p.store.kind != "tree basin" or p.breach.harms)]
        return sorted(found, key=lambda f: (not f[1].harms, -f[1].volume))

    @property
    def short_record(self) -> str | None:
        """That the rain record is too short to be an average; None where it is not, or is none."""
        record = self.inputs.record
        return None if record is None else short_record(record.depths, self.site.rain.start_month)

    @property
    def empty_start(self) -> str | None:
        """That a year's tanks start empty since the record begins with it; None where none do."""
        return None if self.seasons is None else empty_start(self.years, self.seasons.days)

    @property
    def site(self) -> Site:
        """The site as read."""
        return self.inputs.site

    @property
    def terrain(self) -> Terrain:
        """The ground."""
        return self.inputs.terrain
