"""The most probable points of a posterior, from several starts at once, by Levenberg's and Marquardt's method.

In scores z the prior is N(0, I), so what is minimised is ½|z|² − ln L(z), whose Gauss–Newton Hessian I + JᵀJ (J the
whitened sensitivities) is never singular. Sensitivities come from differences; all starts go to the model in one batch.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from .problem import Target

__all__ = ["Mode", "find_modes", "log_prior", "pulled", "sensitivities"]

Float = NDArray[np.float64]

STEP = 1e-3
"""Step of the differences in scores: the error of a derivative is half a thousandth of the second one."""

_DAMPINGS = np.array([0.03, 1.0, 30.0, 1000.0])  # factors that are tried together
_ITERATIONS = 25
_LONGEST = 3.0  # a step in scores
_CLOSE_ENOUGH = 1e-4  # in ln posterior: far below what a sample can tell
_PULLS = 4
_SHARES_OF_STEP = np.array([1.0, 0.5, 0.1])
_SAME = 1.0  # distance in posterior standard deviations within which two points are one mode
_LEAST_LOG_WEIGHT = -14.0


@dataclass(frozen=True, eq=False)
class Mode:
    """A local maximum of the posterior, with Laplace's approximation about it.

    Attributes
    ----------
    scores : ndarray (J,)
        Where it is.
    log_posterior : float
        ln(likelihood × prior density) there.
    sensitivities : ndarray (D, J)
        Whitened, so that the precision is I + JᵀJ.
    converged : bool
        Whether the search ended at rest.
    """

    scores: Float
    log_posterior: float
    sensitivities: Float
    converged: bool

    @property
    def precision(self) -> Float:
        """I + JᵀJ (J, J)."""
        return np.asarray(np.eye(self.scores.size) + self.sensitivities.T @ self.sensitivities)

    @property
    def log_mass(self) -> float:
        """Logarithm of the posterior mass by Laplace's approximation, ln p + J/2 ln 2π − ½ ln det(I + JᵀJ)."""
        log_det = float(np.linalg.slogdet(self.precision)[1])
        return self.log_posterior + 0.5 * self.scores.size * math.log(2 * math.pi) - 0.5 * log_det


def log_prior(z: Float) -> Float:
    """Return ln N(z; 0, I) for scores (N, J)."""
    return np.asarray(-0.5 * (np.sum(z**2, axis=1) + z.shape[1] * math.log(2 * math.pi)))


def sensitivities(target: Target, z: Float, predicted: Float) -> tuple[Float, Float]:
    """Return whitened residuals (N, D) and sensitivities (N, D, J) at points (N, J) whose predictions are known.

    For a Student likelihood both carry the root of its weight of least squares. Where a step leads to what is not
    possible, the step is taken to the other side; where both do, the sensitivity is taken as zero.
    """
    N, J = z.shape
    stepped = z[:, None, :] + STEP * np.eye(J)
    ahead = target.evaluate(stepped.reshape(N * J, J)).predicted.reshape(N, J, -1)
    slope = (ahead - predicted[:, None, :]) / STEP
    lost = ~np.all(np.isfinite(slope), axis=2)
    if np.any(lost):
        behind = target.evaluate((z[:, None, :] - STEP * np.eye(J))[lost]).predicted
        slope[lost] = (np.repeat(predicted[:, None, :], J, axis=1)[lost] - behind) / STEP
    slope = np.nan_to_num(slope, nan=0.0, posinf=0.0, neginf=0.0)
    residuals, out = np.empty((N, target.data)), np.empty((N, target.data, J))
    for i in range(N):
        factor = target.factor_at(z[i])
        residual = linalg.solve_triangular(factor, predicted[i] - target.problem.observed, lower=True)
        root = math.sqrt(target.weight_of(float(residual @ residual)))
        residuals[i] = root * residual
        out[i] = root * linalg.solve_triangular(factor, slope[i].T, lower=True)
    return residuals, out


@dataclass
class _Search:
    """The starts, as they move."""

    z: Float
    predicted: Float
    log_posterior: Float
    sensitivities: Float
    damping: Float
    resting: NDArray[np.bool_]

    def keep(self, which: NDArray[np.bool_]) -> None:
        for name in ("z", "predicted", "log_posterior", "sensitivities", "damping", "resting"):
            setattr(self, name, getattr(self, name)[which])


def find_modes(target: Target, starts: Float) -> list[Mode]:
    """Return the distinct modes that are reached from starts (N, J), the one of most mass first.

    Starts at which the model gives nothing are left out; the list is empty if all are. Modes of less than a millionth
    of the first one's mass (by Laplace's approximation) are left out.
    """
    found = target.evaluate(starts)
    possible = np.isfinite(found.log_likelihood)
    if not np.any(possible):
        return []
    z = starts[possible]
    search = _Search(
        z,
        found.predicted[possible],
        found.log_likelihood[possible] + log_prior(z),
        np.zeros((len(z), target.data, target.size)),
        np.full(len(z), 1e-3),
        np.zeros(len(z), dtype=np.bool_),
    )
    for _ in range(_ITERATIONS):
        if np.all(search.resting):
            break
        _iterate(target, search)
        search.keep(_leaders(search))
    modes = [
        Mode(search.z[i], float(search.log_posterior[i]), search.sensitivities[i], bool(search.resting[i]))
        for i in range(len(search.z))
    ]
    modes.sort(key=lambda mode: -mode.log_mass)
    return [mode for mode in modes if mode.log_mass > modes[0].log_mass + _LEAST_LOG_WEIGHT]


def _iterate(target: Target, search: _Search) -> None:
    """Move every start that is not at rest: four dampings are tried together and the best is kept, if it is better."""
    moving = np.flatnonzero(~search.resting)
    residual, J = sensitivities(target, search.z[moving], search.predicted[moving])
    search.sensitivities[moving] = J
    gradient = search.z[moving] + np.einsum("ndj,nd->nj", J, residual)
    hessian = np.eye(target.size) + np.einsum("ndj,ndk->njk", J, J)
    gain = 0.5 * np.einsum("nj,nj->n", gradient, np.linalg.solve(hessian, gradient[:, :, None])[:, :, 0])
    diagonal = np.einsum("njj->nj", hessian)
    trials = np.empty((moving.size, _DAMPINGS.size, target.size))
    for k, factor in enumerate(_DAMPINGS):
        damped = hessian.copy()
        np.einsum("njj->nj", damped)[:] += (search.damping[moving] * factor)[:, None] * diagonal
        step = -np.linalg.solve(damped, gradient[:, :, None])[:, :, 0]
        length = np.linalg.norm(step, axis=1, keepdims=True)
        trials[:, k] = search.z[moving] + step * np.minimum(1.0, _LONGEST / np.maximum(length, 1e-300))
    flat = trials.reshape(-1, target.size)
    found = target.evaluate(flat)
    value = (found.log_likelihood + log_prior(flat)).reshape(moving.size, -1)
    predicted = found.predicted.reshape(moving.size, _DAMPINGS.size, -1)
    for row, i in enumerate(moving):
        best = int(np.argmax(value[row]))
        better = value[row, best] > search.log_posterior[i]
        if better:
            search.z[i], search.predicted[i] = trials[row, best], predicted[row, best]
            search.log_posterior[i] = value[row, best]
            search.damping[i] = float(np.clip(search.damping[i] * _DAMPINGS[best], 1e-9, 1e9))
        else:
            search.damping[i] = search.damping[i] * 1e4
        # at rest: Newton promises no gain; or nothing helps any more
        search.resting[i] = gain[row] < _CLOSE_ENOUGH or (not better and search.damping[i] > 1e9)


def _leaders(search: _Search) -> NDArray[np.bool_]:
    """Say which starts go on: of those that have met, only the best."""
    order = np.argsort(-search.log_posterior, kind="stable")
    keep = np.ones(len(order), dtype=np.bool_)
    for rank, i in enumerate(order):
        for j in order[:rank]:
            apart = search.z[i] - search.z[j]
            distance = float(apart @ apart + np.sum((search.sensitivities[j] @ apart) ** 2))
            if keep[j] and distance < _SAME**2:
                keep[i] = False
                break
    return keep


def pulled(target: Target, z: Float, rng: np.random.Generator) -> list[Mode]:
    """Return draws of the prior (N, J) pulled to the data, each with Laplace's approximation about it.

    Randomised maximum likelihood (Oliver, He and Reynolds 1996): each draw z₀ goes to the minimum of
    ½|z − z₀|² + ½|r(z) + e|², r the whitened residuals and e a draw of their noise. For a straight model that is a
    draw of the posterior; for a curved one it lies along the curve. Some steps of Gauss and Newton are enough: what
    they give is a place to put a hump, not an answer. Draws at which the model gives nothing are left out.
    """
    found = target.evaluate(z)
    possible = np.isfinite(found.log_likelihood)
    z, predicted, log_likelihood = z[possible], found.predicted[possible], found.log_likelihood[possible]
    from_prior, noise = z.copy(), rng.standard_normal((len(z), target.data))
    J = np.zeros((len(z), target.data, target.size))
    for _ in range(_PULLS):
        residual, J = sensitivities(target, z, predicted)
        gradient = z - from_prior + np.einsum("ndj,nd->nj", J, residual + noise)
        hessian = np.eye(target.size) + np.einsum("ndj,ndk->njk", J, J)
        step = -np.linalg.solve(hessian, gradient[:, :, None])[:, :, 0]
        step *= np.minimum(1.0, _LONGEST / np.maximum(np.linalg.norm(step, axis=1, keepdims=True), 1e-300))
        trials = z[:, None, :] + _SHARES_OF_STEP[:, None] * step[:, None, :]
        tried = target.evaluate(trials.reshape(-1, target.size))
        value = tried.log_likelihood.reshape(len(z), -1) - 0.5 * np.sum((trials - from_prior[:, None]) ** 2, axis=2)
        best = np.argmax(value, axis=1)
        row = np.arange(len(z))
        better = value[row, best] > log_likelihood - 0.5 * np.sum((z - from_prior) ** 2, axis=1)
        z = np.where(better[:, None], trials[row, best], z)
        predicted = np.where(better[:, None], tried.predicted.reshape(*value.shape, -1)[row, best], predicted)
        log_likelihood = np.where(better, tried.log_likelihood.reshape(value.shape)[row, best], log_likelihood)
    _, J = sensitivities(target, z, predicted)
    value = log_likelihood + log_prior(z)
    return [Mode(z[i], float(value[i]), J[i], True) for i in range(len(z))]
