"""Steady conduction in walls, shells and tubes, and a wall that generates heat."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from thermostack.errors import InputError
from thermostack.laws._checks import Float, positive

__all__ = [
    "cylinder_resistance",
    "generating_wall_rise",
    "slab_resistance",
    "slab_specific_resistance",
    "sphere_resistance",
]


def slab_specific_resistance(thickness: ArrayLike, conductivity: ArrayLike) -> Float:
    r"""Specific resistance of a slab, heat crossing its thickness.

    .. math:: r = t / k

    Parameters
    ----------
    thickness : float or ndarray
        Thickness t. [m]
    conductivity : float or ndarray
        Through-thickness conductivity k; broadcasts against `thickness`. [W/(m K)]

    Returns
    -------
    ndarray
        Difference of the two faces' temperatures per heat flux, broadcast shape. [m² K/W]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    One-dimensional steady flow, constant conductivity, no heat generated. See [1]_.

    References
    ----------
    .. [1] Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed. 2007,
       section 3.1 (section number from memory).

    Examples
    --------
    >>> float(slab_specific_resistance(0.008, 239.0)) == 0.008 / 239.0
    True
    """
    t = positive(thickness, "thickness", "0.003 (m)")
    k = positive(conductivity, "conductivity", "400 (W/(m K))")
    return t / k


def slab_resistance(thickness: ArrayLike, conductivity: ArrayLike, area: ArrayLike) -> Float:
    r"""Resistance of a slab, heat crossing its thickness over a whole footprint.

    .. math:: R = t / (k A)

    Parameters
    ----------
    thickness, conductivity, area : float or ndarray
        Thickness t [m], through-thickness conductivity k [W/(m K)] and area A [m²] crossed by the heat; broadcast
        against each other.

    Returns
    -------
    ndarray
        Difference of the two faces' temperatures per watt, broadcast shape. [K/W]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    One-dimensional steady flow, constant conductivity, no heat generated. See [1]_.

    References
    ----------
    .. [1] Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed. 2007,
       section 3.1 (section number from memory).

    Examples
    --------
    >>> round(float(slab_resistance(0.003, 400.0, 0.04**2)), 7)
    0.0046875
    """
    return slab_specific_resistance(thickness, conductivity) / positive(area, "area", "1.6e-3 (m^2)")


def cylinder_resistance(inner: ArrayLike, outer: ArrayLike, length: ArrayLike, conductivity: ArrayLike) -> Float:
    r"""Resistance of a tube wall, heat flowing radially.

    .. math:: R = \ln(r_o / r_i) / (2 \pi k L)

    Parameters
    ----------
    inner, outer : float or ndarray
        Inner and outer radius. [m]
    length : float or ndarray
        Length L. [m]
    conductivity : float or ndarray
        Radial conductivity k. [W/(m K)]

    Returns
    -------
    ndarray
        Difference of the two faces' temperatures per watt, broadcast shape. [K/W]

    Raises
    ------
    InputError
        If an argument is not finite and positive, or `outer` does not exceed `inner`.

    Notes
    -----
    No heat through the ends; constant conductivity. See [1]_.

    References
    ----------
    .. [1] Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed. 2007,
       section 3.3 (section number from memory).

    Examples
    --------
    >>> round(float(cylinder_resistance(0.01, 0.02, 1.0, 1.0)), 6)
    0.110318
    """
    r_i, r_o = _shell(inner, outer)
    return np.log(r_o / r_i) / (
        2 * np.pi * positive(conductivity, "conductivity", "400 (W/(m K))") * positive(length, "length", "0.1 (m)")
    )


def sphere_resistance(inner: ArrayLike, outer: ArrayLike, conductivity: ArrayLike) -> Float:
    r"""Resistance of a spherical shell, heat flowing radially.

    .. math:: R = (1/r_i - 1/r_o) / (4 \pi k)

    Parameters
    ----------
    inner, outer : float or ndarray
        Inner and outer radius. [m]
    conductivity : float or ndarray
        Radial conductivity k. [W/(m K)]

    Returns
    -------
    ndarray
        Difference of the two faces' temperatures per watt, broadcast shape. [K/W]

    Raises
    ------
    InputError
        If an argument is not finite and positive, or `outer` does not exceed `inner`.

    Notes
    -----
    Constant conductivity. See [1]_.

    References
    ----------
    .. [1] Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed. 2007,
       section 3.3 (section number from memory).

    Examples
    --------
    >>> round(float(sphere_resistance(0.01, 0.02, 1.0)), 6)
    3.978874
    """
    r_i, r_o = _shell(inner, outer)
    return (1 / r_i - 1 / r_o) / (4 * np.pi * positive(conductivity, "conductivity", "400 (W/(m K))"))


def generating_wall_rise(generation: ArrayLike, thickness: ArrayLike, conductivity: ArrayLike) -> Float:
    r"""Rise of the adiabatic face of a wall that generates heat evenly above its cooled face.

    .. math:: \Delta T = \dot q t^2 / (2 k)

    Parameters
    ----------
    generation : float or ndarray
        Heat generated per volume. [W/m³]
    thickness : float or ndarray
        Thickness t. [m]
    conductivity : float or ndarray
        Conductivity k. [W/(m K)]

    Returns
    -------
    ndarray
        Temperature of the adiabatic face minus that of the cooled face, broadcast shape. [K]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    One face adiabatic, all heat leaves by the other; constant conductivity. See [1]_.

    References
    ----------
    .. [1] Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed. 2007,
       section 3.5 (section number from memory).

    Examples
    --------
    >>> round(float(generating_wall_rise(1.5e6, 0.05, 75.0)), 9)
    25.0
    """
    t = positive(thickness, "thickness", "0.003 (m)")
    k = positive(conductivity, "conductivity", "400 (W/(m K))")
    return positive(generation, "generation", "1.5e6 (W/m^3)") * t**2 / (2 * k)


def _shell(inner: ArrayLike, outer: ArrayLike) -> tuple[Float, Float]:
    r_i = positive(inner, "inner", "0.01 (m)")
    r_o = positive(outer, "outer", "0.02 (m)")
    if np.any(r_o <= r_i):
        raise InputError("the outer radius does not exceed the inner one", where="outer", expected="outer > inner")
    return r_i, r_o
