"""Draws near a most probable point that follow the bend of the model, with their density: randomise, then optimise.

About a point the residuals are F(z) = [z; L⁻¹(y(z) + shift − observed)], z the scores of all inputs; their slopes
J̃ = Q R. A draw solves Qᵀ F(z) = ε, ε normal; its density is |det Qᵀ J̃(z)| N(Qᵀ F(z); 0, I) (Bardsley, Solonen, Haario
and Laine 2014, SIAM J. Sci. Comput. 36, A1895). For a straight model that is the posterior itself; for a bent one the
weight of a draw, exp(−½ |(1 − Q Qᵀ) F|²) / |det Qᵀ J̃|, stays steady as long as the model does not fold (det → 0), where
readings much more precise than the inputs make a normal proposal miss the ridge.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from .proposal import latin_hypercube

__all__ = ["Implicit", "densities", "drawn"]

Float = NDArray[np.float64]

STEPS, SOLVED = 20, 1e-3
"""Most iterations of a draw, and the residual at which it counts as solved, in standard deviations."""


@dataclass(frozen=True, eq=False)
class Implicit:
    """Draws about one point.

    Attributes
    ----------
    observed : ndarray, shape (D,)
        Less what the cause adds. [K]
    whiten : ndarray, shape (D, D)
        Lower Cholesky factor of the noise, with the spread of the cause.
    middle : ndarray, shape (J,)
        Most probable scores.
    Q : ndarray, shape (J + D, J)
    R : ndarray, shape (J, J)
    """

    observed: Float
    whiten: Float
    middle: Float
    Q: Float
    R: Float

    @classmethod
    def about(cls, middle: Float, slopes: Float, observed: Float, noise: Float) -> Implicit:
        """Return the draws about a point with these slopes (D, J) and this noise (D, D)."""
        whiten = np.linalg.cholesky(noise)
        J = len(middle)
        Q, R = np.linalg.qr(np.vstack([np.eye(J), linalg.solve_triangular(whiten, slopes, lower=True)]))
        return cls(observed, np.asarray(whiten), middle, np.asarray(Q), np.asarray(R))

    def projected(self, z: Float, y: Float) -> Float:
        """Return Qᵀ F (N, J) at scores (N, J) where y (N, D) is shown."""
        J = z.shape[1]
        left = linalg.solve_triangular(self.whiten, (y - self.observed).T, lower=True, check_finite=False).T
        return np.asarray(z @ self.Q[:J] + left @ self.Q[J:])

    def log_density(self, z: Float, y: Float, slopes: Float) -> Float:
        """Return the logarithm of the density (N,) at scores where y (N, D) is shown with slopes (N, D, J)."""
        J = z.shape[1]
        g = self.projected(z, y)
        lower = linalg.solve_triangular(self.whiten, self.Q[J:], lower=True, trans="T")
        matrix = self.Q[:J].T + np.einsum("dj,ndk->njk", lower, slopes)
        sign, log_det = np.linalg.slogdet(matrix)
        # on the far side of a fold no draw of this place lies
        log_det = np.where(sign == np.linalg.slogdet(self.R)[0], log_det, -np.inf)
        return np.asarray(log_det - 0.5 * (np.sum(g**2, axis=1) + J * math.log(2 * math.pi)))


def densities(
    places: Sequence[Implicit], count: int, z: Float, y: Float, slopes: Float
) -> tuple[Float, NDArray[np.bool_]]:  # fmt: skip
    """Return ln density of each place (P, N) at draws of `drawn`, and which of them are draws of their own place (N,).

    A solution beyond a fold is none: what is shown there belongs to another mode.
    """
    found = np.array([place.log_density(z, y, slopes) for place in places])
    own = found[np.repeat(np.arange(len(places)), count), np.arange(len(places) * count)]
    return found, np.asarray(np.isfinite(own))


def drawn(places: Sequence[Implicit], rng: np.random.Generator, count: int, shown: Callable[[Float], Float]) -> Float:
    """Return so many scores about each place (places · count, J), NaN where no solution was found.

    Broyden's method from the middle, with the slopes there; all together, as the model takes many at once.
    """
    J = len(places[0].middle)
    of = np.repeat(np.arange(len(places)), count)
    epsilon = np.concatenate([latin_hypercube(rng, count, J) for _ in places])
    inverse = np.concatenate([np.repeat(np.linalg.inv(place.R)[None], count, axis=0) for place in places])
    z = np.concatenate([np.repeat(place.middle[None], count, axis=0) for place in places])

    def left(n: NDArray[np.intp]) -> Float:
        y, out = shown(np.nan_to_num(z[n])), epsilon[n]
        for i in np.unique(of[n]):
            mine = of[n] == i
            out[mine] -= places[i].projected(z[n][mine], y[mine])
        return out

    open_, solved = np.arange(len(z)), np.zeros(len(z), dtype=bool)
    with np.errstate(invalid="ignore", over="ignore"):  # where nothing is shown, or far off
        missed = left(open_)
        for _ in range(STEPS):
            B = inverse[open_]
            step = np.einsum("nij,nj->ni", B, missed)
            z[open_] += step
            now = left(open_)
            change, missed = missed - now, now
            along = np.einsum("ni,nij->nj", step, B)
            scale = np.einsum("nj,nj->n", along, change)
            better = (step - np.einsum("nij,nj->ni", B, change)) / scale[:, None]
            good = np.isfinite(better).all(axis=1) & (np.abs(scale) > 1e-12)
            inverse[open_[good]] += better[good, :, None] * along[good, None, :]
            worst = np.max(np.abs(missed), axis=1)
            solved[open_[worst < SOLVED]] = True
            still = worst >= SOLVED  # nor does one come back from where nothing is shown
            open_, missed = open_[still], missed[still]
            if not len(open_):
                break
    z[~solved] = np.nan
    return z
