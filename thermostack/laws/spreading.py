"""Spreading (constriction) resistance of a source on a half-space; the parts of a spreading resistance."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from thermostack.laws._checks import Float, positive

__all__ = [
    "Spreading",
    "circle_isoflux_centre",
    "circle_isoflux_mean",
    "circle_isothermal",
    "rectangle_isoflux_centre",
    "rectangle_isoflux_mean",
]


class Spreading(NamedTuple):
    """Resistances of a source on a wider body, by part. [K/W]

    Attributes
    ----------
    one_dimensional : ndarray
        What the body would have if the heat entered over its whole face.
    spreading_mean, spreading_centre : ndarray
        What the source's mean and its centre have on top.
    """

    one_dimensional: Float
    spreading_mean: Float
    spreading_centre: Float

    @property
    def mean(self) -> Float:
        """Mean rise of the source per watt. [K/W]"""
        return self.one_dimensional + self.spreading_mean

    @property
    def centre(self) -> Float:
        """Rise of the source's centre per watt. [K/W]"""
        return self.one_dimensional + self.spreading_centre


def circle_isothermal(radius: ArrayLike, conductivity: ArrayLike) -> Float:
    r"""Resistance of an isothermal circle on a half-space, :math:`R = 1 / (4 k a)`.

    Parameters
    ----------
    radius, conductivity : float or ndarray
        Radius a [m] and conductivity k [W/(m K)]; broadcast.

    Returns
    -------
    ndarray
        Rise of the source above the far half-space per watt, broadcast shape. [K/W]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    Half-space: the body is thick and wide against the source. See [1]_.

    References
    ----------
    .. [1] Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, section 8.2 (from memory).

    Examples
    --------
    >>> float(circle_isothermal(0.005, 400.0))
    0.125
    """
    a, k = _circle(radius, conductivity)
    return 1 / (4 * k * a)


def circle_isoflux_mean(radius: ArrayLike, conductivity: ArrayLike) -> Float:
    r"""Mean resistance of an evenly heated circle on a half-space, :math:`R = 8 / (3 \pi^2 k a)`.

    Parameters
    ----------
    radius, conductivity : float or ndarray
        Radius a [m] and conductivity k [W/(m K)]; broadcast.

    Returns
    -------
    ndarray
        Mean rise of the source above the far half-space per watt, broadcast shape. [K/W]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    Half-space: the body is thick and wide against the source. See [1]_.

    References
    ----------
    .. [1] Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, section 8.2 (from memory).

    Examples
    --------
    >>> round(float(circle_isoflux_mean(0.005, 400.0)), 4)
    0.1351
    """
    a, k = _circle(radius, conductivity)
    return 8 / (3 * np.pi**2 * k * a)


def circle_isoflux_centre(radius: ArrayLike, conductivity: ArrayLike) -> Float:
    r"""Resistance at the centre of an evenly heated circle on a half-space, :math:`R = 1 / (\pi k a)`.

    Parameters
    ----------
    radius, conductivity : float or ndarray
        Radius a [m] and conductivity k [W/(m K)]; broadcast.

    Returns
    -------
    ndarray
        Rise of the source's centre above the far half-space per watt, broadcast shape. [K/W]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    Half-space: the body is thick and wide against the source. See [1]_.

    References
    ----------
    .. [1] Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, section 8.2 (from memory).

    Examples
    --------
    >>> round(float(circle_isoflux_centre(0.005, 400.0)), 4)
    0.1592
    """
    a, k = _circle(radius, conductivity)
    return 1 / (np.pi * k * a)


def rectangle_isoflux_mean(length: ArrayLike, width: ArrayLike, conductivity: ArrayLike) -> Float:
    r"""Mean resistance of an evenly heated rectangle on a half-space.

    .. math::
        R = \frac{\tfrac23 (l^3 + w^3 - d^3) + 2 l^2 w \ln\frac{w + d}{l} + 2 w^2 l \ln\frac{l + d}{w}}
                 {2 \pi k l^2 w^2}, \quad d = \sqrt{l^2 + w^2}

    Parameters
    ----------
    length, width : float or ndarray
        Sides l and w. [m]
    conductivity : float or ndarray
        Conductivity k. [W/(m K)]

    Returns
    -------
    ndarray
        Mean rise of the source above the far half-space per watt, broadcast shape. [K/W]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    Half-space: the body is thick and wide against the source. For a square
    k sqrt(A) R = [4/3 (1 - sqrt 2 + 3 ln(1 + sqrt 2))]/(2 π) = 0.473201. Cancellation costs about twice as many digits
    as log10(l/w); below an aspect of 1000 nine remain. See [1]_.

    References
    ----------
    .. [1] Yovanovich and Marotta, in Bejan and Kraus (eds), Heat Transfer Handbook, 2003, ch. 4 (from memory,
       cross-checked by quadrature).

    Examples
    --------
    >>> round(float(rectangle_isoflux_mean(1.0, 1.0, 1.0)), 6)
    0.473201
    """
    l, w, k, d = _rectangle(length, width, conductivity)  # noqa: E741
    self_integral = (
        2 / 3 * (l**3 + w**3 - d**3) + 2 * l**2 * w * np.log((w + d) / l) + 2 * w**2 * l * np.log((l + d) / w)
    )
    return self_integral / (2 * np.pi * k * (l * w) ** 2)


def rectangle_isoflux_centre(length: ArrayLike, width: ArrayLike, conductivity: ArrayLike) -> Float:
    r"""Resistance at the centre of an evenly heated rectangle on a half-space.

    .. math:: R = \frac{l \sinh^{-1}(w / l) + w \sinh^{-1}(l / w)}{\pi k l w}

    Parameters
    ----------
    length, width : float or ndarray
        Sides l and w. [m]
    conductivity : float or ndarray
        Conductivity k. [W/(m K)]

    Returns
    -------
    ndarray
        Rise of the source's centre above the far half-space per watt, broadcast shape. [K/W]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    Half-space: the body is thick and wide against the source. For a square
    k sqrt(A) R = (2/π) ln(1 + sqrt 2) = 0.561100. See [1]_.

    References
    ----------
    .. [1] Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, section 10.5; Yovanovich and Marotta, in
       Bejan and Kraus (eds), Heat Transfer Handbook, 2003, ch. 4 (both from memory, cross-checked by quadrature).

    Examples
    --------
    >>> round(float(rectangle_isoflux_centre(1.0, 1.0, 1.0)), 6)
    0.5611
    """
    l, w, k, _ = _rectangle(length, width, conductivity)  # noqa: E741
    return (l * np.arcsinh(w / l) + w * np.arcsinh(l / w)) / (np.pi * k * l * w)


def _circle(radius: ArrayLike, conductivity: ArrayLike) -> tuple[Float, Float]:
    return positive(radius, "radius", "0.005 (m)"), positive(conductivity, "conductivity", "400 (W/(m K))")


def _rectangle(length: ArrayLike, width: ArrayLike, conductivity: ArrayLike) -> tuple[Float, Float, Float, Float]:
    l, w = positive(length, "length", "0.02 (m)"), positive(width, "width", "0.01 (m)")  # noqa: E741
    return l, w, positive(conductivity, "conductivity", "400 (W/(m K))"), np.hypot(l, w)
