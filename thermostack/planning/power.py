"""How many mounts of each state tell a drop from scatter: by simulation with bad mounts, and by normal theory.

What is simulated is what is done afterwards: n mounts before and n after, each with a log, pooled as
`measured.pool_mounts` does; the drop is told when the difference of the two means is more than 1.96 of its standard
uncertainties above zero.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import nct, norm, t

from ..measured.remounts import BAD, FACTOR, SHIFT, WIDTH
from .mounts import Mounts

__all__ = ["Trial", "normal_power", "pooled", "smallest_told", "student_power", "trials"]

Float = NDArray[np.float64]

LEVEL = 0.05
"""Two-sided: how often a drop is seen where there is none."""
TOLD = 0.8
"""Chance from which a drop counts as told."""
STEP, REACH, BEYOND = 0.1, 36.0, 40.0
"""Of the grid of means, in scatters: its step, its reach either way, and how far from a mean a mount may lie."""


def normal_power(drop: float, uncertainty: float, level: float = LEVEL) -> float:
    """Return the chance that a two-sided test of a normal difference sees a drop, scatter known.

    1 − β = Φ(d/u − z) + Φ(−d/u − z), z = Φ⁻¹(1 − α/2) (Cohen 1988, *Statistical Power Analysis*, 2.3, with the
    normal in place of Student's t).

    Parameters
    ----------
    drop, uncertainty : float
        d, and the standard deviation u of the difference of the two means: √(s_b²/n + s_a²/n). [K]
    level : float
        α.
    """
    z = norm.ppf(1 - level / 2)
    return float(norm.cdf(drop / uncertainty - z) + norm.cdf(-drop / uncertainty - z))


def student_power(drop: float, before: float, after: float, mounts: int, level: float = LEVEL) -> float:
    """Return the same where the scatter is taken from the mounts alone: Student's t, with Welch's degrees of freedom.

    1 − β = P(|T| > t_{1−α/2, ν}) with T noncentral, δ = d/u, ν = (n − 1)(s_b² + s_a²)²/(s_b⁴ + s_a⁴) (Cohen 1988, 2.3;
    Welch 1947, Biometrika 34, 28). 0 for one mount, whose scatter cannot be seen.

    Parameters
    ----------
    drop : float
        [K]
    before, after : float
        Standard deviation of a mount in each state. [K]
    mounts : int
        Of each state.
    level : float
        α.
    """
    if mounts < 2:
        return 0.0
    u = math.hypot(before, after) / math.sqrt(mounts)
    nu = (mounts - 1) * (before**2 + after**2) ** 2 / (before**4 + after**4)
    limit, delta = t.ppf(1 - level / 2, nu), drop / u
    # P(T < −limit) is at most Φ(−δ): beyond 6 it is nothing, where its series does not converge either
    other = nct.cdf(-limit, nu, delta) if delta < 6 else 0.0
    return float(nct.sf(limit, nu, delta) + other)


def smallest_told(before: float, after: float, mounts: int, *, known: bool, told: float = TOLD) -> float:
    """Return the smallest drop that is told with a chance of `told`, by normal theory; inf for what cannot be. [K]"""
    u = math.hypot(before, after) / math.sqrt(mounts)

    def short(drop: float) -> float:
        chance = normal_power(drop, u) if known else student_power(drop, before, after, mounts)
        return chance - told

    if not known and mounts < 2:
        return math.inf
    high = u
    while short(high) < 0:
        high *= 2
    return float(brentq(short, 0.0, high, xtol=1e-6 * u))


def pooled(values: Float, scatter: float, uncertainty: float) -> tuple[Float, Float]:
    """Return what n mounts tell of a good one, mean and its uncertainty, for many sets at once.

    As `measured.remounts.posterior`, on a coarser grid on which a mount's likelihood is a row looked up instead of
    computed: within 3 % of the uncertainty for two mounts and more, 12 % for one.

    Parameters
    ----------
    values : ndarray, shape (S, n)
        Rises of the mounts of each set. [K]
    scatter : float
        Of good mounts by class, known to a factor of two. [K]
    uncertainty : float
        Of the reading of each. [K]

    Returns
    -------
    mean, uncertainty : ndarray, shape (S,)
        [K]
    """
    widths = np.exp(np.linspace(-3.0, 3.0, 19) * math.log(FACTOR))
    prior = norm.pdf(np.log(widths), scale=math.log(FACTOR))
    u = uncertainty / scatter
    # likelihood of a mount at so many steps from the mean, for every width: rows of L
    reach, beyond = round(REACH / STEP), round(BEYOND / STEP)
    off = np.arange(-reach - beyond, reach + beyond + 1) * STEP
    s, v = widths[:, None], off[None, :]
    good = math.log(1 - BAD) + norm.logpdf(v, 0.0, np.hypot(s, u))
    L = np.logaddexp(good, math.log(BAD) + norm.logpdf(v, SHIFT * s, np.hypot(WIDTH * s, u)))
    # value − mean falls as the mean rises: windows over the mirrored rows start where the value says
    windows = sliding_window_view(L[:, ::-1], 2 * reach + 1, axis=1)
    grid = np.arange(-reach, reach + 1) * STEP
    middle = np.median(values, axis=1, keepdims=True)
    steps = np.clip(np.rint((values - middle) / scatter / STEP), -beyond, beyond).astype(int)
    mean, width = np.empty(len(values)), np.empty(len(values))
    for rows in np.array_split(np.arange(len(values)), max(1, len(values) // 10)):
        log = np.zeros((len(widths), len(rows), len(grid)))
        for i in range(values.shape[1]):
            log += windows[:, beyond - steps[rows, i]]
        weight = np.exp(log - log.max(axis=(0, 2), keepdims=True))
        weight = np.einsum("w,wsg->sg", prior, weight)
        weight /= weight.sum(axis=1, keepdims=True)
        at = weight @ grid
        mean[rows] = at
        width[rows] = np.sqrt(np.maximum(weight @ grid**2 - at**2, 0.0))
    return middle[:, 0] + scatter * mean, scatter * width


@dataclass(frozen=True)
class Trial:
    """What so many mounts of each state tell.

    Attributes
    ----------
    mounts : int
        Of each state.
    uncertainty : float
        Standard deviation of the measured drop over the simulated tests. [K]
    smallest : float
        Smallest drop that is told in four of five tests. [K]
    chances : tuple of float
        Of telling each of the drops asked for.
    false_alarm : float
        Chance of seeing a drop, or a rise, where there is none.
    normal, student : float
        Smallest drop by normal theory, no mount bad: scatter known, or taken from the mounts alone. [K]
    normal_chances : tuple of float
        Of telling each drop by normal theory, scatter known.
    """

    mounts: int
    uncertainty: float
    smallest: float
    chances: tuple[float, ...]
    false_alarm: float
    normal: float
    student: float
    normal_chances: tuple[float, ...]


def trials(
    before: Mounts, after: Mounts, drops: Sequence[float], counts: Sequence[int], *, bench: float, reading: float,
    number: int, seed: int,
) -> tuple[Trial, ...]:  # fmt: skip
    """Return what each number of mounts tells.

    Parameters
    ----------
    before, after : Mounts
    drops : sequence of float
        [K]
    counts : sequence of int
        Mounts of each state.
    bench : float
        Scatter from log to log that no joint makes: coolant, power, place of the plate. [K]
    reading : float
        Standard uncertainty of one log's mean. [K]
    number : int
        Tests simulated for each count.
    seed : int
    """
    rng = np.random.default_rng(seed)
    states = (before, after)
    good = [math.hypot(state.scatter, bench) for state in states]
    read = [math.hypot(s, reading) for s in good]
    z = norm.ppf(1 - LEVEL / 2)
    found = []
    for n in counts:
        means, us = [], []
        for state, scatter in zip(states, good, strict=True):
            values = state.draw(number, n, rng) + math.hypot(bench, reading) * rng.standard_normal((number, n))
            mean, u = pooled(values, scatter, reading)
            means.append(mean)
            us.append(u)
        off, limit = means[0] - means[1], z * np.hypot(*us)
        u_n = math.hypot(*read) / math.sqrt(n)
        found.append(
            Trial(
                n,
                float(off.std()),
                float(np.quantile(limit - off, TOLD)),
                tuple(float(np.mean(drop + off > limit)) for drop in drops),
                float(np.mean(np.abs(off) > limit)),
                smallest_told(read[0], read[1], n, known=True),
                smallest_told(read[0], read[1], n, known=False),
                tuple(normal_power(drop, u_n) for drop in drops),
            )
        )
    return tuple(found)
