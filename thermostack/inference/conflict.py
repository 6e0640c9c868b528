"""Whether the data could have come from what was described: the prior predictive check (Box 1980)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, special

from ..tables import format_number
from .problem import Target

__all__ = ["Conflict", "conflict_of"]

Float = NDArray[np.float64]

_REPLICATES = 4
_SURPRISING = 0.05


@dataclass(frozen=True, eq=False)
class Conflict:
    """How far the data lie from what the priors let expect.

    Attributes
    ----------
    distance : float
        Mahalanobis distance of the data under the prior predictive distribution, in standard deviations.
    data : int
        Number of data; √ of it is an ordinary distance.
    p : float
        Chance that data which follow the description lie as far away or farther, from simulated data.
    p_normal : float
        The same, were the prior predictive distribution normal; for where the simulated one is too coarse.
    least_p : float
        The smallest p that the simulation could give.
    expected, sd : ndarray (D,)
        Prior predictive mean and standard deviation of each datum, noise of the data included.
    standardised : ndarray (D,)
        (datum − expected)/sd.
    impossible : float
        Share of the prior at which the model gives nothing.
    names : tuple of str
        Of the data, where they are known.
    """

    distance: float
    data: int
    p: float
    p_normal: float
    least_p: float
    expected: Float
    sd: Float
    standardised: Float
    impossible: float
    names: tuple[str, ...] = ()

    @property
    def surprising(self) -> bool:
        """Whether p is below 0.05."""
        return self.p < _SURPRISING

    def __str__(self) -> str:
        worst = int(np.argmax(np.abs(self.standardised)))
        name = self.names[worst] if self.names else f"reading number {worst + 1}"
        chance = (
            f"p < {format_number(self.least_p, 2)} (were it normal, {self.p_normal:.1g})"
            if self.p <= self.least_p
            else f"p = {format_number(self.p, 2)}"
        )
        verdict = "contradict the priors" if self.surprising else "agree with the priors"
        return (
            f"the data {verdict}: they lie {format_number(self.distance, 3)} standard deviations from what was "
            f"expected of {self.data} data ({chance}); farthest is {name}, "
            f"{format_number(float(self.standardised[worst]), 3)} standard deviations of its own off"
        )


def conflict_of(target: Target, z: Float, predicted: Float, rng: np.random.Generator) -> Conflict:
    """Return the prior predictive check from predictions (M, D) at scores (M, J) drawn from the prior.

    p compares the data's distance with those of simulated data, a few for each draw, noise drawn afresh; p_normal is
    that of Hotelling's T² for a distance in a mean and covariance estimated from M draws.
    """
    problem, D = target.problem, target.data
    possible = np.all(np.isfinite(predicted), axis=1)
    f = predicted[possible]
    M = len(f)
    factor = np.linalg.cholesky(target.covariance)
    noise = rng.standard_normal((_REPLICATES, M, D)) @ factor.T
    if callable(problem.model_error):
        error = np.nan_to_num(problem.model_error(target.latent.values(z[possible])), nan=0.0)
        noise = noise + rng.standard_normal((_REPLICATES, M, D)) * error
        extra = np.diag(np.mean(np.square(error), axis=0))
    else:
        extra = np.zeros((D, D))
    nu = problem.degrees_of_freedom
    if math.isfinite(nu):
        noise = noise / np.sqrt(rng.chisquare(nu, (_REPLICATES, M, 1)) / nu)
    expected = f.mean(axis=0)
    of_noise = target.covariance * (nu / (nu - 2) if 2 < nu < math.inf else 1.0) + extra
    covariance = np.cov(f.T).reshape(D, D) + of_noise
    whiten = np.linalg.cholesky(covariance)

    def squares(data: Float) -> Float:
        return np.asarray(np.sum(linalg.solve_triangular(whiten, (data - expected).T, lower=True) ** 2, axis=0))

    square = float(squares(problem.observed[None])[0])
    simulated = squares((f + noise).reshape(-1, D))
    least = 1.0 / (M + 1)
    beyond = float(np.mean(simulated >= square))
    scaled = square * (M - D) / (D * (M + 1)) if M > D else 0.0
    sd = np.sqrt(np.diag(covariance))
    return Conflict(
        math.sqrt(square),
        D,
        max(beyond, least),
        float(special.fdtrc(D, max(M - D, 1), scaled)),
        least,
        expected,
        sd,
        (problem.observed - expected) / sd,
        1.0 - M / len(predicted),
        problem.names,
    )
