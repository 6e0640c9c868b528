"""The exact twin: posterior and evidence in closed form where the model is straight and everything normal."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg

from ..errors import InputError

__all__ = ["LinearPosterior", "cholesky_of", "linear_posterior"]

Float = NDArray[np.float64]

_LARGEST_CONDITION = 1e13


@dataclass(frozen=True, eq=False)
class LinearPosterior:
    """Posterior of a straight model.

    Attributes
    ----------
    mean : ndarray (J,)
        Posterior mean.
    covariance : ndarray (J, J)
        Posterior covariance.
    log_evidence : float
        ln of the density of the data, per unit of each datum.
    predicted_mean : ndarray (D,)
        Prior mean of the data.
    predicted_covariance : ndarray (D, D)
        Prior covariance of the data: A P Aᵀ + Σ.
    distance : float
        Mahalanobis distance of the data from their prior mean; its square is χ² with D degrees of freedom.
    """

    mean: Float
    covariance: Float
    log_evidence: float
    predicted_mean: Float
    predicted_covariance: Float
    distance: float


def cholesky_of(covariance: Float, where: str) -> Float:
    """Return the lower Cholesky factor of a covariance matrix.

    Raises
    ------
    InputError
        Unless it is square, finite, symmetric, positive definite, and not singular to the digits of a float. (Judged
        on the correlation matrix, so that data of very different units may stand together.)
    """
    matrix = np.asarray(covariance, dtype=np.float64)
    if matrix.ndim != 2 or matrix.shape[0] != matrix.shape[1] or not np.all(np.isfinite(matrix)):
        raise InputError(f"an array of shape {matrix.shape}", where=where, expected="a finite square matrix")
    variances = np.diag(matrix)
    if np.any(variances <= 0):
        worst = int(np.argmin(variances))
        raise InputError(f"variance {variances[worst]:g} of number {worst}", where=where, expected="one above zero")
    scale = np.sqrt(variances)
    correlation = matrix / np.outer(scale, scale)
    if not np.allclose(correlation, correlation.T, rtol=0, atol=1e-9):
        raise InputError("not symmetric", where=where, expected="a symmetric matrix")
    values = np.linalg.eigvalsh(correlation)
    if values[0] <= values[-1] / _LARGEST_CONDITION:
        raise InputError(
            f"singular: its correlation matrix has an eigenvalue of {values[0]:.2g}",
            where=where,
            expected="a positive definite matrix; leave out data that repeat others",
        )
    return np.asarray(scale[:, None] * np.linalg.cholesky(correlation))


def linear_posterior(
    jacobian: ArrayLike,
    prior: tuple[ArrayLike, ArrayLike],
    observed: ArrayLike,
    covariance: ArrayLike,
    *,
    offset: ArrayLike = 0.0,
) -> LinearPosterior:
    """Return posterior and evidence of d = b + A x + e, x ~ N(m, P), e ~ N(0, Σ).

    S = A P Aᵀ + Σ, K = P Aᵀ S⁻¹; mean m + K (d − b − A m), covariance (I − K A) P (I − K A)ᵀ + K Σ Kᵀ,
    evidence N(d; b + A m, S). (The update step of Kalman 1960, in the symmetric form of Joseph; for instance
    Rasmussen and Williams 2006, appendix A.2, for the conditional of a joint normal.)

    Parameters
    ----------
    jacobian : array_like (D, J)
        A.
    prior : (array_like (J,), array_like (J, J))
        Mean m and covariance P; P may be singular.
    observed : array_like (D,)
        d.
    covariance : array_like (D, D)
        Σ of the data.
    offset : array_like (D,) or float
        b, what is predicted at x = 0.

    Raises
    ------
    InputError
        If shapes do not agree, a value is not finite, or Σ is not positive definite.
    """
    A, d = np.atleast_2d(np.asarray(jacobian, dtype=np.float64)), np.asarray(observed, dtype=np.float64)
    m, P = (np.asarray(each, dtype=np.float64) for each in prior)
    Sigma = np.asarray(covariance, dtype=np.float64)
    D, J = A.shape
    if d.shape != (D,) or m.shape != (J,) or P.shape != (J, J) or Sigma.shape != (D, D):
        raise InputError(
            f"shapes {A.shape}, {m.shape}, {P.shape}, {d.shape} and {Sigma.shape} of jacobian, mean, prior covariance, "
            "data and their covariance do not agree",
            where="linear_posterior",
        )
    if not all(np.all(np.isfinite(each)) for each in (A, m, P, d)):
        raise InputError("a value that is not finite", where="linear_posterior")
    cholesky_of(Sigma, "covariance")
    S = A @ P @ A.T + Sigma
    factor = linalg.cho_factor(S, lower=True)
    gain = linalg.cho_solve(factor, A @ P).T
    expected = np.asarray(offset, dtype=np.float64) + A @ m
    residual = d - expected
    kept = np.eye(J) - gain @ A
    square = float(residual @ linalg.cho_solve(factor, residual))
    log_evidence = -0.5 * (square + D * math.log(2 * math.pi)) - float(np.sum(np.log(np.diag(factor[0]))))
    return LinearPosterior(
        m + gain @ residual,
        kept @ P @ kept.T + gain @ Sigma @ gain.T,
        log_evidence,
        np.asarray(expected),
        S,
        math.sqrt(square),
    )
