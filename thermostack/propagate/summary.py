"""What samples say: median, mean, standard uncertainty, coverage intervals, chances, each with its Monte Carlo error.

Samples may come in blocks that are independent of each other but not within (Latin hypercubes). Every error is taken
from the scatter of the means of blocks; plain Monte Carlo has blocks of one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

from ..errors import InputError
from ..tables import Cell, Column, Table
from .evaluate import Run
from .sampling import check_count

__all__ = ["Estimate", "Summary", "chance_below", "numerical_tolerance", "summarise"]

Float = NDArray[np.float64]

_CONFIDENCE = 0.95
"""Of the Monte Carlo bounds of an estimate."""

_SUBSETS = 10
_LEAST_DESIGN_EFFECT = 1e-3  # a gain beyond this is not believed; it only rounds ranks to neighbours


@dataclass(frozen=True)
class Estimate:
    """A figure estimated from samples.

    Attributes
    ----------
    value : float
        The estimate.
    error : float
        Its Monte Carlo standard error; infinite where the samples are too few to bound it.
    low, high : float
        95 % bounds of what infinitely many samples would give.
    """

    value: float
    error: float
    low: float
    high: float


@dataclass(frozen=True)
class Summary:
    """What samples of one result say.

    Attributes
    ----------
    samples : int
        How many.
    coverage : float
        Probability that the coverage intervals hold.
    median, mean, standard_uncertainty : Estimate
        Of the result.
    low, high : Estimate
        Probabilistically symmetric coverage interval (JCGM 101:2008, 7.7.2).
    shortest_low, shortest_high : Estimate
        Shortest coverage interval (JCGM 101:2008, 7.7.4). Its ends are known less well than those of the symmetric
        one, since its length hardly depends on where it lies.
    below : tuple of (float, Estimate)
        Limits, and the chance that the result is less.
    notes : tuple of str
        What to know of the samples.
    """

    samples: int
    coverage: float
    median: Estimate
    mean: Estimate
    standard_uncertainty: Estimate
    low: Estimate
    high: Estimate
    shortest_low: Estimate
    shortest_high: Estimate
    below: tuple[tuple[float, Estimate], ...] = ()
    notes: tuple[str, ...] = ()

    def table(self, unit: str, title: str = "") -> Table:
        """Return the figures as a table; `unit` is that of the result."""
        p = f"{100 * self.coverage:g} %"
        named = [
            ("median", self.median),
            ("mean", self.mean),
            ("standard uncertainty", self.standard_uncertainty),
            (f"{p} interval, low", self.low),
            (f"{p} interval, high", self.high),
            (f"shortest {p} interval, low", self.shortest_low),
            (f"shortest {p} interval, high", self.shortest_high),
        ]
        rows: list[tuple[Cell, ...]] = [(name, unit, e.value, e.error, e.low, e.high) for name, e in named]
        rows += [
            (f"chance of less than {x:g} {unit}", "%", *(100 * part for part in (e.value, e.error, e.low, e.high)))
            for x, e in self.below
        ]
        columns = (
            Column("figure", "figure"),
            Column("unit", "unit"),
            Column("value", "value"),
            Column("error", "Monte Carlo error", ".2g"),
            Column("low", "low"),
            Column("high", "high"),
        )
        note = f"{self.samples} samples; low and high: 95 % bounds of the value for infinitely many"
        return Table(columns, tuple(rows), title, (note, *self.notes))


def _blocks(y: Float, block: int) -> Float:
    """Return the means of the blocks."""
    return np.asarray(y.reshape(-1, block).mean(axis=1))


def _scatter(influence: Float, block: int) -> float:
    """Return the standard error of a mean from the scatter of its blocks."""
    means = _blocks(influence, block)
    return float(means.std(ddof=1)) / math.sqrt(means.size)


def _from_influence(value: float, influence: Float, block: int) -> Estimate:
    """Return an estimate whose error is that of the mean of its influence function (the delta method)."""
    error = _scatter(influence, block)
    t = float(special.stdtrit(influence.size // block - 1, 0.5 + _CONFIDENCE / 2))
    return Estimate(value, error, value - t * error, value + t * error)


def _effective_numbers(indicator: Float, block: int) -> tuple[float, float]:
    """Return as how many independent samples these count for a probability: for its error, and for its bounds.

    n / deff, deff being the variance of the estimate over that of independent samples; for bounds times
    (t_{n−1} / t_{blocks−1})², since deff is known from few blocks (Korn and Graubard 1998).
    """
    n, p = indicator.size, float(indicator.mean())
    if block == 1 or p in (0.0, 1.0):
        return float(n), float(n)
    effect = max(_scatter(indicator, block) ** 2 / (p * (1 - p) / n), _LEAST_DESIGN_EFFECT)
    t_all, t_blocks = (float(special.stdtrit(m - 1, 0.5 + _CONFIDENCE / 2)) for m in (n, n // block))
    return n / effect, n / effect * (t_all / t_blocks) ** 2


def _order_statistic(y: Float, rank: int) -> float:
    """Return the value of a rank counted from 1; infinite beyond the samples."""
    if rank < 1:
        return -math.inf
    return float(y[rank - 1]) if rank <= y.size else math.inf


def _quantile(y: Float, sorted_y: Float, value: float, p: float, block: int) -> Estimate:
    """Return a quantile with its error, and with binomial bounds.

    Bounds: y₍r₎ ≤ quantile < y₍s₎ has the chance of r ≤ B < s, B binomial (n, p). Error: half the difference between
    the samples one standard deviation of B on either side.
    """
    n = y.size
    for_error, for_bounds = _effective_numbers((y <= value).astype(np.float64), block)
    effective = max(1, round(for_bounds))
    tail = (1 - _CONFIDENCE) / 2
    r, s = (stats.binom.ppf(q, effective, p) for q in (tail, 1 - tail))
    low = _order_statistic(sorted_y, math.floor(r * n / effective))
    high = _order_statistic(sorted_y, math.ceil((s + 1) * n / effective))
    move = n * math.sqrt(p * (1 - p) / for_error)
    ranks = np.array([n * p + 0.5 - move, n * p + 0.5 + move])
    if ranks[0] < 1 or ranks[1] > n:
        return Estimate(value, math.inf, low, high)
    around = np.interp(ranks, np.arange(1, n + 1), sorted_y)
    return Estimate(value, float(around[1] - around[0]) / 2, low, high)


def _interval_ranks(n: int, coverage: float) -> tuple[int, int]:
    """Return r and q of JCGM 101:2008, 7.7: the interval from y₍r₎ to y₍r+q₎, ranks from 1."""
    q = min(math.floor(coverage * n + 0.5), n - 1)
    return max(math.floor((n - q) / 2 + 0.5), 1), q


def _shortest(sorted_y: Float, coverage: float) -> tuple[float, float]:
    _, q = _interval_ranks(sorted_y.size, coverage)
    at = int(np.argmin(sorted_y[q:] - sorted_y[: sorted_y.size - q]))
    return float(sorted_y[at]), float(sorted_y[at + q])


def _shortest_interval(y: Float, sorted_y: Float, coverage: float, block: int) -> tuple[Estimate, Estimate]:
    """Return the ends of the shortest interval, with errors from disjoint subsets of the samples.

    The ends converge like n^(−1/3) where the density falls off on both sides (Kim and Pollard 1990, the shorth),
    faster at a bound; so an end from n samples errs by the scatter between m subsets times m^(−1/3), or less.
    """
    whole = _shortest(sorted_y, coverage)
    subsets = min(_SUBSETS, y.size // block)
    size = y.size // block // subsets * block
    parts = [_shortest(np.sort(y[i * size : (i + 1) * size]), coverage) for i in range(subsets)]
    errors = np.std(parts, axis=0, ddof=1) * subsets ** (-1 / 3)
    t = float(special.stdtrit(subsets - 1, 0.5 + _CONFIDENCE / 2))
    low, high = (Estimate(v, float(e), v - t * float(e), v + t * float(e)) for v, e in zip(whole, errors, strict=True))
    return low, high


def chance_below(y: ArrayLike, limit: float, *, block: int = 1) -> Estimate:
    """Return the chance that a result is less than `limit`, with the bounds of Clopper and Pearson.

    Parameters
    ----------
    y : array_like (S,)
        Samples of the result.
    limit : float
        In the unit of the samples.
    block : int
        Samples that depend on one another (`Run.block`).

    Raises
    ------
    InputError
        If a sample or the limit is not finite, or there are fewer than two blocks.
    """
    samples = _checked(y, block)
    if not math.isfinite(limit):
        raise InputError(f"{limit} is not a finite number", where="below")
    indicator = (samples < limit).astype(np.float64)
    p = float(indicator.mean())
    for_error, n = _effective_numbers(indicator, block)
    tail = (1 - _CONFIDENCE) / 2
    low = float(special.betaincinv(n * p, n * (1 - p) + 1, tail)) if p > 0 else 0.0
    high = float(special.betaincinv(n * p + 1, n * (1 - p), 1 - tail)) if p < 1 else 1.0
    return Estimate(p, math.sqrt(p * (1 - p) / for_error), low, high)


def summarise(
    samples: Run | ArrayLike, *, coverage: float = 0.95, below: Sequence[float] = (), block: int = 1
) -> Summary:
    """Return what samples of one result say.

    Parameters
    ----------
    samples : Run or array_like (S,)
        Samples of one result, in the order in which they were drawn.
    coverage : float
        Probability that the coverage intervals hold, between 0 and 1.
    below : sequence of float
        Limits, for the chance of less than each.
    block : int
        Samples that depend on one another; a `Run` knows it.

    Returns
    -------
    Summary

    Raises
    ------
    InputError
        If there are several results, a sample is not finite, there are fewer than two samples (or blocks), or the
        coverage is not between 0 and 1.
    """
    notes: tuple[str, ...] = ()
    if isinstance(samples, Run):
        block, notes = samples.block, samples.notes
    y = _checked(samples.results if isinstance(samples, Run) else samples, block)
    if not 0.0 < coverage < 1.0:
        raise InputError(f"a coverage of {coverage:g}", where="coverage", expected="a probability such as 0.95")
    ordered = np.sort(y)
    mean, u = float(y.mean()), float(y.std(ddof=1))
    r, q = _interval_ranks(y.size, coverage)
    tail = (1 - coverage) / 2
    deviation = y - mean
    spread_influence = (deviation**2 - u**2) / (2 * u) if u > 0 else np.zeros_like(y)
    shortest = _shortest_interval(y, ordered, coverage, block)
    return Summary(
        samples=y.size,
        coverage=coverage,
        median=_quantile(y, ordered, float(np.median(ordered)), 0.5, block),
        mean=_from_influence(mean, deviation, block),
        standard_uncertainty=_from_influence(u, spread_influence, block),
        low=_quantile(y, ordered, float(ordered[r - 1]), tail, block),
        high=_quantile(y, ordered, float(ordered[r + q - 1]), 1 - tail, block),
        shortest_low=shortest[0],
        shortest_high=shortest[1],
        below=tuple((float(x), chance_below(y, x, block=block)) for x in below),
        notes=notes,
    )


def _checked(samples: ArrayLike, block: int) -> Float:
    y = np.asarray(samples, dtype=np.float64)
    block = check_count(block, "block")
    if y.ndim != 1:
        raise InputError(f"samples of shape {y.shape}", where="samples", expected="one result at a time, shape (S,)")
    if y.size % block or y.size < 2 * block:
        right = f"a multiple of {block}, at least {2 * block}" if block > 1 else "at least 2"
        raise InputError(f"{y.size} samples cannot be summarised", where="samples", expected=right)
    bad = np.flatnonzero(~np.isfinite(y))
    if bad.size:
        raise InputError(f"{bad.size} of {y.size} samples are not finite (first: number {bad[0]})", where="samples")
    return y


def numerical_tolerance(u: float, digits: int) -> float:
    """Return δ = ½ × 10ˡ, where u = c × 10ˡ with an integer c of so many digits (JCGM 101:2008, 7.9.2).

    Parameters
    ----------
    u : float
        Standard uncertainty, above zero.
    digits : int
        Significant digits of it that are meant.

    Raises
    ------
    InputError
        If the uncertainty is not above zero, or the digits no whole number of one or more.

    Examples
    --------
    >>> numerical_tolerance(0.0754, 1), numerical_tolerance(0.0754, 2)
    (0.005, 0.0005)
    """
    digits = check_count(digits, "digits")
    if not (math.isfinite(u) and u > 0):
        raise InputError(f"a standard uncertainty of {u:g} has no digits", expected="a number above zero")
    exponent = int(f"{u:.{digits - 1}e}".partition("e")[2])
    return float(f"0.5e{exponent - digits + 1}")
