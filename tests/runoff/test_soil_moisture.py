"""Soil moisture against a slow plain reading of its rules, its closed account and its limits."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from terrain.runoff.curve_number import runoff_depth
from terrain.runoff.soil_moisture import soil_moisture

#: Curve numbers of average, dry and wet ground.
#: Source: USDA NRCS, NEH 630, ch. 10, 2004, Table 10-1 (rows 90, 80, 70, 60 seen in a stored
#: copy; the others from memory).
CONDITIONS = [(95, 87, 98), (90, 78, 96), (85, 70, 94), (80, 63, 91), (75, 57, 88), (70, 51, 85),
              (60, 40, 78)]


def retention(number):
    """TR-55, 1986, eq. 2-4, in mm."""
    return 25400 / number - 254


AVERAGE, DRY, WET = (np.array([retention(row[i]) for row in CONDITIONS]) for i in range(3))


def plain(rain, evapotranspiration, dry, average, wet, ratio, depletion):
    """One class with scalars: a bucket that holds from 0 to `dry - wet` [mm]."""
    holds, found = dry - average, []
    for fell, could in zip(rain, evapotranspiration, strict=True):
        room = dry - holds
        ran = (fell - ratio * room)**2 / (fell + (1 - ratio) * room) if fell > ratio * room else 0
        water = holds + fell - ran
        dried = min(could * math.exp(-depletion * room / dry), water)
        water -= dried
        gone = max(water - (dry - wet), 0)
        found.append((ran, dried, gone, room))
        holds = water - gone
    return found


@pytest.fixture(scope="module")
def seattle():
    """Rain and a plain reference evapotranspiration of four years [mm].

    Rain as vega_datasets ships it (seattle-weather); the evapotranspiration is a made-up
    yearly wave between 1 and 5 mm a day.
    """
    from vega_datasets import data as shipped

    data = shipped.seattle_weather()
    day = data["date"].dt.day_of_year.to_numpy()
    return (data["precipitation"].to_numpy(float), 3 - 2 * np.cos(2 * np.pi * day / 365),
            data["date"].dt.year.to_numpy())


@pytest.mark.parametrize(("ratio", "depletion"), [(0.2, 1.0), (0.2, 0.5), (0.05, 2.0)])
def test_it_is_the_plain_bucket_on_a_real_record(seattle, ratio, depletion):
    rain, could, _ = seattle
    found = soil_moisture(rain, could, DRY, AVERAGE, WET, ratio, depletion)
    for i in range(DRY.size):
        slow = np.array(plain(rain.tolist(), could.tolist(), DRY[i], AVERAGE[i], WET[i], ratio,
                              depletion))
        for name, column in zip(("runoff", "evaporated", "drained", "retention"), slow.T,
                                strict=True):
            assert getattr(found, name)[:, i] == pytest.approx(column, abs=1e-9), name


def test_the_published_step_by_hand():
    # S = S' + ET exp(-B S' / S_dry) - P + Q: S' = 100, S_dry = 200, ET 5, B 1, P 60 and
    # Q = (60 - 20)^2 / (60 + 80) = 80/7, so S = 100 + 5 e^-0.5 - 60 + 80/7.
    found = soil_moisture([60.0, 0.0], [5.0, 0.0], [200.0], [100.0], [10.0])
    assert found.runoff[0, 0] == pytest.approx(80 / 7)
    assert found.retention[1, 0] == pytest.approx(100 + 5 * math.exp(-0.5) - 60 + 80 / 7)
    assert found.drained[0, 0] == 0


depths = st.lists(st.one_of(st.just(0.0), st.floats(0, 400)), min_size=1, max_size=40)


@settings(max_examples=150, deadline=None)
@given(depths, st.floats(0, 15), st.floats(0, 500), st.floats(0, 1), st.floats(0, 1),
       st.sampled_from([0.2, 0.05]), st.floats(0, 5))
def test_every_day_closes_and_retention_keeps_its_bounds(rain, could, dry, share, start, ratio,
                                                         depletion):
    wet = dry * share
    found = soil_moisture(rain, [could] * len(rain), [dry], [wet + start * (dry - wet)], [wet],
                          ratio, depletion)
    room = np.append(found.retention[:, 0], found.left)
    out = found.runoff[:, 0] + found.evaporated[:, 0] + found.drained[:, 0]
    assert out - np.diff(room) == pytest.approx(np.array(rain), abs=1e-9)
    assert out.sum() + room[0] - room[-1] == pytest.approx(sum(rain), rel=1e-9, abs=1e-9)
    assert room.min() >= wet - 1e-9
    assert room.max() <= dry + 1e-9
    for part in (found.runoff, found.evaporated, found.drained):
        assert part.min() >= -1e-9
    assert (found.evaporated <= could + 1e-9).all()


@settings(max_examples=150, deadline=None)
@given(depths, st.data(), st.floats(1, 500), st.floats(0, 1), st.sampled_from([0.2, 0.05]))
def test_without_evapotranspiration_more_rain_never_gives_less_runoff(rain, data, dry, share,
                                                                      ratio):
    # Retention then only falls, and what soaks in is concave in it, so that drier ground never
    # ends the day wetter.  With evapotranspiration this is not so, and is not claimed.
    day = data.draw(st.integers(0, len(rain) - 1))
    more = list(rain)
    more[day] += data.draw(st.floats(0, 100))
    none = [0.0] * len(rain)
    before, after = (soil_moisture(series, none, [dry], [dry], [dry * share], ratio).runoff.sum()
                     for series in (rain, more))
    assert after >= before - 1e-9


def test_a_long_dry_spell_ends_at_the_dry_number_and_soaking_rain_at_the_wet_one():
    days = 2000
    dried = soil_moisture(np.zeros(days), np.full(days, 6.0), DRY, WET, WET)
    assert dried.left == pytest.approx(DRY)
    assert dried.evaporated.sum(axis=0) == pytest.approx(DRY - WET)
    assert (np.diff(dried.retention, axis=0) >= 0).all()
    soaked = soil_moisture(np.full(days, 30.0), np.full(days, 2.0), DRY, DRY, WET)
    assert soaked.left == pytest.approx(WET)
    last = runoff_depth(30.0, [row[2] for row in CONDITIONS])
    assert soaked.runoff[-1] == pytest.approx(last)


def test_depletion_from_none_to_without_bound(seattle):
    rain, could, _ = seattle
    plainly = soil_moisture(rain, could, DRY, AVERAGE, WET, depletion=0.0)
    full = plainly.evaporated == could[:, None]
    ends = np.vstack([plainly.retention[1:], plainly.left])
    assert (full | np.isclose(ends, DRY)).all()  # the whole reference, or until it is dry
    assert full.any()
    assert not full.all()
    none = soil_moisture(rain, could, DRY, AVERAGE, WET, depletion=1e6)
    assert none.evaporated.max() == 0
    assert none.left == pytest.approx(WET)


def test_ground_that_holds_nothing_sheds_all(seattle):
    rain, could, _ = seattle
    found = soil_moisture(rain, could, [0.0, 50.0], [0.0, 30.0], [0.0, 0.0])
    assert (found.runoff[:, 0] == rain).all()
    for part in (found.evaporated, found.drained, found.retention):
        assert (part[:, 0] == 0).all()
    assert found.runoff[:, 1].sum() < rain.sum()


def test_constant_retention_is_the_curve_number_every_day(seattle):
    rain, could, _ = seattle
    found = soil_moisture(rain, could, AVERAGE, AVERAGE, AVERAGE)
    numbers = np.array([row[0] for row in CONDITIONS])
    assert found.runoff == pytest.approx(runoff_depth(rain[:, None], numbers), abs=1e-9)


def test_a_real_records_runoff_lies_between_always_dry_and_always_wet(seattle):
    rain, could, years = seattle
    found = soil_moisture(rain, could, DRY, AVERAGE, WET)
    always = [runoff_depth(rain[:, None], np.array([row[i] for row in CONDITIONS]))
              for i in (1, 2)]
    for year in np.unique(years):
        of = years == year
        low, high = always[0][of].sum(axis=0), always[1][of].sum(axis=0)
        assert (found.runoff[of].sum(axis=0) >= low).all()
        assert (found.runoff[of].sum(axis=0) <= high).all()
        assert (low < high).all()


@pytest.mark.parametrize(("change", "words"), [
    ({"rain": [1.0, -1.0]}, "rain of -1 mm"),
    ({"rain": [1.0, float("nan")]}, "rain of nan"),
    ({"evapotranspiration": [1.0, -2.0]}, "evapotranspiration of -2 mm"),
    ({"evapotranspiration": [1.0]}, "not of the same days"),
    ({"wet": [70.0]}, "100, 60 and 70 mm are not in order"),
    ({"average": [120.0]}, "not in order"),
    ({"wet": [-1.0]}, "not in order"),
    ({"wet": [10.0, 10.0]}, "not of the same classes"),
    ({"depletion": -1.0}, "depletion -1"),
])
def test_what_cannot_be_is_refused(change, words):
    given = {"rain": [1.0, 2.0], "evapotranspiration": [1.0, 1.0], "dry": [100.0],
             "average": [60.0], "wet": [20.0]}
    with pytest.raises(ValueError, match=words):
        soil_moisture(**(given | change))
