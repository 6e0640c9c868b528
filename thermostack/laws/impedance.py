"""Impedance of a run of layers to heat that varies as a cosine (or Bessel) wave over its face."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from thermostack.errors import InputError
from thermostack.laws._checks import Float, non_negative, positive

__all__ = ["layered_impedance", "one_dimensional_impedance"]


def layered_impedance(
    gamma: Float, thickness: Float, k_through: Float, k_in_plane: Float, r_above: Float, base: ArrayLike
) -> Float:
    r"""Specific impedance of layers on a base, seen from the heated face, for waves of wave number γ.

    From the base to the heated face, every interface and every layer in turn:

    .. math::
        Z \leftarrow Z + r, \qquad
        Z \leftarrow \frac{Z + R}{1 + Z Y}, \quad
        R = \frac{\tanh x}{k_e \gamma}, \quad Y = k_e \gamma \tanh x, \quad
        x = \gamma t \sqrt{k_{xy} / k_z}, \quad k_e = \sqrt{k_{xy} k_z}

    (γ = 0: R = t/k_z, Y = 0.)

    Parameters
    ----------
    gamma : ndarray, shape (..., modes)
        Wave number of each mode; zero is the mean. [1/m]
    thickness, k_through, k_in_plane : ndarray, shape (..., layers)
        Thickness [m], through-thickness and in-plane conductivity [W/(m K)], from the heated face outwards.
    r_above : ndarray, shape (..., layers)
        Specific resistance between a layer and the next one outwards; the last entry lies before the base. [m² K/W]
    base : float or ndarray, shape (..., modes) or broadcasting to it
        Specific impedance of the base for each mode: 1/h of a film, 0 for an isothermal base, ``inf`` where no heat of
        the mode leaves (a far face with uniform flux, for every mode but the mean). [m² K/W]

    Returns
    -------
    ndarray, shape (..., modes)
        Amplitude of the face's temperature per amplitude of its heat flux. [m² K/W]

    Notes
    -----
    Leading axes broadcast. The arguments are trusted: the laws that call this check theirs. No range: hyperbolic
    tangents never overflow, for large γ t the impedance is 1/(k_e γ) of the layer next to the heat. The factor φ of
    the literature is k γ Z. See [1]_ for the recursion of layers, [2]_ for φ of one layer; the stretched wave number
    of an anisotropic layer follows from k_xy (T_xx + T_yy) + k_z T_zz = 0.

    References
    ----------
    .. [1] Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, section 3.7, product of matrices for
       composite slabs, with i γ in place of the square root of p/κ (section number from memory).
    .. [2] Yovanovich, Muzychka and Culham, J. Thermophys. Heat Transf. 13 (1999) 495 (from memory; verified against
       finite elements).

    Examples
    --------
    >>> one = np.ones(1)
    >>> layered_impedance(np.array([0.0]), 0.003 * one, 400 * one, 400 * one, 0 * one, 1 / 5000.0)
    array([0.0002075])
    """
    stretch, k_mean = np.sqrt(k_in_plane / k_through), np.sqrt(k_in_plane * k_through)
    impedance = np.asarray(base, dtype=np.float64)
    closed = bool(np.any(np.isinf(impedance)))
    for layer in reversed(range(np.shape(thickness)[-1])):
        x = np.maximum(gamma * (thickness * stretch)[..., layer, None], 1e-300)  # tanh x / x = 1 where γ = 0
        tanh = np.tanh(x)
        resistance = (thickness / k_through)[..., layer, None] * tanh / x
        admittance = gamma * k_mean[..., layer, None] * tanh
        impedance = impedance + r_above[..., layer, None]
        if closed:
            with np.errstate(divide="ignore", invalid="ignore"):
                passing = (impedance + resistance) / (1 + impedance * admittance)
                impedance = np.where(np.isinf(impedance), 1 / admittance, passing)
        else:
            impedance = (impedance + resistance) / (1 + impedance * admittance)
    return impedance


def one_dimensional_impedance(thickness: Float, k_through: Float, r_above: Float, base: ArrayLike) -> Float:
    r"""Specific resistance of layers on a base, heat going straight through.

    .. math:: r = \sum_l (t_l / k_l + r_l) + r_\mathrm{base}

    Parameters
    ----------
    thickness, k_through, r_above : ndarray, shape (..., layers)
        As in `layered_impedance`.
    base : float or ndarray, shape (...)
        Specific resistance of the base. [m² K/W]

    Returns
    -------
    ndarray, shape (...)
        Specific resistance. [m² K/W]

    Examples
    --------
    >>> float(one_dimensional_impedance(np.array([0.003]), np.array([400.0]), np.array([0.0]), 1 / 5000))
    0.0002075
    """
    return np.asarray(np.sum(thickness / k_through + r_above, axis=-1) + base)[()]


def checked_layers(
    thickness: ArrayLike, k_through: ArrayLike, k_in_plane: ArrayLike | None, r_above: ArrayLike | None
) -> tuple[Float, Float, Float, Float]:
    """Return the four layer arrays with a last axis of layers, checked; a missing one takes its neutral value."""
    t = np.atleast_1d(positive(thickness, "thickness", "0.003 (m)"))
    k_z = np.atleast_1d(positive(k_through, "k_through", "400 (W/(m K))"))
    k_xy = k_z if k_in_plane is None else np.atleast_1d(positive(k_in_plane, "k_in_plane", "400 (W/(m K))"))
    r = np.zeros(1) if r_above is None else np.atleast_1d(non_negative(r_above, "r_above", "5e-6 (m^2 K/W)"))
    layers = t.shape[-1]
    for name, array in (("k_through", k_z), ("k_in_plane", k_xy), ("r_above", r)):
        if array.shape[-1] not in (1, layers):
            raise InputError(
                f"last axis of length {array.shape[-1]}, thickness has {layers}",
                where=name,
                expected="one value a layer on the last axis, the layer next to the heat first",
            )
    if r.shape[-1] != layers:
        if r_above is not None:
            raise InputError("1 value for several layers", where="r_above", expected="a value after every layer")
        r = np.zeros(layers)
    return t, k_z + 0 * t, k_xy + 0 * t, r
