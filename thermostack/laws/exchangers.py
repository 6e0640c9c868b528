"""Heat exchangers by effectiveness and number of transfer units."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from thermostack.laws._checks import Float, positive, within

__all__ = ["crossflow_effectiveness", "even_wall_effectiveness", "exchanger_resistance"]


def even_wall_effectiveness(ntu: ArrayLike) -> Float:
    r"""Effectiveness of a stream along a wall of one temperature, :math:`\varepsilon = 1 - e^{-\mathrm{NTU}}`.

    Parameters
    ----------
    ntu : float or ndarray
        Conductance between wall and stream over the stream's capacity rate. [1]

    Returns
    -------
    ndarray
        Rise of the stream over the rise of the wall above its inlet. [1]

    Raises
    ------
    InputError
        If `ntu` is not finite and positive.

    Notes
    -----
    See [1]_.

    References
    ----------
    .. [1] Kays and London, Compact Heat Exchangers, 3rd ed. 1984.

    Examples
    --------
    >>> round(float(even_wall_effectiveness(1.0)), 4)
    0.6321
    """
    return -np.expm1(-positive(ntu, "ntu", "1.5"))


def crossflow_effectiveness(ntu: ArrayLike, capacity_ratio: ArrayLike) -> Float:
    r"""Effectiveness of a cross-flow exchanger, both streams unmixed: a radiator.

    .. math:: \varepsilon = \frac{1}{C_r N} \sum_{n=0}^\infty P_n(N)\, P_n(C_r N), \quad
              P_n(x) = 1 - e^{-x} \sum_{m=0}^n \frac{x^m}{m!}

    Parameters
    ----------
    ntu : float or ndarray
        Conductance over the smaller capacity rate, UA/C_min. [1]
    capacity_ratio : float or ndarray
        Smaller over larger capacity rate, C_min/C_max, 0 to 1. [1]

    Returns
    -------
    ndarray
        Heat over the largest that the two inlet temperatures allow. [1]

    Raises
    ------
    InputError
        If `ntu` is not finite and positive, or `capacity_ratio` lies outside 0 to 1.

    Notes
    -----
    Exact for streams whose capacity does not change on the way. At C_r = 0 it is 1 − exp(−N). See [1]_.

    References
    ----------
    .. [1] Mason, Proc. 2nd US National Congress of Applied Mechanics, 1955, 801 (from memory); Kays and London, Compact
       Heat Exchangers, 3rd ed. 1984, has it as a chart.

    Examples
    --------
    >>> round(float(crossflow_effectiveness(2.0, 0.25)), 4)
    0.7974
    """
    n = positive(ntu, "ntu", "2")
    ratio = within(capacity_ratio, "capacity_ratio", 0.0, 1.0, "smaller over larger capacity rate")
    from scipy.special import gammainc  # gammainc(n + 1, x) is P_n(x)

    small = np.maximum(ratio, 1e-12) * n  # at a ratio of 0 the first term alone is left
    terms = np.arange(1, int(np.max(n) + 12 * np.sqrt(np.max(n))) + 30).reshape((-1,) + (1,) * small.ndim)
    return np.asarray(np.sum(gammainc(terms, n) * gammainc(terms, small), axis=0) / small)[()]


def exchanger_resistance(conductance: ArrayLike, rate: ArrayLike, other_rate: ArrayLike) -> Float:
    r"""Difference of the two inlet temperatures per watt that a cross-flow exchanger passes.

    .. math:: R = \frac{1}{\varepsilon\, C_\mathrm{min}}

    Parameters
    ----------
    conductance : float or ndarray
        UA between the two streams. [W/K]
    rate, other_rate : float or ndarray
        Capacity rates of the two streams, density × flow × heat capacity. [W/K]

    Returns
    -------
    ndarray
        [K/W]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    With `crossflow_effectiveness`. See there.

    Examples
    --------
    >>> round(10 / float(exchanger_resistance(2 * 19.8, 19.8, 264.0)))      # W per 10 K, of one fan
    167
    """
    one, other = positive(rate, "rate", "20 (W/K)"), positive(other_rate, "other_rate", "265 (W/K)")
    least, most = np.minimum(one, other), np.maximum(one, other)
    effectiveness = crossflow_effectiveness(positive(conductance, "conductance", "40 (W/K)") / least, least / most)
    return np.asarray(1 / (effectiveness * least))[()]
