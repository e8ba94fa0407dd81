"""What is not known for sure, as it is drawn anew in every run: ground, soil, rain, elevation."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain.errors import InputError
from terrain.inputs.rainfall import RainRecord
from terrain.inputs.site import Site
from terrain.inputs.site_doubt import Doubts
from terrain.plan.siting.layout import Placed
from terrain.plan.siting.reading import Inputs
from terrain.plan.water.cascade import Cascade
from terrain.runoff.curve_number import Condition, RunoffRule, potential_retention
from terrain.runoff.evapotranspiration import MONTH_DAYS
from terrain.runoff.extremes import annual_maxima, extremes_of
from terrain.runoff.rain_years import year_of, years_of
from terrain.units import either, in_both

FloatArray = NDArray[np.float64]
#: The four doubts, in the order of their streams of random numbers.
CURVE, SOIL, RAIN, GROUND = "curve number", "infiltration", "rain", "elevation"
DOUBTS = (CURVE, SOIL, RAIN, GROUND)
#: Antecedent conditions I and III stand where one storm in ten is drier, and one in ten wetter:
#: A. T. Hjelmfelt, L. A. Kramer & R. E. Burwell, "Curve numbers as random variables", 1982; NEH
#: 630 ch. 10, 2004 (both from memory).  In standard deviations of a normal distribution:
TENTH = 1.2815515655446004
#: The curve number whose standard deviation is stated; of others the retention is off by the same
#: factor.
STATED_AT = 75.0
#: Of fewer whole years none is drawn for another; common practice, no source.
LEAST_YEARS = 5
#: Kinds of rasters by their cell: surveyed by laser up to 2 m, of a nation up to 15 m; common
#: practice, no source. [m]
LIDAR_UP_TO, NATIONAL_UP_TO = 2.0, 15.0
KINDS = {"lidar": "a laser survey from the air", "drone": "a survey by drone",
         "survey": "points surveyed on the ground", "national": "a national raster",
         "global": "a raster of the whole world"}
#: The reach of the errors is no shorter than so many cells; common practice, no source.
LEAST_CELLS = 3.0


@dataclass(frozen=True)
class DoubtedRule(RunoffRule):
    """A rule for runoff whose retention is not what the tables say.

    Attributes
    ----------
    wetness : float or None
        How much drier than average the ground is before the storm, in standard deviations; None
        leaves the rule's own condition.
    factor : float
        What the retention of the tables, for 0.2 S, is multiplied by.
    """

    wetness: float | None = None
    factor: float = 1.0
    _known: dict[bytes, FloatArray] = field(default_factory=dict, compare=False, repr=False)

    def retention(self, curve_number: ArrayLike, condition: Condition | None = None) -> FloatArray:
        """Retention S, as that of `RunoffRule`. [mm]

        Notes
        -----
        ln S runs straight from condition III over II to I, which stand at -1.28, 0 and 1.28
        standard deviations, and on beyond them: retention is lognormal (Hjelmfelt 1982, from
        memory; D'Asaro, Grillone & Hawkins found it so with the probabilities of I and III).
        """
        factor = self.factor if self.abstraction_ratio == 0.2 else self.factor ** 1.15
        if condition is not None or self.wetness is None:
            return super().retention(curve_number, condition) * factor
        numbers = np.asarray(curve_number, np.float64)
        known = self._known.get(numbers.tobytes())  # a storm asks for the same ground many times
        if known is None:
            average = super().retention(numbers, "II")
            far = super().retention(numbers, "I" if self.wetness > 0 else "III")
            ratio = np.divide(far, average, out=np.ones_like(average), where=average > 0)
            known = average * ratio ** (abs(self.wetness) / TENTH) * factor
            self._known[numbers.tobytes()] = known
        return known.reshape(numbers.shape)


@dataclass(frozen=True)
class Spreads:
    """How widely each thing is drawn.

    Attributes
    ----------
    antecedent : bool
    curve_number : float
        Standard deviation at a curve number of 75. [-]
    rates : float64, shape (nodes,)
        Standard deviation of the natural logarithm of each store's rate of soaking.
    depth_ratios : float64, shape (n,), or None
        What the design storm's depth may be multiplied by, each as likely; None: as stated.
    depth_deviation : float
        Standard deviation of the natural logarithm of the depth, where there are no ratios.
    blocks : int64, shape (days,), or None
        Number of the year that each day of the record lies in; None: years are not drawn.
    whole : int64, shape (n,)
        The numbers of whole years.
    error, reach : float
        Of the elevation. [m]
    said : tuple of str
        All this in whole sentences.
    """

    antecedent: bool
    curve_number: float
    rates: FloatArray
    depth_ratios: FloatArray | None
    depth_deviation: float
    blocks: NDArray[np.int64] | None
    whole: NDArray[np.int64]
    error: float
    reach: float
    said: tuple[str, ...]

    @property
    def retention(self) -> float:
        """Standard deviation of the natural logarithm of the retention of the tables."""
        low, high = (float(np.log(potential_retention(STATED_AT + side * self.curve_number)))
                     for side in (1, -1))
        return (high - low) / 2

    @property
    def in_doubt(self) -> tuple[str, ...]:
        """The doubts that are drawn at all."""
        drawn = {CURVE: self.antecedent or self.curve_number > 0, SOIL: bool(self.rates.any()),
                 RAIN: (self.depth_ratios is not None or self.depth_deviation > 0
                        or self.blocks is not None),
                 GROUND: self.error > 0}
        return tuple(doubt for doubt in DOUBTS if drawn[doubt])


@dataclass(frozen=True)
class Draw:
    """One run's draw.

    Attributes
    ----------
    wetness : float or None
    retention, depth : float
        Factors on the retention of the tables, and on the depth of the design storm.
    rates : float64, shape (nodes,)
        Factors on the stores' rates.
    years : int64, shape (years,), or None
        How often each year of the record counts.
    one_year : int or None
        The year drawn for a single one.
    ground : numpy.random.Generator or None
        What the elevation's error is drawn with.
    """

    wetness: float | None
    retention: float
    rates: FloatArray
    depth: float
    years: NDArray[np.int64] | None
    one_year: int | None
    ground: np.random.Generator | None

    def alone(self, doubt: str) -> Draw:
        """The same draw with only one thing in doubt."""
        return replace(
            self, wetness=self.wetness if doubt == CURVE else None,
            retention=self.retention if doubt == CURVE else 1.0,
            rates=self.rates if doubt == SOIL else np.ones(self.rates.size),
            depth=self.depth if doubt == RAIN else 1.0,
            years=self.years if doubt == RAIN else None,
            one_year=self.one_year if doubt == RAIN else None,
            ground=self.ground if doubt == GROUND else None)


def draw(spreads: Spreads, seed: int, run: int) -> Draw:
    """The draw of a run: the same for the same seed, whatever else is run or in doubt."""
    streams = {doubt: np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(run, number)))
               for number, doubt in enumerate(DOUBTS)}
    wetness, table = streams[CURVE].standard_normal(2)
    rates = np.exp(spreads.rates * streams[SOIL].standard_normal(spreads.rates.size))
    rain = streams[RAIN]
    depth, years, one_year = 1.0, None, None
    where, normal = float(rain.random()), float(rain.standard_normal())
    if spreads.depth_ratios is not None:
        depth = float(spreads.depth_ratios[int(where * spreads.depth_ratios.size)])
    elif spreads.depth_deviation > 0:
        depth = float(np.exp(spreads.depth_deviation * normal))
    if spreads.blocks is not None:
        count = int(spreads.blocks.max()) + 1
        years = np.bincount(rain.integers(count, size=count), minlength=count)
        one_year = int(rain.choice(spreads.whole))
    return Draw(float(wetness) if spreads.antecedent else None,
                float(np.exp(spreads.retention * table)), rates, depth, years, one_year,
                streams[GROUND] if spreads.error > 0 else None)


def year_weights(days_month: NDArray[np.int64], known: NDArray[np.bool_],
                 blocks: NDArray[np.int64], years: NDArray[np.int64]) -> FloatArray:
    """Share of each day in an average year of the years drawn, each as often as it was drawn.

    Parameters
    ----------
    days_month : int64, shape (days,)
        0 to 11.
    known : bool, shape (days,)
        Days with a reading.
    blocks : int64, shape (days,)
        Number of each day's year.
    years : int64, shape (years,)
        How often each counts.

    Notes
    -----
    As the average year of the record, each calendar month counts once, however often it was
    drawn; where a month was not drawn at all, days are averaged without regard to months.
    """
    times = np.where(known, years[blocks], 0).astype(np.float64)
    drawn = np.bincount(days_month, weights=times, minlength=12)
    if (drawn == 0).any():
        return times * 365.25 / max(float(times.sum()), 1.0)
    return np.asarray(times * (np.asarray(MONTH_DAYS, np.float64) / drawn)[days_month])


def spreads_of(inputs: Inputs, placed: list[Placed], cascade: Cascade, asked: Doubts) -> Spreads:
    """How widely each thing is drawn, by the site file, else by the rules.

    Raises
    ------
    InputError
        If a rule makes a factor of less than 1.
    """
    rules, site = inputs.rules, inputs.site
    said: list[str] = []
    number = rules["curve number doubt"] if asked.curve_number is None else asked.curve_number
    if asked.antecedent:
        said.append("Before a storm the ground is as dry as antecedent condition I or drier in "
                    "one run of ten, as wet as III or wetter in another (Hjelmfelt, Kramer & "
                    "Burwell 1982; NEH 630 ch. 10, 2004; from memory); between them retention is "
                    "lognormal. All ground of the site is as dry at once.")
    if number:
        source = ("as stated" if asked.curve_number is not None
                  else rules.source("curve number doubt"))
        said.append(f"Curve numbers of the tables are off by {number:g} at a number of "
                    f"{STATED_AT:g} (standard deviation; {source}), others by the same factor on "
                    "their retention, all alike, in storms and years.")
    rates = _rates(inputs, placed, cascade, asked, said)
    ratios, deviation = _storm(site, inputs.record, asked, said)
    blocks, whole = _years(site, inputs.record, asked, said)
    error, reach = _elevation(inputs, asked, said)
    return Spreads(asked.antecedent, number, rates, ratios, deviation, blocks, whole, error, reach,
                   tuple(said))


def _rates(inputs: Inputs, placed: list[Placed], cascade: Cascade, asked: Doubts, said: list[str]
           ) -> FloatArray:
    factors = {}
    for name, given in (("tested rate", asked.tested_rate), ("untested rate", asked.untested_rate)):
        rule = f"{name} doubt"
        factors[name] = inputs.rules[rule] if given is None else given
        if factors[name] < 1:
            raise InputError(f"{inputs.site.where('rules', rule)}, rules, {rule}",
                             f"a factor of {factors[name]:g} is below 1", "Give 1 or more")
    of = [None if not node.store.infiltration else
          "tested rate" if (place.work.infiltration is not None
                            or getattr(place.work, "seepage", None) is not None)
          else "untested rate" for place, node in zip(placed, cascade.nodes, strict=True)]
    for name, words in (("tested rate", "stated in the site file, as from a hole test"),
                        ("untested rate", "of a texture or a soil group")):
        if name in of and factors[name] > 1:
            given = getattr(asked, name.replace(" ", "_"))
            source = "as stated" if given is not None else inputs.rules.source(f"{name} doubt")
            said.append(f"Rates of soaking {words} are off by a factor of {factors[name]:g} "
                        f"(standard deviation of a lognormal about the plan's rate; {source}), "
                        "each store by its own.")
    return np.array([0.0 if name is None else float(np.log(factors[name])) for name in of])


def _storm(site: Site, record: RainRecord | None, asked: Doubts, said: list[str]
           ) -> tuple[FloatArray | None, float]:
    """Ratios of the design storm's depth, or the standard deviation of its logarithm."""
    design = site.rain.design
    if asked.storm_depth is not None:
        if asked.storm_depth:
            said.append(f"The depth of the storm \"{design.name}\" is off by "
                        f"{asked.storm_depth:.0%} (coefficient of variation of a lognormal, as "
                        "stated).")
        return None, float(np.sqrt(np.log1p(asked.storm_depth ** 2)))
    why = None
    if record is None:
        why = "there is no rain record to tell by how much"
    elif design.return_period is None or design.return_period <= 1:
        why = "it has no return period of more than a year"
    else:
        maxima = annual_maxima(record.depths, site.rain.start_month).depths.to_numpy(float)
        try:
            found = extremes_of(maxima)
            fitted = float(found.curve.level(design.return_period))
        except ValueError as error:
            why = str(error)
        else:
            if fitted > 0:
                ratios = np.maximum(found.drawn.level(design.return_period) / fitted, 0.0)
                low, high = np.quantile(ratios, [0.1, 0.9])
                said.append(f"The depth of the storm \"{design.name}\" is drawn from the band of "
                            f"the curve fitted to the greatest days of {maxima.size} years (10 to "
                            f"90 %: {low:.2f} to {high:.2f} times the depth), whatever the storm's "
                            "duration and wherever its depth comes from.")
                return ratios, 0.0
            why = "the curve fitted to the record gives none"
    said.append(f"The depth of the storm \"{design.name}\" is taken as sure, as {why}; "
                "storm depth, under doubt, states a doubt.")
    return None, 0.0


def _years(site: Site, record: RainRecord | None, asked: Doubts, said: list[str]
           ) -> tuple[NDArray[np.int64] | None, NDArray[np.int64]]:
    """Each day's year by number, and the numbers of the whole years."""
    import pandas

    none = np.zeros(0, np.int64)
    if record is None or not asked.rain_years:
        return None, none
    start = site.rain.start_month
    named = year_of(pandas.DatetimeIndex(record.depths.index), start)
    years, blocks = np.unique(named, return_inverse=True)
    whole = np.flatnonzero(np.isin(years, years_of(record.depths, start).whole))
    if whole.size < LEAST_YEARS:
        said.append(f"The average year is taken as sure, as the record has {whole.size} whole "
                    f"years, and {LEAST_YEARS} or more are needed to draw some for others.")
        return None, none
    said.append(f"The average year is that of as many years as the record holds, {years.size}, "
                "drawn from them with replacement; the years to come are taken to be like those "
                "of the record, and each year keeps what the stores held when it began.")
    return blocks.astype(np.int64), whole.astype(np.int64)


def _elevation(inputs: Inputs, asked: Doubts, said: list[str]) -> tuple[float, float]:
    """Standard deviation and reach of the elevation's error. [m]"""
    rules, cell = inputs.rules, inputs.dem.cell
    points = inputs.site.elevation.file[0].suffix.lower() in (
        ".csv", ".txt", ".xyz", ".pts", ".pnt", ".tsv")
    kind = asked.raster or ("survey" if points else "lidar" if cell <= LIDAR_UP_TO else
                            "national" if cell <= NATIONAL_UP_TO else "global")
    rule = f"{kind} doubt" if kind in ("lidar", "drone", "survey") else f"{kind} raster doubt"
    error = rules[rule] if asked.elevation_error is None else asked.elevation_error
    reach = asked.elevation_reach or max(rules["elevation doubt reach"], LEAST_CELLS * cell)
    if error:
        wide = either(f"{cell:g} m", cell, "length")
        guess = "" if asked.raster or points else f", by its {wide} cells,"
        source = ("as stated" if asked.elevation_error is not None else
                  f"taken{guess} for {KINDS[kind]}: {rules.source(rule)}")
        span = ("as stated" if asked.elevation_reach else rules.source("elevation doubt reach"))
        said.append(f"Heights are off by {in_both(error, 'size')} (standard deviation; {source}), "
                    f"near places alike: at {in_both(reach, 'length', 0)} little (5 %) is left in "
                    f"common ({span}).")
    return error, reach
