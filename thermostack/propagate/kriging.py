"""Universal kriging of many outputs at once: a smooth function known at scattered points, with its own error.

Each output is a linear trend in given columns plus a Gaussian process; all share one squared-exponential covariance,

    k(x, z) = exp(−½ Σ_j w_j² (x_j − z_j)²) + g [x = z],

whose weights w and nugget g are the most likely ones (restricted likelihood) for all outputs together. What is linear
in the outputs (a symmetry, a balance) and holds at every point of the design holds for every prediction.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import linalg
from scipy.optimize import minimize

__all__ = ["Kriging", "fit_kriging"]

Float = NDArray[np.float64]

KEPT = 1e-8
"""Principal outputs whose singular value is a smaller share of the first are left out."""
WEIGHT_BOUNDS = (1.0 / 300.0, 1.0 / 0.5)
"""Of w, in standard deviations of the design to the power −1."""
NUGGET_BOUNDS = (1e-10, 1e-2)
"""Below, rounding errors of the covariance matrix take over."""
FIRST_WEIGHT, FIRST_NUGGET = 0.1, 1e-7
STEPS = 45
"""Of the search for the most likely covariance; a third of them where it sets out from an earlier one."""


@dataclass(frozen=True, eq=False)
class Kriging:
    """A fitted emulator of functions y(x).

    Attributes
    ----------
    points : ndarray, shape (N, d)
        The design.
    covariance : _Covariance
        Its weights, nugget and factors at the design.
    alpha, beta : ndarray, shapes (N, k), (m, k)
        Coefficients of the covariances with the N points, and of the m trend columns, for k principal outputs.
    basis, middle : ndarray, shapes (k, outputs), (outputs,)
        Outputs are middle + principal outputs @ basis.
    """

    points: Float
    covariance: _Covariance
    alpha: Float
    beta: Float
    basis: Float
    middle: Float

    def predict(self, x: Float, trend: Float) -> tuple[Float, Float]:
        """Return the outputs, shape (S, outputs), and the kriging standard deviation for unit variance, shape (S,).

        Parameters
        ----------
        x : ndarray, shape (S, d)
        trend : ndarray, shape (S, m)
        """
        weights = self.covariance.weights
        row = _correlation(x * weights, self.points * weights)
        principal = row @ self.alpha + trend @ self.beta
        return self.middle + principal @ self.basis, np.sqrt(self.covariance.variance(row, trend))

    @cached_property
    def left_out(self) -> tuple[Float, Float]:
        """Errors at each point when it is left out, (N, outputs), and standard deviation for unit variance there, (N,).

        e_i = [Qy]_i / Q_ii and s_i² = 1/Q_ii (Dubrule 1983), with the covariance as it is.
        """
        diagonal = np.einsum("ij,ij->j", self.covariance.root_q, self.covariance.root_q)
        return (self.alpha / diagonal[:, None]) @ self.basis, 1.0 / np.sqrt(diagonal)


@dataclass(frozen=True, eq=False)
class _Covariance:
    """Covariance matrix K = L Lᵀ of a design with its trend P, factored: L⁻¹, and L⁻¹P = q r.

    The factors are used rather than inverses of K, which lose all digits of a small variance.
    """

    weights: Float
    nugget: float
    root: Float
    """L⁻¹, shape (N, N)."""
    root_q: Float
    """(1 − q qᵀ) L⁻¹, whose square is Q = K⁻¹ − K⁻¹P (PᵀK⁻¹P)⁻¹ PᵀK⁻¹."""
    q: Float
    trend_root: Float
    """r⁻¹, shape (m, m)."""
    logarithms: float
    """½ ln|K| + ½ ln|PᵀK⁻¹P|."""

    @classmethod
    def of(cls, correlation: Float, weights: Float, nugget: float, trend: Float) -> _Covariance:
        n = len(trend)
        factor = linalg.cholesky(correlation + nugget * np.eye(n), lower=True, check_finite=False)
        root, _ = linalg.lapack.dtrtri(factor, lower=1)
        q, r = np.linalg.qr(root @ trend)
        logarithms = float(np.sum(np.log(np.diagonal(factor))) + np.sum(np.log(np.abs(np.diagonal(r)))))
        root_q = root - q @ (q.T @ root)
        return cls(weights, nugget, _plain(root), _plain(root_q), _plain(q), _plain(linalg.inv(r)), logarithms)

    def coefficients(self, y: Float) -> tuple[Float, Float]:
        """Return Q y, and the generalised least squares of the trend."""
        return self.root_q.T @ (self.root_q @ y), self.trend_root @ (self.q.T @ (self.root @ y))

    def variance(self, row: Float, trend: Float) -> Float:
        """Kriging variance for unit variance: k(x, x) − |z|² + |r⁻ᵀp − qᵀz|², z = L⁻¹k, shape (S,)."""
        z = row @ self.root.T
        missed = trend @ self.trend_root - z @ self.q
        variance = 1.0 + self.nugget - np.einsum("si,si->s", z, z) + np.einsum("si,si->s", missed, missed)
        return np.asarray(np.maximum(variance, self.nugget))


def _correlation(a: Float, b: Float) -> Float:
    """exp(−½ |a − b|²) between the rows of a and b."""
    half = a @ b.T
    half -= 0.5 * np.einsum("ij,ij->i", a, a)[:, None]
    half -= 0.5 * np.einsum("ij,ij->i", b, b)[None, :]
    np.minimum(half, 0.0, out=half)
    return np.asarray(np.exp(half, out=half))


def fit_kriging(x: Float, trend: Float, y: Float, scale: Float, start: Kriging | None = None) -> Kriging:
    """Fit outputs known at a design.

    Parameters
    ----------
    x : ndarray, shape (N, d)
        Points of the design, of the order of one.
    trend : ndarray, shape (N, m)
        Columns of the trend, linearly independent, m < N.
    y : ndarray, shape (N, outputs)
    scale : ndarray, shape (outputs,)
        By which the outputs are comparable.
    start : Kriging, optional
        An earlier fit, from whose covariance the search sets out.
    """
    middle = y.mean(axis=0)
    left, singular, basis = np.linalg.svd((y - middle) / scale, full_matrices=False)
    kept = max(int(np.sum(singular > KEPT * singular[0])), 1)
    principal = left[:, :kept] * singular[:kept]
    covariance = _most_likely(x, trend, principal, None if start is None else start.covariance)
    alpha, beta = covariance.coefficients(principal)
    return Kriging(_plain(x), covariance, _plain(alpha), _plain(beta), _plain(basis[:kept] * scale), middle)


def _plain(x: Float) -> Float:
    """Return an array in the one order that a pickle keeps, so that a copy elsewhere gives the same digits."""
    return np.ascontiguousarray(x)


def _most_likely(x: Float, trend: Float, y: Float, start: _Covariance | None) -> _Covariance:
    """Return the covariance of the largest restricted likelihood, the variance being profiled out.

    −ln L = ½ (N − m) ln tr(yᵀQy) + ½ ln|K| + ½ ln|PᵀK⁻¹P|, and for each parameter
    ∂(−ln L) = ½ tr((Q − (N − m)/tr(yᵀQy) · Qy yᵀQ) ∂K) (Rasmussen and Williams 2006, 2.7 and 5.4, for a flat prior of
    the trend).
    """
    (n, d), m = x.shape, trend.shape[1]
    y = y / max(math.sqrt(float(np.sum(y**2))), 1e-300)
    squares = ((x.T[:, :, None] - x.T[:, None, :]) ** 2).reshape(d, n * n)

    def at(theta: Float) -> tuple[Float, _Covariance]:
        smooth = np.exp(-0.5 * (np.exp(2.0 * theta[:d]) @ squares)).reshape(n, n)
        return smooth, _Covariance.of(smooth, np.exp(theta[:d]), math.exp(theta[d]), trend)

    def objective(theta: Float) -> tuple[float, Float]:
        smooth, covariance = at(theta)
        half = covariance.root_q @ y
        Qy = covariance.root_q.T @ half
        left = max(float(np.sum(half**2)), 1e-300)
        G = 0.5 * (covariance.root_q.T @ covariance.root_q - (n - m) / left * (Qy @ Qy.T))
        by_weight = -(squares @ (G * smooth).ravel()) * np.exp(2.0 * theta[:d])
        value = 0.5 * (n - m) * math.log(left) + covariance.logarithms
        return value, np.append(by_weight, covariance.nugget * np.trace(G))

    first = np.append(np.full(d, math.log(FIRST_WEIGHT)), math.log(FIRST_NUGGET))
    if start is not None:
        first = np.append(np.log(start.weights), math.log(start.nugget))
    bounds = [tuple(np.log(WEIGHT_BOUNDS))] * d + [tuple(np.log(NUGGET_BOUNDS))]
    steps = STEPS if start is None else STEPS // 3
    found = minimize(objective, first, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": steps})
    return at(found.x)[1]
