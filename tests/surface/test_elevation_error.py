"""Random errors of a raster: variance and correlation against the closed form of the model."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import kstest

from terrain.surface.elevation_error import correlation, error_field


def fields(count: int, *given) -> np.ndarray:
    made = error_field(*given)
    return np.array([made.draw(np.random.default_rng(seed)) for seed in range(count)], np.float64)


def test_correlation_is_the_gaussian_model_with_a_practical_range():
    """rho(d) = exp(-3 (d/a)^2): Oksanen & Sarjakoski 2005; the practical range is where the
    correlation has fallen to 5 % (exp(-3) = 0.0498), a convention of geostatistics."""
    assert correlation(0.0, 30.0) == 1.0
    assert correlation(30.0, 30.0) == pytest.approx(0.0498, abs=5e-5)
    assert correlation([0.0, 1.0], 0.0).tolist() == [1.0, 0.0]


@pytest.mark.parametrize(("shape", "cell", "deviation", "reach"), [
    ((24, 30), 1.0, 0.10, 10.0), ((25, 31), 2.0, 0.5, 9.0), ((24, 31), 10.0, 0.82, 30.0),
    ((24, 30), 30.0, 5.0, 30.0), ((25, 30), 1.0, 1.0, 0.0)])
def test_deviation_and_correlogram_are_those_of_the_closed_form(shape, cell, deviation, reach):
    """Products of pairs averaged over independent fields, within four standard errors of the
    mean as the fields themselves tell it."""
    found = fields(600, shape, cell, deviation, reach) / deviation
    for down, across in [(0, 0), (0, 1), (1, 0), (0, 3), (3, 0), (2, 2), (0, 6), (6, 0), (5, 4)]:
        here = found[:, :found.shape[1] - down, :found.shape[2] - across]
        there = found[:, down:, across:]
        products = (here * there).mean(axis=(1, 2))
        wanted = float(correlation(np.hypot(down, across) * cell, reach))
        error = products.std() / np.sqrt(len(products))
        assert products.mean() == pytest.approx(wanted, abs=4 * error), (down, across)
    mirrored = (found[:, 4:, :-4] * found[:, :-4, 4:]).mean(axis=(1, 2))  # the other diagonal
    assert mirrored.mean() == pytest.approx(
        float(correlation(np.hypot(4, 4) * cell, reach)),
        abs=4 * mirrored.std() / np.sqrt(len(mirrored)))


def test_every_cell_has_the_deviation_and_opposite_sides_nothing_in_common():
    found = fields(2000, (12, 16), 1.0, 2.0, 8.0)
    # Variance of n normal draws: relative standard deviation sqrt(2 / n); 192 cells, 4.5 of them.
    assert np.abs(found.var(axis=0) / 4.0 - 1).max() < 4.5 * np.sqrt(2 / 2000)
    assert abs(np.corrcoef(found[:, 0, 0], found[:, -1, -1])[0, 1]) < 4 / np.sqrt(2000)
    assert abs(np.corrcoef(found[:, 0, 3], found[:, -1, 3])[0, 1]) < 4 / np.sqrt(2000)


def test_heights_of_a_cell_are_normal():
    found = fields(1500, (6, 7), 1.0, 0.3, 5.0)[:, 2, 4]
    assert kstest(found / 0.3, "norm").pvalue > 0.001


def test_same_seed_same_bytes_and_twice_the_deviation_twice_the_field():
    one = error_field((40, 50), 1.0, 0.1, 20.0)
    two = error_field((40, 50), 1.0, 0.2, 20.0)
    first = one.draw(np.random.default_rng(3))
    assert first.tobytes() == one.draw(np.random.default_rng(3)).tobytes()
    assert (first != one.draw(np.random.default_rng(4))).all()
    np.testing.assert_allclose(two.draw(np.random.default_rng(3)), 2 * first, rtol=1e-5, atol=1e-7)
    assert first.dtype == np.float32
    assert first.shape == (40, 50)


@pytest.mark.parametrize("given", [(1.0, -0.1, 10.0), (1.0, 0.1, -1.0), (0.0, 0.1, 10.0)])
def test_nonsense_is_refused(given):
    with pytest.raises(ValueError, match="too small"):
        error_field((10, 10), *given)
