"""Green-Ampt infiltration against the textbook's examples, closed forms and a fine integration."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import rows
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import lambertw

from terrain.runoff.green_ampt import (
    Texture,
    depth_under_rain,
    infiltrate,
    infiltration_rate,
    ponded_depth,
    ponded_gain,
    ponding_time,
    texture_named,
    textures,
)

# Chow, Maidment & Mays, Applied Hydrology, 1988, Examples 4.3.1, 4.4.1 and 4.4.2 (from memory):
# silt loam with a suction rounded to 16.7 cm, effective saturation 0.3.
CHOW = Texture("silt loam", 0.501, 0.486, 167.0, 6.5)
DEFICIT = CHOW.suction_deficit(0.3)


def example(number: str, quantity: str) -> tuple[float, float]:
    """Printed figure, and half a unit of its last place."""
    row = next(r for r in rows("green_ampt_worked_examples.csv")
               if r["example"] == number and quantity in r["quantity"])
    return float(row["printed"]), 0.5 * 10.0 ** -len(row["printed"].partition(".")[2])


# Rawls, Brakensiek & Miller, 1983 (from memory); cm to mm.
@pytest.mark.parametrize("row", rows("green_ampt_parameters_rawls_1983.csv"),
                         ids=lambda r: r["texture"])
def test_textures_are_the_published_ones(row):
    soil = textures()[row["texture"]]
    assert soil.porosity == float(row["porosity"])
    assert soil.effective_porosity == float(row["effective_porosity"])
    assert soil.suction == pytest.approx(10 * float(row["suction_cm"]))
    assert soil.conductivity == pytest.approx(10 * float(row["k_cm_per_h"]))


def test_there_are_no_other_textures_and_names_are_read_as_people_write_them():
    assert len(textures()) == len(rows("green_ampt_parameters_rawls_1983.csv")) == 11
    assert texture_named(" Sandy  Loam").name == texture_named("sandy_loam").name == "sandy loam"
    with pytest.raises(ValueError, match=r"'mud'.*sand, loamy sand, .*clay"):
        texture_named("mud")


def test_example_4_3_1_ponded_from_the_start():
    printed, last = example("4.3.1", "moisture")
    assert DEFICIT / CHOW.suction == pytest.approx(printed, abs=last)
    printed, last = example("4.3.1", "suction x")
    centimetres = DEFICIT / 10
    assert centimetres == pytest.approx(printed, abs=last)
    depth = ponded_depth(1.0, DEFICIT, CHOW.conductivity)
    printed, last = example("4.3.1", "cumulative")
    assert depth / 10 == pytest.approx(printed, abs=last)
    # The book goes on with its rounded depths, 3.17 and 5.68 cm.
    printed, last = example("4.3.1", "rate")
    assert infiltration_rate(31.7, 56.8, CHOW.conductivity) / 10 == pytest.approx(
        printed, abs=last)


@pytest.mark.parametrize("rate", [1, 5])
def test_example_4_4_1_time_until_water_stands(rate):
    printed, last = example("4.4.1", f"ponding time at {rate} cm/h")
    # The book goes on with its rounded 5.68 cm.
    assert ponding_time(10.0 * rate, 56.8, CHOW.conductivity) == pytest.approx(printed, abs=last)


def test_examples_4_4_1_and_4_4_2_depth_before_and_after_water_stands():
    hours = float(ponding_time(50.0, DEFICIT, CHOW.conductivity))
    printed, last = example("4.4.1", "infiltration to ponding")
    assert depth_under_rain(hours, 50.0, DEFICIT, CHOW.conductivity) / 10 == pytest.approx(
        printed, abs=last)
    depth = depth_under_rain(1.0, 50.0, DEFICIT, CHOW.conductivity)
    printed, last = example("4.4.2", "cumulative")
    assert depth / 10 == pytest.approx(printed, abs=last)
    printed, last = example("4.4.2", "rate")
    assert infiltration_rate(depth, DEFICIT, CHOW.conductivity) / 10 == pytest.approx(
        printed, abs=last)


# F = s (-W(-exp(-1 - K t / s)) - 1), lower branch: the closed form of the implicit equation.
@given(st.floats(1e-2, 40), st.floats(1, 400), st.floats(0.05, 150))
def test_ponded_depth_is_lamberts_closed_form(time, suction, conductivity):
    x = conductivity * time / suction
    if 1e-3 < x < 700:  # beyond, scipy's function loses digits, or its argument is 0
        closed = -lambertw(-np.exp(-1 - x), -1).real - 1
        assert ponded_depth(time, suction, conductivity) == pytest.approx(suction * closed,
                                                                          rel=1e-9)


@given(st.floats(0, 500), st.floats(1e-4, 500), st.floats(1e-4, 200), st.floats(1e-4, 100))
def test_the_gain_solves_the_implicit_equation(before, suction, conductivity, step):
    gain = ponded_gain(before, suction, conductivity, step)
    left = gain - suction * np.log1p(gain / (suction + before))
    assert left == pytest.approx(conductivity * step, rel=1e-8, abs=1e-12 * suction)


@pytest.mark.parametrize("name", ["sand", "loam", "clay"])
def test_ponded_depth_is_the_rates_integral(name):
    """dF/dt = K (1 + s / F) by scipy, from a depth that is past the start's endless rate."""
    soil = textures()[name]
    suction, k = soil.suction_deficit(0.2), soil.conductivity
    fine = solve_ivp(lambda t, depth: k * (1 + suction / depth), (0, 10), [1.0], rtol=1e-10,
                     atol=1e-10, t_eval=[0.1, 1, 10])
    assert 1.0 + ponded_depth(fine.t, suction, k, 1.0) == pytest.approx(fine.y[0], rel=1e-7)


@given(st.floats(0, 300), st.floats(0.1, 300), st.floats(0.01, 150), st.floats(0.01, 20),
       st.floats(0.01, 20))
def test_two_steps_are_one_long_one(before, suction, conductivity, first, second):
    half = ponded_gain(before, suction, conductivity, first)
    both = half + ponded_gain(before + half, suction, conductivity, second)
    assert both == pytest.approx(ponded_gain(before, suction, conductivity, first + second),
                                 rel=1e-8)


def test_limits():
    soil = textures()["silt loam"]
    suction, k = soil.suction_deficit(), soil.conductivity
    # Long after, the rate is the conductivity; at the very start, F = sqrt(2 s K t).
    late = infiltration_rate(ponded_depth(1e6, suction, k), suction, k)
    assert late == pytest.approx(k, rel=1e-4)
    assert ponded_depth(1e-7, suction, k) == pytest.approx(np.sqrt(2 * suction * k * 1e-7),
                                                           rel=1e-4)
    assert ponding_time([k, 0.5 * k, 0.0], suction, k).tolist() == [np.inf] * 3
    assert depth_under_rain(1000.0, 0.9 * k, suction, k) == pytest.approx(900 * k)
    # A wet soil has no suction left; none soaks in where nothing conducts.
    assert soil.suction_deficit(1.0) == 0
    assert ponded_depth(3.0, 0.0, k) == pytest.approx(3 * k)
    assert infiltration_rate([0.0, 5.0], 0.0, k).tolist() == [k, k]
    assert infiltration_rate(0.0, suction, k) == np.inf
    assert ponded_gain(0.0, suction, 0.0, 1.0) == 0
    assert ponded_gain(4.0, suction, k, 0.0) == 0


def test_arrays_broadcast():
    found = ponded_depth([[0.5], [1.0]], [50.0, 60.0, 0.0], 5.0)
    assert found.shape == (2, 3)
    assert found[1, 0] == ponded_gain(0.0, 50.0, 5.0, 1.0)


# Steady rain: the steps' sum is the closed form, wherever within a step water begins to stand.
@pytest.mark.parametrize(("rate", "step"), [(50.0, 0.25), (50.0, 0.01), (10.0, 1.0), (5.0, 1.0)])
def test_a_storm_in_steps_is_the_closed_form_of_steady_rain(rate, step):
    rain = np.full(int(24 / step), rate * step)
    infiltrated, excess = infiltrate(rain, step, CHOW, 0.3)
    times = step * np.arange(1, rain.size + 1)
    assert np.cumsum(infiltrated) == pytest.approx(
        depth_under_rain(times, rate, DEFICIT, CHOW.conductivity), rel=1e-9)
    assert (excess.sum() == 0) == (times[-1] < ponding_time(rate, DEFICIT, CHOW.conductivity))


def test_a_storm_in_steps_is_a_fine_integration_of_the_same_rule():
    """Soaks in: the rain, or what the soil can take where that is less; by tiny Euler steps."""
    rain = np.array([2.0, 0.0, 15.0, 30.0, 4.0, 0.0, 0.0, 22.0])
    soil = textures()["clay loam"]
    suction, k, total, fine = soil.suction_deficit(0.4), soil.conductivity, 0.0, []
    for depth in rain:
        begun = total
        for _ in range(40_000):
            able = k * (1 + suction / total) if total > 0 else np.inf
            total += min(depth / 0.25, able) * 0.25 / 40_000
        fine.append(total - begun)
    infiltrated, _ = infiltrate(rain, 0.25, soil, 0.4)
    assert infiltrated == pytest.approx(fine, abs=2e-3)


@given(st.lists(st.floats(0, 80), min_size=1, max_size=40), st.sampled_from(list(textures())),
       st.floats(0, 1), st.floats(0.02, 6))
def test_what_falls_soaks_in_or_runs_off(rain, name, saturation, step):
    soil = textures()[name]
    infiltrated, excess = infiltrate(rain, step, soil, saturation)
    assert infiltrated + excess == pytest.approx(rain, abs=1e-9)
    assert (infiltrated >= 0).all()
    assert (excess >= 0).all()
    # No more than under water from the start, and at least what the wetted soil conducts.
    most = ponded_depth(step * np.arange(1, len(rain) + 1), soil.suction_deficit(saturation),
                        soil.conductivity)
    assert (np.cumsum(infiltrated) <= most * (1 + 1e-9) + 1e-9).all()
    assert (infiltrated >= np.minimum(rain, soil.conductivity * step) - 1e-9).all()


def test_wetter_soil_sheds_more_and_slower_rain_less():
    rain = np.full(6, 12.0)
    loam = textures()["loam"]
    shed = [infiltrate(rain, 0.5, loam, wet)[1].sum() for wet in (0.0, 0.5, 1.0)]
    assert shed == sorted(shed)
    assert shed[0] < shed[2] == pytest.approx(72 - 3 * loam.conductivity)
    assert infiltrate(rain, 2.0, loam)[1].sum() < shed[0]


def test_ponding_starts_where_the_rate_meets_the_rain():
    """The time at which K (1 + s / (i t)) = i, found by a root finder."""
    found = brentq(lambda t: infiltration_rate(30.0 * t, 80.0, 6.0) - 30.0, 1e-6, 10)
    assert ponding_time(30.0, 80.0, 6.0) == pytest.approx(found)


@pytest.mark.parametrize(("rain", "step", "wet", "said"), [
    ([1.0, -2.0], 1.0, 0.0, "rain -2"), ([float("nan")], 1.0, 0.0, "rain nan"),
    ([1.0], 0.0, 0.0, "step 0"), ([1.0], 1.0, 1.2, "saturation 1.2"),
    ([[1.0]], 1.0, 0.0, "2 dimensions")])
def test_wrong_figures_are_refused(rain, step, wet, said):
    with pytest.raises(ValueError, match=said):
        infiltrate(rain, step, CHOW, wet)


def test_negative_times_and_deficits_are_refused():
    with pytest.raises(ValueError, match="time -1"):
        ponded_depth(-1.0, 50.0, 5.0)
    with pytest.raises(ValueError, match="suction deficit -5"):
        ponded_depth(1.0, -5.0, 5.0)
    with pytest.raises(ValueError, match="rate of rain -3"):
        depth_under_rain(1.0, -3.0, 5.0, 5.0)
