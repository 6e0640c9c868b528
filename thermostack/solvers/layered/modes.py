"""Which modes an axis of a block carries, and the sum of what lies beyond them.

A face responds to fine detail like a half-space: Z → 1/(k γ). Only a *box* of modes, up to γ_b, is summed with the
exact Z. What lies outside is summed to infinity with 1/γ written as a few Gaussians, which separate the two axes:

    1/γ ≈ (2/√π) ∫₀^t₀ exp(−γ²t²) dt ≈ Σ_q w_q exp(−(mπt_q/a)²) exp(−(nπt_q/b)²),     γ > γ_b, γ_b t₀ = 2.5.

The rule is Gauss-Radau's with a node at t = 0, where the sum over all modes is a plain overlap (Parseval); the next
node already damps the modes so that a few times as many as in the box suffice, on each axis alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import roots_jacobi

__all__ = ["Axis", "ladder", "radau"]

Float = NDArray[np.float64]
Int = NDArray[np.intp]

REACH = 2.5
"""γ_b t₀: erfc(2.5) = 0.04 % of 1/γ is missing at the edge of the box, and less and less beyond."""
NODES = 6
"""Points of the Radau rule, that at zero included."""
DAMPED = 4.5
"""Modes are followed on one axis until exp(−γ²t²) has fallen to exp(−DAMPED) at the first node after zero."""


@lru_cache(maxsize=8)
def radau(points: int) -> tuple[Float, Float]:
    """Nodes and weights of the Gauss-Radau rule on 0 … 1 with a node at 0, exact to degree 2·points − 2."""
    x, w = roots_jacobi(points - 1, 0.0, 1.0)
    nodes = 0.5 * (1.0 + x)
    return np.concatenate(([0.0], nodes)), np.concatenate(([1.0 / points**2], 0.25 * w / nodes))


def ladder(wanted: Float) -> Int:
    """Round numbers of modes up to 2^(k/2), even: few sizes, and a sample's own whatever batch it is part of."""
    steps = np.ceil(2.0 * np.log2(np.maximum(wanted, 4.0)) - 1e-9)
    rounded: Int = (2 * np.ceil(0.5 * 2.0 ** (steps / 2.0) - 1e-9)).astype(np.intp)
    return rounded


@dataclass(frozen=True, eq=False)
class Axis:
    """Modes of one axis of a block.

    Parameters
    ----------
    length, origin : ndarray, shape (G,)
        Length of the axis and coordinate of its lower end. [m]
    limit : ndarray, shape (G,)
        Edge γ_b of the box. [1/m]
    count : int
        Number of modes inside the box, 0 … count − 1, before symmetry takes its half.
    parity : int or None
        0 or 1 for even or odd modes alone, None for all.
    """

    length: Float
    origin: Float
    limit: Float
    count: int
    parity: int | None

    @property
    def _reach(self) -> int:
        """Modes until the first Gaussian has damped them; of the layout alone, since a γ_b is at most count·π/a."""
        return int(np.ceil(np.sqrt(DAMPED) / (radau(NODES)[0][1] * REACH) * self.count))

    @cached_property
    def modes(self) -> Int:
        """Numbers of all modes that are followed."""
        step = 1 if self.parity is None else 2
        return np.arange(self.parity or 0, self._reach + 2 - self._reach % 2, step)

    @cached_property
    def inside(self) -> int:
        """How many of `modes` lie in the box."""
        return int(np.count_nonzero(self.modes < self.count))

    @cached_property
    def wave(self) -> Float:
        """Wave numbers mπ/a in the box, shape (G, inside). [1/m]"""
        return self.modes[: self.inside] * (np.pi / self.length)[:, None]

    @cached_property
    def damping(self) -> Float:
        """exp(−(mπ t_q/a)²), shape (G, nodes, modes)."""
        t = radau(NODES)[0] * (REACH / self.limit * np.pi / self.length)[:, None]
        return np.exp(-((t[:, :, None] * self.modes) ** 2))
