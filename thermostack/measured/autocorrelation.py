"""What neighbouring rows of a log have in common, and what that does to the variance of their mean."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from ..errors import InputError

__all__ = ["autocovariance", "batch_means", "correlation_time", "variance_of_mean"]

SELF_CONSISTENT = 5.0
"""The sum over lags ends at this many correlation times (Sokal 1997, section 3, who takes 4 to 10)."""


def autocovariance(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the autocovariance of a series at every lag: the mean product of deviations so many rows apart.

    Parameters
    ----------
    values : ndarray, shape (N,)
        At equal distances in time; NaN where nothing was recorded.

    Returns
    -------
    ndarray, shape (N,)
        Of lags 0 to N − 1, about the mean of the series; 0 where no two rows are so far apart. By fast Fourier
        transform with as many zeros appended (Box, Jenkins and Reinsel, *Time Series Analysis*, 2.1.5, but divided by
        the number of pairs).
    """
    here = np.isfinite(values)
    n = len(values)
    deviation = np.where(here, values - (values[here].mean() if here.any() else 0.0), 0.0)
    size = next_fast_len(2 * n, real=True)
    spectra = rfft(np.stack([deviation, here.astype(np.float64)]), size, axis=1)
    sums, pairs = irfft(np.abs(spectra) ** 2, size, axis=1)[:, :n]
    pairs = np.rint(pairs)
    mean: NDArray[np.float64] = np.divide(sums, pairs, out=np.zeros(n), where=pairs > 0)
    return mean


def correlation_time(correlation: NDArray[np.float64]) -> tuple[float, int]:
    """Return the integrated correlation time τ = 1 + 2 Σ ρ_k and the last lag of the sum.

    Parameters
    ----------
    correlation : ndarray, shape (N,)
        Autocorrelation at lags 0 to N − 1, one at lag 0.

    Returns
    -------
    time : float
        In rows: 1 for independent rows. The sum ends at the first lag W ≥ 5 τ(W) (Sokal 1997, *Functional Integration*,
        NATO ASI B 361, section 3), as the noise of further lags would swamp it. At least 1: rows that alternate about
        their mean are taken as independent.
    last : int
        W.
    """
    n = len(correlation)
    if n < 2:
        return 1.0, 0
    times = 1 + 2 * np.cumsum(correlation[1:])
    lags = np.arange(1, n)
    enough = lags >= SELF_CONSISTENT * times
    index = int(enough.argmax()) if enough.any() else n - 2
    return max(1.0, float(times[index])), index + 1


def variance_of_mean(correlation: NDArray[np.float64]) -> float:
    """Return the variance of the mean of N rows over the variance of one: (1/N) [1 + 2 Σ (1 − k/N) ρ_k].

    Parameters
    ----------
    correlation : ndarray, shape (N,)
        Autocorrelation at lags 0 to N − 1. Exact for a stationary series (Anderson 1971, *The Statistical Analysis of
        Time Series*, 8.1); its inverse is the effective number of rows.
    """
    n = len(correlation)
    lags = np.arange(1, n)
    return float((1 + 2 * np.sum((1 - lags / n) * correlation[1:])) / n)


def batch_means(values: NDArray[np.float64], rows: int) -> float:
    """Return the variance of the mean of a series by batch means: S_B² / B, with S_B² the variance of B batch means.

    Parameters
    ----------
    values : ndarray, shape (N,)
        What is left over at the end, short of a batch, is not used.
    rows : int
        In a batch. Too low by about (correlation time / rows) of itself (Law and Kelton, *Simulation Modeling and
        Analysis*, 9.5.3).

    Raises
    ------
    InputError
        If there are not two batches.
    """
    batches = len(values) // rows if rows > 0 else 0
    if batches < 2:
        raise InputError(f"{len(values)} rows in batches of {rows}", expected="at least two batches")
    means = values[: batches * rows].reshape(batches, rows).mean(axis=1)
    return float(np.var(means, ddof=1) / batches)
