"""How a model answers to small changes of its inputs, by central differences on their natural scale.

Steps are counted in natural standard uncertainties of each input (of the logarithm, for a lognormal one), so that a
derivative *is* the contribution c·u of an input, in the unit of the result. The model sees all points at once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from .evaluate import Model
from .variables import Variable

__all__ = ["Linearisation", "linearise", "propagated_covariance", "second_order_uncertainty"]

Float = NDArray[np.float64]

STEP = 0.25
"""Step in standard uncertainties: small against the curvature of a response, large against the error of a solver."""


@dataclass(frozen=True, eq=False)
class Linearisation:
    """Value and signed contributions of a model.

    Attributes
    ----------
    value : ndarray (…)
        Result at the centres of all inputs.
    contributions : ndarray (J, …)
        Sensitivity coefficient times standard uncertainty, c·u, of each input, in the unit of the result.
    errors : ndarray (J, …)
        Difference between the two orders of the differences they were taken from: a bound of the numerical error
        for a smooth model.
    """

    value: Float
    contributions: Float
    errors: Float


def _evaluated(model: Model, variables: Sequence[Variable], steps: Float) -> Float:
    """Return the model at centres moved by `steps` (points, J) standard uncertainties."""
    points = {v.path: v.distribution.moved(steps[:, j]) for j, v in enumerate(variables)}
    results = np.asarray(model(points), dtype=np.float64)
    if results.ndim < 1 or results.shape[0] != len(steps):
        raise InputError(
            f"the model returned shape {results.shape} for {len(steps)} samples",
            where="model",
            expected=f"an array ({len(steps)}, …)",
        )
    if not np.all(np.isfinite(results)):
        raise InputError("the result is not finite within a step of the centre", where="model")
    return results


def linearise(model: Model, variables: Sequence[Variable], *, step: float = STEP) -> Linearisation:
    """Return value and contributions of a model at the centres of its inputs.

    Parameters
    ----------
    model : callable
        Takes a mapping of path to samples (S,) and returns an array (S, …); it is asked for 4 J + 1 samples once.
    variables : sequence of Variable
        J of them.
    step : float
        Of the wider difference, in standard uncertainties; the narrower is half of it.

    Returns
    -------
    Linearisation
        Contributions (4 D(h/2) − D(h))/3, D(h) the central difference of step h, which leaves an error of h⁴.

    Raises
    ------
    InputError
        If the model's result has another shape, or is not finite.
    """
    J = len(variables)
    unit = np.eye(J)
    steps = np.concatenate([np.zeros((1, J)), step * unit, -step * unit, step / 2 * unit, -step / 2 * unit])
    results = _evaluated(model, variables, steps)
    up, down, half_up, half_down = results[1:].reshape(4, J, *results.shape[1:])
    wide, narrow = (up - down) / (2 * step), (half_up - half_down) / step
    return Linearisation(results[0], (4 * narrow - wide) / 3, np.abs(narrow - wide) / 3)


def propagated_covariance(contributions: Float, correlation: Float) -> Float:
    """Return the covariance matrix of several results, C R Cᵀ (JCGM 100:2008, equation (13) and H.2.3).

    Parameters
    ----------
    contributions : ndarray (J, K)
        c·u of each input to each result.
    correlation : ndarray (J, J)
        Of the inputs.

    Returns
    -------
    ndarray (K, K)
    """
    return np.asarray(contributions.T @ correlation @ contributions)


def second_order_uncertainty(model: Model, variables: Sequence[Variable], *, step: float = STEP) -> float:
    """Return the combined standard uncertainty with the next order of the law of propagation.

    u² = Σᵢ gᵢ² + Σᵢ Σⱼ [½ Hᵢⱼ² + gᵢ Tᵢⱼⱼ], g, H and T the first, second and third derivatives per standard
    uncertainty (JCGM 100:2008, 5.1.2, note). Where it differs from that of the budget, the response is not straight.

    Parameters
    ----------
    model : callable
        Takes a mapping of path to samples (S,) and returns an array (S,); it is asked for 2 J² + 2 J + 1 samples twice.
    variables : sequence of Variable
        J of them, independent, on their natural scale near normal.
    step : float
        Of the wider differences, in standard uncertainties; half of it gives the narrower, and the two together an
        error of h⁴.

    Raises
    ------
    InputError
        If the model's result has another shape, or is not finite.
    """
    wide, narrow = (_second_order_variance(model, variables, h) for h in (step, step / 2))
    return math.sqrt(max((4 * narrow - wide) / 3, 0.0))


def _second_order_variance(model: Model, variables: Sequence[Variable], h: float) -> float:
    """Return the variance by differences of step h, with an error of h²."""
    J = len(variables)
    unit = h * np.eye(J)
    first, second = np.triu_indices(J, 1)
    pairs = [s * unit[first] + t * unit[second] for s in (1, -1) for t in (1, -1)]
    steps = np.concatenate([np.zeros((1, J)), unit, -unit, 2 * unit, -2 * unit, *pairs])
    results = _evaluated(model, variables, steps)
    if results.ndim != 1:
        raise InputError(f"results of shape {results.shape}", where="model", expected="one result, shape (S,)")
    f0 = results[0]
    up, down, up2, down2 = results[1 : 4 * J + 1].reshape(4, J)
    pp, pm, mp, mm = results[4 * J + 1 :].reshape(4, -1)
    g = (8 * (up - down) - (up2 - down2)) / (12 * h)
    H = np.diag((16 * (up + down) - (up2 + down2) - 30 * f0) / (12 * h**2))
    H[first, second] = H[second, first] = (pp - pm - mp + mm) / (4 * h**2)
    T = np.diag(((up2 - down2) - 2 * (up - down)) / (2 * h**3))  # T[i, j] = ∂³f/∂xᵢ∂xⱼ²
    T[first, second] = (pp - 2 * up[first] + pm - mp + 2 * down[first] - mm) / (2 * h**3)
    T[second, first] = (pp - 2 * up[second] + mp - pm + 2 * down[second] - mm) / (2 * h**3)
    return float(np.sum(g**2) + np.sum(0.5 * H**2 + g[:, None] * T))
