"""What time and cycles do to a joint, as bounds: laboratories report it without a law that holds for all.

Everything here is *from memory* and weak, and says how far a joint may go, not how far it will.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from thermostack.errors import InputError
from thermostack.laws._checks import Float, non_negative, positive

__all__ = [
    "Bounds",
    "dried_share",
    "gallium_copper_layer",
    "gallium_copper_resistance",
    "pump_out_bounds",
    "pump_out_factor",
]

LOSS = (0.2, 1.0)
"""Share by which pump-out raises the resistance of a paste in the end, least and most."""
CYCLES: dict[str, tuple[float, float]] = {"bare die": (50.0, 500.0), "lid": (5 * 50.0, 10 * 500.0)}
"""Cycles of 40 to 60 K in which most of it is reached, fewest and most; on a lid five to ten times as many."""
FOUR_WEEKS = 28 * 86400.0
LAYER = (1e-6, 10e-6)
"""Intermetallic layer on bare copper after weeks at 60 to 90 °C, here four; least and most. [m]"""
NICKEL = 10.0
"""By how much nickel slows its growth, at least."""
LAYER_RISE = 0.5e-6
"""Resistance that such a layer adds at most, at its thickest. [m² K/W]"""


class Bounds(NamedTuple):
    """Between what a value is expected, and no more than that."""

    low: Float
    high: Float


def pump_out_factor(cycles: ArrayLike, loss: ArrayLike, cycle_constant: ArrayLike) -> Float:
    r"""Resistance of a pumped-out paste over that when fresh.

    .. math:: R / R_0 = 1 + a (1 - e^{-N / N_0})

    Parameters
    ----------
    cycles : float or ndarray
        Power cycles N. [1]
    loss : float or ndarray
        Share by which the resistance rises in the end, a. [1]
    cycle_constant : float or ndarray
        Cycles in which 63 % of it is reached, N₀. [1]

    Returns
    -------
    ndarray
        Factor, broadcast shape. [1]

    Raises
    ------
    InputError
        If `cycles` or `loss` is negative, or `cycle_constant` not positive, or one is not finite.

    Notes
    -----
    A form that fits what power-module tests between -40 and 125 °C show, *from memory*; no universal law is known. On
    a bare die under cycles of 40 to 60 K, a = `LOSS` and N₀ = `CYCLES`.

    Examples
    --------
    >>> round(float(pump_out_factor(200, 0.6, 200)), 3)
    1.379
    """
    n0 = positive(cycle_constant, "cycle_constant", "200")
    return 1 - non_negative(loss, "loss", "0.6") * np.expm1(-non_negative(cycles, "cycles", "200") / n0)


def pump_out_bounds(cycles: ArrayLike, place: Literal["bare die", "lid"]) -> Bounds:
    """Least and greatest factor of the resistance of a paste after power cycles of 40 to 60 K.

    Parameters
    ----------
    cycles : float or ndarray
        Power cycles. [1]
    place : {"bare die", "lid"}
        Between die and cold plate, or between lid and cold plate, where it takes five to ten times as many cycles.

    Returns
    -------
    Bounds
        Factors, same shape. [1]

    Raises
    ------
    InputError
        If `cycles` is negative or not finite, or the place is not known.

    Notes
    -----
    `pump_out_factor` with the least loss over the most cycles, and the greatest over the fewest (*from memory*).

    Examples
    --------
    >>> [round(float(b), 2) for b in pump_out_bounds(100, "bare die")]
    [1.04, 1.86]
    """
    if place not in CYCLES:
        raise InputError(f"{place!r} is no place", where="place", expected=" or ".join(map(repr, CYCLES)))
    fewest, most = CYCLES[place]
    return Bounds(pump_out_factor(cycles, LOSS[0], most), pump_out_factor(cycles, LOSS[1], fewest))


def gallium_copper_layer(time: ArrayLike, bond_line: ArrayLike, *, nickel: bool = False) -> Bounds:
    """Least and greatest thickness of the CuGa₂ that gallium forms on copper at 60 to 90 °C.

    Parameters
    ----------
    time : float or ndarray
        Since the joint was made. [s]
    bond_line : float or ndarray
        Of gallium alloy: the layer consumes about as much gallium as it is thick, and cannot outgrow it. [m]
    nickel : bool, optional
        Whether the copper is nickel-plated, which slows the growth ten times or more.

    Returns
    -------
    Bounds
        Thickness, broadcast shape. [m]

    Raises
    ------
    InputError
        If `time` is negative, `bond_line` not positive, or one is not finite.

    Notes
    -----
    A layer of 1 to 10 µm in weeks, taken as four (*assumed*). How it grows is not known: before and after, the bounds
    enclose growth with the time (held by the reaction) and with its root (held by diffusion). The phase, and that
    nickel is a barrier, are confirmed [1]_; the rates are *from memory*, weak.

    References
    ----------
    .. [1] Materials 11 (2018) 1384 (review).

    Examples
    --------
    >>> [round(float(b) * 1e6, 2) for b in gallium_copper_layer(4 * 28 * 86400, 30e-6)]
    [2.0, 30.0]
    """
    t = non_negative(time, "time", "2.4e6 (s)") / FOUR_WEEKS
    gallium = positive(bond_line, "bond_line", "30e-6 (m)")
    low, high = LAYER[0] * np.minimum(t, np.sqrt(t)), LAYER[1] * np.maximum(t, np.sqrt(t))
    if nickel:
        low, high = np.zeros_like(low), high / NICKEL
    return Bounds(np.minimum(low, gallium), np.minimum(high, gallium))


def gallium_copper_resistance(layer: ArrayLike) -> Bounds:
    """Least and greatest specific resistance that an intermetallic layer adds to a joint.

    Parameters
    ----------
    layer : float or ndarray
        Thickness, such as `gallium_copper_layer` gives. [m]

    Returns
    -------
    Bounds
        Same shape. [m² K/W]

    Raises
    ------
    InputError
        If `layer` is negative or not finite.

    Notes
    -----
    Nothing (it takes the place of alloy that conducts no better) to 0.5 mm² K/W for 10 µm (*from memory*), in
    proportion to the thickness (*assumed*).

    Examples
    --------
    >>> [round(float(b) * 1e6, 2) for b in gallium_copper_resistance(4e-6)]
    [0.0, 0.2]
    """
    thickness = non_negative(layer, "layer", "5e-6 (m)")
    return Bounds(np.zeros_like(thickness), LAYER_RISE * thickness / LAYER[1])


def dried_share(layer: ArrayLike, bond_line: ArrayLike) -> Bounds:
    """Least and greatest share of a joint that lacks liquid after the layer has consumed its gallium.

    Parameters
    ----------
    layer : float or ndarray
        Thickness, such as `gallium_copper_layer` gives. [m]
    bond_line : float or ndarray
        Of gallium alloy, as made. [m]

    Returns
    -------
    Bounds
        As a void fraction, for `bond_line_resistance`, broadcast shape. [1]

    Raises
    ------
    InputError
        If `layer` is negative, exceeds `bond_line`, or an argument is not finite.

    Notes
    -----
    None, where the faces follow what is left, to the consumed share, where the gap stays as wide as it was (*from
    memory* that gaps open; the bound is a balance of volumes).

    Examples
    --------
    >>> [round(float(b), 2) for b in dried_share(6e-6, 30e-6)]
    [0.0, 0.2]
    """
    share = non_negative(layer, "layer", "5e-6 (m)") / positive(bond_line, "bond_line", "30e-6 (m)")
    if (share > 1).any():
        raise InputError("the layer is thicker than the bond line", where="layer", expected="at most the bond line")
    return Bounds(np.zeros_like(share), share)
