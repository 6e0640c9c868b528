"""Speed of the laws, as ratios to bare NumPy in the same run, so that the machine does not matter."""

from __future__ import annotations

import numpy as np
import pytest

from thermostack.laws import interface
from thermostack.laws.closed_form import closed_form_spreading
from thermostack.laws.conduction import slab_resistance
from thermostack.laws.flux_channel import rectangle_on_flux_channel

SAMPLES = 1_000_000


@pytest.fixture(scope="module")
def stacks():
    rng = np.random.default_rng(1)
    return {
        "t_die": rng.normal(0.78e-3, 0.01e-3, SAMPLES),
        "k_die": rng.normal(120.0, 5.0, SAMPLES),
        "line": rng.uniform(25e-6, 60e-6, SAMPLES),
        "k_line": rng.normal(3.5, 0.2, SAMPLES),
        "contact": rng.uniform(1e-7, 1e-6, SAMPLES),
        "t_plate": rng.normal(3e-3, 0.05e-3, SAMPLES),
        "k_plate": rng.normal(390.0, 5.0, SAMPLES),
        "h": rng.normal(2e4, 1e3, SAMPLES),
    }


AREA, A, B = 2.2e-4, 8.4e-3, 28e-3


def by_laws(s):
    die = slab_resistance(s["t_die"], s["k_die"], AREA)
    joint = interface.bond_line_resistance(s["line"], s["k_line"], s["contact"]) / AREA
    return die + joint + closed_form_spreading(A, B, s["t_plate"], s["k_plate"], s["h"], warn=False).mean


def bare(s):
    """The same chain as one expression."""
    eps, tau, biot = A / B, s["t_plate"] / B, s["h"] * B / s["k_plate"]
    lam = np.pi + 1 / (np.sqrt(np.pi) * eps)
    tanh = np.tanh(lam * tau)
    phi = (tanh + lam / biot) / (1 + lam / biot * tanh)
    plate = (s["t_plate"] / s["k_plate"] + 1 / s["h"]) / (np.pi * B**2)
    spread = 0.5 * (1 - eps) ** 1.5 * phi / (np.sqrt(np.pi) * s["k_plate"] * A)
    return s["t_die"] / (s["k_die"] * AREA) + (s["line"] / s["k_line"] + s["contact"]) / AREA + plate + spread


@pytest.mark.long
def test_closed_form_chain_of_a_million_stacks(benchmark, least, stacks):
    """The chain has mean, centre and checks that the bare expression has not; five times its cost is the limit."""
    assert by_laws(stacks) == pytest.approx(bare(stacks), rel=1e-12)
    ours, plain = least(lambda: by_laws(stacks), lambda: bare(stacks), rounds=7)
    ratio = ours / plain
    benchmark.extra_info["ratio to bare NumPy"] = round(ratio, 2)
    benchmark.pedantic(by_laws, args=(stacks,), rounds=3)
    assert ratio < 5


@pytest.mark.parametrize("rtol", [1e-4, 1e-5])
def test_one_flux_channel(benchmark, rtol):
    """One evaluation of two layers: the time itself, fixed costs of small arrays dominate."""
    arguments = ([0.04, 0.04], [0.0124, 0.0176], None, np.array([0.78e-3, 3e-3]), np.array([120.0, 390.0]), 2e4)
    benchmark(rectangle_on_flux_channel, *arguments, rtol=rtol)


def test_a_batch_of_flux_channels(benchmark, least):
    """A sample of a batch of one geometry costs half of a single call or less (0.21 to 0.42 seen: it waits for memory)."""
    rng = np.random.default_rng(2)
    k, h = np.array([120.0, 390.0]) * rng.lognormal(0, 0.05, (10_000, 2)), rng.normal(2e4, 1e3, 10_000)
    geometry = ([0.04, 0.04], [0.0124, 0.0176], None, np.array([0.78e-3, 3e-3]))
    fifty, many = least(
        lambda: [rectangle_on_flux_channel(*geometry, k[0], h[0]) for _ in range(50)],
        lambda: rectangle_on_flux_channel(*geometry, k, h),
        rounds=3,
    )
    single = 50 * many / fifty
    benchmark.extra_info["single calls that a batch of 10 000 costs"] = round(single)
    benchmark.pedantic(rectangle_on_flux_channel, args=(*geometry, k, h), rounds=1)
    print(f"a batch of 10 000 costs {single:.0f} single calls")
    assert single < 10_000 / 2
