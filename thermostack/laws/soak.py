"""How long a bench must soak: a loop of coolant as one heat capacity, the stack as a ladder of small ones."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from thermostack.errors import InputError
from thermostack.laws._checks import Float, non_negative, positive

__all__ = ["loop_time_constant", "ramp_lag", "slowest_time_bound", "time_to_drift", "time_to_within"]


def loop_time_constant(
    volume: ArrayLike, density: ArrayLike, heat_capacity: ArrayLike, conductance: ArrayLike, other: ArrayLike = 0.0
) -> Float:
    r"""Time constant of a well-stirred loop that gives its heat to the room.

    .. math:: \tau = \frac{V \rho c_p + C}{G}

    Parameters
    ----------
    volume : float or ndarray
        Coolant V in the loop. [m³]
    density, heat_capacity : float or ndarray
        Of the coolant, ρ [kg/m³] and c_p [J/(kg K)].
    conductance : float or ndarray
        Heat given to the room per kelvin of the coolant above it, G. [W/K]
    other : float or ndarray
        Heat capacity C of the metal that follows the coolant. [J/K]

    Returns
    -------
    ndarray
        Broadcast shape. [s]

    Raises
    ------
    InputError
        A value that is not finite, or not above zero (`other`: below zero).

    Notes
    -----
    Heat balance of one capacity (lumped, first order): the coolant goes round the loop in seconds, so that it is of one
    temperature against minutes. Incropera and DeWitt, *Fundamentals of Heat and Mass Transfer*, 5.1, with G for hA.

    Examples
    --------
    A litre of water behind a radiator that passes 250 W per 10 K.

    >>> round(float(loop_time_constant(1e-3, 997.0, 4181.0, 25.0)), 1)
    166.7
    """
    V, rho, cp = positive(volume, "volume", "1e-3"), positive(density, "density", "997"), heat_capacity
    cp, G = positive(cp, "heat_capacity", "4181"), positive(conductance, "conductance", "25")
    C = non_negative(other, "other", "200")
    return np.asarray((V * rho * cp + C) / G)


def time_to_within(step: ArrayLike, within: ArrayLike, time_constant: ArrayLike) -> Float:
    r"""Time until a first-order lag is within so much of where it ends.

    .. math:: t = \tau \ln \frac{\Delta T}{x}

    Parameters
    ----------
    step : float or ndarray
        Distance ΔT from the end at the start. [K]
    within : float or ndarray
        Distance x at the end, above zero. [K]
    time_constant : float or ndarray
        τ. [s]

    Returns
    -------
    ndarray
        Broadcast shape; 0 where it is near enough from the start. [s]

    Raises
    ------
    InputError
        `within` or `time_constant` not above zero, `step` below zero.

    Notes
    -----
    Incropera and DeWitt, *Fundamentals of Heat and Mass Transfer*, eq. 5.5.

    Examples
    --------
    >>> round(float(time_to_within(8.0, 0.1, 167.0)), 1)
    731.8
    """
    dT, x = non_negative(step, "step", "8"), positive(within, "within", "0.1")
    tau = positive(time_constant, "time_constant", "167")
    return np.asarray(tau * np.log(np.maximum(dT / x, 1.0)))


def time_to_drift(step: ArrayLike, rate: ArrayLike, time_constant: ArrayLike) -> Float:
    r"""Time until a first-order lag drifts slower than a rate.

    .. math:: t = \tau \ln \frac{\Delta T}{\tau r}

    Parameters
    ----------
    step : float or ndarray
        Distance ΔT from the end at the start. [K]
    rate : float or ndarray
        r, above zero. [K/s]
    time_constant : float or ndarray
        τ. [s]

    Returns
    -------
    ndarray
        Broadcast shape; 0 where it is slow enough from the start. [s]

    Raises
    ------
    InputError
        As `time_to_within`.

    Notes
    -----
    From dT/dt = (ΔT/τ) exp(−t/τ), the slope of the response of `time_to_within`.

    Examples
    --------
    >>> round(float(time_to_drift(8.0, 0.1 / 60, 167.0)), 1)
    560.8
    """
    tau = positive(time_constant, "time_constant", "167")
    return time_to_within(step, positive(rate, "rate", "0.002") * tau, tau)


def ramp_lag(rate: ArrayLike, time_constant: ArrayLike) -> Float:
    r"""How far a first-order lag stays behind what drives it at a constant rate.

    .. math:: \Delta = r \tau

    Parameters
    ----------
    rate : float or ndarray
        r. [K/s]
    time_constant : float or ndarray
        τ. [s]

    Returns
    -------
    ndarray
        Broadcast shape. [K]

    Notes
    -----
    Steady ramp error of a first-order system (any text on control, such as Ogata, *Modern Control Engineering*, 5.2).
    It is why die minus coolant can be read while the coolant still drifts.

    Examples
    --------
    >>> round(float(ramp_lag(0.1 / 60, 8.5)), 4)
    0.0142
    """
    return np.asarray(non_negative(rate, "rate", "0.002") * positive(time_constant, "time_constant", "8.5"))


def slowest_time_bound(heat_capacities: ArrayLike, resistances: ArrayLike) -> float:
    r"""Sum of the time constants of a ladder of heat capacities: an upper bound for the slowest.

    .. math:: \sum_j \tau_j = \sum_i C_i R_{ii}

    Parameters
    ----------
    heat_capacities : ndarray, shape (n,)
        C_i of each node. [J/K]
    resistances : ndarray, shape (n,)
        R_ii: rise of a node over the reference per watt put in at that node. [K/W]

    Returns
    -------
    float
        [s]

    Raises
    ------
    InputError
        Values below zero, or not one resistance for each capacity.

    Notes
    -----
    The trace of the matrix of time constants (sum of open-circuit time constants; Cochrun and Grabel 1973, *IEEE Trans.
    Circuit Theory* 20, 16, from memory). All of them are positive, so that no single one is larger than the sum.

    Examples
    --------
    Die and lid, 1.5 and 20 J/K, at 0.15 and 0.07 K/W above the coolant.

    >>> round(slowest_time_bound([1.5, 20.0], [0.15, 0.07]), 3)
    1.625
    """
    C = non_negative(heat_capacities, "heat_capacities", "[1.5, 20]")
    R = non_negative(resistances, "resistances", "[0.15, 0.07]")
    if C.shape != R.shape or C.ndim != 1:
        raise InputError(f"shapes {C.shape} and {R.shape}", where="resistances", expected="one for each heat capacity")
    return float(C @ R)
