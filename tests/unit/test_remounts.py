"""Mounts of one state, pooled: exact where a formula is known, covering where one is bad."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from thermostack.errors import InputError, UnknownNameError
from thermostack.measured.reading import Reading
from thermostack.measured.remounts import BAD, SHIFT, WIDTH, pool_mounts, posterior


def mount(name, degrees, level=""):
    return Reading.of(
        {"die": f"{degrees} degC (sd 0.05 K)"}, power="200 W (sd 0.01 W)", coolant="26 degC (sd 0.01 K)", mount=name,
        level=level
    )  # fmt: skip


def test_one_mount_has_the_scatter_of_its_class():
    pooled = pool_mounts([mount("1", 66)], scatter="0.0035 K/W")
    assert pooled.scatter_from == "class"
    assert "comes from the class" in str(pooled)
    # lognormal about the class's with one standard deviation of a factor of 2: mean exp(ln²2/2)
    assert pooled.scatter == pytest.approx(0.0035 * np.exp(np.log(2) ** 2 / 2), rel=0.01)
    assert "assumed" in str(pool_mounts([mount("1", 66)]))
    assert pool_mounts([mount("1", 66)]).class_scatter == pytest.approx(0.7 / 200)


def test_one_mount_is_the_mixture_seen_from_its_value():
    """Given the value, μ has the mixture's mean and variance: μ = R − s z, or R − s (4 + 4 z); s² = s₀² exp(2 ln²2)."""
    mean, u, *_, bad = posterior(np.array([0.0]), np.array([1e-8]), 1.0)
    s, s2 = np.exp(np.log(2) ** 2 / 2), np.exp(2 * np.log(2) ** 2)
    assert mean == pytest.approx(-BAD * SHIFT * s, rel=0.05)
    second = (1 - BAD) * s2 + BAD * (SHIFT**2 + WIDTH**2) * s2
    assert u == pytest.approx(np.sqrt(second - mean**2), rel=0.15)  # far tails lie beyond the grid
    assert bad[0] == pytest.approx(BAD, abs=0.01)


def test_alike_mounts_are_their_mean():
    values = np.array([-1.0, 0.4, 0.9, -0.3, 0.0, 0.6, -0.6])
    mean, u, width, _, bad = posterior(values, np.full(7, 1e-6), 0.7)
    assert mean == pytest.approx(values.mean(), abs=0.15 * values.std())
    assert u == pytest.approx(values.std(ddof=1) / np.sqrt(7), rel=0.35)
    assert width == pytest.approx(values.std(ddof=1), rel=0.25)
    assert bad.max() < 0.5


def test_one_bad_mount_does_no_harm():
    good = [66.0, 66.4, 65.8, 66.1]
    clean = pool_mounts([mount(str(i), t) for i, t in enumerate(good)], scatter="0.002 K/W")
    pooled = pool_mounts([mount(str(i), t) for i, t in enumerate([*good, 74.0])], scatter="0.002 K/W")
    assert pooled.bad[-1] > 0.99
    assert pooled.bad[:-1].max() < 0.1
    assert abs(pooled.resistance - clean.resistance) < 0.5 * clean.uncertainty


@pytest.mark.parametrize("number", [3, 8])
def test_coverage_with_one_bad_mount_in_eight(number):
    """150 states; bad mounts 2 to 8 K hotter; at least the exact 99.5 % bound of 95 %."""
    rng = np.random.default_rng(number)
    hits = errors = plain = 0.0
    for _ in range(150):
        bad = rng.random(number) < 1 / 8
        values = 0.7 * rng.standard_normal(number) + bad * rng.uniform(2, 8, number)
        mean, u, *_ = posterior(values, np.full(number, 0.0025), 0.7)
        hits += abs(mean) <= 1.96 * u
        errors, plain = errors + mean**2, plain + values.mean() ** 2
    assert hits >= binom.ppf(0.005, 150, 0.95)
    assert errors < 0.6 * plain


def test_levels_of_one_mount_are_averaged_and_idle_left_out():
    readings = [mount("1", 66), mount("1", 66.4, "second"), mount("1", 30, "idle"), mount("2", 65.9)]
    pooled = pool_mounts(readings, scatter="0.002 K/W")
    assert pooled.mounts == ("1", "2")
    assert pooled.resistances[0] == pytest.approx(40.2 / 200)
    assert set(pooled.to_dict()) >= {"resistance", "scatter", "bad"}
    assert "<table" in pooled._repr_html_()


def test_bad_input():
    with pytest.raises(InputError, match="no reading under load"):
        pool_mounts([mount("1", 30, "idle")])
    with pytest.raises(UnknownNameError, match="did you mean 'die'"):
        pool_mounts([mount("1", 66)], sensors=["dei"])
    with pytest.raises(InputError, match="no scatter"):
        pool_mounts([mount("1", 66)], scatter="0 K/W")
