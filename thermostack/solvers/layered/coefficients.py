"""Cosines against polynomials: the geometry of a contact, source or probe on the face of a block, axis by axis.

On an axis of length a the modes are ψ₀ = 1, ψ_m = √2 cos(mπx/a), of mean square one, and on an interval the polynomials
are √(2i+1) P_i(ξ), of mean square one on the interval. A coefficient C_im is the mean of (polynomial × mode) over it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial.legendre import leggauss, legvander
from numpy.typing import NDArray

__all__ = [
    "Basis",
    "CosineBasis",
    "LegendreBasis",
    "PointBasis",
    "cosine_coefficients",
    "cosine_overlaps",
    "overlap",
    "point_values",
    "spherical_bessel",
]

Float = NDArray[np.float64]
Int = NDArray[np.intp]

REMEMBERED = 8
"""Largest number of intervals whose coefficients are remembered from call to call."""


def spherical_bessel(orders: int, x: Float) -> Float:
    r"""Spherical Bessel functions j_0 … j_(orders−1) of x ≥ 0, to about 1e-14 absolute.

    Upward recurrence j_(n+1) = (2n+1)/x j_n − j_(n−1) where x is large enough for it to be stable; elsewhere Gauss
    quadrature of :math:`j_n(x) = \frac{1}{2 i^n} \int_{-1}^{1} P_n(\xi) e^{i x \xi} d\xi`.

    Parameters
    ----------
    orders : int
        How many orders, at least one.
    x : ndarray
        Arguments, zero or more.

    Returns
    -------
    ndarray, shape (orders, *x.shape)

    References
    ----------
    Abramowitz and Stegun, Handbook of Mathematical Functions, 10.1.19 (recurrence), 10.1.14 (integral).
    """
    out = np.empty((orders, *x.shape))
    if orders == 1:
        out[0] = np.sinc(x / np.pi)
        return out
    stable = 0.8 * orders
    big = np.maximum(x, stable)
    inverse = 1.0 / big
    out[0] = np.sin(big) * inverse
    out[1] = (out[0] - np.cos(big)) * inverse
    for n in range(1, orders - 1):
        np.multiply(inverse * (2 * n + 1), out[n], out=out[n + 1])
        out[n + 1] -= out[n - 1]
    small = np.flatnonzero(x < stable)
    if small.size:
        even, odd = _bessel_rule(orders)
        angle = x.reshape(-1)[small][:, None] * _half_rule(orders)[0]
        values = np.empty((orders, angle.shape[0]))
        values[0::2] = (np.cos(angle) @ even).T
        values[1::2] = (np.sin(angle) @ odd).T
        out.reshape(orders, -1)[:, small] = values
    return out


@lru_cache(maxsize=256)
def gauss(points: int) -> tuple[Float, Float]:
    """Nodes and weights of the Gauss-Legendre rule on −1 … 1."""
    nodes, weights = leggauss(points)
    return nodes, weights


@lru_cache(maxsize=64)
def _half_rule(orders: int) -> tuple[Float, Float]:
    """Positive nodes and weights of a Gauss rule with enough points for arguments up to the number of orders."""
    nodes, weights = gauss(2 * (orders // 2 + 8))
    positive = nodes > 0.0
    return nodes[positive], weights[positive]


@lru_cache(maxsize=64)
def _bessel_rule(orders: int) -> tuple[Float, Float]:
    """Weights that turn cos(xξ) and sin(xξ) at the positive nodes into even and odd orders."""
    nodes, weights = _half_rule(orders)
    rule = weights[:, None] * legvander(nodes, orders - 1) * np.array([(-1.0) ** (n // 2) for n in range(orders)])
    return rule[:, 0::2], rule[:, 1::2]


def cosine_coefficients(low: Float, high: Float, length: Float, modes: Int, degrees: Int) -> Float:
    r"""Mean over an interval of polynomial times mode.

    .. math:: C_{im} = \sqrt{(2i+1)\varepsilon_m}\,\mathrm{Re}[ i^i e^{i\varphi} ] j_i(\omega), \quad
        \omega = \frac{m\pi w}{2a}, \quad \varphi = \frac{m\pi x_c}{a}

    from :math:`\int_{-1}^{1} P_i(\xi) e^{i\omega\xi} d\xi = 2 i^i j_i(\omega)` (Abramowitz and Stegun 10.1.14). An
    interval without extent gives the value of the mode at the point (degree 0 only makes sense there).

    Parameters
    ----------
    low, high : ndarray, shape (…)
        Ends of the interval, from the lower end of the axis. [m]
    length : ndarray, broadcasts against `low`
        Length a of the axis. [m]
    modes : ndarray of int, shape (M,)
        Mode numbers m.
    degrees : ndarray of int, shape (p,)
        Degrees i of the polynomials.

    Returns
    -------
    ndarray, shape (…, p, M)
    """
    low, high = low / length, high / length
    if low.size <= REMEMBERED:
        key = (low.tobytes(), high.tobytes(), modes.tobytes(), degrees.tobytes())
        return _remembered_coefficients(*key).reshape(*low.shape, len(degrees), len(modes))
    return _coefficients(low, high, modes, degrees)


@lru_cache(maxsize=512)
def _remembered_coefficients(low: bytes, high: bytes, modes: bytes, degrees: bytes) -> Float:
    """Coefficients of a few intervals, remembered: sweeps and sliders come back to the same geometry."""
    out = _coefficients(
        np.frombuffer(low), np.frombuffer(high), np.frombuffer(modes, np.intp), np.frombuffer(degrees, np.intp)
    )
    out.setflags(write=False)
    return out


def _coefficients(low: Float, high: Float, modes: Int, degrees: Int) -> Float:
    """Coefficients on an axis of length one."""
    omega = (0.5 * np.pi * (high - low))[..., None] * modes
    phase = (0.5 * np.pi * (high + low))[..., None] * modes
    j = spherical_bessel(int(degrees[-1]) + 1, omega)
    root = _norms(modes)
    even, odd = np.cos(phase) * root, np.sin(phase) * root
    out = np.empty((*omega.shape[:-1], len(degrees), len(modes)))
    for row, i in enumerate(degrees):
        sign = (1.0, -1.0, -1.0, 1.0)[i % 4]  # Re[i^i e^{iφ}]: cos φ, −sin φ, −cos φ, sin φ
        np.multiply(odd if i % 2 else even, j[i], out=out[..., row, :])
        out[..., row, :] *= sign * np.sqrt(2.0 * i + 1.0)
    return out


def cosine_overlaps(low: Float, high: Float, first: CosineBasis, length: Float, modes: Int) -> Float:
    r"""Mean over an interval of the product of the modes of two axes that share it.

    .. math:: \frac{1}{w} \int \cos(\alpha x + \psi) \cos(\beta x) dx = \frac{1}{2} \sum_\pm
        \mathrm{sinc}\frac{(\alpha \pm \beta) w}{2} \cos((\alpha \pm \beta) x_c + \psi)

    Parameters
    ----------
    low, high : ndarray, shape (G, n)
        Ends of the interval on the second axis. [m]
    first : CosineBasis
        Modes of the first axis, placed on the second.
    length : ndarray, shape (G, 1)
        Length of the second axis. [m]
    modes : ndarray of int, shape (M,)
        Modes of the second axis.

    Returns
    -------
    ndarray, shape (G, n, modes of the first axis, M)
    """
    alpha = (first.modes * (np.pi / first.length)[:, None])[:, None, :, None]
    beta = (modes * (np.pi / length)[..., None])[..., None, :]
    width, shift = (high - low)[..., None, None], first.shift[:, None, None, None]
    across = _ends_difference(alpha, beta, high[..., None, None], shift)
    across -= _ends_difference(alpha, beta, low[..., None, None], shift)
    gap = (alpha - beta) * (alpha + beta) * width
    # where both waves are nearly the same, the quotient is 0/0 and the sum of the formula above is taken as it stands
    near = np.abs((alpha - beta) * width) < 1e-3
    mean = across / np.where(near, 1.0, gap)
    if near.any():
        middle = 0.5 * (low + high)[..., None, None]
        alpha, beta, width, shift, middle = (
            np.broadcast_to(v, near.shape)[near] for v in (alpha, beta, width, shift, middle)
        )
        mean[near] = _near_resonance(alpha, beta, width, shift, middle)
    return np.asarray(mean * (_norms(first.modes)[:, None] * _norms(modes)))


def _ends_difference(alpha: Float, beta: Float, x: Float, shift: Float) -> Float:
    """(α² − β²) ∫ cos(α(x + s)) cos(βx) dx up to x, from products of the waves on each axis alone."""
    a, b = alpha * (x + shift), beta * x
    return np.asarray((alpha * np.sin(a)) * np.cos(b) - np.cos(a) * (beta * np.sin(b)))


def _near_resonance(alpha: Float, beta: Float, width: Float, shift: Float, middle: Float) -> Float:
    total = np.zeros_like(alpha)
    for wave in (alpha + beta, alpha - beta):
        total += 0.5 * np.sinc(wave * width / (2.0 * np.pi)) * np.cos(wave * middle + alpha * shift)
    return total


def _norms(modes: Int) -> Float:
    """√2 for all modes but the mean, so that each has a mean square of one."""
    return np.where(modes == 0, 1.0, np.sqrt(2.0))


@dataclass(frozen=True, eq=False)
class LegendreBasis:
    """√(2i+1) P_i of the given degrees on an interval."""

    degrees: Int

    @property
    def count(self) -> int:
        """Number of functions."""
        return len(self.degrees)

    @property
    def order(self) -> int:
        """Degree of polynomial that a Gauss rule must integrate."""
        return int(self.degrees[-1])

    def values(self, x: Float, low: Float, high: Float) -> Float:
        """Values at x, shape (…, points), in an interval with ends of shape (…); shape (…, points, count)."""
        width = (high - low)[..., None]
        inner = np.clip(2.0 * (x - low[..., None]) / np.where(width > 0.0, width, 1.0) - 1.0, -1.0, 1.0)
        values = legvander(np.where(width > 0.0, inner, 0.0), self.order)[..., self.degrees]
        return np.asarray(values * np.sqrt(2.0 * self.degrees + 1.0))


@dataclass(frozen=True, eq=False)
class CosineBasis:
    """Modes of another axis, whose lower end lies `shift` below that of the axis on which they are used.

    Attributes
    ----------
    modes : ndarray of int
        Their numbers.
    length, shift : ndarray, shape (G,)
        Length of the other axis and the shift, one a sample. [m]
    """

    modes: Int
    length: Float
    shift: Float

    @property
    def count(self) -> int:
        """Number of functions."""
        return len(self.modes)

    @property
    def order(self) -> int:
        """Degree of polynomial that a Gauss rule must integrate: beyond π/2 a wave, errors fall exponentially."""
        return int(1.6 * self.modes[-1]) + 24

    def values(self, x: Float, low: Float, high: Float) -> Float:
        """Values at x, shape (…, points); shape (…, points, count)."""
        wave, shift = (v.reshape(-1, *(1,) * (x.ndim - 1)) for v in (np.pi / self.length, self.shift))
        angle = ((x + shift) * wave)[..., None] * self.modes
        return np.asarray(np.cos(angle) * _norms(self.modes))


@dataclass(frozen=True, eq=False)
class PointBasis:
    """Values at points: as if each were a function of its own. `x` has shape (…, points), from the corner. [m]"""

    x: Float

    @property
    def count(self) -> int:
        """Number of points."""
        return int(self.x.shape[-1])

    def modes(self, length: Float, modes: Int) -> Float:
        """Values of the modes at the points, shape (…, points, M)."""
        return np.asarray(np.cos((self.x * (np.pi / length)[..., None])[..., None] * modes) * _norms(modes))


Basis = LegendreBasis | CosineBasis


def overlap(
    low_a: Float, high_a: Float, basis_a: Basis, low_b: Float, high_b: Float, basis_b: Basis, length: Float
) -> Float:
    r"""Sum over all modes, :math:`\sum_m C_{im} C'_{jm} = \frac{a}{w w'} \int f_i f'_j dx` over what both cover.

    Parseval's theorem. One of the intervals may be a point; on the very edge of the other it counts one half.

    Parameters
    ----------
    low_a, high_a, low_b, high_b : ndarray, shape (…)
        Ends of two intervals, broadcast against each other. [m]
    basis_a, basis_b : LegendreBasis or CosineBasis
        Functions f and f' on them.
    length : ndarray, shape (…)
        Length of the axis. [m]

    Returns
    -------
    ndarray, shape (…, functions of a, functions of b)
    """
    low_a, high_a, low_b, high_b = np.broadcast_arrays(low_a, high_a, low_b, high_b)
    part = (_shared_part(low_a, high_a, low_b, high_b) * length)[..., None, None]
    if basis_a.order == basis_b.order == 0:
        return np.asarray(part)
    nodes, weights = gauss((basis_a.order + basis_b.order) // 2 + 1)
    low, high = np.maximum(low_a, low_b), np.minimum(high_a, high_b)
    shared = np.maximum(high - low, 0.0)
    x = (0.5 * (low + high))[..., None] + 0.5 * shared[..., None] * nodes
    value_a, value_b = basis_a.values(x, low_a, high_a), basis_b.values(x, low_b, high_b)
    gram: Float = (value_a * (0.5 * weights)[:, None]).swapaxes(-1, -2) @ value_b
    return gram * part


def point_values(points: PointBasis, low: Float, high: Float, basis: Basis, length: Float) -> Float:
    r"""Sum over all modes for points: :math:`\frac{a}{w} f_j(x)` inside an interval, half of it on its edge, 0 outside.

    Returns
    -------
    ndarray, shape (…, points, functions)
    """
    x, width = points.x, (high - low)[..., None]
    tiny = 1e-9 * width
    inside = (x > low[..., None] - tiny) & (x < high[..., None] + tiny)
    edge = (np.abs(x - low[..., None]) <= tiny) | (np.abs(x - high[..., None]) <= tiny)
    share = np.where(edge, 0.5, 1.0) * inside * (length[..., None] / width)
    return np.asarray(basis.values(x, low, high) * share[..., None])


def _shared_part(low_a: Float, high_a: Float, low_b: Float, high_b: Float) -> Float:
    """Length shared by two intervals over the product of their lengths; 1/length for a point inside the other. [1/m]"""
    width_a, width_b = high_a - low_a, high_b - low_b
    narrow, wide = np.minimum(width_a, width_b), np.maximum(width_a, width_b)
    tiny = 1e-9 * wide
    gap = np.minimum(high_a, high_b) - np.maximum(low_a, low_b)
    point = narrow <= tiny
    a_wide = width_a >= width_b
    to_edge = np.minimum(
        np.abs(np.where(a_wide, low_b - low_a, low_a - low_b)),
        np.abs(np.where(a_wide, high_a - high_b, high_b - high_a)),
    )
    inside = np.where(gap >= -tiny, np.where(to_edge <= tiny, 0.5, 1.0), 0.0)
    part: Float = np.where(point, inside, np.maximum(gap, 0.0) / np.where(point, 1.0, narrow)) / wide
    return part
