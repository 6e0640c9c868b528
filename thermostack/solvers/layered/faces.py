"""Rectangles on the faces of a block, and how each warms the others through the modes of the block.

All sums have the form (1/A) Σ_mn C_m C'_m Z_mn D_n D'_n, with coefficients that separate by axis: they are contracted
over one axis, then over the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from thermostack.solvers.layered.coefficients import (
    Basis,
    CosineBasis,
    LegendreBasis,
    cosine_coefficients,
    cosine_overlaps,
    overlap,
)
from thermostack.solvers.layered.impedance import Slab, film_hybrid, rise_at_cut, through
from thermostack.solvers.layered.modes import NODES, REACH, Axis, radau

__all__ = ["LOWER", "UPPER", "BlockModes", "Cut", "Patch", "Shadow"]

Float = NDArray[np.float64]
Int = NDArray[np.intp]


@dataclass(frozen=True)
class Cut:
    """A level inside a block, in a slab at a share of its thickness from below; at 0 above, at 1 under the joint."""

    slab: int
    depth: float


LOWER = "lower"
UPPER = "upper"
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
    """

    level: Level
    ends: tuple[tuple[Float, Float], tuple[Float, Float]]
    bases: tuple[Basis, Basis]
    coefficients: tuple[Float, Float]


@dataclass(frozen=True, eq=False)
class Shadow:
    """Given flux through a contact: a cosine series of the block below, as it loads one side of the contact.

    Attributes
    ----------
    patch : Patch
        The series' modes as functions on the contact, one rectangle.
    heat : ndarray, shape (S, n, Mₓ, M_y)
        Coefficients of n such fluxes, times the area of the contact. [W]
    """

    patch: Patch
    heat: Float

    def modal(self, inside: tuple[int, int]) -> Float:
        """Heat in the modes of the block on whose face it acts, shape (S, n, M, N). [W]"""
        x, y = (c[:, :, :, :m] for c, m in zip(self.patch.coefficients, inside, strict=True))
        return x.swapaxes(-1, -2) @ self.heat @ y


@dataclass(frozen=True, eq=False)
class BlockModes:
    """One block in one symmetry class: modes on both axes and the impedances between its levels.

    Parameters
    ----------
    axes : tuple of Axis
    limit : ndarray, shape (G,)
        Edge of the box of modes. [1/m]
    slabs : tuple of Slab
        From below; arrays of shape (S, 1, 1).
    r_bottom, r_top : ndarray of shape (S, 1, 1) or None
        Resistance of a film that covers the whole lower or upper face, where there is one. [m² K/W]
    """

    axes: tuple[Axis, Axis]
    limit: Float
    slabs: tuple[Slab, ...]
    r_bottom: Float | None
    r_top: Float | None

    @property
    def floating(self) -> bool:
        """Whether the mean temperature is not fixed by a film over a whole face, and must be an unknown."""
        return self.r_bottom is None and self.r_top is None

    @cached_property
    def area(self) -> Float:
        """Footprint, shape (G,). [m²]"""
        return self.axes[0].length * self.axes[1].length

    @property
    def has_mean(self) -> bool:
        """Whether mode (0, 0) belongs to this class."""
        return self.axes[0].parity != 1 and self.axes[1].parity != 1

    @cached_property
    def gamma(self) -> Float:
        """Mode numbers γ, shape (G, M, N). [1/m]"""
        x, y = self.axes[0].wave, self.axes[1].wave
        return np.sqrt((x * x)[:, :, None] + (y * y)[:, None, :])

    def _parts(self, level: Level) -> tuple[tuple[Slab, ...], tuple[Slab, ...]]:
        """Slabs below and above a level."""
        if level == LOWER:
            return (), self.slabs
        if level == UPPER:
            return self.slabs, ()
        assert isinstance(level, Cut)
        cut = self.slabs[level.slab]
        below, above = list(self.slabs[: level.slab]), list(self.slabs[level.slab + 1 :])
        if level.depth > 0.0:
            below.append(cut._replace(thickness=cut.thickness * level.depth, r_above=np.zeros_like(cut.r_above)))
        above.insert(0, cut._replace(thickness=cut.thickness * (1.0 - level.depth)))
        return tuple(below), tuple(above)

    def rises(self, level: Level, gamma: Float) -> tuple[Float, Float | None]:
        """Rise at a level for unit flux into the lower and into the upper face in modes γ. [m² K/W]"""
        below, above = self._parts(level)
        film = None if self.r_bottom is None else film_hybrid(self.r_bottom)
        return rise_at_cut(through(gamma, below, film), through(gamma, above), self.r_top)

    def series_above(self, level: Level) -> Float:
        """Resistance in mode 0 from a level to the upper face, shape (S,). [m² K/W]"""
        total = np.zeros(1)
        for slab in self._parts(level)[1]:
            total = total + (slab.thickness / slab.k_through + slab.r_above)[:, 0, 0]
        return total

    @cached_property
    def _impedances(self) -> dict[tuple[Level, str], Float]:
        return {}

    def impedance(self, level: Level, source: str) -> Float:
        """Z from flux into face `source` to temperature at `level`, shape (S, M, N). [m² K/W]

        In mode 0 of a floating block temperatures count from the block's unknown, the mean of its upper face.
        """
        if (level, source) not in self._impedances:
            from_lower, from_upper = self.rises(level, self.gamma)
            both = {LOWER: from_lower, UPPER: from_upper}
            if self.floating and self.has_mean:
                from_lower[:, 0, 0] = self.series_above(level)
                assert from_upper is not None
                from_upper[:, 0, 0] = 0.0
            for face, value in both.items():
                if value is not None:
                    self._impedances[level, face] = value
        return self._impedances[level, source]

    @cached_property
    def _half_spaces(self) -> dict[str, Float]:
        return {}

    def half_space(self, face: str) -> Float:
        """1/k of the half-space that has the face's impedance at the edge of the box, shape (S,). [m K/W]"""
        if face not in self._half_spaces:
            gamma = self.limit[:, None, None]
            value = self.rises(face, gamma)[0 if face == LOWER else 1]
            assert value is not None
            self._half_spaces[face] = (value * gamma)[:, 0, 0]
        return self._half_spaces[face]

    def _ends(self, rect: Float) -> tuple[tuple[Float, Float], tuple[Float, Float]]:
        """Ends on both axes of rectangles (G, n, 4) in stack coordinates, from the corner of the block."""
        x, y = (modes.origin[:, None] for modes in self.axes)
        return (rect[..., 0] - x, rect[..., 2] - x), (rect[..., 1] - y, rect[..., 3] - y)

    def patch(self, level: Level, rect: Float, degrees: tuple[Int, Int]) -> Patch:
        """Polynomials on rectangles, shape (G, n, 4), in stack coordinates, on a level of the block."""
        ends = self._ends(rect)
        x, y = (
            cosine_coefficients(*e, modes.length[:, None], modes.modes, d)
            for e, modes, d in zip(ends, self.axes, degrees, strict=True)
        )
        return Patch(level, ends, (LegendreBasis(degrees[0]), LegendreBasis(degrees[1])), (x, y))

    def shadow_patch(self, face: str, rect: Float, lower: BlockModes) -> Patch:
        """Modes of the block below a contact as functions on it; `rect` has shape (G, 1, 4)."""
        ends = self._ends(rect)
        bases, coefficients = [], []
        for e, modes, other in zip(ends, self.axes, lower.axes, strict=True):
            shift = (modes.origin - other.origin)[:, None]
            basis = CosineBasis(other.modes[: other.inside], other.length[:, None], shift)
            bases.append(basis)
            coefficients.append(cosine_overlaps(*e, basis, modes.length[:, None], modes.modes))
        return Patch(face, ends, (bases[0], bases[1]), (coefficients[0], coefficients[1]))

    # -- sums over modes ------------------------------------------------------------------------------------------

    @cached_property
    def _weights(self) -> Float:
        """Weights of the Gaussians, shape (G, nodes). [m]"""
        return radau(NODES)[1] * (REACH * 2.0 / np.sqrt(np.pi) / self.limit)[:, None]

    def _axis_tails(self, axis: int, a: Patch, b: Patch) -> tuple[Float, Float]:
        """Sums over all modes and over those in the box at every Gaussian, shape (G, pairs, nodes, p·p')."""
        modes = self.axes[axis]
        Ca, Cb = a.coefficients[axis][:, :, None, None], b.coefficients[axis][:, None, :, None].swapaxes(-1, -2)
        low_a, high_a = (end[:, :, None] for end in a.ends[axis])
        low_b, high_b = (end[:, None, :] for end in b.ends[axis])
        length = modes.length[:, None, None]
        whole = overlap(low_a, high_a, a.bases[axis], low_b, high_b, b.bases[axis], length)
        damped = Ca * modes.damping[:, None, None, :, None, :]
        m = modes.inside
        every = np.concatenate([whole[:, :, :, None], damped @ Cb], axis=3)
        inside = np.concatenate([Ca[..., :m] @ Cb[..., :m, :], damped[..., :m] @ Cb[..., :m, :]], axis=3)
        shape = (len(every), every.shape[1] * every.shape[2], NODES, -1)
        return every.reshape(shape), inside.reshape(shape)

    def _tail(self, a: Patch, b: Patch) -> Float:
        """Σ over the modes outside the box of C C' D D'/γ, shape (G, pairs, pₓ·p'ₓ, p_y·p'_y). [m]"""
        x_all, x_box = self._axis_tails(0, a, b)
        y_all, y_box = self._axis_tails(1, a, b)
        w = self._weights[:, None, :, None]
        left = np.concatenate([x_all * w, -x_box * w], axis=2)
        right = np.concatenate([y_all, y_box], axis=2)
        return left.swapaxes(-1, -2) @ right

    def between(self, a: Patch, b: Patch) -> Float:
        """Rise of the rectangles of `a`, averaged over its polynomials, by a watt in the polynomials of those of `b`.

        Parameters
        ----------
        a : Patch
            On any level.
        b : Patch
            On the lower or upper face.

        Returns
        -------
        ndarray, shape (S, n, n', pₓ·p_y, p'ₓ·p'_y)
            For n rectangles of `a` and n' of `b`. [K/W]
        """
        assert isinstance(b.level, str)
        Z = self.impedance(a.level, b.level)
        m, n = self.axes[0].inside, self.axes[1].inside
        x = _products(a.coefficients[0][..., :m], b.coefficients[0][..., :m])
        y = _products(a.coefficients[1][..., :n], b.coefficients[1][..., :n])
        pairs, p = x.shape[1:3]
        left = (x.reshape(len(x), pairs * p, m) @ Z).reshape(-1, pairs, p, n)
        K = left @ y.swapaxes(-1, -2)
        if a.level == b.level:
            K = K + self._tail(a, b) * self.half_space(b.level)[:, None, None, None]
        K = K / self.area[:, None, None, None]
        (px, py), (qx, qy) = (tuple(basis.count for basis in patch.bases) for patch in (a, b))
        K = K.reshape(len(K), pairs, px, qx, py, qy).transpose(0, 1, 2, 4, 3, 5)
        shape = (len(K), a.coefficients[0].shape[1], b.coefficients[0].shape[1], px * py, qx * qy)
        return np.ascontiguousarray(K).reshape(shape)

    def response(self, a: Patch, b: Shadow) -> Float:
        """Rise of the rectangles of `a`, averaged over its polynomials, by the fluxes of a shadow.

        Returns
        -------
        ndarray, shape (S, n, n', pₓ·p_y)
            For n rectangles and n' fluxes. [K]
        """
        face = b.patch.level
        assert isinstance(face, str)
        inside = self.axes[0].inside, self.axes[1].inside
        load = self.impedance(a.level, face)[:, None] * b.modal(inside)
        x, y = (c[:, :, None, :, :m] for c, m in zip(a.coefficients, inside, strict=True))
        rise = x @ load[:, None] @ y.swapaxes(-1, -2)
        if a.level == face:
            rise = rise + self._tail_response(a, b) * self.half_space(face)[:, None, None, None, None]
        rise = rise / self.area[:, None, None, None, None]
        return rise.reshape(*rise.shape[:3], -1)

    def _tail_response(self, a: Patch, b: Shadow) -> Float:
        """Part of modes outside the box in `response`, shape (S, n, n', pₓ, p_y)."""
        def tails(axis: int) -> list[Float]:
            parts = self._axis_tails(axis, a, b.patch)
            return [t.reshape(*t.shape[:3], a.bases[axis].count, -1) for t in parts]

        (x_all, x_box), (y_all, y_box) = tails(0), tails(1)
        total: Float = np.zeros(1)
        for node in range(NODES):
            w = self._weights[:, node, None, None, None, None]
            for sign, x, y in ((1.0, x_all, y_all), (-1.0, x_box, y_box)):
                part = x[:, :, None, node] @ b.heat[:, None] @ y[:, :, None, node].swapaxes(-1, -2)
                total = total + sign * w * part
        return total

    def mutual(self, a: Shadow, b: Shadow) -> Float:
        """Σ of each flux of `a` times the rise by each flux of `b`, over the contact of `a`: shape (S, n, n'). [K W]"""
        face, other = a.patch.level, b.patch.level
        assert isinstance(face, str)
        assert isinstance(other, str)
        inside = self.axes[0].inside, self.axes[1].inside
        left = a.modal(inside)
        load = self.impedance(face, other)[:, None] * (left if a is b else b.modal(inside))
        total = left.reshape(*left.shape[:2], -1) @ load.reshape(*load.shape[:2], -1).swapaxes(-1, -2)
        if face == other:
            tail = self._tail_response(a.patch, b)[:, 0]
            tail = a.heat.reshape(*a.heat.shape[:2], -1) @ tail.reshape(*tail.shape[:2], -1).swapaxes(-1, -2)
            total = total + tail * self.half_space(face)[:, None, None]
        return np.asarray(total / self.area[:, None, None])


def _products(a: Float, b: Float) -> Float:
    """Products of rows, mode by mode, for all pairs: (G, n, p, M) and (G, n', q, M) to (G, n·n', p·q, M)."""
    out = a[:, :, None, :, None, :] * b[:, None, :, None, :, :]
    return out.reshape(len(out), a.shape[1] * b.shape[1], a.shape[2] * b.shape[2], a.shape[3])
