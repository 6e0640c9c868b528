"""Time series against published formulas: the mean of correlated rows, batch means, rounding, random walks.

Sources stand in data/verification_series.csv and beside each test.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.signal import lfilter
from scipy.stats import norm

from thermostack.measured.autocorrelation import autocovariance, batch_means, correlation_time, variance_of_mean
from thermostack.measured.blocks import Blocks
from thermostack.measured.mean import cosines, covariance_of_mean
from thermostack.measured.resolution import bias_seen, rounding_bias, rounding_error

DATA = Path(__file__).parent / "data" / "verification_series.csv"


def rows_of(quantity):
    with DATA.open(encoding="utf-8") as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        chosen = [row for row in rows if row["quantity"] == quantity]
    assert chosen
    return [pytest.param(row, id=row["case"]) for row in chosen]


def ar1(phi, rows, rng, runs=1):
    shocks = rng.standard_normal((runs, rows)) * np.sqrt(1 - phi**2)
    shocks[:, 0] /= np.sqrt(1 - phi**2)  # the first row has the stationary variance
    return lfilter([1], [1, -phi], shocks, axis=1)


@pytest.mark.parametrize("row", rows_of("variance ratio"))
def test_variance_of_the_mean(row):
    correlation = float(row["phi"]) ** np.arange(int(row["rows"]))
    assert variance_of_mean(correlation) == pytest.approx(float(row["value"]), rel=float(row["relative_tolerance"]))


@pytest.mark.parametrize("row", rows_of("effective rows"))
def test_effective_rows(row):
    correlation = float(row["phi"]) ** np.arange(int(row["rows"]))
    assert 1 / variance_of_mean(correlation) == pytest.approx(float(row["value"]), rel=float(row["relative_tolerance"]))


def expected_batch_means(phi, rows, batch):
    """The expectation of a quadratic form is the sum of its values on the columns of a root of the covariance matrix.

    AR(1): x = L e with independent e, so E[batch_means(x)] = Σ batch_means(L column).
    """
    shocks = np.eye(rows)
    shocks[1:] *= np.sqrt(1 - phi**2)
    root = lfilter([1], [1, -phi], shocks, axis=0)
    return sum(batch_means(column, batch) for column in root.T)


@pytest.mark.parametrize("row", [row for row in rows_of("batch means") if row.values[0]["rows"] == "1000"])
def test_batch_means_expectation(row):
    value = expected_batch_means(float(row["phi"]), int(row["rows"]), int(row["batch"]))
    assert value == pytest.approx(float(row["value"]), rel=float(row["relative_tolerance"]))


@pytest.mark.parametrize("row", rows_of("batch means"))
def test_batch_means_formula(row):
    """(var_m − var_N)/(B − 1), of our variances of the mean."""
    phi, rows, batch = float(row["phi"]), int(row["rows"]), int(row["batch"])
    short, whole = (variance_of_mean(phi ** np.arange(n)) for n in (batch, rows))
    value = (short - whole) / (rows // batch - 1)
    assert value == pytest.approx(float(row["value"]), rel=float(row["relative_tolerance"]))


def test_batch_means_as_pandas_groups_them():
    x = np.random.default_rng(3).standard_normal(1000)
    means = pd.Series(x).groupby(np.arange(1000) // 50).mean()
    assert batch_means(x, 50) == pytest.approx(means.var(ddof=1) / 20, rel=1e-12)


def test_autocovariance_with_holes_by_its_definition():
    rng = np.random.default_rng(4)
    x = ar1(0.8, 300, rng)[0]
    x[rng.random(300) < 0.2] = np.nan
    y = x - np.nanmean(x)
    slow = [np.nanmean(y[: len(y) - k] * y[k:]) for k in range(100)]
    np.testing.assert_allclose(autocovariance(x)[:100], slow, rtol=0, atol=1e-12)


def test_autocovariance_as_pandas_has_it():
    """pandas' lagged correlation takes means and deviations of each part; they differ by the ends of the series
    only."""
    x = ar1(0.9, 200_000, np.random.default_rng(5))[0]
    ours = autocovariance(x)
    for lag in (1, 5, 20):
        assert ours[lag] / ours[0] == pytest.approx(pd.Series(x).autocorr(lag), abs=2e-4)


@pytest.mark.parametrize("phi", [0.0, 0.5, 0.9])
def test_correlation_time_of_ar1(phi):
    """(1 + φ)/(1 − φ); the sum ends at five of them, which cuts exp(−10) of it and less."""
    time, _ = correlation_time(phi ** np.arange(5000.0))
    assert time == pytest.approx((1 + phi) / (1 - phi), rel=1e-4 if phi else 1e-12)


def blocks_of(x):
    return Blocks.of(np.arange(float(x.shape[-1])), list(np.atleast_2d(x)), 128)


@pytest.mark.parametrize("phi", [0.0, 0.5, 0.9, -0.5])
def test_cosines_have_the_variance_of_the_mean(phi):
    """Müller 2007: slow cosines have the variance of the mean; exact expectation by the columns of a root, as above.

    The spectrum of an AR(1) series, (1 − φ²)/(1 − 2φ cos ω + φ²), tells how much less the j-th has; the cut at the ends
    of the window leaves a relative error of the order of correlation time over rows.
    """
    rows, j = 2000, np.arange(1, 5)
    shocks = np.eye(rows)
    shocks[1:] *= np.sqrt(1 - phi**2)
    root = lfilter([1], [1, -phi], shocks, axis=0)
    size = 400
    total = sum((cosines(blocks_of(root.T[i : i + size]), 4) ** 2).sum(axis=0) for i in range(0, rows, size))
    spectrum = (1 - phi**2) / (1 - 2 * phi * np.cos(np.pi * j / rows) + phi**2) / rows
    time = (1 + phi) / (1 - phi)
    # blocks make a staircase of the cosine: (πj/B)²/12 of it is faster, where the spectrum is up to 1/time² as high
    staircase = (np.pi * 4 / 125) ** 2 / 12 * max(1, 1 / time**2)
    np.testing.assert_allclose(total, spectrum, rtol=2 * time / rows + staircase)


def test_student_interval_of_white_noise_is_exact():
    """(x̄ − μ)/√var is Student's t with K: of 4,000 series the share within, in the exact binomial 99.9 % band."""
    rng = np.random.default_rng(6)
    x = rng.standard_normal((4000, 640))
    within = 0
    for one in x:
        result = covariance_of_mean(blocks_of(one), np.eye(1), np.array([True]))
        within += not result.bound and abs(one.mean()) <= 1.96 * np.sqrt(result.covariance[0, 0])
        within += result.bound * (abs(one.mean()) <= 1.96 * np.sqrt(result.covariance[0, 0]))
    from scipy.stats import binom

    low, high = binom.ppf([0.0005, 0.9995], 4000, 0.95)
    assert low <= within <= high


@pytest.mark.parametrize("noise", [0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5])
def test_bias_of_rounded_normal_noise(noise):
    """The damped sawtooth (Widrow and Kollár 2008, ch. 4) against the sum over levels of the normal distribution."""
    levels = np.arange(-12, 13)
    biases = []
    for mean in np.arange(-0.495, 0.5, 0.01):
        if noise:
            chance = norm.cdf((levels + 0.5 - mean) / noise) - norm.cdf((levels - 0.5 - mean) / noise)
            bias = levels @ chance - mean
            assert rounding_bias(mean, noise, 1.0) == pytest.approx(bias, abs=1e-12 if noise > 0.02 else 1e-2)
        else:
            bias = np.rint(mean) - mean
        biases.append(bias)
    # 100 midpoints of a periodic smooth function: exact with noise; without it the sawtooth's 1 − 1/100²
    expected = np.sqrt(np.mean(np.square(biases)))
    assert rounding_error(noise, 1.0) == pytest.approx(expected, rel=1e-4, abs=1e-12)


def test_a_value_that_never_changes_has_the_step_over_root_twelve():
    """JCGM 100:2008, F.2.2.1."""
    assert bias_seen(np.full(100, 300.15), 0.5, 100) == (0.0, pytest.approx(0.5 / np.sqrt(12)))
    assert rounding_error(0.0, 2.0) == pytest.approx(2 / np.sqrt(12), rel=1e-5)


@pytest.mark.parametrize("noise", [0.02, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5])
def test_mean_of_rounded_values_over_noise_and_step(noise):
    """Raw error as the law has it; after the correction it is smaller, and lies within twice its uncertainty."""
    rng = np.random.default_rng(7)
    rows, runs = 1500, 400
    raw, left, stated = np.empty(runs), np.empty(runs), np.empty(runs)
    for i, mean in enumerate(rng.uniform(0, 1, runs)):
        x = np.rint(mean + noise * rng.standard_normal(rows))
        bias, u = bias_seen(x, 1.0, rows)
        raw[i], left[i], stated[i] = x.mean() - mean, x.mean() - bias - mean, np.hypot(u, x.std() / np.sqrt(rows))
    law = np.hypot(rounding_error(noise, 1.0), np.sqrt((noise**2 + 1 / 12) / rows))
    # the sample's root mean square has a standard error of 1/√(2·400) = 3.5 % at most: three of them
    assert np.sqrt(np.mean(raw**2)) == pytest.approx(law, rel=0.11)
    assert np.sqrt(np.mean(left**2)) <= 1.11 * law
    assert np.mean(np.abs(left) <= 1.96 * stated) >= 0.93 - 1e-9  # 400 at 95 %: 99 % binomial bound 0.92
