"""How much a further measurement is expected to tell about which of several things is the case."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg, special

from ..errors import InputError
from ..inference.linear_gaussian import cholesky_of
from ..propagate.sampling import check_count
from .segments import log_segment_density

__all__ = ["Information", "expected_information"]

Float = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Information:
    """What a measurement is expected to tell.

    Attributes
    ----------
    nats : float
        Expected fall of the entropy over the groups: the mutual information of group and new data. [nat]
    error : float
        Its Monte Carlo standard error. [nat]
    entropy : float
        Over the groups before the measurement. [nat]
    groups : tuple of int
    probabilities : ndarray (groups,)
        Before the measurement.
    outcomes : ndarray (groups, groups)
        Row: if this group is the case, the mean probability that each will have after the measurement.
    """

    nats: float
    error: float
    entropy: float
    groups: tuple[int, ...]
    probabilities: Float
    outcomes: Float

    @property
    def share(self) -> float:
        """Expected fall as a share of the entropy that there is, 0 where there is none."""
        return self.nats / self.entropy if self.entropy > 1e-12 else 0.0


def expected_information(
    weights: ArrayLike,
    means: ArrayLike,
    covariance: ArrayLike,
    groups: ArrayLike,
    *,
    steps: ArrayLike | None = None,
    draws: int = 1000,
    seed: int = 0,
) -> Information:
    """Return by how much new data are expected to lower the entropy over groups of what may be the case.

    Parameters
    ----------
    weights : array_like (K,)
        Probabilities of K components before the new data, such as a cause at some of its sizes; scaled to add up to 1.
    means : array_like (K, D)
        What each component expects the D new data to be (given all data so far). SI.
    covariance : array_like (D, D)
        Of the new data about those means (given all data so far): noise, and inputs that are still uncertain.
    groups : array_like of int (K,)
        Which components are one group, whose members need not be told apart.
    steps : array_like (K, D), optional
        A component is spread evenly from its mean to mean + step: a cause between two of its sizes.
    draws : int
        Simulated outcomes.
    seed : int
        Same seed, same figures.

    Returns
    -------
    Information

    Raises
    ------
    InputError
        Shapes that do not agree, weights below zero or all zero, a covariance that is not positive definite.

    Notes
    -----
    I = H(g) − E[H(g | d)], outcomes d drawn from the components as often as their weights say (systematically), each
    posterior in closed form (Lindley 1956, *On a measure of the information provided by an experiment*).
    """
    w, m, C = (np.asarray(each, dtype=np.float64) for each in (weights, means, covariance))
    label = np.asarray(groups)
    v = np.zeros_like(m) if steps is None else np.asarray(steps, dtype=np.float64)
    K, D = m.shape if m.ndim == 2 else (-1, -1)
    if w.shape != (K,) or label.shape != (K,) or v.shape != (K, D) or C.shape != (D, D):
        raise InputError(
            f"shapes {w.shape}, {m.shape}, {C.shape}, {label.shape} and {v.shape} of weights, means, covariance, "
            "groups and steps do not agree",
            where="expected_information",
        )
    if np.any(w < 0) or not w.sum() > 0:
        raise InputError("a weight below zero, or none above", where="weights", expected="probabilities")
    draws = check_count(draws, "draws", least=2)
    rng = np.random.default_rng(check_count(seed, "seed", least=0))
    w = w / w.sum()
    factor = cholesky_of(C, "covariance")
    m, v = (np.asarray(linalg.solve_triangular(factor, each.T, lower=True).T) for each in (m, v))
    names, index = np.unique(label, return_inverse=True)
    member = (index[:, None] == np.arange(len(names))).astype(np.float64)
    before = w @ member
    component = np.searchsorted(np.cumsum(w), (np.arange(draws) + rng.random()) / draws * (1 - 1e-12))
    component = np.minimum(component, K - 1)
    x = m[component] + rng.random(draws)[:, None] * v[component] + rng.standard_normal((draws, D))
    with np.errstate(divide="ignore"):
        log_density = log_segment_density(x, m, v) + np.log(w)
    log_density -= special.logsumexp(log_density, axis=1, keepdims=True)
    after = np.exp(log_density) @ member
    after /= after.sum(axis=1, keepdims=True)
    fall = _entropy(before) - _entropy(after)
    outcomes = np.zeros((len(names), len(names)))
    for g in range(len(names)):
        mine = index[component] == g
        outcomes[g] = after[mine].mean(axis=0) if mine.any() else np.nan
    return Information(
        float(fall.mean()),
        float(fall.std(ddof=1)) / math.sqrt(draws),
        float(_entropy(before)),
        tuple(int(name) for name in names),
        before,
        outcomes,
    )


def _entropy(p: Float) -> Float:
    """Return −Σ p ln p over the last axis. [nat]"""
    return np.asarray(special.entr(p).sum(axis=-1))
