"""How one block passes heat, cosine mode by cosine mode, from flux at its two ends to temperature at any depth.

In mode number γ the temperature obeys k_z θ'' = k_xy γ² θ through each slab, which is solved exactly. A slab stands in
*hybrid* form, flux q entering below and temperature θ above:

    θ_low = R q + α θ_high,        q_out = α q − Y θ_high

with 0 ≤ α ≤ 1, so that a cascade of slabs (the star product) never overflows, however many and however fine.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["Hybrid", "Slab", "contact_hybrid", "film_hybrid", "rise_at_cut", "slab_hybrid", "star", "through"]

Float = NDArray[np.float64]


class Hybrid(NamedTuple):
    """θ_low = R q + α θ_high and q_out = α q − Y θ_high; arrays that broadcast against the modes."""

    R: Float
    alpha: Float
    Y: Float


class Slab(NamedTuple):
    """One slab or part of a slab: thickness [m], conductivities [W/(m K)], resistance to the next [m² K/W]."""

    thickness: Float
    k_through: Float
    k_in_plane: Float
    r_above: Float


def slab_hybrid(gamma: Float, thickness: Float, k_through: Float, k_in_plane: Float) -> Hybrid:
    r"""Hybrid form of a slab in a mode.

    .. math:: R = \tanh(\gamma' t)/(k' \gamma), \quad \alpha = 1/\cosh(\gamma' t), \quad Y = k' \gamma \tanh(\gamma' t)

    with :math:`\gamma' = \gamma\sqrt{k_{xy}/k_z}` and :math:`k' = \sqrt{k_{xy} k_z}`. In mode 0 they are t/k, 1 and 0.
    This is the only place that knows the equation inside a slab: for a change in time, with a diffusivity κ and
    the Laplace variable s, γ'² becomes γ'² + s/κ here and nowhere else.

    Parameters
    ----------
    gamma : ndarray
        In-plane mode number, zero or more. [1/m]
    thickness, k_through, k_in_plane : ndarray
        Of the slab; broadcast against `gamma`. [m], [W/(m K)]

    Returns
    -------
    Hybrid
        R [m² K/W], α [1] and Y [W/(m² K)].

    References
    ----------
    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, sec. 3.7 (the matrix of a slab), here solved for
    θ_low and q_out; tested against the published flux-channel series.
    """
    # γ = 0 needs no case of its own: tanh(x)/x → 1 as x → 0, and the smallest normal number stands for zero
    g = np.maximum(gamma, 1e-150)
    x = g * (thickness * np.sqrt(k_in_plane / k_through))
    e = np.exp(-x)
    e2 = e * e
    tanh = -np.expm1(-2.0 * x) / (1.0 + e2)
    k_gamma = g * np.sqrt(k_in_plane * k_through)
    return Hybrid(tanh / k_gamma, 2.0 * e / (1.0 + e2), k_gamma * tanh)


def contact_hybrid(r: Float) -> Hybrid:
    """Hybrid form of a specific resistance r [m² K/W]: R = r, α = 1, Y = 0."""
    return Hybrid(r, np.ones_like(r), np.zeros_like(r))


def film_hybrid(r: Float) -> Hybrid:
    """Hybrid form of a film to the environment beside the path, resistance r > 0 [m² K/W]: R = 0, α = 1, Y = 1/r."""
    return Hybrid(np.zeros_like(r), np.ones_like(r), 1.0 / r)


def star(low: Hybrid, high: Hybrid) -> Hybrid:
    """Hybrid form of two in a row, `low` first; never larger than its parts.

    References
    ----------
    Redheffer, On a certain linear fractional transformation, J. Math. and Phys. 39 (1960) 269 (the star product).
    """
    share = 1.0 / (1.0 + high.R * low.Y)
    return Hybrid(
        low.R + low.alpha**2 * high.R * share,
        low.alpha * high.alpha * share,
        high.Y + high.alpha**2 * low.Y * share,
    )


def through(gamma: Float, slabs: Sequence[Slab], below: Hybrid | None = None) -> Hybrid | None:
    """Cascade `below` (what lies under the first slab) and slabs with the resistances above them."""
    total = below
    for slab in slabs:
        part = slab_hybrid(gamma, slab.thickness, slab.k_through, slab.k_in_plane)
        total = part if total is None else star(total, part)
        if np.any(slab.r_above):
            total = star(total, contact_hybrid(slab.r_above))
    return total


def rise_at_cut(low: Hybrid | None, high: Hybrid | None, r_top: Float | None) -> tuple[Float, Float | None]:
    """Temperature at a cut through a block, for unit flux that enters the block at its lower and at its upper face.

    Parameters
    ----------
    low, high : Hybrid or None
        What lies below and above the cut; None where nothing does.
    r_top : ndarray or None
        Resistance of a film that closes the whole upper face [m² K/W]; None where that face is free.

    Returns
    -------
    from_lower, from_upper : ndarray, ndarray or None
        Rise for a unit of flux into the lower and into the upper face [m² K/W]; None for a closed upper face.

    Notes
    -----
    Below: q_c = α₁ q − Y₁ θ_c. Above a free face that takes in flux p: θ_c = R₂ q_c + α₂ θ_h and −p = α₂ q_c − Y₂ θ_h.
    Elimination gives θ_c = (D α₁ q + α₂ p)/(Y₂ + D Y₁) with D = R₂ Y₂ + α₂², which holds for an empty part too. Above a
    closed face θ_h = r (α₂ q_c − Y₂ θ_h), so that D = R₂(1 + r Y₂) + α₂² r and Y₂ → 1 + r Y₂.
    """
    zero, one = np.zeros(1), np.ones(1)
    alpha_1, Y_1 = (one, zero) if low is None else (low.alpha, low.Y)
    R_2, alpha_2, Y_2 = (zero, one, zero) if high is None else high
    if r_top is not None:
        loss = 1.0 + r_top * Y_2
        D = R_2 * loss + alpha_2**2 * r_top
        return np.asarray(D * alpha_1 / (loss + D * Y_1)), None
    D = R_2 * Y_2 + alpha_2**2
    loss = Y_2 + D * Y_1
    return np.asarray(D * alpha_1 / loss), np.asarray(alpha_2 / loss)
