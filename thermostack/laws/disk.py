"""Spreading of an evenly heated disk on a layered disk, or on the end of a very long rod: Bessel series."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from thermostack.errors import InputError
from thermostack.laws._axis import TAIL_U, TAIL_W
from thermostack.laws._checks import Float, positive
from thermostack.laws.impedance import checked_layers, layered_impedance, one_dimensional_impedance
from thermostack.laws.spreading import Spreading

__all__ = ["disk_on_disk", "disk_on_rod"]

_CHUNK_VALUES = 200_000  # entries of one temporary array: 1.6 MB


def disk_on_disk(
    source_radius: ArrayLike,
    radius: ArrayLike,
    thickness: ArrayLike,
    k_through: ArrayLike,
    h: ArrayLike,
    *,
    k_in_plane: ArrayLike | None = None,
    r_above: ArrayLike | None = None,
    terms: int = 1000,
) -> Spreading:
    r"""Evenly heated disk, centred on a disk of any number of layers with a film on its base.

    .. math::
        R_\mathrm{mean} = R_{1D} + \sum_n \frac{4 J_1^2(\delta_n \epsilon)}{\pi a^2 \delta_n^2 J_0^2(\delta_n)} Z_n,
        \quad
        R_\mathrm{centre} = R_{1D} + \sum_n \frac{2 J_1(\delta_n \epsilon)}{\pi a b \, \delta_n J_0^2(\delta_n)} Z_n

    with J1(δ_n) = 0, ε = a/b and Z_n the layers' specific impedance at γ = δ_n/b.

    Parameters
    ----------
    source_radius, radius : float or ndarray, shape (...)
        Radius of the source a and of the body b. [m]
    thickness, k_through : float or ndarray, shape (..., layers)
        Thickness [m] and through-thickness conductivity [W/(m K)] of each layer, heated layer first. A scalar is one
        layer.
    h : float or ndarray, shape (...)
        Conductance of the base; inf for an isothermal base. [W/(m² K)]
    k_in_plane : float or ndarray, shape (..., layers), optional
        In-plane conductivity; equal to `k_through` if not given. [W/(m K)]
    r_above : ndarray, shape (..., layers), optional
        Specific resistance between a layer and the next one away from the heat; the last entry lies before the film.
        [m² K/W]
    terms : int, optional
        Terms of the series, 50 or more.

    Returns
    -------
    Spreading
        One-dimensional part, spreading part of the mean and of the centre, shape (...). [K/W]

    Raises
    ------
    InputError
        If an argument is not finite and positive (`r_above`: zero or more), or the source is wider than the body.

    Notes
    -----
    Adiabatic rim and uncovered face. What lies beyond the last term is added from the known sum of the weights. At
    the default 1000 terms the spreading parts agree with 100 000 terms to 1e-8 for ε = 0.1 .. 0.9 (1e-7 with a heated
    layer thinner than b/1000), to 1e-6 at ε = 0.05, 5e-6 at 0.02, and 3e-4 at 0.01, where more terms are due. Memory
    beyond the arguments stays below 50 MB and some numbers a sample. See [1]_; the layers by `layered_impedance`.

    References
    ----------
    .. [1] Yovanovich and Marotta, in Bejan and Kraus (eds), Heat Transfer Handbook, 2003, ch. 4 (from memory, verified
       against axisymmetric finite elements).

    Examples
    --------
    >>> disk = disk_on_disk(0.005, 0.02, 0.003, 400.0, 5000.0)
    >>> round(float(disk.mean), 7), round(float(disk.centre), 7)
    (0.3036578, 0.3374416)
    """
    a, b = positive(source_radius, "source_radius", "0.005 (m)"), positive(radius, "radius", "0.02 (m)")
    base = 1 / positive(h, "h", "5000 (W/(m^2 K))", infinite=True)
    t, k_z, k_xy, r = checked_layers(thickness, k_through, k_in_plane, r_above)
    eps = _ratio(a, b)
    shape = np.broadcast_shapes(eps.shape, base.shape, t.shape[:-1], k_z.shape[:-1], k_xy.shape[:-1], r.shape[:-1])
    a, b, eps, base = (np.broadcast_to(x, shape).reshape(-1) for x in (a, b, eps, base))
    t, k_z, k_xy, r = (np.broadcast_to(x, (*shape, t.shape[-1])).reshape(-1, t.shape[-1]) for x in (t, k_z, k_xy, r))
    mean, centre = np.empty_like(eps), np.empty_like(eps)
    step = max(1, _CHUNK_VALUES // (terms + 3))
    for start in range(0, len(eps), step):
        s = slice(start, start + step)
        delta, w_mean, w_centre = _weights(eps[s], terms)
        z = layered_impedance(delta / b[s, None], t[s], k_z[s], k_xy[s], r[s], base[s, None])
        mean[s] = 4 / (np.pi * a[s] ** 2) * np.sum(w_mean * z, axis=-1)
        centre[s] = 2 / (np.pi * a[s] * b[s]) * np.sum(w_centre * z, axis=-1)
    one = one_dimensional_impedance(t, k_z, r, base) / (np.pi * b**2)
    return Spreading(*(x.reshape(shape)[()] for x in (one, mean, centre)))


def disk_on_rod(source_radius: ArrayLike, radius: ArrayLike, conductivity: ArrayLike, *, terms: int = 1000) -> Float:
    r"""Mean spreading resistance of an evenly heated disk on the end of a very long rod (semi-infinite tube of flux).

    .. math:: 4 k a R = \frac{16}{\pi \epsilon} \sum_n \frac{J_1^2(\delta_n \epsilon)}{\delta_n^3 J_0^2(\delta_n)}

    Parameters
    ----------
    source_radius, radius : float or ndarray
        Radius of the source a and of the rod b. [m]
    conductivity : float or ndarray
        Conductivity k. [W/(m K)]
    terms : int, optional
        Terms of the series, 50 or more.

    Returns
    -------
    ndarray
        Mean rise of the source per watt above the rod's own one-dimensional rise, broadcast shape. [K/W]

    Raises
    ------
    InputError
        If an argument is not finite and positive, or the source is wider than the rod.

    Notes
    -----
    Adiabatic rim; a rod longer than its radius is long enough (2 exp(-2 * 3.83 t/b) is left of the first term).
    See [1]_.

    References
    ----------
    .. [1] Yovanovich and Marotta, in Bejan and Kraus (eds), Heat Transfer Handbook, 2003, ch. 4 (from memory).

    Examples
    --------
    >>> round(4 * float(disk_on_rod(0.1, 1.0, 1.0)) * 0.1, 6)
    0.940088
    """
    a, b = positive(source_radius, "source_radius", "0.005 (m)"), positive(radius, "radius", "0.02 (m)")
    k = positive(conductivity, "conductivity", "400 (W/(m K))")
    eps = _ratio(a, b)
    flat = eps.reshape(-1)
    total = np.empty_like(flat)
    step = max(1, _CHUNK_VALUES // (terms + 3))
    for start in range(0, len(flat), step):
        delta, weights, _ = _weights(flat[start : start + step], terms)
        total[start : start + step] = np.sum(weights / delta, axis=-1)
    return 4 * b / (np.pi * a**2 * k) * total.reshape(eps.shape)[()]


def _ratio(a: Float, b: Float) -> Float:
    if np.any(a > b):
        raise InputError("the source is wider than the body", where="source_radius", expected="source_radius <= radius")
    return np.asarray(a / b)


@lru_cache(maxsize=4)
def _roots(terms: int) -> tuple[Float, Float, Float]:
    """Roots δ of J1, J0²(δ), and a taper that ends a slowly alternating series smoothly."""
    from scipy.special import j0, jn_zeros

    if terms < 50:
        raise InputError(f"{terms} terms are too few", where="terms", expected="50 or more, for example 1000")
    delta = np.asarray(jn_zeros(1, terms), dtype=np.float64)
    x = np.clip(2 * np.arange(1, terms + 1) / (terms + 1) - 1, 0, 1)
    return delta, np.asarray(j0(delta) ** 2, dtype=np.float64), 1 - x**4 * (35 - 84 * x + 70 * x**2 - 20 * x**3)


def _weights(eps: Float, terms: int) -> tuple[Float, Float, Float]:
    """Wave numbers (samples × modes) with the weights of the mean and of the centre; the last three stand for the rest.

    The weights of all modes sum to what the evenly heated disk itself gives (Parseval's theorem, and the value of the
    series in the middle): (1 - ε²)/4 and (1 - ε²)/(2 ε).
    """
    from scipy.special import j1

    delta, j0_squared, taper = _roots(terms)
    bessel = np.asarray(j1(delta * eps[:, None]), dtype=np.float64)
    mean = bessel**2 / (delta**2 * j0_squared)
    centre = bessel / (delta * j0_squared) * taper
    beyond = (delta[-1] + np.pi / 2) / TAIL_U
    left_mean = (1 - eps**2) / 4 - np.sum(mean, axis=-1)
    left_centre = (1 - eps**2) / (2 * eps) - np.sum(centre, axis=-1)
    at_end = np.array([0.0, 0.0, 1.0])  # what an alternating series leaves belongs to its end
    return (
        np.concatenate([delta, beyond]),
        np.concatenate([mean, left_mean[:, None] * TAIL_W], axis=-1),
        np.concatenate([centre, left_centre[:, None] * at_end], axis=-1),
    )
