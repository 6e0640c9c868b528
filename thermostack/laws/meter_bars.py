"""The stepped-bar test of a joint: from the temperatures along two metal bars to a specific resistance (ASTM D5470)."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from thermostack.errors import InputError
from thermostack.laws._checks import Float, positive, require

__all__ = ["FaceLine", "bar_joint_resistance", "line_to_face"]


class FaceLine(NamedTuple):
    """The line through the temperatures of a bar."""

    face: Float
    """Temperature of the face at the joint."""
    gradient: Float
    """Change of temperature along the bar. [K/m]"""


def line_to_face(temperature: ArrayLike, position: ArrayLike, face: float) -> FaceLine:
    """Temperature of a bar's face, by the straight line of least squares through those along the bar.

    Parameters
    ----------
    temperature : array_like, shape (..., n)
        Along the bar, n >= 2. [K or °C]
    position : array_like, shape (n,)
        Where they are read. [m]
    face : float
        Position of the face. [m]

    Returns
    -------
    FaceLine
        Temperature of the face (unit as given) and gradient [K/m], shape (...).

    Raises
    ------
    InputError
        Fewer than two readings, not one position for each, all at one place, or a value that is not finite.

    Notes
    -----
    No heat through the bar's sides, constant conductivity: the temperature is linear along the bar. With two readings
    it is the extrapolation of the standard. See [1]_.

    References
    ----------
    .. [1] ASTM D5470-17 (from memory).

    Examples
    --------
    >>> [round(float(v), 6) for v in line_to_face([80, 78, 76, 74], [0.005, 0.015, 0.025, 0.035], 0.04)]
    [73.0, -200.0]
    """
    x, T = np.asarray(position, dtype=np.float64), np.asarray(temperature, dtype=np.float64)
    require(np.isfinite(x), x, "position", "finite numbers (m)")
    require(np.isfinite(T), T, "temperature", "finite numbers")
    if x.ndim != 1 or x.size < 2 or T.shape[-1:] != x.shape or np.ptp(x) == 0:
        raise InputError(
            f"{T.shape[-1] if T.ndim else 1} readings at {x.size} positions",
            where="position",
            expected="two readings or more, each at a place of its own",
        )
    away = x - x.mean()
    gradient = (T * away).sum(axis=-1) / (away**2).sum()
    return FaceLine(np.asarray(T.mean(axis=-1) + gradient * (face - x.mean())), np.asarray(gradient))


def bar_joint_resistance(hot: FaceLine, cold: FaceLine, conductivity: ArrayLike) -> Float:
    r"""Specific resistance of what lies between two meter bars.

    .. math:: \theta = \frac{T_H - T_C}{q}, \quad q = \frac{k}{2} \left( |T_H'| + |T_C'| \right)

    Parameters
    ----------
    hot, cold : FaceLine
        Of the hot and the cold bar, from `line_to_face`.
    conductivity : float or ndarray
        Of the bars k. [W/(m K)]

    Returns
    -------
    ndarray
        Specific resistance θ of the sample with its two contacts, broadcast shape. [m² K/W]

    Raises
    ------
    InputError
        If `conductivity` is not positive, or no heat flows from the hot to the cold face.

    Notes
    -----
    The heat flux is the mean of the bars', which differ by what is lost at the sides. See [1]_.

    References
    ----------
    .. [1] ASTM D5470-17 (from memory).

    Examples
    --------
    >>> x = [0.005, 0.015, 0.025, 0.035]
    >>> hot, cold = line_to_face([80, 78, 76, 74], x, 0.04), line_to_face([60, 58.1, 55.9, 54], x, 0.0)
    >>> round(float(bar_joint_resistance(hot, cold, 400.0)) * 1e6, 2)      # mm^2 K/W
    148.76
    """
    k = positive(conductivity, "conductivity", "400 (W/(m K))")
    across = np.asarray(hot.face - cold.face)
    require(across > 0, across, "hot", "a hot face warmer than the cold one")
    flux = k * (np.abs(hot.gradient) + np.abs(cold.gradient)) / 2
    require(flux > 0, flux, "hot", "temperatures that change along the bars")
    return np.asarray(across / flux)
