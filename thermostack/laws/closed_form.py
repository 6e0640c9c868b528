"""Closed form for an evenly heated disk on one disk with a film on its base: quick, approximate."""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import ArrayLike

from thermostack.errors import InputError, ThermostackWarning
from thermostack.laws._checks import Float, positive
from thermostack.laws.spreading import Spreading

__all__ = ["closed_form_centre", "closed_form_mean", "closed_form_spreading"]


def closed_form_mean(eps: ArrayLike, tau: ArrayLike, biot: ArrayLike) -> Float:
    r"""Mean spreading part of the closed form for a disk on a disk, dimensionless.

    .. math:: \psi_\mathrm{ave} = \tfrac12 (1 - \epsilon)^{3/2} \varphi_c

    with φ_c = (tanh λτ + λ/Bi)/(1 + (λ/Bi) tanh λτ) and λ = π + 1/(√π ε).

    Parameters
    ----------
    eps, tau, biot : float or ndarray
        Source radius a/b, thickness t/b and Biot number h b/k, by the body's radius b; broadcast. [1]

    Returns
    -------
    ndarray
        ψ = √π k a R of the spreading part, broadcast shape. [1]

    Raises
    ------
    InputError
        If an argument is not finite and positive, or eps > 1.

    Notes
    -----
    Within -8.5 and +3.4 % of the series for tau >= 0.1, Bi <= 1, eps <= 0.6; down to -31 % outside (our own scan: eps
    0.1..0.8, tau 0.01..2, Bi 0.01..1e4). See [1]_.

    References
    ----------
    .. [1] Lee, Song, Au and Moran, 4th ASME/JSME Thermal Engineering Joint Conference, 1995 (from memory).

    Examples
    --------
    >>> round(float(closed_form_mean(0.25, 0.15, 0.25)), 6)
    0.467791
    """
    eps, tau, biot = _groups(eps, tau, biot)
    return _mean(eps, _closed_form_phi(eps, tau, biot))


def closed_form_centre(eps: ArrayLike, tau: ArrayLike, biot: ArrayLike) -> Float:
    r"""Greatest spreading part (centre) of the closed form for a disk on a disk, dimensionless.

    .. math:: \psi_\mathrm{max} = \frac{1}{\sqrt\pi} (1 - \epsilon) \varphi_c

    with φ_c as in `closed_form_mean`.

    Parameters
    ----------
    eps, tau, biot : float or ndarray
        Source radius a/b, thickness t/b and Biot number h b/k, by the body's radius b; broadcast. [1]

    Returns
    -------
    ndarray
        ψ = √π k a R of the spreading part, broadcast shape. [1]

    Raises
    ------
    InputError
        If an argument is not finite and positive, or eps > 1.

    Notes
    -----
    Within -5.4 and +11.8 % of the series for tau >= 0.1, Bi <= 1, eps <= 0.6; up to +71 % outside (our own scan, as in
    `closed_form_mean`). See [1]_.

    References
    ----------
    .. [1] Lee, Song, Au and Moran, 4th ASME/JSME Thermal Engineering Joint Conference, 1995 (from memory).

    Examples
    --------
    >>> round(float(closed_form_centre(0.25, 0.15, 0.25)), 6)
    0.609503
    """
    eps, tau, biot = _groups(eps, tau, biot)
    return _centre(eps, _closed_form_phi(eps, tau, biot))


def closed_form_spreading(
    source_radius: ArrayLike,
    radius: ArrayLike,
    thickness: ArrayLike,
    conductivity: ArrayLike,
    h: ArrayLike,
    *,
    warn: bool = True,
) -> Spreading:
    r"""Closed form for an evenly heated disk on one disk with a film on its base: quick, approximate.

    .. math:: R = \frac{t}{\pi b^2 k} + \frac{1}{\pi b^2 h} + \frac{\psi}{\sqrt\pi k a}

    Parameters
    ----------
    source_radius, radius : float or ndarray
        Radius of the source a and of the body b; for a square of side s take s/√π. [m]
    thickness, conductivity, h : float or ndarray
        Thickness t [m], conductivity k [W/(m K)] and base conductance h [W/(m² K)].
    warn : bool, optional
        Whether to warn where the form is used outside the range in which it was shown to hold.

    Returns
    -------
    Spreading
        One-dimensional part, spreading part of the mean and of the centre, broadcast shape. [K/W]

    Raises
    ------
    InputError
        If an argument is not finite and positive, or the source is wider than the body.

    Warns
    -----
    ThermostackWarning
        Once a call, when any sample lies outside tau >= 0.1, Bi <= 1, eps <= 0.6; the numbers are named.

    Notes
    -----
    Accuracy in `closed_form_mean` and `closed_form_centre`. See [1]_.

    References
    ----------
    .. [1] Lee, Song, Au and Moran, 4th ASME/JSME Thermal Engineering Joint Conference, 1995 (from memory).

    Examples
    --------
    >>> round(float(closed_form_spreading(0.005, 0.02, 0.003, 400.0, 5000.0).mean), 4)
    0.2971
    """
    a, b = positive(source_radius, "source_radius", "0.005 (m)"), positive(radius, "radius", "0.02 (m)")
    t, k = positive(thickness, "thickness", "0.003 (m)"), positive(conductivity, "conductivity", "400 (W/(m K))")
    h = positive(h, "h", "5000 (W/(m^2 K))")
    eps, tau, biot = _groups(a / b, t / b, h * b / k)
    if warn:
        _warn_outside(eps, tau, biot)
    scale, phi = np.sqrt(np.pi) * k * a, _closed_form_phi(eps, tau, biot)
    return Spreading(
        (t / k + 1 / h) / (np.pi * b**2),
        _mean(eps, phi) / scale,
        _centre(eps, phi) / scale,
    )


def _mean(eps: Float, phi: Float) -> Float:
    return np.asarray(0.5 * (1 - eps) ** 1.5 * phi)[()]


def _centre(eps: Float, phi: Float) -> Float:
    return np.asarray((1 - eps) / np.sqrt(np.pi) * phi)[()]


def _closed_form_phi(eps: Float, tau: Float, biot: Float) -> Float:
    lam = np.pi + 1 / (np.sqrt(np.pi) * eps)
    tanh, ratio = np.tanh(lam * tau), lam / biot
    return np.asarray((tanh + ratio) / (1 + ratio * tanh))[()]


def _warn_outside(eps: Float, tau: Float, biot: Float) -> None:
    said = [
        f"{name} {_span(value[outside])} ({limit})"
        for name, value, outside, limit in (
            ("tau", tau, tau < 0.1, "shown for >= 0.1"),
            ("Bi", biot, biot > 1, "shown for <= 1"),
            ("eps", eps, eps > 0.6, "shown for <= 0.6"),
        )
        if np.any(outside)
    ]
    if said:
        text = "closed form used outside the range in which it holds: " + "; ".join(said)
        warnings.warn(text + "; use the series", ThermostackWarning, stacklevel=3)


def _span(values: Float) -> str:
    low, high = np.min(values), np.max(values)
    return f"{low:.3g}" if low == high else f"{low:.3g} .. {high:.3g}"


def _groups(eps: ArrayLike, tau: ArrayLike, biot: ArrayLike) -> tuple[Float, Float, Float]:
    e = positive(eps, "eps", "0.25")
    if np.any(e > 1):
        raise InputError(f"{np.max(e):.6g} is more than 1", where="eps", expected="a source within the body, eps <= 1")
    return e, positive(tau, "tau", "0.15"), positive(biot, "biot", "0.25")
