"""Joints: bond line, contact resistance, voids and films."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from thermostack.laws._checks import Float, fraction, non_negative, positive

__all__ = [
    "bond_line_resistance",
    "film_resistance",
    "maxwell_void_conductivity",
    "void_centre_rise",
    "void_rim_rise",
]


def bond_line_resistance(
    bond_line: ArrayLike, conductivity: ArrayLike, contact: ArrayLike = 0.0, void_fraction: ArrayLike = 0.0
) -> Float:
    r"""Specific resistance of a joint with scattered voids that go right through it.

    .. math:: r = \frac{t / k + R_c}{1 - \phi}

    Parameters
    ----------
    bond_line : float or ndarray
        Bond line thickness t; zero for a joint that is all contact resistance. [m]
    conductivity : float or ndarray
        Conductivity of the filling k. [W/(m K)]
    contact : float or ndarray, optional
        Contact resistance of both faces together, R_c. [m² K/W]
    void_fraction : float or ndarray, optional
        Share of the area that is void, φ in 0 <= φ < 1. [1]

    Returns
    -------
    ndarray
        Specific resistance over the whole (nominal) area, broadcast shape. [m² K/W]

    Raises
    ------
    InputError
        If an argument is not finite, `conductivity` is not positive, or another one lies outside its range.

    Notes
    -----
    The parallel model: voids are small and many against the thickness of the bodies they join, and carry nothing, so
    that what is left carries the heat alone. One large void is worse: see `void_centre_rise`. The parallel form is
    confirmed as a rule of thumb of the trade (*common practice, no source*): 10 % void, +11 %; 25 %, +33 %.

    Examples
    --------
    >>> round(float(bond_line_resistance(45e-6, 3.5, 0.3e-6)) * 1e6, 3)      # mm^2 K/W
    13.157
    """
    bulk = non_negative(bond_line, "bond_line", "45e-6 (m)") / positive(conductivity, "conductivity", "3.5 (W/(m K))")
    joint = bulk + non_negative(contact, "contact", "0.3e-6 (m^2 K/W)")
    return joint / (1 - fraction(void_fraction, "void_fraction", "0.05"))


def maxwell_void_conductivity(conductivity: ArrayLike, void_fraction: ArrayLike) -> Float:
    r"""Conductivity of a filling with scattered spherical voids that do not go through it.

    .. math:: k_\mathrm{eff} = k \, \frac{2 (1 - \phi)}{2 + \phi}

    Parameters
    ----------
    conductivity : float or ndarray
        Conductivity of the sound filling k. [W/(m K)]
    void_fraction : float or ndarray
        Share of the volume that is void, φ in 0 <= φ < 1. [1]

    Returns
    -------
    ndarray
        Effective conductivity, broadcast shape. [W/(m K)]

    Raises
    ------
    InputError
        If `conductivity` is not finite and positive, or `void_fraction` lies outside 0 <= φ < 1.

    Notes
    -----
    Voids of no conductivity, well apart (φ below about 0.3) and small against the bond line. The limit of Maxwell's
    mixture formula [1]_ for inclusions that do not conduct.

    References
    ----------
    .. [1] Maxwell, A Treatise on Electricity and Magnetism, 3rd ed. 1892, vol. 1, article 314 (from memory).

    Examples
    --------
    >>> round(float(maxwell_void_conductivity(80.0, 0.10)), 3)
    68.571
    """
    phi = fraction(void_fraction, "void_fraction", "0.05")
    return positive(conductivity, "conductivity", "80 (W/(m K))") * 2 * (1 - phi) / (2 + phi)


def film_resistance(h: ArrayLike) -> Float:
    r"""Specific resistance of a film or of a contact conductance, :math:`r = 1 / h`.

    Parameters
    ----------
    h : float or ndarray
        Conductance. [W/(m² K)]

    Returns
    -------
    ndarray
        Specific resistance, same shape. [m² K/W]

    Raises
    ------
    InputError
        If `h` is not finite and positive.

    Notes
    -----
    The definition of h, referred to the wetted area and to the coolant temperature for which h was given. See [1]_.

    References
    ----------
    .. [1] Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed. 2007,
       section 3.1 (section number from memory).

    Examples
    --------
    >>> float(film_resistance(20000.0))
    5e-05
    """
    return 1 / positive(h, "h", "35000 (W/(m^2 K))")


def void_centre_rise(flux: ArrayLike, radius: ArrayLike, conductivity: ArrayLike, thickness: ArrayLike) -> Float:
    r"""Rise over the middle of one round void above its rim, under an evenly heated die.

    .. math:: \Delta T = q a^2 / (4 k t)

    Parameters
    ----------
    flux : float or ndarray
        Heat flux q that enters the die's far face above the void. [W/m²]
    radius : float or ndarray
        Radius of the void a. [m]
    conductivity : float or ndarray
        In-plane conductivity of the die k. [W/(m K)]
    thickness : float or ndarray
        Thickness of the die t. [m]

    Returns
    -------
    ndarray
        Temperature of the die above the void's centre minus that above its rim, broadcast shape. [K]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    Lateral conduction in a plate whose temperature is even through the thickness: all heat that falls on the void
    flows to its rim. Holds for a > t, one void away from the die's edges; the crowding of heat around the rim comes on
    top: see `void_rim_rise`. The solution of (1/r) d/dr(r k t dT/dr) = -q with T given at r = a.

    Examples
    --------
    >>> round(float(void_centre_rise(1e6, 2e-3, 120.0, 0.78e-3)), 1)
    10.7
    """
    q, a = positive(flux, "flux", "1e6 (W/m^2)"), positive(radius, "radius", "1e-3 (m)")
    kt = positive(conductivity, "conductivity", "120 (W/(m K))") * positive(thickness, "thickness", "0.78e-3 (m)")
    return q * a**2 / (4 * kt)


def void_rim_rise(
    flux: ArrayLike, radius: ArrayLike, conductivity: ArrayLike, thickness: ArrayLike, resistance: ArrayLike
) -> Float:
    r"""Rise of the rim of one round void above the die far from it: what the void sheds crosses the joint around it.

    .. math::

        \Delta T = \frac{q a \ell}{2 k t} \frac{K_0(a / \ell)}{K_1(a / \ell)}, \quad \ell = \sqrt{k t r}

    Parameters
    ----------
    flux, radius, conductivity, thickness : float or ndarray
        As in `void_centre_rise`.
    resistance : float or ndarray
        Specific resistance r from the sound joint to what is even in temperature beyond it. [m² K/W]

    Returns
    -------
    ndarray
        Temperature of the die above the void's rim minus that far from it, broadcast shape. [K]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    With `void_centre_rise` the rise of the void's centre above the sound die: against the layered solver with a square
    void of the same area (die 0.4 to 0.78 mm, r 3 to 10 mm² K/W) 2.5 to 5 % high for a >= 2.8 t, 7 % at 2.2 t, 15 % at
    1.4 t, and 40 to 50 % at 0.7 t, where the plate is no longer even through its thickness. Of that sum the centre's
    part alone is a half to three quarters.

    The plate as there, cooled outside the void through r to one temperature: k t (1/ρ) d/dρ(ρ dT/dρ) = T/r, T the rise
    above the die far away, with the flow q a/2 through each metre of rim. Derived here; K are the modified Bessel
    functions.

    Examples
    --------
    >>> round(float(void_rim_rise(1e6, 2e-3, 120.0, 0.78e-3, 10e-6)), 2)
    8.46
    """
    from scipy.special import k0e, k1e

    q, a = positive(flux, "flux", "1e6 (W/m^2)"), positive(radius, "radius", "1e-3 (m)")
    kt = positive(conductivity, "conductivity", "120 (W/(m K))") * positive(thickness, "thickness", "0.78e-3 (m)")
    reach = np.sqrt(kt * positive(resistance, "resistance", "10e-6 (m^2 K/W)"))
    return np.asarray(q * a * reach / (2 * kt) * k0e(a / reach) / k1e(a / reach))
