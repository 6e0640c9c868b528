"""Forced flow through ducts: film and friction of rectangular channels, laminar and turbulent.

Nu = h D/k and Re = u D/ν stand on the hydraulic diameter D; f is Fanning's friction factor, a quarter of Darcy's.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from thermostack.laws._checks import Float, non_negative, positive, require, within

__all__ = [
    "LAMINAR_TO",
    "TURBULENT_FROM",
    "developing_nusselt",
    "duct_nusselt",
    "duct_pressure_drop",
    "entry_nusselt",
    "gnielinski_nusselt",
    "hydraulic_diameter",
    "rectangular_entry_loss",
    "rectangular_friction",
    "rectangular_nusselt",
    "smooth_friction",
]

LAMINAR_TO, TURBULENT_FROM = 2300.0, 4000.0
"""Reynolds numbers between which the film is interpolated."""

Wall = Literal["flux", "temperature"]
_ASPECT = "short side over long side of a rectangular duct"
_NUSSELT = {
    "flux": (8.235, (1.0, -2.0421, 3.0853, -2.4765, 1.0578, -0.1861)),
    "temperature": (7.541, (1.0, -2.610, 4.970, -5.119, 2.702, -0.548)),
}


def hydraulic_diameter(width: ArrayLike, height: ArrayLike) -> Float:
    r"""Hydraulic diameter of a rectangular duct, :math:`D = 2 w H / (w + H)`, all four sides wetted.

    Parameters
    ----------
    width, height : float or ndarray
        Sides. [m]

    Returns
    -------
    ndarray
        [m]

    Raises
    ------
    InputError
        If a side is not finite and positive.

    Examples
    --------
    >>> round(float(hydraulic_diameter(0.2, 2.0)), 4)
    0.3636
    """
    w, h = positive(width, "width", "2e-4 (m)"), positive(height, "height", "2e-3 (m)")
    return 2 * w * h / (w + h)


def rectangular_nusselt(aspect: ArrayLike, wall: Wall = "flux") -> Float:
    r"""Nusselt number of fully developed laminar flow in a rectangular duct.

    .. math::
        \mathrm{Nu}_{H1} = 8.235 (1 - 2.0421 a + 3.0853 a^2 - 2.4765 a^3 + 1.0578 a^4 - 0.1861 a^5)

        \mathrm{Nu}_{T} = 7.541 (1 - 2.610 a + 4.970 a^2 - 5.119 a^3 + 2.702 a^4 - 0.548 a^5)

    Parameters
    ----------
    aspect : float or ndarray
        Short side over long side a, 0 (parallel plates) to 1 (square). [1]
    wall : {"flux", "temperature"}
        Even flux along the flow with one temperature round each cross-section (H1), or one wall temperature (T).

    Returns
    -------
    ndarray
        Nu on the hydraulic diameter, all four sides heated. [1]

    Raises
    ------
    InputError
        If `aspect` lies outside 0 to 1.

    Notes
    -----
    Fits of the exact solutions, within 0.1 %. See [1]_.

    References
    ----------
    .. [1] Shah and London, Laminar Flow Forced Convection in Ducts, 1978.

    Examples
    --------
    >>> round(float(rectangular_nusselt(0.1)), 3)
    6.788
    """
    a = within(aspect, "aspect", 0.0, 1.0, _ASPECT)
    limit, coefficients = _NUSSELT[wall]
    return np.asarray(limit * np.polynomial.polynomial.polyval(a, coefficients))[()]


def rectangular_friction(aspect: ArrayLike) -> Float:
    r"""Friction of fully developed laminar flow in a rectangular duct, f Re with Fanning's f.

    .. math:: f\,\mathrm{Re} = 24 (1 - 1.3553 a + 1.9467 a^2 - 1.7012 a^3 + 0.9564 a^4 - 0.2537 a^5)

    Parameters
    ----------
    aspect : float or ndarray
        Short side over long side a, 0 to 1. [1]

    Returns
    -------
    ndarray
        [1]

    Raises
    ------
    InputError
        If `aspect` lies outside 0 to 1.

    Notes
    -----
    A fit of the exact series, within 0.07 %. See [1]_.

    References
    ----------
    .. [1] Shah and London, Laminar Flow Forced Convection in Ducts, 1978.

    Examples
    --------
    >>> round(float(rectangular_friction(1.0)), 2)
    14.23
    """
    a = within(aspect, "aspect", 0.0, 1.0, _ASPECT)
    series = np.polynomial.polynomial.polyval(a, (1.0, -1.3553, 1.9467, -1.7012, 0.9564, -0.2537))
    return np.asarray(24 * series, dtype=np.float64)[()]


def rectangular_entry_loss(aspect: ArrayLike) -> Float:
    r"""Pressure that developing laminar flow in a rectangular duct costs beyond its friction, in heads ρu²/2.

    .. math:: K = 0.6796 + 1.2197 a + 3.3089 a^2 - 9.5921 a^3 + 8.9089 a^4 - 2.9959 a^5

    Parameters
    ----------
    aspect : float or ndarray
        Short side over long side a, 0 to 1. [1]

    Returns
    -------
    ndarray
        [1]

    Raises
    ------
    InputError
        If `aspect` lies outside 0 to 1.

    Notes
    -----
    Hagenbach's factor of a duct longer than its entry (x/(D Re) > 0.05); at most 3 % of the drop where x/(D Re) > 0.6.
    See [1]_.

    References
    ----------
    .. [1] Fit of Shah and London's values by Steinke and Kandlikar, Int. J. Thermal Sciences 45 (2006) 1073 (from
       memory).

    Examples
    --------
    >>> round(float(rectangular_entry_loss(1.0)), 2)
    1.53
    """
    a = within(aspect, "aspect", 0.0, 1.0, _ASPECT)
    coefficients = (0.6796, 1.2197, 3.3089, -9.5921, 8.9089, -2.9959)
    return np.asarray(np.polynomial.polynomial.polyval(a, coefficients), dtype=np.float64)[()]


def entry_nusselt(friction: ArrayLike, distance: ArrayLike, wall: Wall = "flux") -> Float:
    r"""Mean Nusselt number near the inlet of a duct: a thermal layer that grows within developed laminar flow.

    .. math:: \mathrm{Nu}_m = \tfrac{3}{2}\, C \left( \frac{f\,\mathrm{Re}}{x^*} \right)^{1/3},
              \quad x^* = \frac{x / D}{\mathrm{Re}\,\mathrm{Pr}}

    Parameters
    ----------
    friction : float or ndarray
        f Re of the developed flow: its mean shear at the wall. [1]
    distance : float or ndarray
        x*, from the inlet to the end of the length over which the mean is taken. [1]
    wall : {"flux", "temperature"}
        C = 0.517 for even flux, 0.427 for one wall temperature.

    Returns
    -------
    ndarray
        [1]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    Lévêque's solution for a small x* (below 0.001; a round tube, f Re = 16, has 1.302 and 1.076 x*^(-1/3) locally),
    with the mean shear of any duct. See [1]_.

    References
    ----------
    .. [1] Shah and London, Laminar Flow Forced Convection in Ducts, 1978; Muzychka and Yovanovich, J. Heat Transfer 126
       (2004) 54 (constants from memory, checked against the round tube).

    Examples
    --------
    >>> round(float(entry_nusselt(16.0, 1e-4, "temperature")), 2)
    34.77
    """
    shear, x = positive(friction, "friction", "14.23"), positive(distance, "distance", "0.01")
    return np.asarray(1.5 * {"flux": 0.517, "temperature": 0.427}[wall] * np.cbrt(shear / x))[()]


def developing_nusselt(developed: ArrayLike, entry: ArrayLike) -> Float:
    r"""Mean Nusselt number from the inlet on: the growing layer and the developed flow, joined.

    .. math:: \mathrm{Nu} = \left( \mathrm{Nu}_\infty^5 + \mathrm{Nu}_m^5 \right)^{1/5}

    Parameters
    ----------
    developed, entry : float or ndarray
        Nu∞ of the developed flow, and Nu_m of its entry. [1]

    Returns
    -------
    ndarray
        [1]

    Raises
    ------
    InputError
        If an argument is not finite and positive.

    Notes
    -----
    Against a numerical solution (rectangle, developed flow, one wall temperature, x* above 0.001): within 7 % up to an
    aspect ratio of 0.25, as fin channels have; up to 9 % high at 0.5 and 12 % high in a square, whose corners take part
    less near the inlet. Flow that develops too, as behind a sharp inlet, has more, which is left out. See [1]_.

    References
    ----------
    .. [1] Churchill and Usagi, AIChE Journal 18 (1972) 1121; exponent of Muzychka and Yovanovich, J. Heat Transfer 126
       (2004) 54 (from memory).

    Examples
    --------
    >>> round(float(developing_nusselt(3.66, 3.66)), 3)
    4.204
    """
    far, near = positive(developed, "developed", "3.66"), positive(entry, "entry", "5")
    return np.asarray((far**5 + near**5) ** 0.2)[()]


def smooth_friction(reynolds: ArrayLike) -> Float:
    r"""Friction factor of turbulent flow in a smooth tube, Darcy's.

    .. math:: f_D = (0.79 \ln \mathrm{Re} - 1.64)^{-2}

    Parameters
    ----------
    reynolds : float or ndarray
        3000 to 5·10⁶. [1]

    Returns
    -------
    ndarray
        [1]

    Raises
    ------
    InputError
        If `reynolds` lies outside its range.

    Notes
    -----
    See [1]_.

    References
    ----------
    .. [1] Petukhov, Advances in Heat Transfer 6 (1970) 503.

    Examples
    --------
    >>> round(float(smooth_friction(1e4)), 5)
    0.03148
    """
    re = within(reynolds, "reynolds", 3000.0, 5e6, "Petukhov's friction")
    return np.asarray((0.79 * np.log(re) - 1.64) ** -2)[()]


def gnielinski_nusselt(reynolds: ArrayLike, prandtl: ArrayLike, friction: ArrayLike) -> Float:
    r"""Nusselt number of turbulent flow in a duct.

    .. math:: \mathrm{Nu} = \frac{(f_D/8) (\mathrm{Re} - 1000) \mathrm{Pr}}
                            {1 + 12.7 \sqrt{f_D/8}\, (\mathrm{Pr}^{2/3} - 1)}

    Parameters
    ----------
    reynolds : float or ndarray
        3000 to 5·10⁶, on the hydraulic diameter. [1]
    prandtl : float or ndarray
        0.5 to 2000. [1]
    friction : float or ndarray
        Darcy's friction factor f_D. [1]

    Returns
    -------
    ndarray
        [1]

    Raises
    ------
    InputError
        If an argument lies outside its range.

    Notes
    -----
    Within 10 % of most measurements; long ducts, properties at the bulk temperature. See [1]_.

    References
    ----------
    .. [1] Gnielinski, Int. Chemical Engineering 16 (1976) 359.

    Examples
    --------
    >>> round(float(gnielinski_nusselt(1e4, 5.86, 0.03148)), 2)
    74.31
    """
    re = within(reynolds, "reynolds", 3000.0, 5e6, "Gnielinski's equation")
    pr = within(prandtl, "prandtl", 0.5, 2000.0, "Gnielinski's equation")
    f8 = positive(friction, "friction", "0.03") / 8
    return np.asarray(f8 * (re - 1000) * pr / (1 + 12.7 * np.sqrt(f8) * (np.cbrt(pr) ** 2 - 1)))[()]


def duct_nusselt(reynolds: ArrayLike, prandtl: ArrayLike, aspect: ArrayLike, length: ArrayLike) -> Float:
    r"""Mean Nusselt number of a rectangular duct of some length, whatever its flow.

    .. math:: \mathrm{Nu} = (1 - \gamma) \mathrm{Nu}_\mathrm{lam}(2300) + \gamma\, \mathrm{Nu}_\mathrm{turb}(4000),
              \quad \gamma = \frac{\mathrm{Re} - 2300}{4000 - 2300}

    between laminar flow (below 2300, `developing_nusselt` with an even flux) and turbulent flow (above 4000,
    `gnielinski_nusselt`).

    Parameters
    ----------
    reynolds : float or ndarray
        Above 0, up to 5·10⁶. [1]
    prandtl : float or ndarray
        0.5 to 2000. [1]
    aspect : float or ndarray
        Short side over long side, 0 to 1. [1]
    length : float or ndarray
        Length over hydraulic diameter. [1]

    Returns
    -------
    ndarray
        [1]

    Raises
    ------
    InputError
        If an argument lies outside its range.

    Notes
    -----
    See [1]_.

    References
    ----------
    .. [1] Gnielinski, Int. J. Heat Mass Transfer 63 (2013) 134 (interpolation, from memory).

    Examples
    --------
    >>> round(float(duct_nusselt(300.0, 5.4, 0.1, 1e4)), 3)
    6.788
    """
    re = positive(reynolds, "reynolds", "300")
    require(re <= 5e6, re, "reynolds", "up to 5e+06, the range of Gnielinski's equation")
    pr = within(prandtl, "prandtl", 0.5, 2000.0, "Gnielinski's equation")
    x = positive(length, "length", "30") / (np.minimum(re, LAMINAR_TO) * pr)
    laminar = developing_nusselt(rectangular_nusselt(aspect), entry_nusselt(rectangular_friction(aspect), x))
    re_turbulent = np.maximum(re, TURBULENT_FROM)
    turbulent = gnielinski_nusselt(re_turbulent, pr, smooth_friction(re_turbulent))
    share = np.clip((re - LAMINAR_TO) / (TURBULENT_FROM - LAMINAR_TO), 0.0, 1.0)
    return np.asarray((1 - share) * laminar + share * turbulent)[()]


def duct_pressure_drop(
    reynolds: ArrayLike, aspect: ArrayLike, length: ArrayLike, density: ArrayLike, velocity: ArrayLike
) -> Float:
    r"""Pressure drop along a rectangular duct, with what its laminar entry costs.

    .. math:: \Delta p = \left( 4 f \frac{L}{D} + K \right) \frac{\rho u^2}{2}, \quad K = 0 \text{ in turbulent flow}

    Parameters
    ----------
    reynolds : float or ndarray
        [1]
    aspect : float or ndarray
        Short side over long side, 0 to 1. [1]
    length : float or ndarray
        Length over hydraulic diameter, L/D. [1]
    density, velocity : float or ndarray
        Density ρ [kg/m³], mean velocity u [m/s].

    Returns
    -------
    ndarray
        Of the channels alone, without manifolds and fittings, which often cost as much. [Pa]

    Raises
    ------
    InputError
        If an argument lies outside its range.

    Notes
    -----
    Laminar f of `rectangular_friction` with K of `rectangular_entry_loss`; turbulent f of `smooth_friction`; the larger
    of the two from Re = 3000 on. See there.

    Examples
    --------
    >>> round(float(duct_pressure_drop(100.0, 1.0, 1000.0, 1000.0, 1.0)) / 1e3, 1)
    285.4
    """
    re, along = positive(reynolds, "reynolds", "300"), positive(length, "length", "30")
    require(re <= 5e6, re, "reynolds", "up to 5e+06, the range of Petukhov's friction")
    laminar = rectangular_friction(aspect) / re
    turbulent = np.where(re >= 3000, smooth_friction(np.maximum(re, 3000.0)) / 4, 0.0)
    head = positive(density, "density", "997 (kg/m^3)") * non_negative(velocity, "velocity", "1 (m/s)") ** 2 / 2
    heads = np.maximum(4 * laminar * along + rectangular_entry_loss(aspect), 4 * turbulent * along)
    return np.asarray(heads * head)[()]
