"""How sure a plan is: against closed forms, direct integration, and runs made another way."""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import binom, kstest, lognorm, norm

from terrain.errors import InputError
from terrain.inputs.site_doubt import Doubts
from terrain.outputs.data.doubt_json import doubt_object
from terrain.plan.doubt.doubt import _side_by_side, _Trial, doubt_of, with_doubt
from terrain.plan.doubt.doubt_draws import (
    DOUBTS,
    TENTH,
    DoubtedRule,
    draw,
    spreads_of,
    year_weights,
)
from terrain.plan.doubt.doubt_found import range_of
from terrain.plan.doubt.doubt_ground import DoubtedGround
from terrain.plan.plan import make_plan
from terrain.runoff.curve_number import RunoffRule, runoff_depth, under_condition

#: Nothing in doubt.
SURE = {"antecedent": False, "curve_number": 0.0, "tested_rate": 1.0, "untested_rate": 1.0,
        "rain_years": False, "storm_depth": 0.0, "elevation_error": 0.0}


def long_record(folder: Path) -> None:
    """Twelve and a half years of rain, so that years can be drawn and a curve fitted."""
    days = np.arange("2000-01-01", "2012-07-01", dtype="datetime64[D]")
    generator = np.random.default_rng(8)
    rain = np.where(generator.random(days.size) < 0.12, generator.gamma(0.8, 14.0, days.size), 0.0)
    (folder / "rain.csv").write_text("date,rain_mm\n" + "".join(
        f"{day},{depth:.1f}\n" for day, depth in zip(days, rain, strict=True)))


@pytest.fixture(scope="module")
def plan(tmp_path_factory, small_site_folder):
    site = small_site_folder(tmp_path_factory.mktemp("doubt"))
    long_record(site.parent)
    return make_plan(site)


@pytest.fixture(scope="module")
def pond_alone(tmp_path_factory, small_site_folder):
    """A plan with a single store."""
    site = small_site_folder(tmp_path_factory.mktemp("pond"))
    text = site.read_text()
    works = text.index("works:")
    first, last = text.index("  - kind: basin"), text.index("  - kind: tree basin")
    site.write_text(text[:works] + "works:\n" + text[first:last])
    return make_plan(site)


def asked(**spreads) -> Doubts:
    return Doubts.model_validate({key.replace("_", " "): value for key, value in
                                  {**SURE, **spreads}.items()}, context={"units": "metric"})


def placed_of(plan):
    return [planned.placed for planned in plan.stores]


# Nothing in doubt, and the same answer however it is made


def test_without_any_spread_every_figure_is_exactly_the_plans_own(plan):
    doubt = doubt_of(plan, asked(), 3, workers=1)
    storm, year = plan.storms[plan.site.rain.design.name], plan.year
    for told, account in ((doubt.storm, storm), (doubt.year, year)):
        kept = (account.passive + account.roof) / (account.rain + account.run_on)
        for name, own in (("passive", account.passive), ("roof", account.roof),
                          ("left site", account.left_site), ("share kept", kept)):
            found = told[name].together
            assert (found.plan, found.low, found.median, found.high) == (own, own, own, own)
            assert found.low_error == found.high_error == 0
            assert told[name].most is None
            assert told[name].alone == {}
    run = plan.runs[plan.site.rain.design.name]
    for store, node, entry, yearly in zip(doubt.stores, plan.cascade.nodes, run.stores,
                                          plan.year.entries, strict=True):
        assert store.catchment.low == store.catchment.high == node.catchment.area
        assert store.arrives.low == store.arrives.high == entry.inflow
        assert store.caught.low == store.caught.high == entry.caught
        assert store.caught_year.low == store.caught_year.high == yearly.caught
        assert store.fills == store.plan_fills
        assert store.other_ground == 0
        assert store.other_spill in (None, 0)
        assert store.leaves_elsewhere in (None, 0)
    assert doubt.one_year == {}
    assert doubt.grounds == 0


@pytest.mark.parametrize("told", ["runoff: {loss on the way: true}",
                                  "runoff: {soil moisture: continuous, abstraction ratio: 0.05}",
                                  "no works"])
def test_the_same_however_the_runoff_is_reckoned(small_site, told):
    text = small_site.read_text()
    small_site.write_text(text[:text.index("works:")] if told == "no works" else
                          f"{text}{told}\n")
    plan = make_plan(small_site)
    doubt = doubt_of(plan, asked(), 2, workers=1)
    for told_of, account in ((doubt.storm, plan.storms["big day"]), (doubt.year, plan.year)):
        for name, own in (("passive", account.passive), ("roof", account.roof),
                          ("left site", account.left_site)):
            found = told_of[name].together
            assert (found.plan, found.low, found.high) == (own, own, own)


def test_the_same_bytes_for_any_number_of_workers_and_others_for_another_seed(plan):
    def written(workers: int, **spreads) -> str:
        return json.dumps(doubt_object(with_doubt(
            replace(plan, inputs=replace(plan.inputs, site=plan.site.model_copy(
                update={"doubt": Doubts(**spreads)}))), 6, workers).doubt))

    one = written(1, seed=5)
    assert written(2, seed=5) == one
    assert written(7, seed=5) == one
    assert written(1, seed=6).replace("seed 6", "seed 5").replace('"seed": 6', '"seed": 5') != one


def test_a_plan_is_not_doubted_unless_that_is_asked_for(plan):
    assert with_doubt(plan).doubt is None
    doubted = replace(plan, inputs=replace(plan.inputs, site=plan.site.model_copy(
        update={"doubt": Doubts(runs=20)})))
    assert with_doubt(doubted, 0).doubt is None
    assert with_doubt(doubted, 2, workers=1).doubt.runs == 2
    progress = []
    assert with_doubt(doubted, progress=progress.append).doubt.runs == 20
    assert progress[0] == "Making ready to doubt the plan"
    assert progress[-1] == "Doubting the plan: 20 of 20 runs"
    assert len(progress) == 11


def test_a_draw_depends_on_the_seed_and_the_run_alone(plan):
    spreads = spreads_of(plan.inputs, placed_of(plan), plan.cascade, Doubts())
    first, again = draw(spreads, 1, 7), draw(spreads, 1, 7)
    assert first.wetness == again.wetness
    assert (first.rates == again.rates).all()
    assert (first.years == again.years).all()
    fewer = draw(replace(spreads, antecedent=False, error=0.0), 1, 7)
    assert fewer.wetness is None
    assert fewer.ground is None
    assert fewer.retention == first.retention
    assert (fewer.rates == first.rates).all()
    assert fewer.depth == first.depth
    assert draw(spreads, 1, 8).retention != first.retention
    for doubt in DOUBTS:
        alone = first.alone(doubt)
        assert (alone.wetness is not None) == (doubt == "curve number")
        assert (alone.ground is not None) == (doubt == "elevation")
        assert (alone.depth != 1) == (doubt == "rain")
        assert bool((alone.rates != 1).any()) == (doubt == "infiltration")


def test_an_interruption_ends_the_runs_at_once():
    begun, open_ = [], threading.Event()

    def work(number):
        begun.append(number)
        if number:
            open_.wait(1)
        return number

    runs = _side_by_side(work, 500, 2)
    assert next(runs) == 0
    open_.set()
    with pytest.raises(KeyboardInterrupt):
        runs.throw(KeyboardInterrupt)
    assert len(begun) < 20
    assert list(_side_by_side(lambda number: number, 50, 4)) == list(range(50))


# Each doubt by itself


@pytest.mark.parametrize("number", [45.0, 60.0, 75.0, 90.0, 100.0])
def test_one_storm_in_ten_finds_condition_i_or_drier_and_one_iii_or_wetter(number):
    """Conditions I and III by NEH 630 ch. 10, 2004, Table 10-1, as 10 and 90 %: Hjelmfelt, Kramer
    & Burwell 1982 (from memory); TENTH is the normal's 90 % point."""
    assert norm.ppf(0.9) == pytest.approx(TENTH, abs=1e-12)
    for wetness, condition in ((-TENTH, "III"), (0.0, "II"), (TENTH, "I")):
        found = DoubtedRule(wetness=wetness).runoff(70.0, number)
        table = runoff_depth(70.0, under_condition(number, condition))
        assert found == pytest.approx(table, rel=1e-9)
    sodden = [DoubtedRule(wetness=z).runoff(70.0, number) for z in (-4.0, -1.0, 0.5, 4.0)]
    assert sodden == sorted(sodden, reverse=True)


def test_other_ratio_and_stated_conditions():
    assert DoubtedRule("III", 0.05).runoff(40.0, 80.0) == RunoffRule("III", 0.05).runoff(40.0, 80.0)
    # S(0.05) = 1.33 S^1.15 inches (Hawkins and others, ASCE, 2009): a factor on S goes in before.
    inches = 1.33 * (1.5 * (1000 / 80 - 10)) ** 1.15
    found = DoubtedRule("II", 0.05, factor=1.5).retention(80.0)
    assert found == pytest.approx(25.4 * inches, rel=1e-12)
    dried = DoubtedRule("II", 0.05, wetness=TENTH).retention(80.0)
    assert dried == pytest.approx(RunoffRule("I", 0.05).retention(80.0), rel=1e-12)


def test_only_the_curve_number_in_doubt_agrees_with_direct_integration(pond_alone):
    """A single store: what comes to it falls as the ground is drier, so its quantiles are those of
    the wetness put through the curve-number equation (closed form), and its mean is an integral."""
    plan = replace(pond_alone, inputs=replace(pond_alone.inputs, record=None))
    runs = 250
    catchment, depth = plan.cascade.nodes[0].catchment, plan.site.rain.design.depth

    def comes(condition: str) -> float:
        numbers = under_condition(catchment.curve_numbers, condition)
        return float(runoff_depth(depth, numbers) @ catchment.areas) / 1000

    spreads = spreads_of(plan.inputs, placed_of(plan), plan.cascade, asked(antecedent=True))
    trial = _Trial(plan, spreads, 1, 0)
    values = np.array([trial.run(i).together.arrives[0] for i in range(runs)])
    found = range_of(values)
    for value, error, condition in ((found.low, found.low_error, "I"),
                                    (found.high, found.high_error, "III")):
        # `error` is 1.96 standard errors; four of them are allowed.
        assert value == pytest.approx(comes(condition), abs=4 / 1.96 * error)

    def of(wetness: float) -> float:
        rule = DoubtedRule(wetness=wetness)
        return float(rule.runoff(depth, catchment.curve_numbers) @ catchment.areas) / 1000

    mean = quad(lambda z: of(z) * norm.pdf(z), -8, 8, limit=200)[0]
    square = quad(lambda z: of(z) ** 2 * norm.pdf(z), -8, 8, limit=200)[0]
    deviation = np.sqrt(square - mean ** 2)
    assert values.mean() == pytest.approx(mean, abs=4 * deviation / np.sqrt(runs))
    # The wetness that gives each run's volume is a normal draw (Kolmogorov's test).
    grid = np.linspace(-6, 6, 2001)
    wetness = np.interp(values, [of(z) for z in grid][::-1], grid[::-1])
    assert kstest(wetness, "norm").pvalue > 0.001
    doubt = doubt_of(plan, asked(antecedent=True), 20, workers=1)
    assert doubt.storm["left site"].most == "curve number"
    assert doubt.storm["left site"].shares == {"curve number": pytest.approx(1.0)}
    assert doubt.year == {}


def test_curve_numbers_of_the_tables_are_off_by_as_much_as_is_stated(plan):
    """At 75, the number that the field is stated for."""
    spreads = spreads_of(plan.inputs, placed_of(plan), plan.cascade, asked(curve_number=5.0))
    # S = 1000 / CN - 10 inches (TR-55 eq. 2-4) at 80 and at 70, two standard deviations apart.
    assert spreads.retention == pytest.approx(np.log((1000 / 70 - 10) / (1000 / 80 - 10)) / 2,
                                              rel=1e-12)
    number = [1000 / (float(DoubtedRule(factor=np.exp(side * spreads.retention)).retention(75.0))
                      / 25.4 + 10) for side in (-1, 1)]
    assert number == pytest.approx([80.0, 70.0], abs=0.5)
    drawn = np.array([np.log(draw(spreads, 2, i).retention) for i in range(2000)])
    assert drawn.std() == pytest.approx(spreads.retention, rel=4 / np.sqrt(2 * 2000))


def test_rates_are_lognormal_about_the_plans_each_store_by_its_own(plan):
    spreads = spreads_of(plan.inputs, placed_of(plan), plan.cascade, asked(untested_rate=3.0))
    drawn = np.array([draw(spreads, 1, i).rates for i in range(1500)])
    tanks = [node.store.kind == "tank" for node in plan.cascade.nodes]
    assert (drawn[:, tanks] == 1).all()
    logs = np.log(drawn[:, ~np.array(tanks)])
    assert logs.mean(axis=0) == pytest.approx(0, abs=4 * np.log(3) / np.sqrt(1500))
    assert logs.std(axis=0) == pytest.approx(np.log(3), rel=4 / np.sqrt(2 * 1500))
    assert abs(np.corrcoef(logs[:, 0], logs[:, 1])[0, 1]) < 4 / np.sqrt(1500)
    # A coefficient of variation of 1 is a factor of 2.30: sd of ln x is sqrt(ln(1 + cv^2)).
    assert lognorm(np.log(2.3)).std() / lognorm(np.log(2.3)).mean() == pytest.approx(1.0, abs=0.01)


def test_a_stated_storm_depth_is_lognormal_with_that_coefficient_of_variation(plan):
    spreads = spreads_of(plan.inputs, placed_of(plan), plan.cascade, asked(storm_depth=0.3))
    drawn = np.array([draw(spreads, 1, i).depth for i in range(1500)])
    logs = np.log(drawn)  # the coefficient of variation of a lognormal is sqrt(exp(sd^2) - 1)
    assert np.sqrt(np.expm1(logs.std() ** 2)) == pytest.approx(0.3, rel=4 / np.sqrt(2 * 1500))
    assert logs.mean() == pytest.approx(0.0, abs=4 * 0.3 / np.sqrt(1500))


def test_the_storms_band_is_that_of_the_fitted_curve(plan):
    """The same quantiles as `levelsill rain` tells of the record at the storm's return period."""
    from terrain.runoff.extremes import annual_maxima, extremes_of

    spreads = spreads_of(plan.inputs, placed_of(plan), plan.cascade, Doubts())
    levels = extremes_of(annual_maxima(plan.inputs.record.depths).depths.to_numpy()).levels(10.0)
    low, high = np.quantile(spreads.depth_ratios, [0.05, 0.95]) * levels["depth_mm"].iloc[0]
    assert low == pytest.approx(levels["low_mm"].iloc[0], rel=1e-12)
    assert high == pytest.approx(levels["high_mm"].iloc[0], rel=1e-12)


def test_every_year_once_is_the_average_year_of_the_record(plan):
    seasons = plan.seasons
    spreads = spreads_of(plan.inputs, placed_of(plan), plan.cascade, Doubts())
    months = np.asarray(seasons.days.month) - 1
    count = int(spreads.blocks.max()) + 1
    assert count == 13  # twelve whole years and a half
    assert spreads.whole.size == 12
    once = year_weights(months, seasons.known, spreads.blocks, np.ones(count, np.int64))
    np.testing.assert_allclose(once, seasons.weights, rtol=1e-12)
    # Any drawn set of years: each calendar month has its days once.
    years = draw(spreads, 1, 3).years
    assert years.sum() == count
    weights = year_weights(months, seasons.known, spreads.blocks, years)
    assert np.bincount(months, weights=weights) == pytest.approx(
        [31, 28.2425, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])  # of 400 years
    assert (weights[years[spreads.blocks] == 0] == 0).all()
    # A month that was not drawn: days count alike.
    some = year_weights(months[:200], seasons.known[:200], spreads.blocks[:200],
                        np.ones(count, np.int64))
    assert some.sum() == pytest.approx(365.25)


def test_a_record_too_short_says_so(pond_alone):
    said = " ".join(spreads_of(pond_alone.inputs, placed_of(pond_alone), pond_alone.cascade,
                               Doubts()).said)
    assert "taken as sure, as the record has 3 whole years, and 5 or more are needed" in said
    assert "a curve of annual maxima takes 10 whole years or more" in said


# Ground whose heights are off


def brute_labels(direction: np.ndarray, marks: np.ndarray) -> np.ndarray:
    """Follow the water of every cell, step by step, to the first marked cell."""
    steps = [(0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1), (-1, 0), (-1, 1)]
    found = np.zeros(marks.shape, int)
    for row, column in np.ndindex(marks.shape):
        r, c = row, column
        while marks[r, c] == 0 and direction[r, c] < 8:
            down, across = steps[direction[r, c]]
            r, c = r + down, c + across
        found[row, column] = marks[r, c]
    return found


class Tilted:
    """Stands for a field of errors: the ground tilted across the valley."""

    def draw(self, generator):
        columns = np.arange(120)
        return np.broadcast_to((0.10 * (columns - 60)).astype(np.float32), (160, 120))


def test_who_drains_where_on_other_ground_agrees_with_following_every_cell(plan):
    from terrain.surface.terrain import Terrain

    ground = DoubtedGround(plan.inputs, placed_of(plan), plan.cascade, 0.1, 30.0)
    assert ground.dem.shape == (160, 120)
    ground.field = Tilted()
    looked = ground.look(np.random.default_rng(1))
    seen = looked.drained
    dem = plan.inputs.dem
    marks = np.zeros(dem.shape, int)
    for index, place in enumerate(placed_of(plan)):
        marks[place.cells[:, 0], place.cells[:, 1]] = index + 1
    tilted = Terrain(replace(dem, heights=dem.heights + Tilted().draw(None)))
    labels = brute_labels(tilted.direction, marks)
    roof = plan.inputs.ground.roofs[0].cells  # the barn feeds the tank
    labels[roof] = 0
    for index, node in enumerate(plan.cascade.nodes):
        here, there = labels == index + 1, plan.cascade.labels == index + 1
        assert seen.areas[index] == pytest.approx(here.sum() * dem.cell_area)
        assert seen.apart[index] == pytest.approx((here != there).sum() * dem.cell_area)
        # Each curve number's area, run-on apart, as cell by cell.
        catchment = looked.cascade.nodes[index].catchment
        inside = plan.inputs.ground.inside
        if node.store.kind != "tank":
            assert catchment.run_on_area == pytest.approx((here & ~inside).sum(), rel=1e-9)
            ground_only = catchment.ground
            outside = here & (marks == 0)
            numbers = plan.inputs.ground.curve_number[outside]
            # Where a store's water reaches beyond its cells it takes ground about in proportion.
            kept = ground_only.area / outside.sum()
            assert 0.9 < kept <= 1
            wanted = kept * float(runoff_depth(60.0, numbers).sum()) / 1000
            assert ground_only.runoff(60.0) == pytest.approx(wanted, rel=1e-9)
    assert (seen.apart > 0).any()
    # All ground of the property is some store's, open, or a tank's roof: nothing is lost.
    assert looked.cascade.ground_area == pytest.approx(plan.cascade.ground_area, rel=1e-12)
    assert not seen.cut


def test_spills_on_other_ground_go_where_the_water_goes(plan):
    from terrain.surface.terrain import Terrain

    ground = DoubtedGround(plan.inputs, placed_of(plan), plan.cascade, 0.1, 30.0)
    ground.field = Tilted()
    seen = ground.look(np.random.default_rng(1)).drained
    dem = plan.inputs.dem
    tilted = Terrain(replace(dem, heights=dem.heights + Tilted().draw(None)))
    marks = ground.marks
    for index, (place, at) in enumerate(zip(placed_of(plan), ground.led, strict=True)):
        if at is None:
            assert seen.spills_to[index] == plan.cascade.nodes[index].spills_to
            continue
        assert at == dem.cell_of(place.spill_x, place.spill_y, "")
        path = tilted.path(*at, (marks > 0) & (marks != index + 1))
        end = int(marks[path[-1][0], path[-1][1]])
        if place.name == "trees 2":
            # It would run to the first of the two trees, which passes its spill to it: a circle.
            assert end == 3
            assert seen.untangled
            assert seen.spills_to[index] == plan.cascade.nodes[index].spills_to
            continue
        assert seen.spills_to[index] == (end - 1 if end not in (0, index + 1) else None)
    as_it_is = ground.look(None).drained
    assert as_it_is.spills_to == tuple(node.spills_to for node in plan.cascade.nodes)
    assert (as_it_is.moved == 0).all()
    assert (as_it_is.apart == 0).all()


def test_spills_that_would_run_in_a_circle_are_led_as_the_plan_says(plan):
    ground = DoubtedGround(plan.inputs, placed_of(plan), plan.cascade, 0.0, 30.0)
    nodes = list(plan.cascade.nodes)
    circle = [replace(nodes[0], spills_to=1), replace(nodes[1], spills_to=0), *nodes[2:]]
    found, order, untangled = ground._ordered(circle)
    assert untangled
    assert [node.spills_to for node in found] == [node.spills_to for node in nodes]
    assert sorted(order) == list(range(len(nodes)))


def test_a_part_of_a_large_raster_says_the_same_as_the_whole(tmp_path, small_site_folder,
                                                             write_raster, monkeypatch):
    """The same valley with wide ground about it that drains elsewhere."""
    from terrain.plan.doubt import doubt_ground

    site = small_site_folder(tmp_path)
    row, column = np.mgrid[0:160, 0:420].astype(float)
    heights = 200 - 0.04 * row + 0.08 * np.abs(column - 60)
    heights[:, 121:] = (heights[:, [120]] - 0.05 * (column[:, 121:] - 120))
    write_raster(site.parent / "ground.tif", heights.astype(np.float32))
    plan = make_plan(site)
    part = DoubtedGround(plan.inputs, placed_of(plan), plan.cascade, 0.0, 10.0)
    assert part.dem.shape[1] < 0.8 * 420
    monkeypatch.setattr(doubt_ground, "NEARLY_ALL", 0.0)
    whole = DoubtedGround(plan.inputs, placed_of(plan), plan.cascade, 0.0, 10.0)
    assert whole.dem.shape == (160, 420)
    assert (part.look(None).drained.areas == whole.look(None).drained.areas).all()
    assert part.look(None).drained.spills_to == whole.look(None).drained.spills_to


# Ranges


def test_one_more_run_falls_within_a_range_with_the_chance_that_is_told():
    """Of n runs of any distribution, 80 % of further ones lie between i/(n+1) quantiles on
    average (Gumbel 1958, from memory)."""
    generator = np.random.default_rng(2)
    for make in (generator.standard_normal, generator.standard_exponential,
                 lambda size: generator.lognormal(0.0, 1.0, size)):
        inside = []
        for _ in range(600):
            values = make(41)
            found = range_of(values[:-1])
            inside.append(found.low <= values[-1] <= found.high)
        assert np.mean(inside) == pytest.approx(0.8, abs=4 * np.sqrt(0.8 * 0.2 / 600))


def test_an_ends_error_is_that_of_ranks():
    """For n = 1000 the tenth lies between ranks 82 and 119 with 95 % confidence (normal
    approximation 100 +- 18.6), which the binomial distribution bears out."""
    values = np.arange(1, 1001) / 1001
    found = range_of(values)
    assert found.low == pytest.approx(0.1)
    assert found.high == pytest.approx(0.9)
    assert found.low_error == pytest.approx((119 - 81) / 2 / 1001)
    assert binom.cdf(118, 1000, 0.1) - binom.cdf(80, 1000, 0.1) == pytest.approx(0.95, abs=0.01)
    with pytest.raises(ValueError, match="no runs"):
        range_of([])


def test_a_plans_figure_outside_its_range_is_seen():
    values = np.linspace(1.0, 2.0, 99)
    assert range_of(values, 0.9).plan_outside
    assert range_of(values, 2.1).plan_outside
    assert not range_of(values, 1.5).plan_outside
    assert not range_of(values).plan_outside
    assert not range_of(np.full(30, 0.1), 0.1).plan_outside


@pytest.mark.parametrize(("spread", "steps", "name"), [
    ("curve_number", (0.0, 2.0, 5.0, 10.0), "left site"),
    ("untested_rate", (1.0, 1.5, 3.0, 6.0), "passive"),
    ("storm_depth", (0.0, 0.1, 0.3, 0.6), "left site")])
def test_a_wider_spread_never_gives_a_narrower_range(pond_alone, spread, steps, name):
    plan = replace(pond_alone, inputs=replace(pond_alone.inputs, record=None))
    wide = []
    for step in steps:
        found = doubt_of(plan, asked(**{spread: step}), 21, workers=1).storm[name].together
        wide.append(found.high - found.low)
    assert wide[0] == 0
    assert (np.diff(wide) > 0).all()


def test_errors_of_the_elevation_widen_the_ground_of_a_store(plan):
    wide = []
    for error in (0.0, 0.05, 0.3):
        ground = DoubtedGround(plan.inputs, placed_of(plan), plan.cascade, error, 30.0)
        areas = np.array([ground.look(np.random.default_rng(i)).drained.areas for i in range(40)])
        wide.append(np.diff(np.quantile(areas, [0.1, 0.9], axis=0), axis=0))
    assert np.array(wide[0]).max() == 0
    assert np.sum(wide[2]) > np.sum(wide[1]) > 0


# What the site file may say


@pytest.mark.parametrize(("lines", "said"), [
    ("doubt: {runs: 5}", "5 is below 20"),
    ("doubt: {raster: radar}", "'radar' is not one of"),
    ("doubt: {untested rate: 0.5}", "0.5 is below 1"),
    ("doubt: {curve number: 50}", "50 is above 20"),
    ("doubt: {elevation error: -1 m}", "-1 m is below 0"),
    ("rules: {tested rate doubt: 0.5}", "a factor of 0.5 is below 1")])
def test_a_doubt_that_makes_no_sense_is_refused(small_site, lines, said):
    small_site.write_text(small_site.read_text() + lines + "\n")
    with pytest.raises(InputError, match=said):
        with_doubt(make_plan(small_site), 20)


def test_the_rasters_kind_goes_by_its_cells_unless_it_is_said(plan):
    def of(cell: float, **given) -> tuple[float, float]:
        inputs = replace(plan.inputs, dem=replace(plan.inputs.dem, cell=cell))
        found = spreads_of(inputs, placed_of(plan), plan.cascade, Doubts.model_validate(
            {key.replace("_", " "): value for key, value in given.items()}, context={}))
        return found.error, found.reach

    assert of(1.0) == (0.10, 30.0)  # USGS Lidar Base Specification, quality level 2, from memory
    assert of(10.0) == (0.82, 30.0)  # USGS 3DEP, 2024: 1/3 arc-second
    assert of(30.0) == (5.0, 90.0)
    assert of(1.0, raster="survey") == (0.05, 30.0)
    assert of(1.0, elevation_error="20 cm", elevation_reach="50 m") == (0.2, 50.0)
