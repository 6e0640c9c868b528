"""How much further data tell beyond first data, and which of several things they tell apart.

The further data are drawn together with the first ones, and every outcome is judged twice, with the first data alone
and with both: what is looked for is the mean of a difference that is small beside either, and each outcome adds to it a
term that is never below zero.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, special

from ..inference.linear_gaussian import cholesky_of
from ..propagate.sampling import check_count
from .ranking import Components
from .segments import log_segment_density

__all__ = ["Further", "Outcomes"]

Float = NDArray[np.float64]

ROWS = 100
"""Outcomes that are judged at once, so that what is worked on stays in the processor's cache."""
TINY = 1e-300
LEAST = 200
"""Fewer outcomes would leave some group with next to none."""


@dataclass(frozen=True, eq=False)
class Further:
    """What further data are expected to tell beyond the first.

    Attributes
    ----------
    nats : float
        Expected fall of the entropy over the groups; not below zero. [nat]
    error : float
        Its Monte Carlo standard error. [nat]
    own : ndarray, shape (groups,)
        The same for the question whether it is this group or another one. [nat]
    splits : ndarray, shape (groups, groups)
        The same for two groups alone, were it known to be one of them and either alike probable. [nat]
    """

    nats: float
    error: float
    own: Float
    splits: Float


class Outcomes:
    """Simulated outcomes of first data, from which any further data go on.

    Parameters
    ----------
    first : Components
        What each group lets expect of the first data.
    draws : int
        Outcomes: half of them drawn as the groups are probable, half alike for every group; weighted accordingly.
    seed : int

    Notes
    -----
    I(g; d₂ | d₁) = E[Σ p(g | d₁, d₂) ln(p(g | d₁, d₂) / p(g | d₁))] (Lindley 1956, *On a measure of the information
    provided by an experiment*), each posterior in closed form.
    """

    def __init__(self, first: Components, draws: int, seed: int) -> None:
        draws, self.seed = check_count(draws, "draws", least=LEAST), check_count(seed, "seed", least=0)
        w = np.append(first.weights, first.unlisted.weight)
        self.w: Float = w / w.sum()
        groups, index = np.unique(np.append(first.labels, first.unlisted.group), return_inverse=True)
        self.names = tuple(first.names[g] for g in groups)
        self.member = (index[:, None] == np.arange(len(groups))).astype(np.float64)
        self.prior = self.w @ self.member
        self.entropy = float(special.entr(self.prior).sum())
        rng = np.random.default_rng([self.seed, 31])
        share = 0.5 * self.w * (1.0 + 1.0 / (len(groups) * self.prior[index]))
        at = (np.arange(draws) + rng.random()) / draws
        self.component = np.minimum(np.searchsorted(np.cumsum(share), at), len(w) - 1)
        self.group = index[self.component]
        self.along = rng.random((draws, 1))
        self.normal = rng.standard_normal((draws, len(first.covariance)))
        self.known = self._judged(first, self.normal)

    def further(self, both: Components) -> Further:
        """Return what further data tell.

        Parameters
        ----------
        both : Components
            What each group lets expect of the first data and, in the rows after them, of the further ones.
        """
        draws, D = self.normal.shape
        more = np.random.default_rng([self.seed, 32]).standard_normal((draws, len(both.covariance) - D))
        then = self._judged(both, np.hstack([self.normal, more]))
        nats, error = self._mean(special.rel_entr(then, self.known).sum(axis=1))
        one, other = (
            special.rel_entr(then, self.known),
            special.rel_entr(1.0 - then, np.maximum(1.0 - self.known, TINY)),
        )
        own = np.array([self._mean(each)[0] for each in (one + other).T])
        return Further(nats, error, own, self._splits(then))

    def _judged(self, parts: Components, normal: Float) -> Float:
        """Return the groups' probabilities after each outcome, shape (draws, groups)."""
        factor = cholesky_of(parts.covariance, "covariance")
        start, step, mean = (
            np.asarray(linalg.solve_triangular(factor, np.atleast_2d(each).T, lower=True).T)
            for each in (parts.means, parts.steps, parts.unlisted.mean)
        )
        root = linalg.solve_triangular(factor, np.linalg.cholesky(parts.unlisted.covariance), lower=True)
        unlisted = self.component == len(start)
        plain = np.minimum(self.component, len(start) - 1)
        x = start[plain] + self.along * step[plain] + normal
        x[unlisted] = mean + normal[unlisted] @ root.T
        found = np.empty((len(x), len(self.prior)))
        with np.errstate(divide="ignore"):
            log_w = np.log(self.w)
        for rows in np.array_split(np.arange(len(x)), math.ceil(len(x) / ROWS)):
            off = linalg.solve_triangular(root, (x[rows] - mean).T, lower=True)
            broad = -0.5 * np.sum(off**2, axis=0) - np.sum(np.log(np.diag(root)))
            broad -= 0.5 * x.shape[1] * math.log(2 * math.pi)
            log = np.hstack([log_segment_density(x[rows], start, step), broad[:, None]]) + log_w
            p = np.exp(log - log.max(axis=1, keepdims=True)) @ self.member
            found[rows] = p / p.sum(axis=1, keepdims=True)
        return np.maximum(found, TINY)

    def _mean(self, values: Float) -> tuple[float, float]:
        """Return the mean over the outcomes, the groups as probable as they are, and its standard error."""
        n = np.bincount(self.group)
        mean = np.bincount(self.group, values) / n
        variance = np.bincount(self.group, (values - mean[self.group]) ** 2) / (n - 1)
        return float(self.prior @ mean), float(np.sqrt(np.sum(self.prior**2 * variance / n)))

    def _splits(self, then: Float) -> Float:
        """Return what is told of any two groups alone."""
        found = np.zeros((len(self.prior), len(self.prior)))
        then, known = then / self.prior, self.known / self.prior  # as if all groups were alike probable
        for g in range(len(found)):
            for h in range(g):
                told = np.zeros(2)
                for side, case in enumerate((g, h)):
                    p, q = (each[self.group == case][:, [g, h]] for each in (then, known))
                    p, q = (each / each.sum(axis=1, keepdims=True) for each in (p, q))
                    told[side] = special.rel_entr(p, np.maximum(q, TINY)).sum(axis=1).mean()
                found[g, h] = found[h, g] = told.mean()
        return found
