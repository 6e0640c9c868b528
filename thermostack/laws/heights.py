"""Heights that add up, what springs make of them, and what a mount presses."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from thermostack.laws._checks import Float, non_negative, positive

__all__ = ["gap_under_lid", "mount_pressure", "root_sum_square", "spring_force", "worst_case"]


def worst_case(tolerances: ArrayLike) -> Float:
    r"""Tolerance of a sum of heights when all are off to the same side, :math:`T = \sum |t_i|`.

    Parameters
    ----------
    tolerances : ndarray, shape (..., n)
        Half-widths of the n heights, zero or more. [m]

    Returns
    -------
    ndarray, shape (...)
        Half-width of the sum. [m]

    Raises
    ------
    InputError
        If a tolerance is negative or not finite.

    Notes
    -----
    Never exceeded while each height keeps its own limits; see [1]_.

    References
    ----------
    .. [1] Chase and Greenwood, Design issues in mechanical tolerance analysis, Manufacturing Review 1 (1988) 50
       (from memory).
    """
    return np.asarray(np.sum(non_negative(tolerances, "tolerances", "[1e-4, 2e-5] (m)"), axis=-1))


def root_sum_square(tolerances: ArrayLike) -> Float:
    r"""Tolerance of a sum of independent heights by root sum of squares, :math:`T = \sqrt{\sum t_i^2}`.

    Parameters
    ----------
    tolerances : ndarray, shape (..., n)
        Half-widths of the n heights, all with the same meaning (three standard deviations, say). [m]

    Returns
    -------
    ndarray, shape (...)
        Half-width of the sum, with that meaning. [m]

    Raises
    ------
    InputError
        If a tolerance is negative or not finite.

    Notes
    -----
    The heights scatter independently about their middles, in shares that the tolerances tell alike. See [1]_.

    References
    ----------
    .. [1] Chase and Greenwood, Design issues in mechanical tolerance analysis, Manufacturing Review 1 (1988) 50
       (from memory).

    Examples
    --------
    >>> round(float(root_sum_square([0.10, 0.15, 0.02, 0.08, 0.10, 0.10])), 2)      # mm: substrate, socket, die, …
    0.24
    """
    return np.asarray(np.sqrt(np.sum(non_negative(tolerances, "tolerances", "[1e-4, 2e-5] (m)") ** 2, axis=-1)))


def gap_under_lid(cavity: ArrayLike, adhesive: ArrayLike, bumps: ArrayLike, die: ArrayLike) -> Float:
    r"""Gap between die and lid when the lid stands on its rim, :math:`g = c + a - (b + d)`.

    Parameters
    ----------
    cavity : float or ndarray
        Depth c of the lid's pocket below the foot of its rim. [m]
    adhesive : float or ndarray
        Bond line a of the adhesive under the rim; zero for a lid that is laid on without. [m]
    bumps, die : float or ndarray
        Height b of the bumps and thickness d of the die. [m]

    Returns
    -------
    ndarray
        Gap, broadcast shape; negative where the rim cannot reach the substrate, and the lid lies on the die. [m]

    Raises
    ------
    InputError
        If a height is not finite, or `cavity` or `die` is not positive, or another one negative.

    Notes
    -----
    Geometry: flat, parallel faces.

    Examples
    --------
    >>> round(float(gap_under_lid(0.95e-3, 0.08e-3, 0.07e-3, 0.78e-3)) * 1e6)      # µm
    180
    """
    c, d = positive(cavity, "cavity", "0.95e-3 (m)"), positive(die, "die", "0.78e-3 (m)")
    return c + non_negative(adhesive, "adhesive", "0.08e-3 (m)") - (non_negative(bumps, "bumps", "0.07e-3 (m)") + d)


def spring_force(force: ArrayLike, rate: ArrayLike, height: ArrayLike, made_for: ArrayLike) -> Float:
    r"""Force of a sprung mount on a contact plane of another height than it was made for.

    .. math:: F(z) = \max(F_0 + c (z - z_0), 0)

    Parameters
    ----------
    force : float or ndarray
        Force F₀ at the height that the mount is made for. [N]
    rate : float or ndarray
        Rate c of all springs together, zero or more. [N/m]
    height, made_for : float or ndarray
        Height z of the contact plane above the board, and z₀ that the mount is made for. [m]

    Returns
    -------
    ndarray
        Force, broadcast shape; zero where the springs are relaxed. [N]

    Raises
    ------
    InputError
        If an argument is not finite or negative.

    Notes
    -----
    Hooke's law for springs that work within their travel.

    Examples
    --------
    >>> round(float(spring_force(200.0, 60e3, 6.8e-3, 8.0e-3)), 6)
    128.0
    """
    F, c = non_negative(force, "force", "200 (N)"), non_negative(rate, "rate", "60e3 (N/m)")
    z, z0 = positive(height, "height", "7.8e-3 (m)"), positive(made_for, "made_for", "7.8e-3 (m)")
    return np.maximum(F + c * (z - z0), 0.0)


def mount_pressure(force: ArrayLike, area: ArrayLike) -> Float:
    r"""Mean pressure of a mount on a joint, :math:`p = F / A`.

    Parameters
    ----------
    force : float or ndarray
        Force F that goes through the joint, zero or more. [N]
    area : float or ndarray
        Area A of the joint. [m²]

    Returns
    -------
    ndarray
        Pressure, broadcast shape. [Pa]

    Raises
    ------
    InputError
        If `force` is negative or `area` not positive.

    Notes
    -----
    The mean; a tilted or bowed plate presses several times as hard in some places.

    Examples
    --------
    >>> float(mount_pressure(100.0, 2e-4))
    500000.0
    """
    return non_negative(force, "force", "100 (N)") / positive(area, "area", "2e-4 (m^2)")
