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

KEPT = 1e-6
"""Principal outputs whose singular value is a smaller share of the first are left out."""
WEIGHT_BOUNDS = (1.0 / 300.0, 1.0 / 0.5)
"""Of w, in standard deviations of the design to the power −1."""
NUGGET_BOUNDS = (1e-10, 1e-2)
"""Below, rounding errors of the covariance matrix take over."""
STEPS = 60


@dataclass(frozen=True, eq=False)
class Kriging:
    """A fitted emulator of functions y(x).

    Attributes
    ----------
    points : ndarray, shape (N, d)
        The design.
    weights : ndarray, shape (d,)
        w, inverse length scales.
    nugget : float
        g, what the outputs are rough by, as a share of their variance.
    coefficients : ndarray, shape (N + m, k)
        Of the covariances with the N points and of the m trend columns, for k principal outputs.
    inverse : ndarray, shape (N + m, N + m)
        Of the kriging matrix [[K, P], [Pᵀ, 0]].
    basis, middle, scale : ndarray, shapes (k, outputs), (outputs,), (outputs,)
        Outputs are middle + scale × (principal outputs @ basis).
    """

    points: Float
    weights: Float
    nugget: float
    coefficients: Float
    inverse: Float
    basis: Float
    middle: Float
    scale: Float

    def predict(self, x: Float, trend: Float) -> tuple[Float, Float]:
        """Return the outputs, shape (S, outputs), and the kriging standard deviation for unit variance, shape (S,).

        Parameters
        ----------
        x : ndarray, shape (S, d)
        trend : ndarray, shape (S, m)
        """
        row = np.concatenate([_covariance(x * self.weights, self.points * self.weights), trend], axis=1)
        outputs = self.middle + self.scale * (row @ self.coefficients @ self.basis)
        # (GP variance + that of the trend) = k(x, x) − rowᵀ A⁻¹ row, A the kriging matrix
        variance = 1.0 + self.nugget - np.einsum("si,si->s", row @ self.inverse, row)
        return outputs, np.sqrt(np.maximum(variance, self.nugget))

    @cached_property
    def left_out(self) -> tuple[Float, Float]:
        """Errors at each point when it is left out, (N, outputs), and standard deviation for unit variance there, (N,).

        e_i = [A⁻¹y]_i / [A⁻¹]_ii and s_i² = 1/[A⁻¹]_ii (Dubrule 1983), with the covariance as it is.
        """
        n = len(self.points)
        diagonal = np.maximum(np.diagonal(self.inverse)[:n], 1e-300)
        errors = (self.coefficients[:n] / diagonal[:, None]) @ self.basis * self.scale
        return errors, 1.0 / np.sqrt(diagonal)


def _covariance(a: Float, b: Float) -> Float:
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
    weights, nugget = _most_likely(x, trend, principal, start)
    n, m = trend.shape
    matrix = np.zeros((n + m, n + m))
    matrix[:n, :n] = _covariance(x * weights, x * weights) + nugget * np.eye(n)
    matrix[:n, n:] = trend
    matrix[n:, :n] = trend.T
    inverse = linalg.inv(matrix)
    coefficients = linalg.solve(matrix, np.concatenate([principal, np.zeros((m, kept))]), assume_a="sym")
    return Kriging(x, weights, nugget, coefficients, inverse, basis[:kept], middle, scale)


def _most_likely(x: Float, trend: Float, y: Float, start: Kriging | None) -> tuple[Float, float]:
    """Return weights and nugget of the largest restricted likelihood, the variance being profiled out.

    −ln L = ½ (N − m) ln tr(yᵀQy) + ½ ln|K| + ½ ln|PᵀK⁻¹P|, Q = K⁻¹ − K⁻¹P(PᵀK⁻¹P)⁻¹PᵀK⁻¹, and for each parameter
    ∂(−ln L) = ½ tr((Q − (N − m)/tr(yᵀQy) · Qy yᵀQ) ∂K) (Rasmussen and Williams 2006, 2.7 and 5.4, for a flat prior of
    the trend).
    """
    (n, d), m = x.shape, trend.shape[1]
    y = y / max(math.sqrt(float(np.sum(y**2))), 1e-300)
    squares = (x.T[:, :, None] - x.T[:, None, :]) ** 2

    def objective(theta: Float) -> tuple[float, Float]:
        w2, g = np.exp(2.0 * theta[:d]), math.exp(theta[d])
        smooth = np.exp(-0.5 * np.tensordot(w2, squares, 1))
        factor = linalg.cholesky(smooth + g * np.eye(n), lower=True)
        half_trend = linalg.solve_triangular(factor, trend, lower=True)
        q, r = np.linalg.qr(half_trend)
        root = linalg.solve_triangular(factor, np.eye(n), lower=True)
        root = root - q @ (q.T @ root)
        Q = root.T @ root
        Qy = Q @ y
        left = max(float(np.sum(y * Qy)), 1e-300)
        value = 0.5 * (n - m) * math.log(left) + float(
            np.sum(np.log(np.diagonal(factor))) + np.sum(np.log(np.abs(np.diagonal(r))))
        )
        G = 0.5 * (Q - (n - m) / left * (Qy @ Qy.T))
        by_weight = -np.tensordot(squares, G * smooth, 2) * w2
        return value, np.append(by_weight, g * np.trace(G))

    first = np.append(np.full(d, math.log(0.1)), math.log(1e-7))
    if start is not None:
        first = np.append(np.log(start.weights), math.log(start.nugget))
    bounds = [tuple(np.log(WEIGHT_BOUNDS))] * d + [tuple(np.log(NUGGET_BOUNDS))]
    found = minimize(objective, first, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": STEPS})
    return np.exp(found.x[:d]), float(np.exp(found.x[d]))
