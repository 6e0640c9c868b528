"""What may come with any other cause: one mount in eight is bad, whatever else is the case."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .effect import SCALES, Effect

__all__ = ["NOTHING", "Besides", "points_of", "with_chances"]

Float = NDArray[np.float64]

POINTS = 2
"""Of each piece of such an effect."""


@dataclass(frozen=True, eq=False)
class Besides:
    """Effects of which one at most may be there besides a cause, each with a chance of its own.

    Attributes
    ----------
    effects : tuple of Effect
    chances : tuple of float
    """

    effects: tuple[Effect, ...] = ()
    chances: tuple[float, ...] = ()

    @property
    def shares(self) -> Float:
        """Probability of none, and of each alone, if there is one at most; shape (effects + 1,)."""
        return with_chances(self.chances)

    @property
    def of(self) -> NDArray[np.intp]:
        """Which effect each point belongs to, shape (O,): 0 none, the first one is 1."""
        counts = [1, *(POINTS * e.masses.shape[1] for e in self.effects)]
        return np.repeat(np.arange(len(counts)), counts)

    @property
    def log_masses(self) -> Float:
        """Logarithms of the prior masses of the points, shape (scales, O)."""
        shares = self.shares
        parts = [np.full((len(SCALES), 1), shares[0])]
        for share, effect in zip(shares[1:], self.effects, strict=True):
            parts.append(share * np.repeat(effect.masses / POINTS, POINTS, axis=1))
        with np.errstate(divide="ignore"):
            return np.asarray(np.log(np.concatenate(parts, axis=1)))

    def shifts(self, rise: Float) -> Float:
        """Return what each point adds for rises (D,), shape (O, D). [K]"""
        return np.concatenate([np.zeros((1, len(rise))), *(points_of(effect.starts(rise)) for effect in self.effects)])


NOTHING = Besides()


def points_of(chain: Float) -> Float:
    """Return the points (K · POINTS, D) of the pieces of a chain (K + 1, D)."""
    s = (np.arange(POINTS) + 0.5) / POINTS
    points = chain[:-1, None] + s[:, None] * np.diff(chain, axis=0)[:, None]
    return np.asarray(points.reshape(-1, points.shape[-1]))


def with_chances(chances: Sequence[float]) -> Float:
    """Return the probabilities of none and of each alone of independent chances, given that there is one at most."""
    odds = np.array([1.0, *(chance / (1.0 - chance) for chance in chances)])
    return np.asarray(odds / odds.sum())
