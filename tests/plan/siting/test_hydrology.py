"""What a site file says of rain, weather and travel time, through a whole plan."""

import json

import numpy as np
import pandas as pd
import pytest

from terrain.errors import InputError
from terrain.outputs.data.plan_json import plan_object
from terrain.plan.plan import make_plan
from terrain.plan.siting.reading import read_inputs
from terrain.runoff.curve_number import RunoffRule, runoff_depth
from terrain.runoff.green_ampt import texture_named
from terrain.runoff.infiltration import UNTESTED_SHARE

TABLE = """\
duration,2 yr mm,10 yr mm,100 yr mm
5 min,6,10,15
30 min,15,25,40
1 h,20,32,52
24 h,38,62,98
"""


def say(site, **parts):
    """Add top-level parts to a site file; `storms` adds to the list of storms."""
    text = site.read_text()
    if storms := parts.pop("storms", None):
        text = text.replace("  storms:\n", f"  storms:\n{storms}")
    if rain := parts.pop("rain", None):
        text = text.replace("rain:\n", f"rain:\n{rain}", 1)
    for name, body in parts.items():
        text += f"{name}: {body}\n"
    site.write_text(text)
    return site


@pytest.fixture(scope="module")
def plain(small_plan):
    return small_plan


def caught(plan, storm="big day"):
    account = plan.storms[storm]
    return account.passive + account.left_site


def test_wet_ground_sheds_more_and_dry_ground_less(plain, small_site):
    """NEH 630, ch. 10 (2004): the catchment's own numbers under each condition."""
    found = {}
    for condition in ("I", "III"):
        say(small_site, runoff=f"{{antecedent: {condition}}}")
        plan = make_plan(small_site)
        ground = plan.cascade.nodes[0].catchment
        rule = RunoffRule(condition)
        assert ground.runoff(60.0) == pytest.approx(
            float((rule.runoff(60.0, ground.curve_numbers) * ground.areas).sum() / 1000))
        found[condition] = caught(plan)
        assert any(f"condition {'dry (I)' if condition == 'I' else 'wet (III)'}" in note
                   for note in plan.notes)
        small_site.write_text(small_site.read_text().replace(
            f"runoff: {{antecedent: {condition}}}\n", ""))
    assert found["I"] < 0.9 * caught(plain) < 1.1 * caught(plain) < found["III"]


def test_the_smaller_abstraction_sheds_from_smaller_rains(plain, small_site):
    """Hawkins et al. (2009): with 0.05 S runoff starts at a quarter of the converted S's rain."""
    plan = make_plan(say(small_site, runoff="{abstraction ratio: 0.05}"))
    ours, theirs = plan.stores[0].starts_at, plain.stores[0].starts_at
    spread = theirs / 0.2 / 25.4
    assert ours == pytest.approx(0.05 * 1.33 * spread**1.15 * 25.4, rel=1e-9)
    assert ours < theirs


def test_loss_on_the_way_lets_less_arrive_and_says_so(plain, small_site):
    plan = make_plan(say(small_site, runoff="{loss on the way: true}"))
    for name in plain.storms:
        less, more = plan.storms[name], plain.storms[name]
        assert less.rain == pytest.approx(more.rain)
        assert sum(e.runoff for e in less.entries) < sum(e.runoff for e in more.entries)
        assert less.soaked_in_place > more.soaked_in_place
    assert any("soaks in on the way" in note for note in plan.notes)
    assert not any("soaks in on the way" in note for note in plain.notes)
    # Rain on its own water reaches a store whole.
    water = plan.stores[1].store.curve.areas[-1]
    entry = plan.storms["shower"].entries[1]
    assert entry.runoff >= water * 20 / 1000 - 1e-9


def test_a_texture_takes_more_in_a_storm_than_its_steady_rate(plain, small_site):
    """Rawls, Brakensiek & Miller (1983): loam, halved as untested; dry soil takes more at first."""
    text = small_site.read_text()
    small_site.write_text(text.replace("    length: 30 m\n",
                                       "    length: 30 m\n    texture: loam\n"))
    soft = make_plan(small_site)
    store = soft.stores[0].store
    loam = texture_named("loam")
    assert store.infiltration == pytest.approx(UNTESTED_SHARE * loam.conductivity)
    assert store.suction > 0
    small_site.write_text(text.replace(
        "    length: 30 m\n", f"    length: 30 m\n    infiltration: {store.infiltration} mm/h\n"))
    steady = make_plan(small_site)
    assert soft.storms["shower"].entries[0].infiltrated > (
        steady.storms["shower"].entries[0].infiltrated)
    assert soft.stores[0].drain_hours == steady.stores[0].drain_hours
    small_site.write_text(text.replace("    length: 30 m\n",
                                       "    length: 30 m\n    texture: loem\n"))
    with pytest.raises(InputError, match=r'works "east swale", texture: \'loem\' is no texture'):
        make_plan(small_site)


def test_a_nested_storm_takes_its_shape_from_the_table_and_a_climate_factor_its_depth(small_site):
    (small_site.parent / "depths.csv").write_text(TABLE)
    burst = "    - {name: burst, duration: 1 h, pattern: nested, return period: 10}\n"
    say(small_site, storms=burst, rain="  frequency: depths.csv\n  climate factor: 1.25\n")
    inputs = read_inputs(small_site)
    storm = inputs.site.rain.storms[0]
    assert storm.depth == pytest.approx(1.25 * 32)
    shape = inputs.hydrology.shapes["burst"]
    assert shape.greatest_share(0.5) == pytest.approx(25 / 32)
    assert shape.greatest_share(5 / 60) == pytest.approx(10 / 32)
    assert inputs.hydrology.timing.two_year_rain == pytest.approx(1.25 * 38)
    assert any("times the climate factor 1.25" in said for said in inputs.site.looked_up)
    assert inputs.site.rain.storms[1].depth == 20.0  # what is stated stays


@pytest.mark.parametrize(("rain", "runoff", "hours", "source"), [
    ("  two year day: 45 mm\n", "{}", 45.0, "as stated"), ("", "{}", None, None)])
def test_the_two_year_rain_tells_travel_time(small_site, rain, runoff, hours, source):
    inputs = read_inputs(say(small_site, rain=rain, runoff=runoff))
    assert inputs.hydrology.timing.two_year_rain == hours
    notes = " ".join(inputs.hydrology.notes)
    assert ("sheet, shallow concentrated and channel" in notes) == (hours is not None)
    if source:
        assert source in notes


def test_segments_without_the_two_year_rain_are_refused(small_site):
    with pytest.raises(InputError, match="runoff, travel time: segments need the 2-year 24-hour"):
        read_inputs(say(small_site, runoff="{travel time: segments}"))


def test_lag_as_asked_for_stands_beside_the_segments(small_site):
    say(small_site, rain="  two year day: 45 mm\n", runoff="{travel time: lag}")
    plan = make_plan(small_site)
    ground = plan.cascade.nodes[0].catchment
    assert ground.reaches
    # By the lag equation, but no less than TR-55 (1986) takes. [h]
    assert ground.concentration == max(ground.concentration_by_lag, 0.1)
    assert ground.concentration_by_segments != pytest.approx(ground.concentration_by_lag)
    assert sum(r.length for r in ground.reaches) == pytest.approx(ground.longest_path)


def test_a_nested_storm_longer_than_its_table_is_refused(small_site):
    (small_site.parent / "depths.csv").write_text(TABLE)
    burst = "    - {name: burst, depth: 99 mm, duration: 48 h, pattern: nested}\n"
    say(small_site, storms=burst, rain="  frequency: depths.csv\n")
    with pytest.raises(InputError, match='storm "burst": a duration of 48 h is outside the table'):
        read_inputs(small_site)


def test_weather_gives_the_evapotranspiration_of_every_day(small_site):
    """By Hargreaves from temperatures, at the raster's own latitude (about 32.5 south)."""
    rain = pd.read_csv(small_site.parent / "rain.csv")
    dates = pd.to_datetime(rain.iloc[:, 0])
    warm = 25 + 8 * np.cos(2 * np.pi * (dates.dt.day_of_year - 15) / 365)
    pd.DataFrame({"date": dates.dt.strftime("%Y-%m-%d"), "tmax_c": warm.round(1),
                  "tmin_c": (warm - 14).round(1)}).to_csv(small_site.parent / "air.csv",
                                                           index=False)
    text = small_site.read_text()
    start = text.index("evapotranspiration:")
    monthly, rest = text[start:].split("\n", 1)
    small_site.write_text(text[:start] + "weather:\n  file: air.csv\n" + rest)
    inputs = read_inputs(small_site)
    found = inputs.evaporation
    assert found.daily.size == len(rain)
    assert found.monthly[0] > 2 * found.monthly[6] > 0  # southern summer
    assert any("Hargreaves" in note for note in found.notes)
    small_site.write_text(small_site.read_text() + monthly + "\n")
    with pytest.raises(InputError, match="given by month and by weather too"):
        read_inputs(small_site)


def test_both_wetnesses_of_the_soil_stand_beside_each_other(plain, small_site):
    name, other = plain.beside
    assert name == "average year, soil that dries"
    dries = make_plan(say(small_site, runoff="{soil moisture: continuous}"))
    assert dries.beside[0] == "average year, soil of average wetness"
    assert dries.year == other
    assert dries.beside[1] == plain.year
    written = json.loads(json.dumps(plan_object(plain)))["totals"]["average_year_beside"]
    assert written["soil"] == "soil that dries"
    assert written["passive_m3"] == pytest.approx(other.passive)


def test_soil_that_dries_needs_evapotranspiration(small_site):
    text = small_site.read_text()
    start = text.index("evapotranspiration:")
    small_site.write_text(text[:start] + text[start:].split("\n", 1)[1])
    assert make_plan(small_site).beside is None
    with pytest.raises(InputError, match="runoff, soil moisture: the soil dries by"):
        make_plan(say(small_site, runoff="{soil moisture: continuous}"))


def test_runoff_by_cells_stands_beside_that_of_the_mean_number(plain):
    """TR-55 (1986), eq. 2-3 is convex in the number's storage, so cells together shed more."""
    depth = plain.site.rain.design.depth
    for node, peaks in zip(plain.cascade.nodes, plain.peaks, strict=True):
        ground = node.catchment.ground
        if not ground.area:
            assert peaks is None
            continue
        mean = (ground.curve_numbers * ground.areas).sum() / ground.area
        assert ground.runoff_by_mean_number(depth) == pytest.approx(
            float(runoff_depth(depth, mean)) * ground.area / 1000)
        assert ground.runoff(depth) >= ground.runoff_by_mean_number(depth) * (1 - 1e-12)
        assert peaks.unit_hydrograph > 0
