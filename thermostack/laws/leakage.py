"""Leakage power of a die, which grows with its temperature."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["exponential_leakage", "linear_leakage"]

Float = NDArray[np.float64]


def exponential_leakage(temperature: ArrayLike, power: ArrayLike, at: ArrayLike, e_fold: ArrayLike) -> Float:
    r"""Leakage power that grows by a factor e for each so many kelvin.

    .. math:: P(T) = P_0 \, e^{(T - T_0)/T_e}

    Parameters
    ----------
    temperature : float or ndarray
        Mean temperature of the die. [K]
    power : float or ndarray
        Leakage power P_0 at T_0. [W]
    at : float or ndarray
        Temperature T_0. [K]
    e_fold : float or ndarray
        T_e. [K]

    Returns
    -------
    ndarray
        Leakage power, broadcast shape. [W]

    Notes
    -----
    Power against temperature is exponential over 20 to 85 °C and near linear locally [1]_; leakage e-folds in about
    40 to 70 K and is 15 to 35 % of the total (from memory, weak).

    References
    ----------
    .. [1] De Vogeleer, Memmi, Jouvelot and Coelho, 2014, on the energy/temperature relation of processors (from
       memory).

    Examples
    --------
    >>> round(float(exponential_leakage(343.15, 40.0, 333.15, 55.0)), 3)
    47.977
    """
    T, P0, T0, Te = (np.asarray(x, dtype=np.float64) for x in (temperature, power, at, e_fold))
    return np.asarray(P0 * np.exp((T - T0) / Te))


def linear_leakage(temperature: ArrayLike, power: ArrayLike, at: ArrayLike, e_fold: ArrayLike) -> Float:
    r"""Tangent of `exponential_leakage` at T_0.

    .. math:: P(T) = P_0 \left( 1 + \frac{T - T_0}{T_e} \right)

    Parameters
    ----------
    temperature, power, at, e_fold : float or ndarray
        As in `exponential_leakage`.

    Returns
    -------
    ndarray
        Leakage power, broadcast shape; below zero where T is more than T_e below T_0. [W]

    Examples
    --------
    >>> round(float(linear_leakage(343.15, 40.0, 333.15, 55.0)), 3)
    47.273
    """
    T, P0, T0, Te = (np.asarray(x, dtype=np.float64) for x in (temperature, power, at, e_fold))
    return np.asarray(P0 * (1.0 + (T - T0) / Te))
