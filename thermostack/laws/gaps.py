"""Joints between faces that are not parallel or not flat: how much filling they take, and what it resists.

A bow is the difference of the gap between the corners of a face and its middle, and positive where the faces touch in
the middle: bows of the two faces add. Of the two averages, the mean gap over k is the resistance where the heat flux is
even over the joint, and the mean conductance that where both faces are each of one temperature. Under an evenly
heated die the first is near. By the layered solver, with the joint in 36 pieces, bows of 30, -30, 60 and -60 µm under a
12 mm die of silicon on a copper plate raise its mean by 3.1, 5.9, 6.1 and 11.7 K: the mean gap gives 2 % less to 4 %
more than that, the mean conductance 2 to 19 % less.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from thermostack.errors import InputError
from thermostack.laws._checks import Float, non_negative, positive, require

__all__ = [
    "bow_within",
    "bowed_extra_bond_line",
    "cylindrical_gap_resistance",
    "spherical_gap_resistance",
    "wedge_resistance",
]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(64)


def bow_within(bow: ArrayLike, size: ArrayLike, part: ArrayLike) -> Float:
    r"""Bow over a smaller rectangle in the middle of a face, of one that was read over the whole face.

    .. math:: b' = b \, \frac{d_x^2 + d_y^2}{L_x^2 + L_y^2}

    Parameters
    ----------
    bow : float or ndarray
        Corner to middle, over the whole face, b; of either sign. [m]
    size : array_like, shape (..., 2)
        Sides of the face L. [m]
    part : array_like, shape (..., 2)
        Sides of the smaller rectangle d. [m]

    Returns
    -------
    ndarray
        Bow over the part, broadcast shape. [m]

    Raises
    ------
    InputError
        If `bow` is not finite, or a side is not finite and positive.

    Notes
    -----
    Of a spherical bow, whose height goes with the square of the distance from the middle (geometry).

    Examples
    --------
    >>> round(float(bow_within(40e-6, [36e-3, 36e-3], [12e-3, 12e-3])) * 1e6, 2)
    4.44
    """
    size, part = positive(size, "size", "[0.036, 0.036] (m)"), positive(part, "part", "[0.012, 0.012] (m)")
    return np.asarray(_finite(bow) * (part**2).sum(axis=-1) / (size**2).sum(axis=-1))


def bowed_extra_bond_line(
    bow: ArrayLike, size: ArrayLike, part: ArrayLike | None = None, centre: ArrayLike = (0.0, 0.0)
) -> Float:
    r"""Mean extra gap over a rectangle of a joint one of whose faces bows, above the gap where the faces are closest.

    .. math::

        e &= b \, s & b &\ge 0 \text{ (they touch in the middle)} \\
        e &= |b| \, (1 - s) & b &< 0 \text{ (they touch at the corners)} \\
        s &= \frac{(d_x^2 + d_y^2)/12 + x^2 + y^2}{(L_x^2 + L_y^2)/4}

    Parameters
    ----------
    bow : float or ndarray
        Gap at the corners of the joint minus gap in its middle, b. [m]
    size : array_like, shape (..., 2)
        Sides of the joint L. [m]
    part : array_like, shape (..., 2), optional
        Sides of the rectangle over which the mean is taken d, such as a die's; the whole joint if not given. [m]
    centre : array_like, shape (..., 2), optional
        Its centre from that of the joint x, y. [m]

    Returns
    -------
    ndarray
        Mean of gap minus least gap, broadcast shape. [m]

    Raises
    ------
    InputError
        If `bow` or `centre` is not finite, a side not finite and positive, or the part reaches over the joint.

    Notes
    -----
    A spherical bow (the square of the distance from the middle), exact. Over the whole joint it is b/3 or 2|b|/3. The
    trade's half of the bow is that over a round joint, whose bow is read at its rim.

    Examples
    --------
    >>> [round(float(bowed_extra_bond_line(b, [0.03, 0.03])) * 1e6, 2) for b in (30e-6, -30e-6)]
    [10.0, 20.0]
    >>> round(float(bowed_extra_bond_line(-30e-6, [0.03, 0.03], [0.01, 0.01])) * 1e6, 2)
    28.89
    """
    size = positive(size, "size", "[0.036, 0.036] (m)")
    part = size if part is None else positive(part, "part", "[0.012, 0.012] (m)")
    place = np.asarray(centre, dtype=np.float64)
    require(np.isfinite(place), place, "centre", "finite numbers, for example [0.0, 0.002] (m)")
    if (np.abs(place) + part / 2 > size / 2 * (1 + 1e-9)).any():
        raise InputError("the part reaches over the joint", where="part", expected="a rectangle within the joint")
    share = ((part**2 / 12 + place**2).sum(axis=-1)) / (size**2 / 4).sum(axis=-1)
    bow = _finite(bow)
    return np.asarray(np.where(bow >= 0, bow * share, -bow * (1 - share)))


def wedge_resistance(least: ArrayLike, most: ArrayLike, conductivity: ArrayLike, contact: ArrayLike = 0.0) -> Float:
    r"""Specific resistance of a wedge-shaped joint between two faces that are each of one temperature.

    .. math:: r = \frac{t_2 - t_1}{k \, \ln(t_2' / t_1')}, \quad t' = t + k R_c

    Parameters
    ----------
    least, most : float or ndarray
        Gap at the two ends t₁ <= t₂. [m]
    conductivity : float or ndarray
        Of the filling k. [W/(m K)]
    contact : float or ndarray, optional
        Contact resistance of both faces together, R_c. [m² K/W]

    Returns
    -------
    ndarray
        One over the mean conductance over the joint, broadcast shape. [m² K/W]

    Raises
    ------
    InputError
        If `conductivity` is not positive, a gap or `contact` is negative, `most` is less than `least`, or gap and
        contact are both zero at the thin end.

    Notes
    -----
    The mean of 1/(R_c + t/k) over the joint, t linear along it; the same for a spherical bow over a round joint, where
    the gap is linear in the area. The lower bound of what a heated die sees: an even flux sees the mean gap,
    R_c + (t₁ + t₂)/(2k). For slopes of a few per cent at most, as joints have.

    Examples
    --------
    >>> round(float(wedge_resistance(10e-6, 90e-6, 3.5)) * 1e6, 2)      # mm^2 K/W; the mean gap gives 14.29
    10.4
    """
    thin, k = _thin_end(least, conductivity, contact)
    least, most = np.asarray(least, dtype=np.float64), non_negative(most, "most", "60e-6 (m)")
    require(most >= least, most, "most", "at least the least gap")
    x = (most - least) / thin
    return thin / k / _ratio(np.log1p(x), x)


def cylindrical_gap_resistance(
    least: ArrayLike, bow: ArrayLike, conductivity: ArrayLike, contact: ArrayLike = 0.0
) -> Float:
    r"""Specific resistance of a joint bowed about one axis, between two faces that are each of one temperature.

    .. math::

        r &= \frac{t'}{k} \frac{\sqrt{u}}{\arctan\sqrt{u}}, & u &= b / t' & b &\ge 0 \\
        r &= \frac{t' + |b|}{k} \frac{\sqrt{u}}{\mathrm{artanh}\sqrt{u}}, & u &= |b| / (t' + |b|) & b &< 0 \\
        t' &= t + k R_c

    Parameters
    ----------
    least : float or ndarray
        Gap where the faces are closest t. [m]
    bow : float or ndarray
        Gap at the two edges minus that along the middle line, b. [m]
    conductivity, contact : float or ndarray
        As in `wedge_resistance`.

    Returns
    -------
    ndarray
        One over the mean conductance over the joint, broadcast shape. [m² K/W]

    Raises
    ------
    InputError
        As in `wedge_resistance`, and if `bow` is not finite.

    Notes
    -----
    The mean of 1/(R_c + gap/k), the gap a parabola across the joint. An even flux sees the mean gap, t + b/3 or
    t + 2|b|/3.

    Examples
    --------
    >>> [round(float(cylindrical_gap_resistance(20e-6, b, 3.5)) * 1e6, 2) for b in (30e-6, -30e-6)]
    [7.9, 10.73]
    """
    thin, k = _thin_end(least, conductivity, contact)
    bow = _finite(bow)
    deep = np.abs(bow)
    convex, concave = np.sqrt(deep / thin), np.sqrt(deep / (thin + deep))
    return np.where(
        bow >= 0,
        thin / k / _ratio(np.arctan(convex), convex),
        (thin + deep) / k / _ratio(np.arctanh(concave), concave),
    )


def spherical_gap_resistance(
    least: ArrayLike, bow: ArrayLike, size: ArrayLike, conductivity: ArrayLike, contact: ArrayLike = 0.0
) -> Float:
    r"""Specific resistance of a rectangular joint with a spherical bow, between faces that are each of one temperature.

    .. math:: \frac1r = \frac{1}{A} \int \frac{k \, dA}{k R_c + t + e(x, y)}

    Parameters
    ----------
    least : float or ndarray
        Gap where the faces are closest t. [m]
    bow : float or ndarray
        Gap at the corners minus gap in the middle: e = b ρ²/ρ_c² for b >= 0, else |b| (1 - ρ²/ρ_c²). [m]
    size : array_like, shape (..., 2)
        Sides of the joint. [m]
    conductivity, contact : float or ndarray
        As in `wedge_resistance`.

    Returns
    -------
    ndarray
        One over the mean conductance over the joint, broadcast shape. [m² K/W]

    Raises
    ------
    InputError
        As in `wedge_resistance`, and if `bow` is not finite or a side not finite and positive.

    Notes
    -----
    Along x the integral is that of `cylindrical_gap_resistance`; along y it is done with 64 Gaussian nodes, to 1e-9 for
    |b| up to a hundred times t + k R_c. An even flux sees the mean gap of `bowed_extra_bond_line`.

    Examples
    --------
    >>> [round(float(spherical_gap_resistance(20e-6, b, [0.02, 0.02], 3.5)) * 1e6, 2) for b in (30e-6, -30e-6)]
    [8.21, 11.11]
    """
    thin, k = _thin_end(least, conductivity, contact)
    bow, size = _finite(bow), positive(size, "size", "[0.012, 0.018] (m)")
    share = size**2 / (size**2).sum(axis=-1, keepdims=True)
    # along y, at the nodes; the gap at x = 0 of each line, and how much it changes to the line's end
    along = (0.5 * (_NODES + 1)) ** 2 * share[..., 1:]
    thin, k, bow = (np.expand_dims(each, -1) for each in np.broadcast_arrays(thin, k, bow))
    deep = np.abs(bow)
    middle = np.where(bow >= 0, thin + deep * along, thin + deep * (1 - along))
    change = np.sqrt(deep * share[..., :1] / middle)
    with np.errstate(invalid="ignore"):  # the other branch is taken there
        mean = np.where(bow >= 0, _ratio(np.arctan(change), change), _ratio(np.arctanh(change), change)) / middle
    return np.asarray(1 / (k[..., 0] * (mean * 0.5 * _WEIGHTS).sum(axis=-1)))


def _finite(bow: ArrayLike) -> Float:
    value = np.asarray(bow, dtype=np.float64)
    require(np.isfinite(value), value, "bow", "a finite number of either sign, for example 30e-6 (m)")
    return value


def _thin_end(least: ArrayLike, conductivity: ArrayLike, contact: ArrayLike) -> tuple[Float, Float]:
    """Return the gap at the closest spot with the contact resistance as further filling, and the conductivity."""
    k = positive(conductivity, "conductivity", "3.5 (W/(m K))")
    thin = non_negative(least, "least", "20e-6 (m)") + k * non_negative(contact, "contact", "0.3e-6 (m^2 K/W)")
    require(thin > 0, thin, "least", "a gap or a contact resistance above zero where the faces are closest")
    return thin, k


def _ratio(function: Float, x: Float) -> Float:
    """Return f(x)/x for a function that goes as x near zero."""
    return np.divide(function, x, out=np.ones_like(x), where=x > 0)
