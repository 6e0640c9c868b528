"""Whether importance weights can be trusted: the shape of their largest ones.

Vehtari, Simpson, Gelman, Yao and Gabry (2024), *Pareto smoothed importance sampling*, J. Mach. Learn. Res. 25(72).
The largest weights follow a generalised Pareto distribution. Its shape k says how many moments they have: k < 1/2 a
variance; up to about 0.7 estimates are still of use; above, no number of samples in reach will do. Replacing the
largest weights by the quantiles of the fitted distribution steadies the estimates.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["largest_shape", "pareto_shape", "smoothed"]

Float = NDArray[np.float64]

_LEAST_TAIL = 5


def largest_shape(samples: int) -> float:
    """Return the largest shape at which so many weights are of use: min(1 − 1/log₁₀ S, 0.7) (section 3.2.4 there)."""
    return min(1.0 - 1.0 / math.log10(samples), 0.7)


def pareto_shape(exceedances: Float) -> tuple[float, float]:
    """Return shape k and scale σ of a generalised Pareto distribution, 1 − F(x) = (1 + k x/σ)^(−1/k).

    Estimator of Zhang and Stephens (2009), with the weak prior of Vehtari and others (2024), appendix C: as if ten more
    exceedances had been of shape 1/2.

    Parameters
    ----------
    exceedances : ndarray (n,)
        Above zero.
    """
    x = np.sort(exceedances)
    n = x.size
    m = 30 + math.floor(math.sqrt(n))
    quarter = x[max(math.floor(n / 4 + 0.5) - 1, 0)]
    theta = 1 / x[-1] + (1 - np.sqrt(m / (np.arange(1, m + 1) - 0.5))) / (3 * quarter)
    k = np.mean(np.log1p(-theta[:, None] * x), axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        profile = n * (np.log(-theta / k) - k - 1)
    profile = np.where(np.isfinite(profile), profile, -np.inf)
    weight = np.exp(profile - profile.max())
    best = float(np.sum(theta * weight) / np.sum(weight))
    shape = float(np.mean(np.log1p(-best * x)))
    scale = -shape / best
    return (n * shape + 10 * 0.5) / (n + 10), scale


def smoothed(log_weights: Float) -> tuple[Float, float]:
    """Return log weights whose tail is smoothed, and the shape k of that tail.

    Parameters
    ----------
    log_weights : ndarray (n,)
        Not normalised; −∞ for a weight of zero.

    Returns
    -------
    smoothed : ndarray (n,)
        On the same scale, none above the largest given.
    k : float
        Infinite where there are too few weights above zero to tell; −∞ where the largest weights are all alike.
    """
    n = log_weights.size
    tail = math.ceil(min(0.2 * n, 3 * math.sqrt(n)))
    order = np.argsort(log_weights, kind="stable")
    above = order[n - tail :]
    if tail < _LEAST_TAIL or not np.isfinite(log_weights[order[n - tail - 1]]):
        return log_weights, math.inf
    top = float(log_weights[order[-1]])
    cut = math.exp(log_weights[order[n - tail - 1]] - top)
    excess = np.exp(log_weights[above] - top) - cut
    if excess[-1] <= 1e-12 or np.count_nonzero(excess > 0) < _LEAST_TAIL:
        return log_weights, -math.inf
    k, sigma = pareto_shape(np.maximum(excess, 1e-300 + 1e-15 * excess[-1]))
    q = (np.arange(1, tail + 1) - 0.5) / tail
    quantiles = cut + (-sigma * np.log1p(-q) if abs(k) < 1e-9 else sigma * np.expm1(-k * np.log1p(-q)) / k)
    out = log_weights.copy()
    out[above] = np.minimum(np.log(quantiles), 0.0) + top
    return out, k
