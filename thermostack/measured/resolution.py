"""What the resolution of a sensor does to a mean: from a stuck value to a noise that averages the steps away.

A rounding error is a sawtooth of the temperature. Averaged over a normal noise of standard deviation σ, each harmonic
of the sawtooth is damped by the noise's characteristic function, which leaves (q the step)

    E[Q(x)] − μ = (q/π) Σ_k (−1)^k/k · exp(−2π²k²σ²/q²) · sin(2πkμ/q)

(Widrow and Kollár 2008, *Quantization Noise*, chapter 4; derived as said). Over all places of μ in a step its root mean
square is q/√12 without noise (JCGM 100:2008, F.2.2.1) and next to nothing from σ = q/2. In between, how often each
level was read tells most of it: `bias_seen`.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

__all__ = ["bias_seen", "rounding_bias", "rounding_error", "step_of"]

_K = np.arange(1.0, 201.0)
"""Harmonics; at σ = 0 those left out hold 0.3 % of the variance, which `rounding_error` adds."""
_REST = math.pi**2 / 6 - float(np.sum(1 / _K**2))
MOST = 20_000
"""Rows that are looked at to find the step of a sensor."""
FINE = 0.7
"""Noise over step from which rounding is of no consequence: `rounding_error` is below 2e-5 steps."""
COUNTED = 30_000
"""Rows of which it is counted how often each level was read."""
MOST_SIZE = 2000.0
"""Effective values that are counted on: no noise is normal enough for more."""
_NOISES = np.geomspace(0.01, FINE, 120)


def rounding_bias(mean: float, noise: float, step: float) -> float:
    """Return by how much the mean of rounded values is too high.

    Parameters
    ----------
    mean : float
        Before rounding, in the unit of `step`.
    noise : float
        Standard deviation before rounding, normal.
    step : float
        To whole multiples of which values are rounded.
    """
    damped = np.exp(-2 * (math.pi * _K * noise / step) ** 2)
    return float(step / math.pi * np.sum((-1) ** _K / _K * damped * np.sin(2 * math.pi * _K * mean / step)))


def rounding_error(noise: float, step: float) -> float:
    """Return the root mean square bias of a mean of rounded values, over all places in a step.

    (q / (π√2)) √(Σ_k exp(−4π²k²σ²/q²)/k²): q/√12 without noise.

    Parameters
    ----------
    noise : float
        Standard deviation before rounding, normal.
    step : float
    """
    exponents = -4 * (math.pi * _K * noise / step) ** 2
    total = np.sum(np.exp(exponents) / _K**2) + _REST * math.exp(exponents[-1])
    return float(step / (math.pi * math.sqrt(2)) * math.sqrt(total))


def bias_seen(values: NDArray[np.float64], step: float, size: float) -> tuple[float, float]:
    """Return the bias of the mean of rounded values that the values themselves tell of, and its standard uncertainty.

    For each noise σ there is one μ that gives the mean which was read, and the bias is what lies between them. What
    remains unknown is σ: each is as likely as the levels were read as often as they were (normal noise, prior 1/σ,
    times dμ/dE[Q(x)], the width in μ that goes with the width in the mean).

    Parameters
    ----------
    values : ndarray
        Rounded, finite, any offset.
    step : float
    size : float
        Effective number of independent values, at most their number.

    Returns
    -------
    bias, uncertainty : float
        In the unit of `step`. A value that never changes has no bias that is known and q/√12; noise above 0.7 steps
        gives 0 and 0.
    """
    some = values[:: max(1, len(values) // COUNTED)]
    if np.var(some) > (FINE**2 + 1 / 12) * step**2:
        return 0.0, 0.0
    size, lowest = min(size, MOST_SIZE), float(some.min())
    counts = np.bincount(np.rint((some - lowest) / step).astype(np.intp)).astype(np.float64)
    if len(counts) == 1:
        return 0.0, step / math.sqrt(12)
    numbers = np.arange(len(counts))
    mean = float((values.mean() - lowest) / step)
    variance = float(counts @ (numbers - mean) ** 2 / counts.sum())
    # thresholds lie half a step below each level, a few of them beyond what was read
    edges = np.arange(-3, len(counts) + 4) - 0.5
    low, high = np.full_like(_NOISES, -2.0), np.full_like(_NOISES, len(counts) + 1.0)
    for _ in range(22):  # to a few millionths of a step
        middle = (low + high) / 2
        expected = edges[0] - 0.5 + ndtr((middle[:, None] - edges) / _NOISES[:, None]).sum(axis=1)
        low, high = np.where(expected < mean, middle, low), np.where(expected < mean, high, middle)
    place = (low + high) / 2
    z = (edges[3 : len(counts) + 4] - place[:, None]) / _NOISES[:, None]
    # each level's probability, taken in the tail where the difference keeps its digits
    near, far = np.where(z[:, :-1] > 0, -z[:, 1:], z[:, :-1]), np.where(z[:, :-1] > 0, -z[:, :-1], z[:, 1:])
    probability = np.maximum(ndtr(far) - ndtr(near), 1e-300)
    density = np.exp(-(((edges - place[:, None]) / _NOISES[:, None]) ** 2) / 2) / math.sqrt(2 * math.pi)
    slope = np.maximum(density.sum(axis=1) / _NOISES, 1e-300)
    weight = np.log(probability) @ counts * (size / counts.sum()) - np.log(slope)
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    bias = mean - place
    centre = float(weight @ bias)
    # between thresholds the mean hardly moves with μ: then its own scatter says less of μ than of itself
    widened = float(weight @ np.clip(1 / slope**2 - 1, 0.0, 100.0)) * variance / size
    return step * centre, step * math.sqrt(float(weight @ (bias - centre) ** 2) + widened)


def step_of(values: NDArray[np.float64]) -> float | None:
    """Return the step of a sensor: the largest one of which all differences are whole multiples.

    Parameters
    ----------
    values : ndarray
        As recorded. Up to 20,000 of them are looked at.

    Returns
    -------
    float or None
        None where the values never change, or have as many levels as a tenth of their rows: then the step is finer
        than the noise and does not matter.
    """
    some = values[:: max(1, len(values) // MOST)]
    levels = np.unique(some[np.isfinite(some)])
    # conversion to kelvin leaves errors of the last bit: equal levels are brought together
    levels = levels[np.append(True, np.diff(levels) > 1e-6)] if len(levels) else levels
    if len(levels) < 2 or (len(levels) > 20 and len(levels) > len(some) / 10):
        return None
    gaps = np.diff(levels)
    step = float(gaps.min())
    multiples = gaps / step
    if np.abs(multiples - np.rint(multiples)).max() > 0.02:
        return None
    return float((levels[-1] - levels[0]) / np.rint(multiples).sum())
