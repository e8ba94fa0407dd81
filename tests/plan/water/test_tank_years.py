"""Tanks over a record: rations, grey water and tankers against a slow reading of the rules."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from networks import NO_GROUND, NO_ROOF, cascade_of, ground_of, reference_of, store_of
from published import rows

from terrain.plan.water.accounts import CLOSES_TO, year_account, years_of_record
from terrain.plan.water.tank_sizes import MORE_ROOF, resized, unrationed
from terrain.plan.water.tank_years import tank_life
from terrain.plan.water.water_balance import live, run_seasons
from terrain.works.roof import RoofCatchment
from terrain.works.store import channel_curve, tank_curve
from terrain.works.water_use import TopUp, Use

DRY = [60.0, 75, 110, 145, 185, 205, 210, 190, 150, 110, 70, 55]
HOUSE = Use("house", "household", np.full(12, 0.3), ((0.5, 0.75), (0.2, 0.4)), 0.5)
GARDEN = Use("garden", "garden", np.array([0, 0, 0, 0.05, 0.1, 0.2, 0.25, 0.25, 0.1, 0, 0, 0]),
             ((0.4, 0.0),))
#: Loads of 3 m3 whenever less than 1 m3 is held, 70 each.
TANKER = TopUp(1.0, 3.0, 70.0)


@pytest.fixture(scope="module")
def seattle():
    """Daily rain of four years as vega_datasets ships it (seattle-weather, from NOAA). [mm]"""
    from vega_datasets import data as shipped

    data = shipped.seattle_weather()
    return pd.Series(data["precipitation"].to_numpy(float), pd.DatetimeIndex(data["date"]))


def daily(rain, start="2001-01-01"):
    return pd.Series(np.asarray(rain, float), pd.date_range(start, periods=len(rain)))


def tank_of(volume, *uses, top_up=None):
    return replace(store_of("tank", tank_curve(volume)), uses=uses, top_up=top_up,
                   demand=sum(use.mean_day for use in uses))


def homestead(top_up=TANKER, volume=9.0, area=90.0):
    """A tank whose grey water and spill go to a swale."""
    made = cascade_of([
        (tank_of(volume, HOUSE, GARDEN, top_up=top_up), NO_GROUND,
         RoofCatchment(area, 0.9 * area, 0.5), 1),
        (store_of("swale", channel_curve(10.0, 0.3, 0.6, 2.0, 20.0), 6.0, infiltration=2.0),
         ground_of([85.0, 100.0], [800.0, 36.0], [0.2, 0.0]), NO_ROOF, None)],
        ground_of([74.0], [2000.0]))
    return replace(made, nodes=[replace(made.nodes[0], grey_to=(1, None)), made.nodes[1]])


# ---- the slow reference: the rules in ten lines, on a real record ----

def plain_tank(inflow, months, volume, uses, mark, load):
    held, rows = 0.0, []
    for come, month in zip(inflow, months, strict=True):
        loads = int(np.ceil((mark - held) / load)) if held < mark else 0
        held += loads * load
        rations = [use.amounts[month] * next((draw for below, draw in sorted(use.steps)
                                              if held < below * volume), 1.0) for use in uses]
        drawn, spilled = [0.0] * len(uses), 0.0
        for hour in range(24):
            held += come / 6 if hour < 6 else 0.0
            spilled, held = spilled + max(held - volume, 0.0), min(held, volume)
            for i, ration in enumerate(rations):
                taken = min(ration / 24, held)
                drawn[i], held = drawn[i] + taken, held - taken
        rows.append((loads * load, spilled, held, *rations, *drawn))
    return np.array(rows).T


@pytest.mark.parametrize("top_up", [TANKER, None])
def test_four_real_years_match_the_slow_reference(seattle, top_up):
    """Reference: the rules above, written out, on 1,461 days that vega_datasets ships."""
    cascade = homestead(top_up)
    run = run_seasons(cascade, seattle, reference_of(seattle, DRY))
    tank = run.stores[0]
    inflow = np.maximum(seattle.to_numpy() - 0.5, 0.0) * 81 / 1000
    brought, spilled, held, *rest = plain_tank(inflow, seattle.index.month - 1, 9.0,
                                               (HOUSE, GARDEN), top_up.below if top_up else 0.0,
                                               3.0)
    for found, plain in ((tank.brought, brought), (tank.spilled, spilled), (tank.held, held),
                         (tank.uses[0].ration, rest[0]), (tank.uses[1].ration, rest[1]),
                         (tank.uses[0].used, rest[2]), (tank.uses[1].used, rest[3])):
        assert found == pytest.approx(plain, rel=1e-9, abs=1e-9)
    assert run.stores[1].grey == pytest.approx(0.5 * rest[2], rel=1e-9, abs=1e-12)
    if top_up:
        assert brought.sum() > 10
    else:
        assert 0 < (rest[2] < rest[0] * (1 - 1e-9)).sum() < 400
    assert (rest[0] < 0.3).any()  # some days are rationed


def test_grey_water_is_an_inflow_of_the_ground_and_accounts_close(seattle):
    cascade = homestead()
    run = run_seasons(cascade, seattle, reference_of(seattle, DRY))
    account = year_account(cascade, run)
    tank, swale = account.entries
    assert account.unexplained <= CLOSES_TO
    assert swale.grey == account.grey == pytest.approx(0.5 * run.mean(run.stores[0].uses[0].used))
    assert tank.brought == account.brought > 0
    assert account.roof == pytest.approx(tank.roof - tank.spilled)
    assert account.passive == pytest.approx(swale.inflow - swale.grey - swale.spilled)
    # Beside the same site without grey water the swale takes in just as much more.
    bare = replace(cascade, nodes=[replace(n, grey_to=()) for n in cascade.nodes])
    less = year_account(bare, run_seasons(bare, seattle, reference_of(seattle, DRY))).entries[1]
    assert swale.inflow - less.inflow == pytest.approx(swale.grey)


def test_a_real_year_closes_with_deliveries(seattle):
    record = pd.concat([seattle, seattle.set_axis(seattle.index + pd.Timedelta(days=1461))])
    run = run_seasons(homestead(), record, None)
    years = years_of_record(homestead(), run)
    assert [year.kind for year in years] == ["dry", "median", "wet"]
    assert all(year.account.unexplained <= CLOSES_TO for year in years)


uses = st.lists(st.builds(
    lambda amounts, below, draw, grey: Use("use", "household", np.array(amounts),
                                           ((below, draw),), grey),
    st.lists(st.floats(0, 2), min_size=12, max_size=12), st.floats(0, 1), st.floats(0, 1),
    st.floats(0, 1)), min_size=1, max_size=3)
rains = st.lists(st.floats(0, 90) | st.just(0.0), min_size=1, max_size=60)


@settings(max_examples=40)
@given(uses, rains, st.floats(0.5, 40), st.floats(0, 0.4), st.floats(0.05, 0.5))
def test_any_tank_closes_with_rations_grey_water_and_loads(wanted, rain, volume, mark, load):
    top_up = TopUp(mark * volume, load * volume) if mark else None
    base = homestead()
    tank = replace(base.nodes[0], store=tank_of(volume, *wanted, top_up=top_up),
                   grey_to=(1,) * len(wanted))
    cascade = replace(base, nodes=[tank, base.nodes[1]])
    record = daily(rain)
    run = run_seasons(cascade, record, reference_of(record, DRY))
    for store in run.stores:
        gap = store.inflow - (store.spilled + store.used + store.evaporated + store.infiltrated
                              + np.diff(store.held, prepend=0.0))
        assert np.abs(gap).max() <= 1e-9 * max(store.inflow.max(), 1e-6)
    assert year_account(cascade, run).unexplained <= CLOSES_TO
    for part in run.stores[0].uses:
        assert (part.used <= part.ration * (1 + 1e-9)).all()
        assert (part.ration <= part.wanted * (1 + 1e-12)).all()
    if top_up:
        loads = run.stores[0].brought / top_up.load
        assert loads == pytest.approx(np.round(loads), abs=1e-9)
        morning = np.concatenate([[0.0], run.stores[0].held[:-1]])
        assert ((run.stores[0].brought > 0) == (morning < top_up.below)).all()


# ---- the monthly rule ----

def test_days_fed_evenly_give_what_the_monthly_rule_gives():
    """Water that comes and goes evenly through a month ends it as the rule "before spillage" of
    Jenkins and others (1978) has it, for the tank of the table, constructed by that rule.  Here
    rain comes in a day's first six hours, so of a full tank a day's use at most is not filled."""
    year = [row for row in rows("tank_yas_ybs_constructed.csv")
            if row["rule"] == "before spillage (YBS)"]
    store = tank_of(15.0, Use("house", "household", np.full(12, 3.0 / 30)))
    inflow = np.repeat([float(row["inflow_m3"]) / 30 for row in year], 30)
    found = live(store, inflow, np.repeat(np.arange(12), 30), np.zeros(360), 5.0)
    by_month = [series.reshape(12, 30).sum(1) for series in (found.used, found.spilled)]
    assert by_month[0] == pytest.approx([float(row["yield_m3"]) for row in year], abs=1e-9)
    assert by_month[1] == pytest.approx([float(row["spill_m3"]) for row in year], abs=0.1)
    assert found.held[29::30] == pytest.approx([float(row["end_m3"]) for row in year], abs=0.1)
    assert sum(by_month[1]) > 1


# ---- monotone without rationing: common sense, no source ----

@settings(max_examples=40)
@given(rains, st.floats(0.2, 30), st.floats(1.0, 4.0), st.floats(10, 300), st.floats(1, 3),
       st.floats(0.01, 1.5))
def test_a_larger_tank_or_roof_is_never_drier(rain, volume, times, area, wider, amount):
    plain = Use("house", "household", np.full(12, amount))
    months = np.asarray(daily(rain).index.month) - 1

    def lived(size, roof):
        inflow = RoofCatchment(roof, 0.9 * roof, 1.0).runoff_volumes(rain)
        return live(tank_of(size, plain), inflow, months, np.zeros(len(rain)))

    now = lived(volume, area)
    for more in (lived(volume * times, area), lived(volume, area * wider)):
        assert (more.held >= now.held - 1e-9).all()
        assert more.used.sum() >= now.used.sum() - 1e-9
        assert more.dry.sum() <= now.dry.sum()


# ---- closed forms ----

def life_of(cascade, record, start_month=1):
    run = run_seasons(cascade, record, None)
    return tank_life(cascade, run, 0, years_of_record(cascade, run, start_month), start_month)


def alone(store, roof=NO_ROOF):
    return cascade_of([(store, NO_GROUND, roof, None)])


def test_dry_days_spells_and_shares_of_a_tank_that_runs_out():
    """1 m3 on the first day of each year at 0.1 m3 a day: ten days served, 355 dry."""
    rain = np.zeros(730)
    rain[[0, 365]] = 10.0
    plain = Use("goats", "livestock", np.full(12, 0.1))
    found = life_of(alone(tank_of(5.0, plain), RoofCatchment(100.0, 100.0)),
                    daily(rain, "2001-01-01"))
    assert found.dry_days == 2 * 355
    assert (found.longest, str(found.longest_from.date())) == (355, "2001-01-11")
    assert found.average.share == pytest.approx(10 / 365, rel=1e-3)
    assert found.average.month_shares[0] == pytest.approx(10 / 31)
    assert found.average.month_shares[1:] == [0.0] * 11
    assert found.refill_days is None  # never full
    assert found.record.met.sum() == pytest.approx(2.0)


def test_rations_stretch_what_there_is():
    """Below half of 1 m3 half is drawn: 5 days at 0.1 and some at 0.05, none of them dry."""
    rationed = Use("house", "household", np.full(12, 0.1), ((0.5, 0.5),))
    store = tank_of(1.0, rationed)
    inflow = np.zeros(20)
    inflow[0] = 1.0
    found = live(store, inflow, np.zeros(20, np.int64), np.zeros(20))
    # It is empty on the first morning, so that day is rationed too.
    assert found.uses[0].used[:13] == pytest.approx([0.05, *[0.1] * 5, *[0.05] * 7], abs=1e-9)
    assert found.dry.nonzero()[0][0] >= 14


def test_those_listed_first_are_served_first():
    first, second = (Use(name, "other", np.full(12, 0.5)) for name in ("first", "second"))
    found = live(tank_of(2.0, first, second), np.array([0.6]), np.zeros(1, np.int64), np.zeros(1))
    served = [part.used[0] for part in found.uses]
    assert served[0] > served[1]
    assert sum(served) == pytest.approx(0.6)


def test_deliveries_are_counted_and_paid():
    """No rain at all: 0.1 m3 a day is 36.5 m3 a year in loads of 1 m3, 20 each."""
    plain = Use("goats", "livestock", np.full(12, 0.1))
    found = life_of(alone(tank_of(3.0, plain, top_up=TopUp(0.5, 1.0, 20.0))),
                    daily(np.zeros(3650)))
    assert found.average.loads == pytest.approx(36.5, abs=0.3)
    assert found.average.cost == pytest.approx(20 * found.average.loads)
    assert (found.dry_days, found.average.share) == (0, pytest.approx(1.0))
    # Without deliveries nothing is met at any size, and a size too small for a load takes none.
    assert found.curve.met.max() == 0
    assert np.isnan(found.curve.loads[0])
    large = found.curve.volumes >= 5.0
    assert large.any()
    assert found.curve.loads[large] == pytest.approx(36.5, abs=0.3)
    assert found.curve.knee is None


def test_an_average_year_and_more_roof():
    """A tank that never spills: what more roof brings is all it catches."""
    rain = np.tile([8.0, 0, 0, 0, 0], 73 * 4)
    plain = Use("house", "household", np.full(12, 1.0))
    found = life_of(alone(tank_of(50.0, plain), RoofCatchment(100.0, 90.0, 2.0)), daily(rain))
    by_what = {more.what: more for more in found.more}
    assert by_what["roof"].used == pytest.approx(0.09 * 6 * 73, rel=0.01)
    assert by_what["tank"].used == pytest.approx(0.0, abs=1e-9)
    assert found.flushed == pytest.approx(0.09 * 2 * 73, rel=0.01)
    thumbs = {thumb.rule: thumb for thumb in found.thumbs}
    assert thumbs["roof yield of an average year"].says == pytest.approx(0.09 * 8 * 73, rel=0.01)
    assert thumbs["a full tank lasts"].says == pytest.approx(50.0)
    assert thumbs["a full tank lasts"].record == 4
    assert thumbs["tank that bridges the dry months"].says == float("inf")


def test_more_roof_is_a_round_figure_in_the_site_s_units():
    """1,000 ft2 are 92.90304 m2 (NIST Special Publication 811: a foot is 0.3048 m exactly), and
    bring that share of what 100 m2 do while the tank never spills."""
    rain = daily(np.tile([8.0, 0, 0, 0, 0], 73 * 4))
    cascade = alone(tank_of(50.0, Use("house", "household", np.full(12, 1.0))),
                    RoofCatchment(100.0, 90.0, 2.0))
    run = run_seasons(cascade, rain, None)
    brought = {}
    for system in ("metric", "us"):
        life = tank_life(cascade, run, 0, more_roof=MORE_ROOF[system])
        more = {one.what: one for one in life.more}
        assert more["roof"].roof == more["roof and tank"].roof == MORE_ROOF[system]
        assert more["tank"].roof == 0.0
        brought[system] = more["roof"].used
    assert MORE_ROOF["metric"] == 100.0
    assert MORE_ROOF["us"] == pytest.approx(92.90304, rel=1e-12)
    assert brought["us"] == pytest.approx(0.9290304 * brought["metric"], rel=1e-6)


def test_the_size_curve_passes_through_the_tank_as_it_is(seattle):
    """Where nothing is rationed: then the curve's tank is the tank itself."""
    plain = replace(HOUSE, steps=())
    made = homestead(None)
    tank = replace(made.nodes[0], store=tank_of(9.0, plain), grey_to=(1,))
    found = life_of(replace(made, nodes=[tank, made.nodes[1]]), seattle)
    curve = found.curve
    assert curve.own == 9.0
    assert curve.own_met == pytest.approx(found.average.share)
    assert curve.own_days == pytest.approx(1 - found.average.dry_days / 365.2425, abs=1e-3)
    assert np.interp(9.0, curve.volumes, curve.met) == pytest.approx(curve.own_met, abs=0.01)
    assert (np.diff(curve.met) >= -1e-9).all()
    assert (curve.volumes[0], curve.met[0], curve.days[0]) == (0.0, 0.0, 0.0)


def plain_knee(rain, months, roof, amounts):
    """Tanks of 600 sizes, hour by hour, each begun with what its first time left; the knee by
    Satopaa and others (2011, from memory): the greatest distance above the chord of the curve with
    both axes scaled to 1, up to the size that meets 99 % of what 10,000 m3 meet."""
    sizes = np.append(np.linspace(0.0, 60.0, 601), 1e4)
    held, met = np.zeros(sizes.size), np.zeros(sizes.size)
    for time in range(2):
        for fell, month in zip(rain, months, strict=True):
            for hour in range(24):
                held = np.minimum(held + (roof * fell / 6000 if hour < 6 else 0.0), sizes)
                drawn = np.minimum(held, amounts[month] / 24)
                held -= drawn
                met += time * drawn
    last = int(np.argmax(met >= 0.99 * met[-1]))
    x, y = sizes[:last + 1] / sizes[last], met[:last + 1] / met[last]
    return sizes[last], sizes[int(np.argmax(y - x))]


def test_the_knee_hangs_on_the_roofs_the_uses_and_the_record_alone(seattle):
    """Three sizes typed, rationed by shares of them and topped up: one curve and one knee, where
    the test's own tanks have it."""
    end, knee = plain_knee(seattle.to_numpy(), seattle.index.month - 1, 81.0,
                           HOUSE.amounts + GARDEN.amounts)
    found = [life_of(alone(tank_of(volume, HOUSE, GARDEN, top_up=TANKER),
                           RoofCatchment(90.0, 81.0)), seattle).curve
             for volume in (4.5, 12.0, 60.0)]
    for curve in found:
        assert curve.volumes.tolist() == found[0].volumes.tolist()
        assert curve.met.tolist() == found[0].met.tolist()
        assert curve.knee == found[0].knee is not None
    apart = found[0].volumes[1]
    assert found[0].volumes[-1] == pytest.approx(end, abs=0.2)
    assert found[0].volumes[found[0].knee] == pytest.approx(knee, abs=1.1 * apart)
    assert [curve.own for curve in found] == [4.5, 12.0, 60.0]


def chain():
    """A roof's tank that is pumped, and a pond on a slope, both above a house tank that gives its
    grey water back to nobody above; a swale below takes what spills."""
    pond = store_of("basin", channel_curve(10.0, 0.8, 2.0, 2.0, 12.0), 6.0, infiltration=0.05)
    made = cascade_of([
        (tank_of(7.0, replace(GARDEN, grey=0.0)), NO_GROUND, RoofCatchment(60.0, 54.0, 0.5), 2),
        (pond, ground_of([88.0, 100.0], [400.0, 60.0]), NO_ROOF, 2),
        (tank_of(9.0, HOUSE, GARDEN), NO_GROUND, RoofCatchment(20.0, 18.0, 0.5), 3),
        (store_of("swale", channel_curve(9.0, 0.3, 0.6, 2.0, 20.0), 6.0, infiltration=2.0),
         NO_GROUND, NO_ROOF, None)], pumps={0: (1e-5, 3)})
    return replace(made, nodes=[*made.nodes[:2], replace(made.nodes[2], grey_to=(3, None)),
                                made.nodes[3]])


@pytest.mark.parametrize("point", [None, 8, 24])
def test_a_tank_fed_by_others_is_told_of_a_second_time_for_all_of_them(seattle, point):
    """Reference: the whole cascade with the tank so large, through the record twice on end, of
    which the second half counts (four whole years, so that its days fall on the same dates)."""
    cascade = chain()
    found = tank_life(cascade, run_seasons(cascade, seattle, reference_of(seattle, DRY)), 2)
    own = cascade.nodes[2].store
    sized = own if point is None else unrationed(own, float(found.curve.volumes[point]))
    other = replace(cascade, nodes=[*cascade.nodes[:2], replace(cascade.nodes[2], store=sized),
                                    cascade.nodes[3]])
    twice = pd.concat([seattle, seattle.set_axis(seattle.index + pd.Timedelta(days=seattle.size))])
    run = run_seasons(other, twice, reference_of(twice, DRY))
    tank, half = run.stores[2], slice(seattle.size, None)
    used, wanted = (sum(getattr(part, name)[half] @ run.weights[half] for part in tank.uses)
                    for name in ("used", "wanted"))
    told = found.average.share if point is None else found.curve.met[point]
    assert told == pytest.approx(used / wanted, rel=1e-9)
    if point is None:
        assert found.record.met.sum() == pytest.approx(tank.used[half].sum(), rel=1e-9)
        # What stood above at the record's start was empty the first time, and not the second.
        first = run.stores[2].from_above[:seattle.size].sum()
        assert tank.from_above[half].sum() > first * 1.001
        assert run.stores[0].over.sum() > 0


def test_water_that_stands_above_when_the_record_begins_again_comes_down():
    """10 m3 on the first day into 5 m3 that nobody uses: 5 m3 run over the first time, all 10 the
    second, and the goats below, at 0.1 m3 a day, live on them for 100 days."""
    rain = np.zeros(365)
    rain[0] = 100.0
    goats = Use("goats", "livestock", np.full(12, 0.1))
    cascade = cascade_of([(tank_of(5.0), NO_GROUND, RoofCatchment(100.0, 100.0), 1),
                          (tank_of(20.0, goats), NO_GROUND, NO_ROOF, None)])
    run = run_seasons(cascade, daily(rain), None)
    assert run.stores[1].used.sum() == pytest.approx(5.0)
    found = tank_life(cascade, run, 1)
    assert found.record.met.sum() == pytest.approx(10.0)
    assert found.dry_days == 365 - 100


def test_any_other_size_is_rationed_at_as_much_water_as_before():
    """One policy for the whole curve, smaller sizes and larger: below 5 and 2 m3."""
    store = tank_of(10.0, HOUSE)
    for times in (0.25, 0.5, 0.9, 1.0, 1.5, 2.0, 4.0):
        other = resized(store, times)
        marks = [below * other.capacity for below, _ in other.uses[0].steps]
        assert marks == pytest.approx([5.0, 2.0])
    assert resized(store, 2.0).uses[0].steps == ((0.25, 0.75), (0.1, 0.4))
    assert resized(store, 2.0).capacity == 20.0


def test_it_fills_again_in_so_many_days():
    """From empty at 1 m3 a day a tank of 5 m3 is full on the fifth day; that is 4 days later."""
    rain = np.zeros(100)
    rain[10:20] = rain[60:70] = 10.0
    plain = Use("house", "household", np.full(12, 0.25))
    found = life_of(alone(tank_of(5.0, plain), RoofCatchment(125.0, 125.0)), daily(rain))
    assert (found.refill_days, found.refills) == (4.0, 2)


def test_a_tank_that_is_never_dry_once_filled_is_told_no_dry_day():
    """The first rain comes on day 40, then 4 m3 every 20 days, at 0.1 m3 a day from 10 m3: it
    lasts 100 days, so only the empty start was dry; that stays in the accounts."""
    rain = np.zeros(730)
    rain[40::20] = 40.0
    cascade = alone(tank_of(10.0, Use("goats", "livestock", np.full(12, 0.1))),
                    RoofCatchment(100.0, 100.0))
    run = run_seasons(cascade, daily(rain), None)
    found = tank_life(cascade, run, 0)
    assert (found.dry_days, found.average.dry_days, found.longest) == (0, 0.0, 0)
    assert found.average.share == 1.0
    assert (found.refill_days, found.refills) == (None, 0)  # its first filling is none
    assert found.curve.own_days == pytest.approx(1.0)
    assert all(more.fewer_dry == pytest.approx(0.0, abs=1e-6) for more in found.more)
    assert run.stores[0].used.sum() == pytest.approx(0.1 * (730 - 40), abs=0.1)


def test_days_without_a_reading_are_no_drought():
    """4 m3 every 20 days and a gap of 150: a tank of 10 m3 at 0.1 m3 a day lasts 100 days."""
    rain = np.zeros(730)
    rain[::20] = 40.0
    rain[201:351] = np.nan
    plain = Use("goats", "livestock", np.full(12, 0.1))
    found = life_of(alone(tank_of(10.0, plain), RoofCatchment(100.0, 100.0)), daily(rain))
    assert (found.dry_days, found.longest, found.longest_from) == (0, 0, None)
    assert {thumb.rule: thumb for thumb in found.thumbs}["a full tank lasts"].record == 19


def test_dry_spells_and_waits_end_at_a_day_without_a_reading():
    """1 m3 on the first day of two years serves ten days; one unread day in a drought of 355 days
    breaks it, day 100 of the first leaving 264 behind it; a tank of 5 m3 that fills within days 10
    to 14 lacks a reading on 12."""
    rain = np.zeros(730)
    rain[[0, 365]] = 10.0
    rain[100] = np.nan
    plain = Use("goats", "livestock", np.full(12, 0.1))
    found = life_of(alone(tank_of(5.0, plain), RoofCatchment(100.0, 100.0)), daily(rain))
    assert found.dry_days == 2 * 355 - 1
    assert (found.longest, str(found.longest_from.date())) == (355, "2002-01-11")
    rain[470] = np.nan
    found = life_of(alone(tank_of(5.0, plain), RoofCatchment(100.0, 100.0)), daily(rain))
    assert (found.longest, str(found.longest_from.date())) == (264, "2001-04-12")
    rain = np.zeros(100)
    rain[10:20] = rain[60:70] = 10.0
    rain[12] = np.nan
    house = Use("house", "household", np.full(12, 0.25))
    found = life_of(alone(tank_of(5.0, house), RoofCatchment(125.0, 125.0)), daily(rain))
    assert (found.refill_days, found.refills) == (4.0, 1)
