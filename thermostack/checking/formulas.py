"""The formulae of comparing a simulation with data."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

__all__ = ["comparison_error", "en_number", "two_sided_p", "validation_uncertainty"]


def comparison_error(simulated: float, measured: float) -> float:
    """Return the comparison error E = S − D.

    ASME V&V 20-2009, section 1. Any unit; that of both.
    """
    return simulated - measured


def validation_uncertainty(u_input: float, u_num: float, u_D: float, covariance: float = 0.0) -> float:
    """Return the validation uncertainty u_val = √(u_input² + u_num² + u_D² − 2 cov(δ_input, δ_D)).

    ASME V&V 20-2009, section 1, with the covariance of what simulation and data share (section 5.3 there): what moves
    both alike moves their difference less.

    Parameters
    ----------
    u_input, u_num, u_D : float
        Standard uncertainties by the inputs, by the numerical solution, and of the data; zero or more.
    covariance : float
        Of the errors of simulation (by its inputs) and data.
    """
    return math.sqrt(max(u_input**2 + u_num**2 + u_D**2 - 2.0 * covariance, 0.0))


def en_number(difference: float, expanded: float, expanded_reference: float = 0.0) -> float:
    """Return Eₙ = (x − X)/√(U² + U_ref²), U expanded with k = 2; |Eₙ| ≤ 1 is satisfactory.

    ISO/IEC 17043:2010, B.3.1.3. With E for the difference and U = 2 u_val it is E/(2 u_val).
    """
    return difference / math.hypot(expanded, expanded_reference)


def two_sided_p(samples: ArrayLike, observed: float) -> float:
    """Return the two-sided tail probability of what was observed among samples of what was to be expected.

    Twice the smaller of the shares of samples at or below it, and at or above it, the observation counted among them
    ((r + 1)/(n + 1), Davison and Hinkley 1997, *Bootstrap Methods*, section 4.2.5), and 1 at most.
    """
    x = np.asarray(samples, dtype=np.float64)
    below, above = int(np.sum(x <= observed)), int(np.sum(x >= observed))
    return min(1.0, 2.0 * (min(below, above) + 1) / (x.size + 1))
