"""How far a value on the finest grid still is from the one on an infinitely fine grid."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermostack.errors import InputError, SolveError

__all__ = ["Extrapolation", "GridConvergence", "grid_convergence", "observed_order", "richardson"]

Float = NDArray[np.float64]

_HALVED = 2.0
_SECOND_ORDER = 2.0


@dataclass(frozen=True)
class GridConvergence:
    """Outcome of a three-grid study by the procedure of Celik et al. (2008).

    Attributes
    ----------
    order : float
        Apparent order of accuracy p.
    extrapolated : float
        Value extrapolated from the two finest grids, in the unit of the values.
    relative_change, extrapolated_change : float
        |(f1 − f2)/f1| and |(f_ext − f1)/f_ext|.
    index : float
        Grid-convergence index of the finest grid, relative to f1.
    oscillating : bool
        Whether the two differences have opposite signs.
    """

    order: float
    extrapolated: float
    relative_change: float
    extrapolated_change: float
    index: float
    oscillating: bool


def observed_order(ratio_21: float, ratio_32: float, change_21: float, change_32: float) -> float:
    r"""Apparent order of accuracy from three grids.

    .. math:: p = \frac{1}{\ln r_{21}} \left|\ln\left|\frac{\epsilon_{32}}{\epsilon_{21}}\right|
              + \ln\frac{r_{21}^p - s}{r_{32}^p - s}\right|, \qquad s = \mathrm{sgn}(\epsilon_{32}/\epsilon_{21})

    Parameters
    ----------
    ratio_21, ratio_32 : float
        Cell size of the middle over the fine grid, and of the coarse over the middle grid; above 1.
    change_21, change_32 : float
        f2 − f1 and f3 − f2.

    Returns
    -------
    float
        p, above zero.

    Raises
    ------
    InputError
        If a ratio is not above 1.
    SolveError
        If the changes do not shrink as the grid gets finer (the modulus in the equation would hide that), or the
        iteration finds no p.

    References
    ----------
    Celik, Ghia, Roache, Freitas, Coleman and Raad, J. Fluids Eng. 130 (2008) 078001, equations 3.
    """
    if not (ratio_21 > 1.0 and ratio_32 > 1.0):
        raise InputError(f"grid ratios {ratio_21:g} and {ratio_32:g}", expected="ratios above 1, fine grid first")
    if change_21 == 0.0 or change_32 == 0.0:
        raise SolveError("two grids gave the same value, so no order can be observed")
    sign = math.copysign(1.0, change_32 / change_21)
    logarithm = math.log(abs(change_32 / change_21))
    order = abs(logarithm) / math.log(ratio_21)
    for _ in range(500):
        unequal = math.log((ratio_21**order - sign) / (ratio_32**order - sign))
        signed = (logarithm + unequal) / math.log(ratio_21)
        if abs(abs(signed) - order) <= 1e-14 * (1.0 + order):
            break
        order = abs(signed)
    else:
        raise SolveError(f"no order of accuracy fits the changes {change_32:g} and {change_21:g}")
    if signed <= 0.0:
        raise SolveError(f"the values do not converge: changes {change_32:g} then {change_21:g} on finer grids")
    return order


def grid_convergence(cell_sizes: Sequence[float], values: Sequence[float], *, safety: float = 1.25) -> GridConvergence:
    r"""Grid-convergence index from three grids, the finest first.

    .. math:: f_{ext} = \frac{r_{21}^p f_1 - f_2}{r_{21}^p - 1}, \qquad
              GCI = F_s \frac{|(f_1 - f_2)/f_1|}{r_{21}^p - 1}

    Parameters
    ----------
    cell_sizes : sequence of three floats
        Representative cell sizes, the finest first; only their ratios count. In two dimensions (A/N)^(1/2).
    values : sequence of three floats
        The same quantity on the three grids, the finest first.
    safety : float
        Factor of safety F_s: 1.25 for three grids.

    Returns
    -------
    GridConvergence
        Order, extrapolated value and index.

    Raises
    ------
    InputError, SolveError
        As `observed_order`; also if there are not three of each.

    References
    ----------
    Celik et al., J. Fluids Eng. 130 (2008) 078001, equations 3 to 7.
    """
    if len(cell_sizes) != 3 or len(values) != 3:
        raise InputError(f"{len(cell_sizes)} cell sizes and {len(values)} values", expected="three of each")
    h1, h2, h3 = cell_sizes
    f1, f2, f3 = values
    r21 = h2 / h1
    order = observed_order(r21, h3 / h2, f2 - f1, f3 - f2)
    gain = r21**order - 1.0
    extrapolated = f1 + (f1 - f2) / gain
    relative = abs((f1 - f2) / f1)
    return GridConvergence(
        order=order,
        extrapolated=extrapolated,
        relative_change=relative,
        extrapolated_change=abs((extrapolated - f1) / extrapolated),
        index=safety * relative / gain,
        oscillating=(f2 - f1) * (f3 - f2) < 0.0,
    )


@dataclass(frozen=True, eq=False)
class Extrapolation:
    """Values extrapolated to an infinitely fine grid.

    Attributes
    ----------
    value, error : ndarray, shape of one value
        Extrapolated value and an estimate of its error, zero or more.
    grids : ndarray, shape (grids, *shape of one value)
        What each grid gave, the coarsest first.
    """

    value: Float
    error: Float
    grids: Float


def richardson(values: Sequence[Float] | Float) -> Extrapolation:
    r"""Extrapolate values on grids that were halved each time, from a method of second order.

    .. math:: f = f_1 + (f_1 - f_2)/3

    With two grids the error is the whole correction :math:`|f_1 - f_2|/3`. With three or more it is the change from
    the extrapolation of the coarser pair to that of the finer: cautious, as what is left falls again at each halving
    (15-fold on smooth fields, 1.5-fold or more at the worst corners).

    Parameters
    ----------
    values : sequence of ndarray
        The coarsest grid first; at least two.

    Returns
    -------
    Extrapolation
        Elementwise value and error.

    Raises
    ------
    InputError
        If there are fewer than two grids.

    References
    ----------
    Richardson, Phil. Trans. R. Soc. A 210 (1911) 307.
    """
    grids = np.asarray(values, dtype=np.float64)
    if len(grids) < 2:
        raise InputError(f"{len(grids)} grid", expected="at least two grids to extrapolate from")
    corrections = (grids[1:] - grids[:-1]) / (_HALVED**_SECOND_ORDER - 1.0)
    pairs = grids[1:] + corrections
    error = np.abs(corrections[-1]) if len(pairs) == 1 else np.abs(pairs[-1] - pairs[-2])
    return Extrapolation(pairs[-1], error, grids)
