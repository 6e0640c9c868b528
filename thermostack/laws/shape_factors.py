"""Conduction shape factors S of textbook bodies: q = S k (T1 - T2)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from thermostack.errors import InputError
from thermostack.laws._checks import Float, positive

__all__ = ["buried_cylinder", "buried_sphere", "disk_on_half_space", "square_channel", "two_cylinders"]

# All from Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed. 2007, table 4.1
# (formulas from memory; the tests hold each against a second road).


def disk_on_half_space(diameter: ArrayLike) -> Float:
    r"""Shape factor of an isothermal disk on a half-space, :math:`S = 2 D`.

    Parameters
    ----------
    diameter : float or ndarray
        Diameter D. [m]

    Returns
    -------
    ndarray
        Shape factor towards the far half-space, same shape. [m]

    Raises
    ------
    InputError
        If `diameter` is not finite and positive.

    References
    ----------
    .. [1] Incropera et al., 6th ed. 2007, table 4.1 (from memory).

    Examples
    --------
    >>> float(disk_on_half_space(0.01))
    0.02
    """
    return 2 * positive(diameter, "diameter", "0.01 (m)")


def buried_sphere(diameter: ArrayLike, depth: ArrayLike) -> Float:
    r"""Shape factor of an isothermal sphere below an isothermal plane, :math:`S = 2 \pi D / (1 - D / 4 z)`.

    Parameters
    ----------
    diameter, depth : float or ndarray
        Diameter D and depth z of its centre. [m]

    Returns
    -------
    ndarray
        Shape factor, broadcast shape. [m]

    Raises
    ------
    InputError
        If an argument is not finite and positive, or the sphere is not below the plane (z > D/2).

    Notes
    -----
    First image only: exact for a deep sphere; 0.03 % low at z = 2 D, 0.6 % low at z = D (held against the
    bispherical series in the tests).

    References
    ----------
    .. [1] Incropera et al., 6th ed. 2007, table 4.1 (from memory).

    Examples
    --------
    >>> round(float(buried_sphere(0.1, 0.5)), 6)
    0.661388
    """
    d, z = _buried(diameter, depth)
    return 2 * np.pi * d / (1 - d / (4 * z))


def buried_cylinder(diameter: ArrayLike, depth: ArrayLike) -> Float:
    r"""Shape factor per length of a long cylinder below an isothermal plane, :math:`S/L = 2 \pi / \cosh^{-1}(2 z / D)`.

    Parameters
    ----------
    diameter, depth : float or ndarray
        Diameter D and depth z of its axis. [m]

    Returns
    -------
    ndarray
        Shape factor per length, broadcast shape. [1]

    Raises
    ------
    InputError
        If an argument is not finite and positive, or the cylinder is not below the plane (z > D/2).

    Notes
    -----
    Exact for a length much greater than D.

    References
    ----------
    .. [1] Incropera et al., 6th ed. 2007, table 4.1 (from memory).

    Examples
    --------
    >>> round(float(buried_cylinder(0.1, 0.5)), 6)
    2.099137
    """
    d, z = _buried(diameter, depth)
    return 2 * np.pi / np.arccosh(2 * z / d)


def two_cylinders(diameter_1: ArrayLike, diameter_2: ArrayLike, distance: ArrayLike) -> Float:
    r"""Shape factor per length of two parallel cylinders in an infinite medium.

    .. math:: S/L = 2 \pi / \cosh^{-1}\left(\frac{4 w^2 - D^2 - d^2}{2 D d}\right)

    Parameters
    ----------
    diameter_1, diameter_2 : float or ndarray
        Diameters D and d. [m]
    distance : float or ndarray
        Distance w of the axes. [m]

    Returns
    -------
    ndarray
        Shape factor per length, broadcast shape. [1]

    Raises
    ------
    InputError
        If an argument is not finite and positive, or the cylinders touch.

    Notes
    -----
    Exact for a length much greater than `distance`.

    References
    ----------
    .. [1] Incropera et al., 6th ed. 2007, table 4.1 (from memory).

    Examples
    --------
    >>> round(float(two_cylinders(0.1, 0.05, 0.2)), 6)
    1.857151
    """
    big, small = positive(diameter_1, "diameter_1", "0.1 (m)"), positive(diameter_2, "diameter_2", "0.05 (m)")
    w = positive(distance, "distance", "0.2 (m)")
    if np.any(2 * w <= big + small):
        raise InputError("the cylinders touch", where="distance", expected="more than half the sum of the diameters")
    return 2 * np.pi / np.arccosh((4 * w**2 - big**2 - small**2) / (2 * big * small))


def square_channel(outer: ArrayLike, inner: ArrayLike) -> Float:
    r"""Shape factor per length of a square channel centred in a square bar, table fit.

    .. math::
        S/L = \frac{2 \pi}{0.785 \ln(W/w)} \;(W/w < 1.4), \qquad \frac{2 \pi}{0.930 \ln(W/w) - 0.050} \;(W/w > 1.4)

    Parameters
    ----------
    outer, inner : float or ndarray
        Side of the bar W and of the channel w. [m]

    Returns
    -------
    ndarray
        Shape factor per length, broadcast shape. [1]

    Raises
    ------
    InputError
        If an argument is not finite and positive, or `outer` does not exceed `inner`.

    Notes
    -----
    A fit, 3 to 5 % above the exact value (10.2341 at W/w = 2); do not use where that matters.

    References
    ----------
    .. [1] Incropera et al., 6th ed. 2007, table 4.1 (from memory).

    Examples
    --------
    >>> round(float(square_channel(2.0, 1.0)), 4)
    10.5666
    """
    w_out, w_in = positive(outer, "outer", "0.02 (m)"), positive(inner, "inner", "0.01 (m)")
    if np.any(w_out <= w_in):
        raise InputError("the bar is not larger than its channel", where="outer", expected="outer > inner")
    ratio = np.log(w_out / w_in)
    return 2 * np.pi / np.where(w_out / w_in < 1.4, 0.785 * ratio, 0.930 * ratio - 0.050)


def _buried(diameter: ArrayLike, depth: ArrayLike) -> tuple[Float, Float]:
    d, z = positive(diameter, "diameter", "0.1 (m)"), positive(depth, "depth", "0.5 (m)")
    if np.any(2 * z <= d):
        raise InputError("the body is not wholly below the plane", where="depth", expected="more than diameter / 2")
    return d, z
