"""Plan before the mod: normal theory against statsmodels and usual figures, soak against a published example."""

from __future__ import annotations

import numpy as np
import pytest

from thermostack.laws.soak import loop_time_constant, ramp_lag, slowest_time_bound, time_to_drift, time_to_within
from thermostack.planning.power import normal_power, smallest_told, student_power


@pytest.fixture(scope="module")
def theirs():
    """Return statsmodels.stats.power; loaded only where it is asked, since that takes seconds."""
    from statsmodels.stats import power

    return power


@pytest.mark.parametrize("effect", [0.2, 0.8, 1.5, 3.0])
@pytest.mark.parametrize("mounts", [1, 2, 3, 5, 8, 20])
def test_known_scatter_is_the_normal_power(theirs, effect, mounts):
    """Two independent samples of equal size, two-sided, alpha 0.05: statsmodels' NormalIndPower."""
    known = theirs.NormalIndPower().power(effect, mounts, 0.05, ratio=1.0, alternative="two-sided")
    assert normal_power(effect, np.sqrt(2 / mounts)) == pytest.approx(known, rel=1e-9)


@pytest.mark.parametrize("effect", [0.2, 0.8, 1.5, 3.0])
@pytest.mark.parametrize("mounts", [2, 3, 5, 8, 20])
def test_scatter_from_the_mounts_is_students_power(theirs, effect, mounts):
    """The same by t, equal variances, where Welch's degrees of freedom are 2n − 2: statsmodels' TTestIndPower."""
    student = theirs.TTestIndPower().power(effect, mounts, 0.05, ratio=1.0, alternative="two-sided")
    assert student_power(effect * 0.7, 0.7, 0.7, mounts) == pytest.approx(student, rel=1e-7)


@pytest.mark.parametrize("mounts", [2, 4, 9])
def test_smallest_drop_is_the_effect_that_statsmodels_solves_for(theirs, mounts):
    normal = theirs.NormalIndPower().solve_power(nobs1=mounts, alpha=0.05, power=0.8, alternative="two-sided")
    student = theirs.TTestIndPower().solve_power(nobs1=mounts, alpha=0.05, power=0.8, alternative="two-sided")
    assert smallest_told(1.0, 1.0, mounts, known=True) == pytest.approx(normal, rel=1e-5)
    assert smallest_told(1.0, 1.0, mounts, known=False) == pytest.approx(student, rel=1e-5)


@pytest.mark.parametrize(("mounts", "kelvin"), [(3, 1.6), (5, 1.2), (8, 1.0)])
def test_usual_figures(mounts, kelvin):
    """Scatter 0.7 K: 3 and 3 mounts tell 1.6 K, 5 and 5 1.2 K, 8 and 8 1 K (*common practice, no source*; two digits)."""
    assert smallest_told(0.7, 0.7, mounts, known=True) == pytest.approx(kelvin, abs=0.05)


def test_welch_degrees_of_freedom():
    """(n − 1)(s_b² + s_a²)²/(s_b⁴ + s_a⁴) ends at n − 1 where one state alone scatters (Welch 1947): one sample's t."""
    from scipy.stats import nct, t

    limit, n, d = t.ppf(0.975, 4), 5, 2.0
    one = nct.sf(limit, 4, d * np.sqrt(n)) + nct.cdf(-limit, 4, d * np.sqrt(n))
    assert student_power(d, 1.0, 1e-9, n) == pytest.approx(one, rel=1e-6)


def test_published_thermocouple():
    """Incropera and DeWitt, *Fundamentals of Heat and Mass Transfer*, example 5.1 (from memory): a junction of 0.706 mm
    with ρ 8500, c 400, h 400 has τ = 1 s, and is within 1 K of a gas 175 K hotter after 5.2 s."""
    diameter, h = 7.06e-4, 400.0
    area, volume = np.pi * diameter**2, np.pi * diameter**3 / 6
    tau = loop_time_constant(volume, 8500.0, 400.0, h * area)
    assert tau == pytest.approx(1.0, abs=0.005)
    assert time_to_within(175.0, 1.0, tau) == pytest.approx(5.2, abs=0.05)


def test_usual_settling():
    """Die, lid and plate of 8 and 77 J/K at 0.1 K/W settle in about 10 s; five time constants leave 0.7 %."""
    assert slowest_time_bound([8.0, 77.0], [0.1, 0.1]) == pytest.approx(8.5)
    assert time_to_within(1.0, np.exp(-5), 100.0) == pytest.approx(500.0)


def test_a_loop_in_time():
    """Against the heat balance integrated in time (scipy, RK45): coolant, and a stack that follows it."""
    from scipy.integrate import solve_ivp

    C, G, P, tau_stack, rise = 5016.0, 25.0, 230.0, 9.0, 45.0
    tau = float(loop_time_constant(1.2e-3, 1000.0, 4180.0, G))

    def rates(t, y):
        coolant, die = y
        return [(P - G * coolant) / C, (coolant + rise - die) / tau_stack]

    late = float(time_to_within(P / G, 0.1, tau))
    slow = float(time_to_drift(P / G, 0.1 / 60, tau))
    found = solve_ivp(rates, (0, late), [0.0, 0.0], t_eval=[slow, late], rtol=1e-9, atol=1e-9)
    coolant, die = found.y
    assert P / G - coolant[1] == pytest.approx(0.1, rel=1e-4)
    assert (P - G * coolant[0]) / C == pytest.approx(0.1 / 60, rel=1e-4)
    # a ramp that dies away: the lag is r τ_s / (1 − τ_s/τ)
    lag = ramp_lag(0.1 / 60, tau_stack) / (1 - tau_stack / tau)
    assert coolant[0] + rise - die[0] == pytest.approx(float(lag), rel=1e-3)


def test_the_sum_bounds_the_slowest_of_a_ladder():
    """Eigenvalues of a resistor ladder with capacities, second road."""
    rng = np.random.default_rng(5)
    for _ in range(50):
        n = int(rng.integers(1, 6))
        R, C = rng.uniform(0.01, 0.2, n), rng.uniform(1.0, 50.0, n)
        to_coolant = np.cumsum(R[::-1])[::-1]  # from each node down to the coolant
        shared = np.minimum.outer(to_coolant, to_coolant)
        times = np.linalg.eigvals(shared * C).real
        bound = slowest_time_bound(C, to_coolant)
        assert times.sum() == pytest.approx(bound, rel=1e-9)
        assert times.max() <= bound * (1 + 1e-12)
