"""Rods and fins with a film on their surface: closed steady solutions."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from thermostack.errors import InputError
from thermostack.laws._checks import Float, non_negative, positive

__all__ = [
    "annular_fin_efficiency",
    "fin_channel_conductance",
    "finned_surface_resistance",
    "long_fin_resistance",
    "straight_fin_efficiency",
]


def long_fin_resistance(h: ArrayLike, perimeter: ArrayLike, conductivity: ArrayLike, area: ArrayLike) -> Float:
    r"""Resistance of a very long rod, from its base to the ambient.

    .. math:: R = 1 / \sqrt{h P k A}

    Parameters
    ----------
    h : float or ndarray
        Film conductance of the surface. [W/(m² K)]
    perimeter, area : float or ndarray
        Perimeter P [m] and area A [m²] of the cross-section.
    conductivity : float or ndarray
        Conductivity k. [W/(m K)]

    Returns
    -------
    ndarray
        Base rise above the ambient per watt, broadcast shape. [K/W]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    Temperature even over each cross-section (h A/(P k) < 0.1) and length > 2.65 sqrt(kA/(hP)), where tanh is 0.99.
    See [1]_.

    References
    ----------
    .. [1] Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed. 2007,
       section 3.6 (section number from memory).

    Examples
    --------
    >>> float(long_fin_resistance(100.0, 0.04, 400.0, 1e-4))
    2.5
    """
    h, p = positive(h, "h", "100 (W/(m^2 K))"), positive(perimeter, "perimeter", "0.0157 (m)")
    return 1 / np.sqrt(h * p * positive(conductivity, "conductivity", "400 (W/(m K))") * positive(area, "area", "2e-5"))


def straight_fin_efficiency(
    h: ArrayLike, perimeter: ArrayLike, conductivity: ArrayLike, area: ArrayLike, length: ArrayLike
) -> Float:
    r"""Efficiency of a straight fin of constant cross-section with an adiabatic tip.

    .. math:: \eta = \tanh(m L) / (m L), \quad m = \sqrt{h P / (k A)}

    Parameters
    ----------
    h : float or ndarray
        Film conductance of the surface. [W/(m² K)]
    perimeter, area : float or ndarray
        Perimeter P [m] and area A [m²] of the cross-section.
    conductivity : float or ndarray
        Conductivity k. [W/(m K)]
    length : float or ndarray
        Length L from base to tip; add half the fin's thickness to account for a cooled tip. [m]

    Returns
    -------
    ndarray
        Mean rise of the fin over the rise of its base, broadcast shape. [1]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    Temperature even over each cross-section (h A/(P k) < 0.1). See [1]_.

    References
    ----------
    .. [1] Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed. 2007,
       section 3.6 (section number from memory).

    Examples
    --------
    >>> round(float(straight_fin_efficiency(50.0, 0.102, 200.0, 5e-5, 0.0305)), 6)
    0.867035
    """
    h, p = positive(h, "h", "50 (W/(m^2 K))"), positive(perimeter, "perimeter", "0.1 (m)")
    k, a = positive(conductivity, "conductivity", "200 (W/(m K))"), positive(area, "area", "5e-5 (m^2)")
    m_l = np.sqrt(h * p / (k * a)) * positive(length, "length", "0.03 (m)")
    return np.tanh(m_l) / m_l


def annular_fin_efficiency(
    h: ArrayLike, conductivity: ArrayLike, thickness: ArrayLike, inner: ArrayLike, outer: ArrayLike
) -> Float:
    r"""Efficiency of a flat annular fin of constant thickness with an adiabatic rim.

    .. math::
        \eta = \frac{2 r_1}{m (r_2^2 - r_1^2)}
               \frac{K_1(m r_1) I_1(m r_2) - I_1(m r_1) K_1(m r_2)}{I_0(m r_1) K_1(m r_2) + K_0(m r_1) I_1(m r_2)},
        \quad m = \sqrt{2 h / (k t)}

    Parameters
    ----------
    h : float or ndarray
        Film conductance of both faces. [W/(m² K)]
    conductivity : float or ndarray
        Conductivity k. [W/(m K)]
    thickness : float or ndarray
        Thickness t. [m]
    inner, outer : float or ndarray
        Root radius r1 and rim radius r2; add half the thickness to r2 to account for a cooled rim. [m]

    Returns
    -------
    ndarray
        Mean rise of the fin over the rise of its root, broadcast shape. [1]

    Raises
    ------
    InputError
        If an argument is not finite and positive, or `outer` does not exceed `inner`.

    Notes
    -----
    Temperature even through the thickness (h t/k < 0.2). Scaled Bessel functions keep it finite for any m. See [1]_.

    References
    ----------
    .. [1] Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed. 2007,
       section 3.6 (section number from memory).

    Examples
    --------
    >>> round(float(annular_fin_efficiency(50.0, 186.0, 0.006, 0.025, 0.048)), 5)
    0.97855
    """
    from scipy.special import i0e, i1e, k0e, k1e

    h, k = positive(h, "h", "50 (W/(m^2 K))"), positive(conductivity, "conductivity", "200 (W/(m K))")
    r1, r2 = positive(inner, "inner", "0.025 (m)"), positive(outer, "outer", "0.045 (m)")
    if np.any(r2 <= r1):
        raise InputError("the rim does not lie outside the root", where="outer", expected="outer > inner")
    m = np.sqrt(2 * h / (k * positive(thickness, "thickness", "0.006 (m)")))
    x1, x2 = m * r1, m * r2
    # I(x) = e^x Ie(x), K(x) = e^-x Ke(x): divided through by e^(x2 - x1)
    decay = np.exp(-2 * (x2 - x1))
    flow = k1e(x1) * i1e(x2) - i1e(x1) * k1e(x2) * decay
    rise = k0e(x1) * i1e(x2) + i0e(x1) * k1e(x2) * decay
    return np.asarray(2 * r1 / (m * (r2**2 - r1**2)) * flow / rise, dtype=np.float64)[()]


def finned_surface_resistance(h: ArrayLike, bare_area: ArrayLike, fin_area: ArrayLike, efficiency: ArrayLike) -> Float:
    r"""Resistance of a finned surface: bare base and fins side by side.

    .. math:: R = 1 / (h (A_b + \eta A_f))

    Parameters
    ----------
    h : float or ndarray
        Film conductance, the same everywhere. [W/(m² K)]
    bare_area, fin_area : float or ndarray
        Bare area of the base A_b and whole surface of all fins A_f. [m²]
    efficiency : float or ndarray
        Efficiency η of the fins. [1]

    Returns
    -------
    ndarray
        Base rise above the ambient per watt, broadcast shape. [K/W]

    Raises
    ------
    InputError
        If `bare_area` is negative, or another argument is not finite and positive.

    Notes
    -----
    Base of one temperature, ambient of one temperature. See [1]_.

    References
    ----------
    .. [1] Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed. 2007,
       section 3.6 (section number from memory).

    Examples
    --------
    >>> float(finned_surface_resistance(50.0, 0.004, 0.02, 0.8))
    1.0
    """
    h, fins = positive(h, "h", "50 (W/(m^2 K))"), positive(fin_area, "fin_area", "0.04 (m^2)")
    bare = non_negative(bare_area, "bare_area", "0.0018 (m^2)")
    return 1 / (h * (bare + positive(efficiency, "efficiency", "0.87") * fins))


def fin_channel_conductance(
    h: ArrayLike, gap: ArrayLike, thickness: ArrayLike, height: ArrayLike, efficiency: ArrayLike
) -> Float:
    r"""Conductance of a plate with straight fins on it, on the area of the plate.

    .. math:: h_\mathrm{eff} = h \, \frac{w + 2 \eta H}{w + t}

    Parameters
    ----------
    h : float or ndarray
        Film conductance of floor and fins. [W/(m² K)]
    gap, thickness, height : float or ndarray
        Gap w between two fins, their thickness t and height H. [m]
    efficiency : float or ndarray
        Efficiency η of the fins. [1]

    Returns
    -------
    ndarray
        Heat per area of the plate and kelvin between its face and the coolant, broadcast shape. [W/(m² K)]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    Many equal fins whose tips pass nothing on: the lid over the channels is not heated. See [1]_.

    References
    ----------
    .. [1] Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed. 2007,
       section 3.6 (section number from memory).

    Examples
    --------
    >>> round(float(fin_channel_conductance(11.5e3, 2e-4, 2e-4, 2e-3, 0.733)))
    90045
    """
    film, w = positive(h, "h", "1e4 (W/(m^2 K))"), positive(gap, "gap", "2e-4 (m)")
    fins = 2 * positive(efficiency, "efficiency", "0.7") * positive(height, "height", "2e-3 (m)")
    return film * (w + fins) / (w + positive(thickness, "thickness", "2e-4 (m)"))
