"""What is asked: variables with their priors, a model, data; and the likelihood of scores."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, special

from ..errors import InputError
from ..propagate import Model, Variable
from .latent import Latent
from .linear_gaussian import cholesky_of

__all__ = ["ModelError", "Problem", "Target"]

Float = NDArray[np.float64]
ModelError: TypeAlias = Callable[[Mapping[str, Float]], Float] | Float

_CHUNK = 5000


@dataclass(frozen=True, eq=False)
class Problem:
    """Data, what predicts them, and what was known before.

    Parameters
    ----------
    variables : tuple of Variable
        Their distributions are the priors. Variables of one identity are one unknown.
    predict : callable
        Takes a mapping of path to samples (S,) and returns what the data should be, (S, D), in the unit of the data.
        A row that holds NaN is a sample that is not possible: its probability is zero.
    observed : ndarray (D,)
        The data.
    covariance : ndarray (D, D)
        Of the data.
    degrees_of_freedom : float
        Of the covariance: finite where it was estimated from few readings; the data are then multivariate Student.
    model_error : callable or ndarray, optional
        Standard uncertainty of the prediction itself (solver, emulator): an array that broadcasts to (D,), or a
        function of the samples that gives (S, D). Independent between data; its square adds to the variances.
    correlations : mapping of (path, path) to float, optional
        Between the scores of variables, as in `propagate.Sampler`.
    names : tuple of str, optional
        Of the data, for words.

    Raises
    ------
    InputError
        If there is no uncertain variable, data are missing or not finite, shapes or the number of names do not agree,
        the covariance is not positive definite, the degrees of freedom are not above zero, or a model error is
        negative.
    """

    variables: tuple[Variable, ...]
    predict: Model
    observed: Float
    covariance: Float
    degrees_of_freedom: float = math.inf
    model_error: ModelError | None = None
    correlations: Mapping[tuple[str, str], float] | None = None
    names: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "variables", tuple(self.variables))
        observed = np.atleast_1d(np.asarray(self.observed, dtype=np.float64))
        covariance = np.atleast_2d(np.asarray(self.covariance, dtype=np.float64))
        if observed.ndim != 1 or not observed.size:
            raise InputError(f"data of shape {observed.shape}", where="observed", expected="one number for each datum")
        if not np.all(np.isfinite(observed)):
            bad = np.flatnonzero(~np.isfinite(observed))
            raise InputError(
                f"datum {', '.join(map(str, bad))} is not finite", where="observed", expected="finite numbers"
            )
        if covariance.shape != (observed.size, observed.size):
            raise InputError(
                f"shape {covariance.shape} for {observed.size} data",
                where="covariance",
                expected=f"({observed.size}, {observed.size})",
            )
        if self.names and len(self.names) != observed.size:
            raise InputError(
                f"{len(self.names)} names for {observed.size} data", where="names", expected="a name for each, or none"
            )
        if not self.degrees_of_freedom > 0:
            raise InputError(f"{self.degrees_of_freedom:g}", where="degrees_of_freedom", expected="a number above zero")
        cholesky_of(covariance, "covariance")
        object.__setattr__(self, "observed", observed)
        object.__setattr__(self, "covariance", covariance)
        if self.model_error is not None and not callable(self.model_error):
            error = _checked_error(self.model_error, 1, observed.size)[0]
            object.__setattr__(self, "model_error", error)
        _ = Latent(self.variables, self.correlations)


def _checked_error(error: Float, samples: int, data: int) -> Float:
    """Return a model error as (samples, data), or raise InputError."""
    error = np.asarray(error, dtype=np.float64)
    try:
        error = np.broadcast_to(error, (samples, data))
    except ValueError:
        raise InputError(f"shape {error.shape}", where="model_error", expected=f"({samples}, {data})") from None
    if np.any(error < 0) or np.any(np.isinf(error)):
        raise InputError("a negative or infinite standard uncertainty", where="model_error", expected="zero or above")
    return error


@dataclass(frozen=True, eq=False)
class Evaluated:
    """What a batch of scores gave.

    Attributes
    ----------
    predicted : ndarray (N, D)
        NaN where a sample is not possible.
    log_likelihood : ndarray (N,)
        −∞ there.
    log_peak : ndarray (N,)
        The same, were the data just as predicted.
    """

    predicted: Float
    log_likelihood: Float
    log_peak: Float


class Target:
    """The likelihood as a function of scores, which counts what it evaluates."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.latent = Latent(problem.variables, problem.correlations)
        self.size, self.data = self.latent.size, problem.observed.size
        self.evaluations = 0
        covariance = problem.covariance
        if problem.model_error is not None and not callable(problem.model_error):
            covariance = covariance + np.diag(np.asarray(problem.model_error) ** 2)
        self.covariance: Float = covariance
        self._factor: Float = np.asarray(np.linalg.cholesky(covariance))

    def evaluate(self, z: Float) -> Evaluated:
        """Return predictions and log likelihoods for scores (N, J)."""
        parts = [self._evaluate(z[i : i + _CHUNK]) for i in range(0, len(z), _CHUNK)]
        return Evaluated(
            np.concatenate([p.predicted for p in parts]),
            np.concatenate([p.log_likelihood for p in parts]),
            np.concatenate([p.log_peak for p in parts]),
        )

    def _evaluate(self, z: Float) -> Evaluated:
        samples = self.latent.values(z)
        predicted = np.asarray(self.problem.predict(samples), dtype=np.float64)
        self.evaluations += len(z)
        if predicted.shape != (len(z), self.data):
            raise InputError(
                f"the model returned shape {predicted.shape} for {len(z)} samples and {self.data} data",
                where="predict",
                expected=f"({len(z)}, {self.data})",
            )
        possible = np.all(np.isfinite(predicted), axis=1)
        log_likelihood, log_peak = np.full(len(z), -np.inf), np.zeros(len(z))
        if np.any(possible):
            residual = predicted[possible] - self.problem.observed
            if callable(self.problem.model_error):
                error = _checked_error(self.problem.model_error(samples), len(z), self.data)[possible]
                factor = self._with_error(error)
                whitened = np.linalg.solve(factor, residual[:, :, None])[:, :, 0]
                log_det = np.sum(np.log(np.diagonal(factor, axis1=1, axis2=2)), axis=1)
                square = np.sum(whitened**2, axis=1)
            else:
                whitened = linalg.solve_triangular(self._factor, residual.T, lower=True)
                square, log_det = np.sum(whitened**2, axis=0), np.sum(np.log(np.diag(self._factor)))
            found = self._log_density(square, log_det)
            log_peak[possible] = self._log_density(np.zeros_like(square), log_det)
            log_likelihood[possible] = np.where(np.isfinite(found), found, -np.inf)
        return Evaluated(np.where(possible[:, None], predicted, np.nan), log_likelihood, log_peak)

    def _with_error(self, error: Float) -> Float:
        """Return Cholesky factors (N, D, D) of the covariance with model errors (N, D); impossible where NaN."""
        error = np.nan_to_num(error, nan=np.inf)
        error = np.where(np.isinf(error), 1e150, error)
        return np.asarray(np.linalg.cholesky(self.covariance + error[:, :, None] ** 2 * np.eye(self.data)))

    def _log_density(self, square: Float, log_det: Float) -> Float:
        """Return ln of the normal or Student density for squared distances and ln det of the Cholesky factor."""
        D, nu = self.data, self.problem.degrees_of_freedom
        if math.isinf(nu):
            return np.asarray(-0.5 * (square + D * math.log(2 * math.pi)) - log_det)
        constant = special.gammaln((nu + D) / 2) - special.gammaln(nu / 2) - D / 2 * math.log(nu * math.pi)
        return np.asarray(constant - log_det - (nu + D) / 2 * np.log1p(square / nu))

    def tempered(self, log_likelihood: Float, log_peak: Float, t: float) -> Float:
        """Return the log likelihood at a temperature, t from 0 (none) to 1 (whole).

        A normal one is taken to the power t. The power of a Student one would be nearly flat at small t and a narrow
        peak at large t, with nothing between; its squared distance s is taken by t instead,
        t ln L_peak − (ν + t D)/2 ln(1 + t s/ν).
        """
        nu, D = self.problem.degrees_of_freedom, self.data
        found = np.full(log_likelihood.shape, -np.inf)
        possible = np.isfinite(log_likelihood)
        likelihood, peak = log_likelihood[possible], log_peak[possible]
        if math.isinf(nu):
            found[possible] = t * likelihood
        else:
            fall = np.log1p(t * np.expm1(2 * (peak - likelihood) / (nu + D)))
            found[possible] = t * peak - (nu + t * D) / 2 * fall
        return found

    def factor_at(self, z: Float) -> Float:
        """Return the Cholesky factor (D, D) of the covariance, with the model's error, at one point (J,)."""
        if not callable(self.problem.model_error):
            return self._factor
        error = self.problem.model_error(self.latent.values(z[None]))
        return np.asarray(self._with_error(_checked_error(error, 1, self.data))[0])

    def weight_of(self, square: float) -> float:
        """Return the weight of least squares that a Student likelihood gives to a squared distance; 1 if normal."""
        nu = self.problem.degrees_of_freedom
        return 1.0 if math.isinf(nu) else (nu + self.data) / (nu + square)
