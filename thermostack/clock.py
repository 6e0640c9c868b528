"""What power is worth in clock, from a few measured points."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from .errors import InputError
from .units import ValueLike, parse

__all__ = ["clock_at"]

Float: TypeAlias = NDArray[np.float64]


def clock_at(points: Sequence[tuple[ValueLike, ValueLike]], power: Float) -> Float:
    """Return the clock at a power, between measured points by a monotone cubic, shape of `power`. [Hz]

    Parameters
    ----------
    points : sequence of (clock, power)
        Two or more, such as ``("4.2 GHz", "150 W")``; more power must give more clock.
    power : ndarray
        [W]

    Returns
    -------
    ndarray
        NaN beyond the points: how much further a part clocks is not known.

    Raises
    ------
    InputError
        Fewer than two points, or a clock that does not rise with the power.
    """
    known = sorted(
        (parse(watts, "power", "clock").si, parse(clock, "frequency", "clock").si) for clock, watts in points
    )
    if len(known) < 2:
        raise InputError(
            f"{len(known)} point",
            where="clock",
            expected="two or more, such as [('4.2 GHz', '150 W'), ('4.8 GHz', '230 W')]",
        )
    watts, clocks = np.array(known).T
    if np.any(np.diff(watts) <= 0) or np.any(np.diff(clocks) <= 0):
        raise InputError("the clock does not rise with the power", where="clock", expected="more power for more clock")
    return np.asarray(PchipInterpolator(watts, clocks, extrapolate=False)(power))
