"""Kinds of days, and the room of a store, beside the record and the store's own run."""

from __future__ import annotations

import numpy as np
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain.errors import InputError
from terrain.plan.plan import laid_out
from terrain.plan.siting.reading import read_inputs
from terrain.plan.water.cascade import build_cascade
from terrain.plan.water.water_balance import live, run_seasons
from terrain.suggest.rains import FED, FLOODED, KINDS_OF_DAYS, storm_rains, year_rains
from terrain.works.sill import Sill
from terrain.works.store import Curve, Store

#: Years without a 29 February, so that each day is a third of one in an average year, but in
#: February, which has 28.2425 days in it (97 leap years in 400: the Gregorian calendar).
FIRST, LAST = "2009-01-01", "2012-01-01"


def shares() -> np.ndarray:
    months = np.arange(FIRST, LAST, dtype="datetime64[D]").astype("datetime64[M]").astype(int) % 12
    return np.where(months == 1, 28.2425 / 28, 1) / 3


def falls() -> np.ndarray:
    days = np.arange(FIRST, LAST, dtype="datetime64[D]")
    random = np.random.default_rng(3)
    return np.round(np.where(random.random(days.size) < 0.15,
                             random.gamma(0.8, 18, days.size), 0), 1)


def retained(number: float) -> float:
    """TR-55, 1986, eq. 2-4, in mm."""
    return 25400 / number - 254


def shed(rain, number: float) -> np.ndarray:
    """TR-55, 1986, eq. 2-1 and 2-2, in mm."""
    s = retained(number)
    over = np.maximum(rain - 0.2 * s, 0)
    return np.where(over > 0, over**2 / (over + s), 0)


def with_record(path, first: str, depths):
    """The small site without works, and another record."""
    days = np.arange(first, np.datetime64(first) + len(depths), dtype="datetime64[D]")
    (path.parent / "rain.csv").write_text("date,rain_mm\n" + "".join(
        f"{day},{depth}\n" for day, depth in zip(days, depths, strict=True)))
    site = yaml.safe_load(path.read_text())
    site["works"] = []
    path.write_text(yaml.safe_dump(site, sort_keys=False))
    return read_inputs(path)


def lived(inputs):
    cascade = build_cascade(inputs.site, inputs.terrain, inputs.ground, laid_out(inputs),
                            inputs.rules, inputs.hydrology)
    return run_seasons(cascade, inputs.record.depths, inputs.evaporation.daily)


@pytest.fixture(scope="module")
def inputs(tmp_path_factory, small_site_folder):
    return with_record(small_site_folder(tmp_path_factory.mktemp("rains")), FIRST, falls())


@pytest.fixture(scope="module")
def seasons(inputs):
    return lived(inputs)


@pytest.fixture(scope="module")
def year(inputs, seasons):
    return year_rains(inputs, seasons)


def test_kinds_of_days_have_the_years_runoff(year):
    """Beside the record by TR-55's formula, day by day, summed over an average year."""
    assert year.days.size == KINDS_OF_DAYS
    for number, depth in zip(year.numbers, (year.days @ year.depths), strict=True):
        assert depth == pytest.approx(float(shed(falls(), number) @ shares()), rel=1e-9)


def test_each_kind_has_as_much_of_it_to_within_a_day(inputs, year):
    known = inputs.ground.curve_number[inputs.ground.inside]
    areas = np.array([(known == number).sum() for number in year.numbers])
    daily = shares() * sum(area * shed(falls(), number)
                           for number, area in zip(year.numbers, areas, strict=True))
    each = np.array([daily[year.kind == k].sum() for k in range(KINDS_OF_DAYS)])
    assert each.sum() == pytest.approx(daily.sum(), rel=1e-12)
    assert np.abs(each - daily.sum() / KINDS_OF_DAYS).max() <= daily.max()
    assert ((year.kind >= 0) == (daily > 0)).all()
    largest = [falls()[year.kind == k].max() for k in range(KINDS_OF_DAYS)]
    least = [falls()[year.kind == k].min() for k in range(KINDS_OF_DAYS)]
    assert all(low >= high for high, low in zip(largest[:-1], least[1:], strict=True))


def test_the_dry_year_is_the_one_that_one_in_ten_falls_short_of(tmp_path, small_site_folder):
    """The lowest of nine years, by Weibull's plotting position 1 / (9 + 1) (The Phenomenon
    of Rupture in Solids, 1939).  Its days count once, and no others."""
    sums = {2009: 700, 2010: 300, 2011: 500, 2012: 800, 2013: 900, 2014: 1000, 2015: 950,
            2016: 400, 2017: 600}
    depths = np.concatenate([
        np.where(np.arange(365 + (year % 4 == 0)) % 10 == 0, total / 37, 0).round(4)
        for year, total in sums.items()])
    inputs = with_record(small_site_folder(tmp_path), "2009-01-01", depths)
    dry = year_rains(inputs, lived(inputs), dry=True)
    years = np.arange("2009-01-01", "2018-01-01", dtype="datetime64[D]").astype("datetime64[Y]")
    own = years == np.datetime64("2010")
    assert (dry.within == own).all()
    for number, depth in zip(dry.numbers, dry.days @ dry.depths, strict=True):
        assert depth == pytest.approx(float(shed(depths[own], number).sum()), rel=1e-9)


def test_of_a_short_record_no_dry_year_is_told(inputs, seasons):
    """Nor do the plan's accounts tell one of three years."""
    with pytest.raises(InputError) as error:
        year_rains(inputs, seasons, dry=True)
    assert "fewer than 5 years" in error.value.what
    assert "\n" not in str(error.value)


def lone(storage, area, soak) -> Store:
    curve = Curve(np.array([0.0, 1.33 * storage / area]), np.array([area / 2, area]),
                  np.array([0.0, storage]))
    return Store("", "swale", curve, Sill(float(curve.levels[-1]), 1.0, 0.0, 0.0, 1.7), 0.0, 0.0,
                 0.0, 0.0, soak)


def kept_by(store, comes, year):
    return comes - live(store, comes, year.months, year.evaporation).spilled


@settings(max_examples=50)
@given(st.floats(2, 60), st.floats(10, 100), st.floats(0.5, 30), st.floats(500, 40_000))
def test_a_store_alone_keeps_in_the_model_what_its_own_run_keeps(year, storage, area, soak, ground):
    """Where it spills on each kind of day: the same water to 1e-9; where it hardly spills on one,
    as much or more on that, and never more than comes."""
    areas = np.full(year.numbers.size, ground / year.numbers.size)
    room, _ = year.room(storage, area, soak, areas)
    series = sum(a * shed(falls(), number)
                 for a, number in zip(areas, year.numbers, strict=True)) / 1000
    comes = year.depths @ areas / 1000
    model = np.minimum(comes, room)
    kept = kept_by(lone(storage, area, soak), series, year)
    for k in range(KINDS_OF_DAYS):
        real = (kept * year.within)[year.kind == k].sum() / year.days[k]
        if comes[k] - real > 0.0100001 * comes[k]:
            assert model[k] == pytest.approx(real, rel=1e-9)
        else:
            assert real * (1 - 1e-9) <= model[k] <= comes[k]
    twice = kept_by(lone(storage, area, soak), FED * series, year)
    most = (FED * comes).max()
    assert (room <= most).all()
    assert twice.sum() >= kept.sum() * (1 - 1e-9)


def test_rain_on_its_own_water_counts_once(year):
    """A store that never spills keeps all of it: depth times area."""
    _, rain = year.room(1e6, 50.0, 30.0, np.full(year.numbers.size, 100.0))
    assert rain == pytest.approx(float(falls() @ shares()) * 50 / 1000, rel=1e-9)
    _, full = year.room(1e-6, 50.0, 1e-6, np.full(year.numbers.size, 1e4))
    assert full == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize("storm", ["shower", "big day"])
def test_runoff_of_a_storm_is_that_of_its_depth(inputs, storm):
    rains = storm_rains(inputs, storm)
    depth = {"shower": 20, "big day": 60}[storm]
    for number, found in zip(rains.numbers, rains.depths[0], strict=True):
        assert found == pytest.approx(float(shed(depth, number)), rel=1e-12, abs=1e-12)
    assert rains.storm.sum() == pytest.approx(1)
    assert rains.falls.sum() == pytest.approx(depth)
    assert rains.days.tolist() == [1]


@pytest.mark.parametrize("ground", [100.0, 20_000.0])
def test_room_in_a_storm_is_what_a_store_holds_and_soaks_meanwhile(inputs, ground):
    """Without soaking what it holds; with it no less than half its water's area takes in over the
    hours of the storm, nor more than all of it over these and the time that what stands over the
    sill takes to run off."""
    rains = storm_rains(inputs, "big day")
    areas = np.full(rains.numbers.size, ground)
    room, _ = rains.room(20.0, 60.0, 0.0, areas)
    assert room == pytest.approx([20.0], rel=1e-9)
    wet = np.flatnonzero(rains.storm > 0)
    hours = (wet[-1] - wet[0] + 1) * rains.step / 3600
    soaked = float(rains.room(20.0, 60.0, 10.0, areas)[0][0]) - 20
    assert 0.3 * hours * 60 * 10 / 1000 <= soaked <= (hours + 3) * 60 * 10 / 1000
    assert FLOODED > 1


def test_rain_on_a_store_in_a_storm(inputs):
    rains = storm_rains(inputs, "big day")
    _, rain = rains.room(1e5, 60.0, 0.0, np.full(rains.numbers.size, 10.0))
    assert rain == pytest.approx(60 * 60 / 1000, rel=1e-9)
