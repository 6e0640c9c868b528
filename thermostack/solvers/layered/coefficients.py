"""Cosines against polynomials: the geometry of a contact, source or probe on the face of a block, axis by axis.

On an axis of length a the modes are ψ₀ = 1, ψ_m = √2 cos(mπx/a), of mean square one, and on an interval the polynomials
are √(2i+1) P_i(ξ), of mean square one on the interval. A coefficient C_im is the mean of (polynomial × mode) over it.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.polynomial.legendre import leggauss, legvander
from numpy.typing import NDArray

__all__ = ["cosine_coefficients", "legendre_values", "overlap", "spherical_bessel"]

Float = NDArray[np.float64]
Int = NDArray[np.intp]


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
    small = np.nonzero(x < stable)
    if small[0].size:
        even, odd = _bessel_rule(orders)
        angle = x[small][:, None] * _half_rule(orders)[0]
        values = np.empty((orders, angle.shape[0]))
        values[0::2] = (np.cos(angle) @ even).T
        values[1::2] = (np.sin(angle) @ odd).T
        out[:, *small] = values
    return out


@lru_cache(maxsize=64)
def _half_rule(orders: int) -> tuple[Float, Float]:
    """Positive nodes and weights of a Gauss rule with enough points for arguments up to the number of orders."""
    nodes, weights = leggauss(2 * (orders // 2 + 8))
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
    step = np.pi / length
    omega = (0.5 * (high - low) * step)[..., None] * modes
    phase = (0.5 * (high + low) * step)[..., None] * modes
    j = spherical_bessel(int(degrees[-1]) + 1, omega)
    root = np.where(modes == 0, 1.0, np.sqrt(2.0))
    even, odd = np.cos(phase) * root, np.sin(phase) * root
    out = np.empty((*omega.shape[:-1], len(degrees), len(modes)))
    for row, i in enumerate(degrees):
        sign = (1.0, -1.0, -1.0, 1.0)[i % 4]  # Re[i^i e^{iφ}]: cos φ, −sin φ, −cos φ, sin φ
        np.multiply(odd if i % 2 else even, j[i], out=out[..., row, :])
        out[..., row, :] *= sign * np.sqrt(2.0 * i + 1.0)
    return out


def legendre_values(position: Float, degrees: Int) -> Float:
    """√(2i+1) P_i at positions in −1 … 1; shape (*position.shape, p)."""
    values: Float = legvander(position, int(degrees[-1]))[..., degrees] * np.sqrt(2.0 * degrees + 1.0)
    return values


def overlap(
    low_a: Float, high_a: Float, degrees_a: Int, low_b: Float, high_b: Float, degrees_b: Int, length: Float
) -> Float:
    r"""Sum over all modes, :math:`\sum_m C_{im} C'_{jm} = \frac{a}{w w'} \int P_i P'_j dx` over what both cover.

    Parseval's theorem. One of the intervals may be a point; on the very edge of the other it counts one half.

    Parameters
    ----------
    low_a, high_a, low_b, high_b : ndarray, shape (…)
        Ends of two intervals, broadcast against each other. [m]
    degrees_a, degrees_b : ndarray of int, shapes (p,), (p',)
        Degrees of their polynomials.
    length : ndarray, shape (…)
        Length of the axis. [m]

    Returns
    -------
    ndarray, shape (…, p, p')
    """
    width_a, width_b = high_a - low_a, high_b - low_b
    nodes, weights = leggauss((int(degrees_a[-1]) + int(degrees_b[-1])) // 2 + 1)
    low, high = np.maximum(low_a, low_b), np.minimum(high_a, high_b)
    shared = np.maximum(high - low, 0.0)
    x = (0.5 * (low + high))[..., None] + 0.5 * shared[..., None] * nodes
    value_a = legendre_values(_local(x, low_a, width_a), degrees_a)
    value_b = legendre_values(_local(x, low_b, width_b), degrees_b)
    # the mean over what is shared, times a × shared/(w w'); a point shares "all of itself" with an interval around it
    narrow, wide = np.minimum(width_a, width_b), np.maximum(width_a, width_b)
    tiny = 1e-9 * wide
    point = narrow <= tiny
    inside = np.where(high - low >= -tiny, 1.0, 0.0)
    edge = np.minimum(np.abs(low - np.where(width_a > width_b, low_a, low_b)),
                      np.abs(high - np.where(width_a > width_b, high_a, high_b)))
    inside = np.where(edge < tiny, 0.5 * inside, inside)
    part = np.where(point, inside, shared / np.where(point, 1.0, narrow))
    gram: Float = np.einsum("...qi,...qj,q->...ij", value_a, value_b, 0.5 * weights)
    return gram * (part * length / wide)[..., None, None]


def _local(x: Float, low: Float, width: Float) -> Float:
    """Position −1 … 1 within an interval; 0 within a point."""
    w = np.where(width > 0.0, width, 1.0)[..., None]
    return np.where(width[..., None] > 0.0, np.clip(2.0 * (x - low[..., None]) / w - 1.0, -1.0, 1.0), 0.0)
