"""What lies on a level of a block: rectangles with functions on them, and known fluxes made of such functions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermostack.solvers.layered.coefficients import Basis, LegendreBasis, PointBasis

__all__ = ["LOWER", "OUT", "UPPER", "Cut", "Flux", "Level", "Patch"]

Float = NDArray[np.float64]

LOWER = "lower face"
UPPER = "upper face"
OUT = "out"
"""Stands for the flux that leaves through a film over the whole upper face, where a temperature is asked for else."""


@dataclass(frozen=True)
class Cut:
    """A level inside a block, in a slab at a share of its thickness from below; at 0 above, at 1 under the joint."""

    slab: int
    depth: float


Level = str | Cut


@dataclass(frozen=True, eq=False)
class Patch:
    """Rectangles on one level of a block with the coefficients of functions on them, on both axes.

    Attributes
    ----------
    level : str or Cut
        Where in the block they lie.
    ends : tuple of two pairs of ndarray, shape (G, n)
        Lower and upper ends on both axes, from the lower left corner of the block. [m]
    bases : tuple of two bases
        Functions on both axes.
    coefficients : tuple of two ndarrays, shape (G, n, functions, modes)
    partner : Patch, optional
        For modes on a contact: its polynomials on the same face, of which `means` are known.
    means : tuple of two ndarrays, shape (G, n, partner's functions, functions)
        Means over the contact of products with the functions of the partner.
    within : bool
        Whether the functions are modes of the box of this very block, so that nothing of them lies outside.
    """

    level: Level
    ends: tuple[tuple[Float, Float], tuple[Float, Float]]
    bases: tuple[Basis | PointBasis, Basis | PointBasis]
    coefficients: tuple[Float, Float]
    partner: Patch | None = None
    means: tuple[Float, Float] | None = None
    within: bool = False

    def first(self) -> Patch:
        """Return the patch with its first polynomials alone, the mean where that belongs to the symmetry class."""
        x, y = (c[:, :, :1] for c in self.coefficients)
        return Patch(self.level, self.ends, (LegendreBasis(np.zeros(1, np.intp)),) * 2, (x, y))


@dataclass(frozen=True, eq=False)
class Flux:
    """Known heat through one rectangle of a face: functions of a patch with their amounts.

    Attributes
    ----------
    patch : Patch
        One rectangle, on the lower or upper face.
    heat : ndarray, shape (S, n, functions in x, functions in y)
        Amounts for n such fluxes. [W]
    """

    patch: Patch
    heat: Float

    @property
    def face(self) -> str:
        """Face on which it acts."""
        assert isinstance(self.patch.level, str)
        return self.patch.level

    def modal(self, inside: tuple[int, int]) -> Float:
        """Heat in the modes of the block, shape (S, n, M, N). [W]"""
        if self.patch.within and self.heat.shape[2:] == inside:
            return self.heat
        x, y = (c[..., :m] for c, m in zip(self.patch.coefficients, inside, strict=True))
        return np.asarray(x.swapaxes(-1, -2) @ self.heat @ y)
