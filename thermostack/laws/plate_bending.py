"""Bending of a thin plate under a centred load: how far a substrate sags where nothing holds it from below."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from thermostack.laws._checks import Float, non_negative, positive, require

__all__ = ["flexural_rigidity", "supported_plate_deflection"]

_TERMS = 400
"""Odd terms along the shorter side: 1e-6 of the deflection under a point load is left, less under any other."""


def flexural_rigidity(modulus: ArrayLike, thickness: ArrayLike, poisson: ArrayLike = 0.3) -> Float:
    r"""Flexural rigidity of a plate: it grows with the cube of the thickness.

    .. math:: D = \frac{E t^3}{12 (1 - \nu^2)}

    Parameters
    ----------
    modulus : float or ndarray
        Young's modulus E. [Pa]
    thickness : float or ndarray
        Thickness t. [m]
    poisson : float or ndarray, optional
        Poisson's ratio ν, 0 <= ν < 0.5.

    Returns
    -------
    ndarray
        Rigidity, broadcast shape. [N m]

    Raises
    ------
    InputError
        If `modulus` or `thickness` is not finite and positive, or `poisson` outside its range.

    Notes
    -----
    Thin plates (t below a tenth of the span) that bend by less than half their thickness. See [1]_, article 2.

    References
    ----------
    .. [1] Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959 (from memory).

    Examples
    --------
    >>> round(float(flexural_rigidity(25e9, 1.2e-3)), 3)
    3.956
    """
    E, t = positive(modulus, "modulus", "25e9 (Pa)"), positive(thickness, "thickness", "1.2e-3 (m)")
    nu = non_negative(poisson, "poisson", "0.3")
    require(nu < 0.5, nu, "poisson", "a ratio in 0 <= x < 0.5, for example 0.3")
    return E * t**3 / (12 * (1 - nu**2))


def supported_plate_deflection(
    force: ArrayLike,
    sides: tuple[float, float],
    load_sides: tuple[float, float],
    rigidity: ArrayLike,
    at: tuple[float, float] = (0.0, 0.0),
) -> Float:
    r"""Deflection of a simply supported rectangular plate under a load spread evenly over a rectangle in its middle.

    .. math::
        w = \frac{4 F}{a b \pi^4 D} \sum_{m, n = 1, 3, \ldots}
            \frac{\mathrm{si}(m \pi u / 2a) \, \mathrm{si}(n \pi v / 2b) \, \cos(m \pi x / a) \cos(n \pi y / b)}
                 {(m^2 / a^2 + n^2 / b^2)^2}, \quad \mathrm{si}(z) = \sin z / z

    Parameters
    ----------
    force : float or ndarray
        Whole load F, zero or more. [N]
    sides : (float, float)
        Sides of the plate between its supports a, b. [m]
    load_sides : (float, float)
        Sides of the loaded rectangle u <= a, v <= b; zero for a load in one point. [m]
    rigidity : float or ndarray
        Flexural rigidity D. [N m]
    at : (float, float), optional
        Where, counted from the middle: x, y. [m]

    Returns
    -------
    ndarray
        Deflection, broadcast shape of `force` and `rigidity`. [m]

    Raises
    ------
    InputError
        If a size or `rigidity` is not finite and positive, `force` is negative, the load is wider than the plate, or
        the place lies outside it.

    Notes
    -----
    Thin plates that bend by less than half their thickness. Edges that are held against turning sag less: a clamped
    square plate under a point load 0.48 times as much. The whole plate loaded is u = a, v = b. Navier's solution, [1]_
    articles 28 to 30 and 34; Tables 8 and 23 there hold its values at the centre.

    References
    ----------
    .. [1] Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959 (from memory).

    Examples
    --------
    >>> round(float(supported_plate_deflection(100.0, (0.02, 0.02), (0.012, 0.012), 3.96)) * 1e6, 1)      # µm
    77.0
    """
    a, b = (float(positive(side, "sides", "(0.02, 0.02) (m)")) for side in sides)
    u, v = (float(non_negative(side, "load_sides", "(0.012, 0.012) (m)")) for side in load_sides)
    for load, side in ((u, a), (v, b)):
        require(load <= side, np.asarray(load), "load_sides", f"at most the plate's own {side:g} m")
    for place, side in zip(at, (a, b), strict=True):
        require(abs(place) <= side / 2, np.asarray(place), "at", f"at most half the plate's {side:g} m from its middle")
    F, D = non_negative(force, "force", "100 (N)"), positive(rigidity, "rigidity", "4 (N m)")
    # as many waves a length along both sides; numpy's sinc(z) is sin(πz)/(πz)
    m, n = (np.arange(1, 2 * _TERMS * side / min(a, b), 2) for side in (a, b))
    along_x = np.sinc(m * u / (2 * a)) * np.cos(np.pi * m * at[0] / a)
    along_y = np.sinc(n * v / (2 * b)) * np.cos(np.pi * n * at[1] / b)
    weight = ((m / a) ** 2)[:, None] + ((n / b) ** 2)[None, :]
    series = along_x @ weight**-2.0 @ along_y
    return np.asarray(4 * F / (a * b * np.pi**4 * D) * series)
