"""Jets that strike a flat face."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from thermostack.laws._checks import Float, positive, require, warn_outside

__all__ = ["martin_jet_array_nusselt", "martin_jet_nusselt"]


def martin_jet_nusselt(reynolds: ArrayLike, prandtl: ArrayLike, stand_off: ArrayLike, radius: ArrayLike) -> Float:
    r"""Mean Nusselt number under one round free jet.

    .. math::
        \mathrm{Nu} = G F \mathrm{Pr}^{0.42}, \quad
        F = 2 \mathrm{Re}^{1/2} (1 + 0.005 \mathrm{Re}^{0.55})^{1/2}, \quad
        G = \frac{D}{r} \frac{1 - 1.1 D/r}{1 + 0.1 (H/D - 6) D/r}

    Parameters
    ----------
    reynolds : float or ndarray
        On the nozzle's diameter D and its mean velocity; 2000 to 4·10⁵. [1]
    prandtl : float or ndarray
        [1]
    stand_off : float or ndarray
        Nozzle to face over diameter, H/D; 2 to 12. [1]
    radius : float or ndarray
        Radius over which the mean is taken, over diameter, r/D; 2.5 to 7.5. [1]

    Returns
    -------
    ndarray
        Nu on the nozzle's diameter. [1]

    Raises
    ------
    InputError
        If an argument is not positive, or r/D so small that the equation loses its meaning (1.1 or less).

    Warns
    -----
    ThermostackWarning
        Outside the range of the measurements.

    Notes
    -----
    Within about 15 % of the measurements (from memory). See [1]_.

    References
    ----------
    .. [1] Martin, Advances in Heat Transfer 13 (1977) 1.

    Examples
    --------
    >>> round(float(martin_jet_nusselt(1e4, 5.86, 4.0, 4.0)), 1)
    107.4
    """
    re, pr = positive(reynolds, "reynolds", "1e4"), positive(prandtl, "prandtl", "5.9")
    height, r = positive(stand_off, "stand_off", "4"), positive(radius, "radius", "4")
    require(r > 1.1, r, "radius", "more than 1.1 diameters (measured: 2.5 to 7.5)")
    law = "Martin's single jet"
    warn_outside(re, "reynolds", 2e3, 4e5, law)
    warn_outside(height, "stand-off over diameter", 2.0, 12.0, law)
    warn_outside(r, "radius over diameter", 2.5, 7.5, law)
    F = 2 * np.sqrt(re * (1 + 0.005 * re**0.55))
    G = (1 - 1.1 / r) / r / (1 + 0.1 * (height - 6) / r)
    return np.asarray(G * F * pr**0.42)[()]


def martin_jet_array_nusselt(
    reynolds: ArrayLike, prandtl: ArrayLike, stand_off: ArrayLike, open_area: ArrayLike
) -> Float:
    r"""Mean Nusselt number under an array of round jets.

    .. math::
        \mathrm{Nu} = \tfrac{1}{2} K G\, \mathrm{Re}^{2/3} \mathrm{Pr}^{0.42}, \quad
        K = \left[ 1 + \left( \frac{H/D}{0.6 / \sqrt{f}} \right)^6 \right]^{-0.05}, \quad
        G = 2 \sqrt{f} \frac{1 - 2.2 \sqrt{f}}{1 + 0.2 (H/D - 6) \sqrt{f}}

    Parameters
    ----------
    reynolds : float or ndarray
        On the nozzle's diameter D and its mean velocity; 2000 to 10⁵. [1]
    prandtl : float or ndarray
        [1]
    stand_off : float or ndarray
        Nozzle to face over diameter, H/D; 2 to 12. [1]
    open_area : float or ndarray
        Share of the face that the nozzles' openings would cover, f; 0.004 to 0.04. [1]

    Returns
    -------
    ndarray
        Nu on the nozzle's diameter. [1]

    Raises
    ------
    InputError
        If an argument is not positive, or f so large that the equation loses its meaning (0.2 or more).

    Warns
    -----
    ThermostackWarning
        Outside the range of the measurements.

    Notes
    -----
    Spent fluid leaves freely between the jets. Within about 15 % of the measurements (from memory). See [1]_.

    References
    ----------
    .. [1] Martin, Advances in Heat Transfer 13 (1977) 1.

    Examples
    --------
    >>> round(float(martin_jet_array_nusselt(1e4, 5.86, 4.0, 0.02)), 1)
    98.1
    """
    re, pr = positive(reynolds, "reynolds", "1e4"), positive(prandtl, "prandtl", "5.9")
    height, f = positive(stand_off, "stand_off", "4"), positive(open_area, "open_area", "0.02")
    require(f < 0.2, f, "open_area", "a share below 0.2 (measured: 0.004 to 0.04)")
    law = "Martin's jet array"
    warn_outside(re, "reynolds", 2e3, 1e5, law)
    warn_outside(height, "stand-off over diameter", 2.0, 12.0, law)
    warn_outside(f, "open area", 0.004, 0.04, law)
    root = np.sqrt(f)
    K = (1 + (height * root / 0.6) ** 6) ** -0.05
    G = 2 * root * (1 - 2.2 * root) / (1 + 0.2 * (height - 6) * root)
    return np.asarray(K * G * np.cbrt(re) ** 2 / 2 * pr**0.42)[()]
