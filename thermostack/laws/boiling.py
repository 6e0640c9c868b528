"""Pool boiling: how much a wetted face can pass, and at what rise."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from thermostack.errors import InputError
from thermostack.laws._checks import Float, positive

__all__ = ["rohsenow_boiling_flux", "zuber_critical_flux"]

GRAVITY = 9.80665


def zuber_critical_flux(
    latent_heat: ArrayLike,
    surface_tension: ArrayLike,
    liquid_density: ArrayLike,
    vapour_density: ArrayLike,
    coefficient: ArrayLike = 0.149,
) -> Float:
    r"""Largest flux of pool boiling; beyond it vapour covers the face and the temperature jumps.

    .. math:: q = C h_{lv} \sqrt{\rho_v}\, [ \sigma g (\rho_l - \rho_v) ]^{1/4}

    Parameters
    ----------
    latent_heat : float or ndarray
        h_lv. [J/kg]
    surface_tension : float or ndarray
        σ. [N/m]
    liquid_density, vapour_density : float or ndarray
        At saturation. [kg/m³]
    coefficient : float or ndarray, optional
        C: 0.149 for a large flat plate, 0.131 in Zuber's own theory. [1]

    Returns
    -------
    ndarray
        [W/m²]

    Raises
    ------
    InputError
        If an argument is not finite and positive, or the vapour is denser than the liquid.

    Notes
    -----
    Clean, large, level face; within about 16 %. See [1]_.

    References
    ----------
    .. [1] Zuber 1958; coefficient of Lienhard and Dhir 1973 (from memory).

    Examples
    --------
    >>> round(float(zuber_critical_flux(199180.0, 8.87e-3, 806.1, 4.61)) / 1e4, 1)      # nitrogen, W/cm²
    18.4
    """
    h, sigma, liquid, vapour = _fluid(latent_heat, surface_tension, liquid_density, vapour_density)
    c = positive(coefficient, "coefficient", "0.149")
    return np.asarray(c * h * np.sqrt(vapour) * (sigma * GRAVITY * (liquid - vapour)) ** 0.25)[()]


def rohsenow_boiling_flux(
    rise: ArrayLike,
    latent_heat: ArrayLike,
    surface_tension: ArrayLike,
    liquid_density: ArrayLike,
    vapour_density: ArrayLike,
    viscosity: ArrayLike,
    heat_capacity: ArrayLike,
    conductivity: ArrayLike,
    surface: ArrayLike = 0.013,
    exponent: ArrayLike = 1.7,
) -> Float:
    r"""Flux of nucleate pool boiling at a rise of the face above saturation.

    .. math:: q = \mu h_{lv} \sqrt{\frac{g (\rho_l - \rho_v)}{\sigma}}
              \left( \frac{c_p \Delta T}{C_{sf} h_{lv} \mathrm{Pr}^n} \right)^3

    Parameters
    ----------
    rise : float or ndarray
        ΔT above the boiling point. [K]
    latent_heat, surface_tension, liquid_density, vapour_density : float or ndarray
        As in `zuber_critical_flux`.
    viscosity, heat_capacity, conductivity : float or ndarray
        Of the liquid: μ [Pa s], c_p [J/(kg K)], k [W/(m K)].
    surface : float or ndarray, optional
        C_sf of liquid and face; 0.013 where nothing is known. [1]
    exponent : float or ndarray, optional
        n: 1.0 for water, 1.7 for others. [1]

    Returns
    -------
    ndarray
        [W/m²]

    Raises
    ------
    InputError
        If an argument is not finite and positive, or the vapour is denser than the liquid.

    Notes
    -----
    Rough: the flux may be off by a factor of two, the rise by a quarter. Only below the critical flux. See [1]_.

    References
    ----------
    .. [1] Rohsenow, Trans. ASME 74 (1952) 969.

    Examples
    --------
    >>> q = rohsenow_boiling_flux(8.0, 199180.0, 8.87e-3, 806.1, 4.61, 1.61e-4, 2041.0, 0.145)
    >>> round(float(q) / 1e4, 1)
    11.7
    """
    h, sigma, liquid, vapour = _fluid(latent_heat, surface_tension, liquid_density, vapour_density)
    mu, cp = positive(viscosity, "viscosity", "1.6e-4 (Pa s)"), positive(heat_capacity, "heat_capacity", "2040")
    prandtl = mu * cp / positive(conductivity, "conductivity", "0.145 (W/(m K))")
    n, c = positive(exponent, "exponent", "1.7"), positive(surface, "surface", "0.013")
    term = cp * positive(rise, "rise", "8 (K)") / (c * h * prandtl**n)
    return np.asarray(mu * h * np.sqrt(GRAVITY * (liquid - vapour) / sigma) * term**3)[()]


def _fluid(
    latent_heat: ArrayLike, surface_tension: ArrayLike, liquid: ArrayLike, vapour: ArrayLike
) -> tuple[Float, Float, Float, Float]:
    heavy, light = (
        positive(liquid, "liquid_density", "806 (kg/m^3)"),
        positive(vapour, "vapour_density", "4.6 (kg/m^3)"),
    )
    if np.any(light >= heavy):
        raise InputError(
            "the vapour is as dense as the liquid", where="vapour_density", expected="less than the liquid"
        )
    tension = positive(surface_tension, "surface_tension", "8.9e-3 (N/m)")
    return positive(latent_heat, "latent_heat", "2e5 (J/kg)"), tension, heavy, light
