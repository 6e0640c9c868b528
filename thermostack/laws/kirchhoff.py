"""Kirchhoff's transformation: temperatures in a solid whose conductivity changes with temperature.

With U = T_0 + ∫ k dT / k(T_0) from T_0 to T, steady conduction in U has the constant conductivity k(T_0). These
functions are the way back, from a step U − T_0 to T.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermostack.errors import InputError

__all__ = ["kirchhoff_linear", "kirchhoff_power"]

Float = NDArray[np.float64]


def kirchhoff_power(reference: ArrayLike, step: ArrayLike, exponent: ArrayLike) -> Float:
    r"""Temperature behind a Kirchhoff step where k grows as T to a power.

    .. math:: T = T_0 \left[ 1 + (n + 1) \frac{U - T_0}{T_0} \right]^{1/(n+1)}, \qquad
              T = T_0 \, e^{(U - T_0)/T_0} \text{ for } n = -1

    Parameters
    ----------
    reference : float or ndarray
        Temperature T_0 at which the constant conductivity was taken. [K]
    step : float or ndarray
        U − T_0; broadcasts against the others. [K]
    exponent : float or ndarray
        n in k = A T^n.

    Returns
    -------
    ndarray
        Temperature, broadcast shape. [K]

    Raises
    ------
    InputError
        The step is beyond what such a solid can carry: the temperature would have no bound.

    Notes
    -----
    Exact. See [1]_.

    References
    ----------
    .. [1] Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, section 1.6 (VIII) (number from memory).

    Examples
    --------
    >>> round(float(kirchhoff_power(330.0, 20.0, -1.366)), 3)
    350.858
    """
    T0, dU, n = (np.asarray(x, dtype=np.float64) for x in (reference, step, exponent))
    base = 1.0 + (n + 1.0) * dU / T0
    if np.any(base <= 0):
        raise InputError("the step is beyond what the solid can carry", where="step", expected="a smaller heat flux")
    near = np.abs(n + 1.0) < 1e-9
    power = 1.0 / np.where(near, 1.0, n + 1.0)
    return np.asarray(T0 * np.where(near, np.exp(dU / T0), base**power))


def kirchhoff_linear(reference: ArrayLike, step: ArrayLike, slope: ArrayLike) -> Float:
    r"""Temperature behind a Kirchhoff step where k changes linearly.

    .. math:: T = T_0 + \frac{\sqrt{1 + 2 s (U - T_0)} - 1}{s}, \qquad k(T) = k(T_0) [1 + s (T - T_0)]

    Parameters
    ----------
    reference : float or ndarray
        Temperature T_0 at which the constant conductivity was taken. [K]
    step : float or ndarray
        U − T_0; broadcasts against the others. [K]
    slope : float or ndarray
        Relative change of the conductivity per kelvin at T_0. [1/K]

    Returns
    -------
    ndarray
        Temperature, broadcast shape. [K]

    Raises
    ------
    InputError
        The conductivity would fall to zero on the way.

    Notes
    -----
    Exact; written without the difference that cancels for a small slope. See [1]_.

    References
    ----------
    .. [1] Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, section 1.6 (VIII) (number from memory).

    Examples
    --------
    >>> round(float(kirchhoff_linear(330.0, 20.0, -0.004)), 3)
    350.871
    """
    T0, dU, s = (np.asarray(x, dtype=np.float64) for x in (reference, step, slope))
    square = 1.0 + 2.0 * s * dU
    if np.any(square <= 0):
        raise InputError("the conductivity falls to zero within the step", where="step", expected="a smaller heat flux")
    return np.asarray(T0 + 2.0 * dU / (1.0 + np.sqrt(square)))
