"""Rectangles on the faces of a block, and how flux through some of them warms others by way of the block's modes.

All sums have the form (1/A) Σ_mn C_m C'_m Z_mn D_n D'_n with coefficients that separate by axis: they are contracted
over one axis, then over the other.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from thermostack.solvers.layered.coefficients import (
    CosineBasis,
    LegendreBasis,
    PointBasis,
    cosine_coefficients,
    cosine_overlaps,
    overlap,
    point_values,
)
from thermostack.solvers.layered.impedance import Slab, film_hybrid, rise_at_cut, through
from thermostack.solvers.layered.modes import NODES, REACH, Axis, radau
from thermostack.solvers.layered.patches import LOWER, OUT, UPPER, Cut, Flux, Level, Patch

__all__ = ["BlockModes"]

Float = NDArray[np.float64]
Int = NDArray[np.intp]


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
    _impedances: dict[tuple[Level, str], Float] = field(default_factory=dict, init=False, repr=False)
    _half_spaces: dict[str, Float] = field(default_factory=dict, init=False, repr=False)

    @property
    def floating(self) -> bool:
        """Whether the mean temperature is not fixed by a film over a whole face, and must be an unknown."""
        return self.r_bottom is None and self.r_top is None

    @property
    def has_mean(self) -> bool:
        """Whether mode (0, 0) belongs to this class."""
        return self.axes[0].parity != 1 and self.axes[1].parity != 1

    @property
    def inside(self) -> tuple[int, int]:
        """Modes in the box, on both axes."""
        return self.axes[0].inside, self.axes[1].inside

    @cached_property
    def area(self) -> Float:
        """Footprint, shape (G,). [m²]"""
        return self.axes[0].length * self.axes[1].length

    @cached_property
    def gamma(self) -> Float:
        """Mode numbers γ in the box, shape (G, M, N). [1/m]"""
        x, y = self.axes[0].wave, self.axes[1].wave
        return np.sqrt((x * x)[:, :, None] + (y * y)[:, None, :])

    def _parts(self, level: Level) -> tuple[tuple[Slab, ...], tuple[Slab, ...]]:
        """Slabs below and above a level."""
        if level == LOWER:
            return (), self.slabs
        if not isinstance(level, Cut):
            return self.slabs, ()
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
        low, high = through(gamma, below, film), through(gamma, above)
        if level == OUT:
            # θ_high = r q_out closes the cascade: q_out = α q − Y r q_out
            assert low is not None
            assert self.r_top is not None
            return low.alpha / (1.0 + self.r_top * low.Y), None
        return rise_at_cut(low, high, self.r_top)

    def series_above(self, level: Level) -> Float:
        """Resistance in mode 0 from a level to the upper face, shape (S,). [m² K/W]"""
        total = np.zeros(1)
        for slab in self._parts(level)[1]:
            total = total + (slab.thickness / slab.k_through + slab.r_above)[:, 0, 0]
        return total

    def impedance(self, level: Level, source: str) -> Float:
        """Z from flux into face `source` to temperature at `level`, shape (S, M, N). [m² K/W]

        In mode 0 of a floating block temperatures count from the block's unknown, the mean of its upper face.
        """
        if (level, source) not in self._impedances:
            from_lower, from_upper = self.rises(level, self.gamma)
            if self.floating and self.has_mean:
                assert from_upper is not None
                from_lower[:, 0, 0], from_upper[:, 0, 0] = self.series_above(level), 0.0
            self._impedances[level, LOWER] = from_lower
            if from_upper is not None:
                self._impedances[level, UPPER] = from_upper
        return self._impedances[level, source]

    def half_space(self, face: str) -> Float:
        """1/k of the half-space that has the face's impedance at the edge of the box, shape (S,). [m K/W]"""
        if face not in self._half_spaces:
            gamma = self.limit[:, None, None]
            value = self.rises(face, gamma)[0 if face == LOWER else 1]
            assert value is not None
            self._half_spaces[face] = (value * gamma)[:, 0, 0]
        return self._half_spaces[face]

    def mismatch(self, face: str) -> Float:
        """Relative change of `half_space` from the edge of the box to twice that, shape (S,).

        It shows how far a face still is from a half-space where the box ends; zero once a slab is three lengths deep.
        """
        gamma = 2.0 * self.limit[:, None, None]
        value = self.rises(face, gamma)[0 if face == LOWER else 1]
        assert value is not None
        end = self.slabs[0 if face == LOWER else -1]
        depth = self.limit * (end.thickness * np.sqrt(end.k_in_plane / end.k_through))[:, 0, 0]
        change = np.abs((value * gamma)[:, 0, 0] / self.half_space(face) - 1.0)
        return np.asarray(np.where(depth < 3.0, change, 0.0))

    # -- patches --------------------------------------------------------------------------------------------------

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

    def shadow_patch(
        self, polynomials: Patch, rect: Float, lower: BlockModes, below: Patch, covers: bool, counts: tuple[int, int]
    ) -> Patch:
        """Modes of the block below a contact as functions on one side of the contact.

        Parameters
        ----------
        polynomials : Patch
            The contact's polynomials on this side.
        rect : ndarray, shape (G, 4)
            The contact. [m]
        lower : BlockModes
            The block below.
        below : Patch
            The contact's polynomials on that block.
        covers : bool
            Whether the contact covers the whole face of that block.
        counts : tuple of int
            How many modes of that block, on both axes.
        """
        ends = self._ends(rect[:, None])
        within = covers and lower is self
        bases, coefficients = [], []
        for e, modes, other, count in zip(ends, self.axes, lower.axes, counts, strict=True):
            basis = CosineBasis(other.modes[:count], other.length, modes.origin - other.origin)
            bases.append(basis)
            if within:
                coefficients.append(np.eye(count, len(other.modes))[None, None])
            else:
                coefficients.append(cosine_overlaps(*e, basis, modes.length[:, None], modes.modes))
        means = tuple(c[..., :count] for c, count in zip(below.coefficients, counts, strict=True))
        return Patch(
            polynomials.level,
            ends,
            (bases[0], bases[1]),
            (coefficients[0], coefficients[1]),
            polynomials,
            (means[0], means[1]),
            within,
        )

    def points(self, level: Level, x: Float, y: Float) -> Patch:
        """Grid of points in stack coordinates, each axis of shape (points,), as the functions of one rectangle."""
        axes = [PointBasis(v[None, None] - a.origin[:, None, None]) for v, a in zip((x, y), self.axes, strict=True)]
        values = [b.modes(a.length[:, None], a.modes) for b, a in zip(axes, self.axes, strict=True)]
        nowhere = np.zeros((1, 1))
        return Patch(level, ((nowhere, nowhere), (nowhere, nowhere)), (axes[0], axes[1]), (values[0], values[1]))

    # -- sums over modes ------------------------------------------------------------------------------------------

    @cached_property
    def _weights(self) -> Float:
        """Weights of the Gaussians, shape (G, nodes). [m]"""
        return np.asarray(radau(NODES)[1] * (REACH * 2.0 / np.sqrt(np.pi) / self.limit)[:, None])

    def _axis_tails(self, axis: int, a: Patch, b: Patch) -> tuple[Float, Float]:
        """Sums over all modes and over those in the box at every Gaussian, shape (G, pairs, nodes, p, p')."""
        modes = self.axes[axis]
        Ca, Cb = a.coefficients[axis][:, :, None, None], b.coefficients[axis][:, None, :, None].swapaxes(-1, -2)
        (low_b, high_b), length = (end[:, None, :] for end in b.ends[axis]), modes.length[:, None, None]
        basis_a, basis_b = a.bases[axis], b.bases[axis]
        assert not isinstance(basis_b, PointBasis)
        if b.partner is a and b.means is not None:
            whole = (length / (high_b - low_b))[..., None, None] * b.means[axis][:, None]
        elif a is b and isinstance(basis_a, LegendreBasis) and Ca.shape[1] == 1:
            whole = (length / (high_b - low_b))[..., None, None] * np.eye(basis_a.count)
        elif isinstance(basis_a, PointBasis):
            whole = point_values(PointBasis(basis_a.x[:, None]), low_b, high_b, basis_b, length)
        else:
            low_a, high_a = (end[:, :, None] for end in a.ends[axis])
            whole = overlap(low_a, high_a, basis_a, low_b, high_b, basis_b, length)
        # sums over the box and over what follows it, at every Gaussian but the first that is known; both as one product
        # of matrices with the Gaussians stacked upon the functions
        m, p = modes.inside, basis_a.count
        box = (Ca[..., :m] * modes.damping[:, None, None, :, None, :m]).reshape(*Ca.shape[:2], 1, NODES * p, m)
        rest = (Ca[..., m:] * modes.damping[:, None, None, 1:, None, m:]).reshape(*Ca.shape[:2], 1, (NODES - 1) * p, -1)
        inside, beyond = box @ Cb[:, :, :, 0, :m], rest @ Cb[:, :, :, 0, m:]
        rows = max(len(whole), len(inside))
        shape = (rows, whole.shape[1] * whole.shape[2], -1, p, basis_b.count)
        whole, inside, beyond = (
            (part if len(part) == rows else np.broadcast_to(part, (rows, *part.shape[1:]))).reshape(shape)
            for part in (whole, inside, beyond)
        )
        return np.concatenate([whole, inside[:, :, 1:] + beyond], axis=2), inside

    def _tail_left_right(self, a: Patch, b: Patch) -> tuple[Float, Float]:
        """Sums over both axes at every Gaussian, whose product is Σ C C' D D'/γ over modes outside the box. [m]

        Returns
        -------
        left, right : ndarrays, shapes (G, pairs, 2·nodes, pₓ, p'ₓ) and (G, pairs, 2·nodes, p_y, p'_y)
        """
        (x_all, x_box), (y_all, y_box) = self._axis_tails(0, a, b), self._axis_tails(1, a, b)
        w = self._weights[:, None, :, None, None]
        return np.concatenate([x_all * w, -x_box * w], axis=2), np.concatenate([y_all, y_box], axis=2)

    def tail(self, a: Patch, b: Patch) -> Float:
        """Part of `between` that comes from modes outside the box, first functions only: (S, n, n'). [K/W]"""
        face = b.level
        if not isinstance(face, str) or a.level != face:
            return np.zeros((1, 1, 1))
        left, right = self._tail_left_right(a, b)
        total = (left[..., 0, 0] * right[..., 0, 0]).sum(axis=2) * (self.half_space(face) / self.area)[:, None]
        return np.asarray(total.reshape(len(total), a.coefficients[0].shape[1], -1))

    def between(self, a: Patch, b: Patch, rows: Int | None = None, columns: Int | None = None) -> Float:
        """Rise of the rectangles of `a`, averaged over its functions, by a watt in the functions of those of `b`.

        Parameters
        ----------
        a : Patch
            On any level.
        b : Patch
            On the lower or upper face.
        rows, columns : ndarray of int, optional
            Products of functions of `a` and of `b` that are wanted, as indices i·p_y + j; all by default.

        Returns
        -------
        ndarray, shape (S, n, n', rows, columns)
            For n rectangles of `a` and n' of `b`. [K/W]
        """
        assert isinstance(b.level, str)
        Z = self.impedance(a.level, b.level)
        m, n = self.inside
        (px, py), (qx, qy) = (tuple(basis.count for basis in patch.bases) for patch in (a, b))
        # products C_i C'_j: where both are the same polynomials only the pairs i ≤ j are different
        half = a is b and a.coefficients[0].shape[1] == 1
        x_pairs, y_pairs = _pairs(px, qx, half), _pairs(py, qy, half)
        x = _products(a.coefficients[0][..., :m], b.coefficients[0][..., :m], x_pairs)
        y = _products(a.coefficients[1][..., :n], b.coefficients[1][..., :n], y_pairs)
        pairs, p = x.shape[1:3]
        K = (x.reshape(len(x), pairs * p, m) @ Z).reshape(-1, pairs, p, n) @ y.swapaxes(-1, -2)
        if a.level == b.level:
            left, right = self._tail_left_right(a, b)
            left, right = left[..., x_pairs.i, x_pairs.j], right[..., y_pairs.i, y_pairs.j]
            K += (left.swapaxes(-1, -2) @ right) * self.half_space(b.level)[:, None, None, None]
        K /= self.area[:, None, None, None]
        rows = np.arange(px * py) if rows is None else rows
        columns = np.arange(qx * qy) if columns is None else columns
        x_place = x_pairs.place[rows[:, None] // py, columns // qy]
        place = x_place * len(y_pairs.i) + y_pairs.place[rows[:, None] % py, columns % qy]
        K = K.reshape(*K.shape[:2], -1).take(place.reshape(-1), axis=2)
        shape = (len(K), a.coefficients[0].shape[1], b.coefficients[0].shape[1], len(rows), len(columns))
        return np.asarray(K.reshape(shape))

    def response(self, a: Patch, b: Flux) -> Float:
        """Rise of the rectangles of `a`, averaged over its functions, by known fluxes.

        Returns
        -------
        ndarray, shape (S, n, n', pₓ·p_y)
            For n rectangles and n' fluxes. [K]
        """
        load = self.impedance(a.level, b.face)[:, None] * b.modal(self.inside)
        x, y = (c[:, :, None, :, :m] for c, m in zip(a.coefficients, self.inside, strict=True))
        rise = x @ load[:, None] @ y.swapaxes(-1, -2)
        if a.level == b.face and not b.patch.within:
            rise = rise + self._tail_response(a, b) * self.half_space(b.face)[:, None, None, None, None]
        rise = rise / self.area[:, None, None, None, None]
        return np.asarray(rise.reshape(*rise.shape[:3], -1))

    def _tail_response(self, a: Patch, b: Flux) -> Float:
        """Part of modes outside the box in `response`, shape (S, n, n', pₓ, p_y)."""
        left, right = self._tail_left_right(a, b.patch)
        nodes, p, m = left.shape[2:]
        q, n = right.shape[3:]
        # Σ_node left · heat · rightᵀ as two products: the nodes stacked upon the functions, then beside the modes
        half = left.reshape(*left.shape[:2], 1, nodes * p, m) @ b.heat[:, None]
        half = half.reshape(*half.shape[:3], nodes, p, n).swapaxes(3, 4).reshape(*half.shape[:3], p, nodes * n)
        other = right.transpose(0, 1, 2, 4, 3).reshape(*right.shape[:2], 1, nodes * n, q)
        return np.asarray(half @ other)

    def mutual(self, a: Flux, b: Flux) -> Float:
        """Σ of each flux of `a` times the rise by each flux of `b`: shape (S, n, n'). [K W]"""
        left = a.modal(self.inside)
        load = self.impedance(a.face, b.face)[:, None] * (left if a is b else b.modal(self.inside))
        total = _dot(left, load)
        if a.face == b.face and not (a.patch.within or b.patch.within):
            tail = self._tail_response(a.patch, b)[:, 0]
            total = total + _dot(a.heat, tail) * self.half_space(a.face)[:, None, None]
        return np.asarray(total / self.area[:, None, None])


class _Pairs(NamedTuple):
    """Pairs of functions on one axis: those that are formed, and where the pair of any two of them is found."""

    i: Int
    j: Int
    place: Int


@lru_cache(maxsize=512)
def _pairs(p: int, q: int, half: bool) -> _Pairs:
    """All pairs of p and q functions, or only one of (i, j) and (j, i)."""
    if not half:
        i, j = np.divmod(np.arange(p * q), q)
        return _Pairs(i, j, np.arange(p * q).reshape(p, q))
    i, j = np.triu_indices(p)
    place = np.zeros((p, p), dtype=np.intp)
    place[i, j] = place[j, i] = np.arange(len(i))
    return _Pairs(i, j, place)


def _products(a: Float, b: Float, pairs: _Pairs) -> Float:
    """Products of rows, mode by mode: (G, n, p, M) and (G, n', q, M) to (G, n·n', pairs, M)."""
    out = a[:, :, None, pairs.i] * b[:, None, :, pairs.j]
    return np.asarray(out.reshape(len(out), a.shape[1] * b.shape[1], len(pairs.i), a.shape[3]))


def _dot(a: Float, b: Float) -> Float:
    """Sum of products over the last two axes for all pairs, (S, n, M, N) and (S, n', M, N) to (S, n, n')."""
    return np.asarray(a.reshape(*a.shape[:2], -1) @ b.reshape(*b.shape[:2], -1).swapaxes(-1, -2))
