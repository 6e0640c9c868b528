"""Parts of the layered solver, each against a second road: quadrature, plain sums, or matrices."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.polynomial.legendre import leggauss, legvander
from scipy.special import spherical_jn

from thermostack.solvers.layered.coefficients import (
    CosineBasis,
    LegendreBasis,
    cosine_coefficients,
    cosine_overlaps,
    overlap,
    spherical_bessel,
)
from thermostack.solvers.layered.impedance import Slab, film_hybrid, rise_at_cut, slab_hybrid, star, through
from thermostack.solvers.layered.modes import NODES, REACH, ladder, radau
from thermostack.solvers.layered.near import kernel_mean


def modes_at(x, length, count):
    m = np.arange(count)
    return np.cos(np.outer(x, m) * np.pi / length) * np.where(m == 0, 1.0, np.sqrt(2.0))


@pytest.mark.parametrize("orders", [1, 2, 5, 16, 40])
def test_spherical_bessel(orders):
    x = np.concatenate([[0.0, 1e-9, 1e-3], np.linspace(0.01, 3.0 * orders + 5.0, 500), [2e3]])
    expected = [spherical_jn(n, x) for n in range(orders)]
    np.testing.assert_allclose(spherical_bessel(orders, x), expected, rtol=0.0, atol=2e-14)


def test_coefficients_are_means_of_polynomial_times_mode():
    low, high, length = 0.0113, 0.0306, 0.05
    nodes, weights = leggauss(80)
    x = 0.5 * (low + high) + 0.5 * (high - low) * nodes
    polynomials = legvander(nodes, 11) * np.sqrt(2.0 * np.arange(12) + 1.0)
    expected = (polynomials * (0.5 * weights)[:, None]).T @ modes_at(x, length, 60)
    found = cosine_coefficients(np.array([low]), np.array([high]), np.array([length]), np.arange(60), np.arange(12))
    np.testing.assert_allclose(found[0], expected, rtol=0.0, atol=1e-13)


def test_coefficients_of_one_parity_are_a_part_of_all():
    ends = np.array([-0.01 + 0.02]), np.array([0.01 + 0.02]), np.array([0.04])
    full = cosine_coefficients(*ends, np.arange(30), np.arange(8))
    odd = cosine_coefficients(*ends, np.arange(1, 30, 2), np.arange(1, 8, 2))
    np.testing.assert_allclose(odd, full[:, 1::2, 1::2], atol=1e-15)
    # centred: odd polynomials have no even modes in them
    np.testing.assert_allclose(full[:, 1::2, ::2], 0.0, atol=1e-14)


def test_overlaps_of_two_axes():
    low, high, a, b, shift = 0.004, 0.0135, 0.012, 0.03, -0.003
    basis = CosineBasis(np.arange(9), np.array([a]), np.array([shift]))
    nodes, weights = leggauss(80)
    x = 0.5 * (low + high) + 0.5 * (high - low) * nodes
    expected = (modes_at(x + shift, a, 9) * (0.5 * weights)[:, None]).T @ modes_at(x, b, 25)
    found = cosine_overlaps(np.array([[low]]), np.array([[high]]), basis, np.array([[b]]), np.arange(25))
    np.testing.assert_allclose(found[0, 0], expected, rtol=0.0, atol=1e-13)
    # an axis against itself: the modes are orthonormal, resonance included
    own = CosineBasis(np.arange(40), np.array([a]), np.array([0.0]))
    unit = cosine_overlaps(np.array([[0.0]]), np.array([[a]]), own, np.array([[a]]), np.arange(40))
    np.testing.assert_allclose(unit[0, 0], np.eye(40), atol=1e-13)


@pytest.mark.parametrize("ends", [(0.01, 0.02, 0.01, 0.02), (0.005, 0.02, 0.012, 0.03), (0.0, 0.01, 0.02, 0.03)])
def test_overlap_is_the_sum_over_all_modes(ends):
    length, count = 0.035, 60_000
    degrees = np.arange(4)
    a0, a1, b0, b1 = (np.array([v]) for v in ends)
    a = cosine_coefficients(a0, a1, np.array([length]), np.arange(count), degrees)[0]
    b = cosine_coefficients(b0, b1, np.array([length]), np.arange(count), degrees)[0]
    found = overlap(a0, a1, LegendreBasis(degrees), b0, b1, LegendreBasis(degrees), np.array([length]))[0]
    # the sum falls short by its tail: squares of polynomial ends, 7 at most, over (ω_end π)
    np.testing.assert_allclose(found, a @ b.T, rtol=0.0, atol=4 * 7 * (length / 0.01) ** 2 / count)


def test_radau_is_exact_for_polynomials():
    nodes, weights = radau(5)
    assert nodes[0] == 0.0
    for power in range(9):
        assert weights @ nodes**power == pytest.approx(1.0 / (power + 1.0), rel=1e-13)
    assert abs(weights @ nodes**9 - 0.1) > 1e-6


def test_gaussians_stand_for_one_over_gamma():
    nodes, weights = radau(NODES)
    x = np.linspace(1.0, 4.0, 50)  # γ in units of the edge of the box
    found = (weights * REACH * 2.0 / np.sqrt(np.pi) * np.exp(-((np.outer(x, nodes) * REACH) ** 2))).sum(axis=1)
    assert np.abs(found * x - 1.0).max() < 0.032


def test_ladder_rounds_up_to_even_numbers():
    wanted = np.linspace(1.0, 900.0, 2000)
    found = ladder(wanted)
    assert (found % 2 == 0).all()
    assert (found >= wanted).all()
    assert (found <= 2 * np.maximum(wanted, 4.0)).all()
    assert len(np.unique(found)) < 20


def transfer(gamma, slab):
    """Matrix from (θ, q) above to (θ, q) below: the textbook form, which overflows for large γt."""
    g = gamma * np.sqrt(slab.k_in_plane / slab.k_through)
    z = slab.k_through * g
    c, s = np.cosh(g * slab.thickness), np.sinh(g * slab.thickness)
    return np.array([[c, s / z], [z * s, c]]) @ np.array([[1.0, slab.r_above], [0.0, 1.0]])


@pytest.mark.parametrize("gamma", [1.0, 60.0, 400.0, 1500.0])
def test_cascade_equals_transfer_matrices(gamma):
    slabs = [
        Slab(np.float64(0.7e-3), np.float64(120.0), np.float64(120.0), np.float64(5e-6)),
        Slab(np.float64(2e-3), np.float64(90.0), np.float64(900.0), np.float64(0.0)),
        Slab(np.float64(1e-5), np.float64(5.0), np.float64(5.0), np.float64(2e-6)),
    ]
    (a, b), (c, d) = transfer(gamma, slabs[0]) @ transfer(gamma, slabs[1]) @ transfer(gamma, slabs[2])
    whole = through(np.array([gamma]), slabs)
    # θ₀ = a θ + b q, q₀ = c θ + d q; solved for θ₀ and q in terms of q₀ and θ
    np.testing.assert_allclose([whole.R[0], whole.alpha[0], whole.Y[0]], [b / d, 1.0 / d, c / d], rtol=1e-9)
    # closed by a film: the rise at the lower face, and at a cut, for a unit of flux
    r = 1e-4
    below, _ = rise_at_cut(None, whole, np.float64(r))
    assert below[0] == pytest.approx((a * r + b) / (c * r + d), rel=1e-9)
    low, high = through(np.array([gamma]), slabs[:1]), through(np.array([gamma]), slabs[1:])
    cut, _ = rise_at_cut(low, high, np.float64(r))
    q_top = 1.0 / (c * r + d)
    (e, f), _ = transfer(gamma, slabs[1]) @ transfer(gamma, slabs[2])
    assert cut[0] == pytest.approx((e * r + f) * q_top, rel=1e-9)


def test_mode_zero_is_series_resistance():
    slabs = [Slab(*map(np.float64, v)) for v in ((1e-3, 100.0, 100.0, 1e-5), (2e-3, 400.0, 10.0, 0.0))]
    whole = through(np.zeros(1), slabs)
    assert whole.R[0] == pytest.approx(1e-5 + 1e-5 + 5e-6, rel=1e-14)
    assert whole.alpha[0] == 1.0
    assert whole.Y[0] < 1e-250


def test_nothing_overflows_and_fine_modes_see_a_half_space():
    slab = slab_hybrid(np.array([1e9]), np.float64(1.0), np.float64(100.0), np.float64(400.0))
    assert slab.R[0] == pytest.approx(1.0 / (200.0 * 1e9))
    assert slab.alpha[0] == 0.0
    joined = star(slab, slab)
    assert all(np.isfinite(v).all() for v in joined)


def test_film_beside_the_path_takes_its_share():
    r = np.float64(0.5)
    low, high = film_hybrid(r), slab_hybrid(np.zeros(1), np.float64(0.1), np.float64(1.0), np.float64(1.0))
    rise, _ = rise_at_cut(None, star(low, high), np.float64(0.4))
    assert rise[0] == pytest.approx(1.0 / (1.0 / 0.5 + 1.0 / (0.1 + 0.4)))


def test_kernel_mean_is_the_damped_sum_over_modes():
    length, low, high = 0.02, 0.004, 0.009
    m = np.arange(4000)
    source = cosine_coefficients(np.array([low]), np.array([high]), np.array([length]), m, np.zeros(1, int))[0, 0]
    for x in (0.0, 0.0039, 0.004, 0.006, 0.02):
        for t in (2e-5, 3e-4, 3e-3):
            expected = (modes_at([x], length, 4000)[0] * source * np.exp(-((m * np.pi * t / length) ** 2))).sum()
            found = kernel_mean(np.array(x), np.array(low), np.array(high), np.array(length), np.array(t))
            assert found == pytest.approx(expected, rel=1e-6, abs=1e-9)
