"""Mean of correlated series, and the covariance of means from their slowest cosines.

Rows of a log are not independent, and how long they stay alike is not known beforehand. The mean of a stationary series
is the zeroth of its cosine components. Its neighbours, slow against everything that happens in the series, have the
same variance but are seen K times over, so that

    λ_j = (√2/N) Σ_t (x_t − x̄) cos(πj (t − ½)/N),     var(x̄) = (1/K) Σ_j λ_j²,     (x̄ − μ)/√var(x̄) ~ Student's t
    with K

(equally weighted cosines: Müller 2007, J. Econometrics 141, 1331; Lazarus, Lewis, Stock and Watson 2018, J. Bus. Econ.
Stat. 36, 541). For several series the products λ_j λ_j' give the covariance matrix, never indefinite.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .autocorrelation import autocovariance, batch_means, correlation_time, variance_of_mean
from .blocks import Blocks

__all__ = ["BLOCKS", "ENOUGH", "MeanOf", "correlation_times", "cosines", "covariance_of_mean", "random_walk_evidence"]

BLOCKS = 128
"""A window is seen in this many blocks. Noise from row to row averages out in a block and cannot hide a slow wander."""
ENOUGH = 50.0
"""Correlation times in a window from which the uncertainty of a mean is an estimate; below it is a bound."""
FLAT = 0.1
"""Cosines a correlation time. The spectrum 1/(1 + (ωT)²) of a series that forgets with time constant T, correlation
time 2T, is down by 2.5 % at the last of so many and by 1 % on their average."""
FEWEST, MOST = 4, 12
"""Cosines: below 4 the variance of Student's t is not fit to stand for it; above 12 its quantile falls by less than 11
%, and a slow wander under faster noise would be averaged away."""


@dataclass(frozen=True, eq=False)
class MeanOf:
    """Covariance of means, and how it was come by.

    Attributes
    ----------
    covariance : ndarray, shape (M, M)
        Of the means: that of the Student distribution which stands for what is known of them, K/(K − 2) times the
        sample's (JCGM 101:2008, 6.4.9.4). Its normal 95 % interval is Student's to 1 %.
    cosines : int
        K, degrees of freedom.
    correlation_times : float
        In the window, of the series that has fewest.
    bound : bool
        Whether there are fewer than 50, and the covariance is a bound.
    """

    covariance: NDArray[np.float64]
    cosines: int
    correlation_times: float
    bound: bool


def cosines(blocks: Blocks, number: int) -> NDArray[np.float64]:
    """Return λ_j of each column, shape (M, number): each has the variance of the column's mean."""
    n = blocks.count.sum(axis=1, keepdims=True)
    phase = (blocks.time - blocks.start) / (blocks.time[-1] + blocks.width / 2 - blocks.start)
    waves = np.cos(np.pi * np.outer(np.arange(1, number + 1), phase))
    deviation = blocks.total - blocks.count * (blocks.total.sum(axis=1, keepdims=True) / n)
    return np.asarray(np.sqrt(2) * (deviation @ waves.T) / n)


def correlation_times(means: NDArray[np.float64]) -> float:
    """Return how many correlation times the blocks of a series hold, at most their number.

    Parameters
    ----------
    means : ndarray, shape (B,)
        Mean in each block, NaN where there is none.
    """
    covariance = autocovariance(means)
    if covariance[0] <= 0:
        return float(len(means))
    time, last = correlation_time(covariance / covariance[0])
    # deviations from the sample's own mean are less alike than those from the true one; to first order by this factor
    seen = max(1 - (2 * last + 1) / len(means), 0.2)
    return float(min(len(means) * seen / time, len(means)))


def random_walk_evidence(blocks: NDArray[np.float64]) -> float:
    """Return the logarithm of the likelihood of a random walk over that of a stationary series, from 16 slow cosines.

    A random walk has cosines with variances as 1/j², a stationary series equal ones (the two point hypotheses of
    Müller and Watson 2008, Econometrica 76, 979); the scale of each is fitted.

    Parameters
    ----------
    blocks : ndarray, shape (B,)
        Mean in each block, NaN where there is none.
    """
    here = blocks[np.isfinite(blocks)]
    number = min(16, len(here) // 2)
    if number < 4 or np.ptp(here) == 0:
        return -np.inf
    j = np.arange(1, number + 1)
    waves = np.cos(np.pi * np.outer(j, (np.arange(len(here)) + 0.5) / len(here)))
    power = (waves @ (here - here.mean())) ** 2
    return float(number / 2 * np.log(power.mean() / (j**2 * power).mean()) + np.log(j).sum())


def covariance_of_mean(blocks: Blocks, basis: NDArray[np.float64], judged: NDArray[np.bool_]) -> MeanOf:
    """Return the covariance of the means of M columns.

    Parameters
    ----------
    blocks : Blocks
        Of the window, at most `BLOCKS`, of M columns.
    basis : ndarray, shape (M, M)
        Makes of the columns the series to look at, such as sensor minus coolant; can be inverted.
    judged : ndarray of bool, shape (M,)
        Which of these series decide how many cosines are slow: not the coolant, which may drift along with all others.

    Returns
    -------
    MeanOf
    """
    series = basis @ blocks.means
    times = min([correlation_times(each) for each in series[judged]], default=float(series.shape[1]))
    number = int(np.clip(round(FLAT * times), FEWEST, MOST))
    slow = basis @ cosines(blocks, number)
    own = _shrunk(slow @ slow.T / number, number)
    if times < ENOUGH:
        own = own * max([_raise(each, own[i, i], times) for i, each in enumerate(series) if judged[i]], default=1.0)
    back = np.linalg.inv(basis)
    covariance = back @ own @ back.T * (number / (number - 2))
    return MeanOf((covariance + covariance.T) / 2, number, times, times < ENOUGH)


def _shrunk(covariance: NDArray[np.float64], number: int) -> NDArray[np.float64]:
    """Return a covariance with the correlations that `number` samples cannot tell from none drawn towards none.

    Schäfer and Strimmer 2005 (Stat. Appl. Genet. Mol. Biol. 4, 32), target D, with the normal variance of a
    correlation, (1 − r²)²/K. The matrix can then be inverted even where there are more series than cosines.
    """
    sd = np.sqrt(np.diag(covariance))
    scale = np.where(sd > 0, sd, 1.0)
    correlation = covariance / np.outer(scale, scale)
    off = ~np.eye(len(sd), dtype=bool)
    total = float(np.sum(correlation[off] ** 2))
    if total == 0:
        return covariance
    share = min(1.0, float(np.sum((1 - correlation[off] ** 2) ** 2)) / number / total)
    return np.where(off, (1 - share) * covariance, covariance)


def _raise(means: NDArray[np.float64], variance: float, times: float) -> float:
    """Return the factor that makes a variance of a mean a bound where the window holds few correlation times.

    The largest of three estimates (cosines, batch means of eight, sum of the autocorrelation), over what a spectrum
    1/(1 + (ωT)²) with half as many correlation times would hide from the cosines used.
    """
    here = means[np.isfinite(means)]
    if variance <= 0 or len(here) < 16:
        return 1.0
    covariance = autocovariance(means)
    last = correlation_time(covariance / covariance[0])[1]
    kept = np.where(np.arange(len(means)) <= last, covariance / covariance[0], 0.0)
    others = max(batch_means(here, len(here) // 8), float(covariance[0]) * variance_of_mean(kept))
    j = np.arange(1, FEWEST + 1)
    hidden = float(np.mean(1 / (1 + (np.pi * j / times) ** 2)))
    return max(1.0, others / variance) / hidden
