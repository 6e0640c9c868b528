"""How much a further measurement is expected to tell about which of several things is the case."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg, special

from ..errors import InputError
from ..inference.linear_gaussian import cholesky_of
from ..propagate.sampling import check_count
from .segments import log_segment_density

__all__ = ["Broad", "Information", "expected_information"]

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


@dataclass(frozen=True, eq=False)
class Broad:
    """A component with a covariance of its own, such as what is not listed.

    Attributes
    ----------
    weight : float
        On the scale of the other weights.
    mean : ndarray (D,)
    covariance : ndarray (D, D)
    group : int
    """

    weight: float
    mean: Float
    covariance: Float
    group: int


def expected_information(
    weights: ArrayLike,
    means: ArrayLike,
    covariance: ArrayLike,
    groups: ArrayLike,
    *,
    steps: ArrayLike | None = None,
    broad: Sequence[Broad] = (),
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
    broad : sequence of Broad
        Further components, each with a covariance of its own.
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
    if np.any(w < 0) or not w.sum() + sum(each.weight for each in broad) > 0:
        raise InputError("a weight below zero, or none above", where="weights", expected="probabilities")
    draws = check_count(draws, "draws", least=2)
    rng = np.random.default_rng(check_count(seed, "seed", least=0))
    w = np.concatenate([w, [each.weight for each in broad]])
    w = w / w.sum()
    factor = cholesky_of(C, "covariance")
    m, v = (np.asarray(linalg.solve_triangular(factor, each.T, lower=True).T) for each in (m, v))
    own = [_whitened(each, factor) for each in broad]
    names, index = np.unique(np.concatenate([label, [each.group for each in broad]]), return_inverse=True)
    member = (index[:, None] == np.arange(len(names))).astype(np.float64)
    before = w @ member
    component = np.searchsorted(np.cumsum(w), (np.arange(draws) + rng.random()) / draws * (1 - 1e-12))
    component = np.minimum(component, len(w) - 1)
    plain = np.minimum(component, K - 1)
    normal = rng.standard_normal((draws, D))
    x = m[plain] + rng.random(draws)[:, None] * v[plain] + normal
    for b, (mean, root) in enumerate(own):
        mine = component == K + b
        x[mine] = mean + normal[mine] @ root.T
    columns = [log_segment_density(x, m, v), *(_log_density(x, mean, root)[:, None] for mean, root in own)]
    with np.errstate(divide="ignore"):
        log_density = np.concatenate(columns, axis=1) + np.log(w)
    after = np.exp(log_density - log_density.max(axis=1, keepdims=True)) @ member
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


def _whitened(broad: Broad, factor: Float) -> tuple[Float, Float]:
    """Return mean and Cholesky factor of a broad component where the common covariance is I."""
    mean = linalg.solve_triangular(factor, broad.mean, lower=True)
    root = linalg.solve_triangular(factor, np.linalg.cholesky(broad.covariance), lower=True)
    return np.asarray(mean), np.asarray(root)


def _log_density(x: Float, mean: Float, root: Float) -> Float:
    """Return ln N(x; mean, root rootᵀ) for x (N, D); root is lower triangular."""
    square = np.sum(linalg.solve_triangular(root, (x - mean).T, lower=True) ** 2, axis=0)
    return np.asarray(-0.5 * (square + len(mean) * math.log(2 * math.pi)) - np.sum(np.log(np.abs(np.diag(root)))))


def _entropy(p: Float) -> Float:
    """Return −Σ p ln p over the last axis. [nat]"""
    return np.asarray(special.entr(p).sum(axis=-1))
