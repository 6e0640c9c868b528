"""How thin a paste is pressed, and what its boundaries add."""

from __future__ import annotations

from numpy.typing import ArrayLike

from thermostack.errors import InputError
from thermostack.laws._checks import Float, positive, require

__all__ = [
    "PRESSURES",
    "SCATTER",
    "YIELD_STRESSES",
    "boundary_contact",
    "outside_of_range",
    "pressed_bond_line",
    "squeezed_disk",
]

PRESSURES = (70e3, 1e6)
"""Between which the law of the pressed bond line was shown to hold. [Pa]"""
YIELD_STRESSES = (30.0, 500.0)
"""Between which it was shown to hold. [Pa]"""
SCATTER = 1.2
"""Lognormal factor of one standard deviation by which measured bond lines scatter about the law: ±20 % (from memory,
which does not say of what; the wider reading is taken)."""


def pressed_bond_line(yield_stress: ArrayLike, pressure: ArrayLike) -> Float:
    r"""Bond line thickness at which a paste filled with particles stops to flow.

    .. math:: t = 1.31 \cdot 10^{-4} \, (\tau_y / p)^{0.166}

    Parameters
    ----------
    yield_stress : float or ndarray
        Yield stress of the paste τ_y. [Pa]
    pressure : float or ndarray
        Pressure on the joint p, that is force over the area of the joint. [Pa]

    Returns
    -------
    ndarray
        Bond line thickness t, broadcast shape. [m]

    Raises
    ------
    InputError
        If an argument is not finite and positive, or the pressure does not exceed the yield stress: then the paste is
        not squeezed at all.

    Notes
    -----
    Fitted to pastes of 30 to 60 % filler by volume, for `PRESSURES` and `YIELD_STRESSES`; measured values scatter by
    ±20 %. Ask `outside_of_range` whether values lie within. A doubled pressure thins by 11 %, a tenfold by 32 %. See
    [1]_ and [2]_: that the yield stress sets the bond line is confirmed; coefficient, exponent, range and scatter are
    *from memory*.

    References
    ----------
    .. [1] Prasher, Shipley, Prstic, Koning and Wang, J. Heat Transfer 125 (2003) 1170.
    .. [2] Prasher, Proc. IEEE 94 (2006) 1571.

    Examples
    --------
    >>> round(float(pressed_bond_line(150.0, 276e3)) * 1e6, 1)
    37.6
    """
    return 1.31e-4 * _stress_ratio(yield_stress, pressure) ** 0.166


def squeezed_disk(yield_stress: ArrayLike, pressure: ArrayLike, radius: ArrayLike) -> Float:
    r"""Gap at which a Bingham paste between two disks stops to flow outwards; what it adds to a large, thin joint.

    .. math:: t = \frac{2 a}{3} \frac{\tau_y}{p}

    Parameters
    ----------
    yield_stress, pressure : float or ndarray
        As in `pressed_bond_line`. [Pa]
    radius : float or ndarray
        Radius of the joint a; for another shape that of the same area. [m]

    Returns
    -------
    ndarray
        Thickness, to be added to that of `pressed_bond_line`, broadcast shape. [m]

    Raises
    ------
    InputError
        As `pressed_bond_line`, and if `radius` is not finite and positive.

    Notes
    -----
    The paste's shear stress at the disks is τ_y everywhere, so that its pressure falls outwards by 2τ_y/t for each
    metre; the mean of that pressure over the disk is p. The sum of both terms is the area-dependent form of [1]_
    (*from memory*). At 276 kPa, 150 Pa and 10 mm it is 3.6 µm of 41.2 µm, well within the scatter of the law.

    References
    ----------
    .. [1] Prasher, Proc. IEEE 94 (2006) 1571.

    Examples
    --------
    >>> round(float(squeezed_disk(150.0, 276e3, 0.01)) * 1e6, 2)
    3.62
    """
    return 2 * positive(radius, "radius", "0.01 (m)") / 3 * _stress_ratio(yield_stress, pressure)


def outside_of_range(yield_stress: float, pressure: float) -> str:
    """Return what lies outside the range of `pressed_bond_line`, with that range; empty where nothing does.

    Parameters
    ----------
    yield_stress, pressure : float
        As there. [Pa]

    Examples
    --------
    >>> outside_of_range(150.0, 50e3)
    'a pressure of 50 kPa lies outside the range of the bond-line law, 70 to 1000 kPa'
    >>> outside_of_range(150.0, 300e3)
    ''
    """
    said = []
    if not PRESSURES[0] <= pressure <= PRESSURES[1]:
        low, high = (f"{each / 1e3:g}" for each in PRESSURES)
        said.append(
            f"a pressure of {pressure / 1e3:g} kPa lies outside the range of the bond-line law, {low} to {high} kPa"
        )
    if not YIELD_STRESSES[0] <= yield_stress <= YIELD_STRESSES[1]:
        low, high = (f"{each:g}" for each in YIELD_STRESSES)
        said.append(
            f"a yield stress of {yield_stress:g} Pa lies outside the range of the bond-line law, {low} to {high} Pa"
        )
    return "; ".join(said)


def boundary_contact(
    roughness_1: ArrayLike, roughness_2: ArrayLike, conductivity: ArrayLike, wetted: ArrayLike = 1.0
) -> Float:
    r"""Contact resistance of both faces of a filled joint: the filler does not reach into their valleys.

    .. math:: R_c = \frac{\sigma_1 + \sigma_2}{2 k} \, \frac{A}{A_\mathrm{wetted}}

    Parameters
    ----------
    roughness_1, roughness_2 : float or ndarray
        Roughness of the two faces σ. [m]
    conductivity : float or ndarray
        Of the filling k. [W/(m K)]
    wetted : float or ndarray, optional
        Share of the nominal area that the filling wets, 0 < share <= 1. [1]

    Returns
    -------
    ndarray
        Contact resistance over the nominal area, broadcast shape. [m² K/W]

    Raises
    ------
    InputError
        If an argument is not finite and positive, or `wetted` exceeds 1.

    Notes
    -----
    Faces far rougher than the bond line is thin are outside of it. The paper [1]_ is confirmed, the formula *from
    memory*.

    References
    ----------
    .. [1] Prasher, J. Heat Transfer 123 (2001) 969.

    Examples
    --------
    >>> round(float(boundary_contact(1e-6, 1e-6, 3.5)) * 1e6, 2)      # mm^2 K/W
    0.29
    """
    share = positive(wetted, "wetted", "1.0")
    require(share <= 1, share, "wetted", "a share in 0 < x <= 1, for example 1.0")
    roughness = positive(roughness_1, "roughness_1", "1e-6 (m)") + positive(roughness_2, "roughness_2", "1e-6 (m)")
    return roughness / (2 * positive(conductivity, "conductivity", "3.5 (W/(m K))") * share)


def _stress_ratio(yield_stress: ArrayLike, pressure: ArrayLike) -> Float:
    tau, p = positive(yield_stress, "yield_stress", "150 (Pa)"), positive(pressure, "pressure", "276e3 (Pa)")
    ratio = tau / p
    if (ratio >= 1).any():
        low, high = (f"{each / 1e3:g}" for each in PRESSURES)
        raise InputError(
            "the pressure does not exceed the yield stress, so the paste is not squeezed",
            where="pressure",
            expected=f"more than the yield stress; the law holds for {low} to {high} kPa",
        )
    return ratio
