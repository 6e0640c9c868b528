"""Checks of arguments, shared by the laws: what was wrong, which argument, and what a right value looks like."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermostack.errors import InputError

__all__ = ["Float", "fraction", "non_negative", "positive", "require"]

Float = NDArray[np.float64]


def require(good: NDArray[np.bool_] | np.bool_ | bool, value: Float, name: str, expected: str) -> None:
    """Raise `InputError` that shows the first entry of `value` for which `good` does not hold."""
    if good.all() if isinstance(good, np.ndarray | np.bool_) else good:
        return
    bad = np.broadcast_to(value, np.shape(good))[~np.asarray(good)].flat[0]
    raise InputError(f"{bad:.6g} cannot be used", where=name, expected=expected)


def positive(value: ArrayLike, name: str, example: str, *, infinite: bool = False) -> Float:
    """Return `value` as float64 after checking that it is finite (unless `infinite`) and greater than zero."""
    array = _as_float(value, name, example)
    kind = "a number > 0 (or inf)" if infinite else "a finite number > 0"
    good = (array > 0) if infinite else (array > 0) & (array < np.inf)
    require(good, array, name, f"{kind}, for example {example}")
    return array


def non_negative(value: ArrayLike, name: str, example: str) -> Float:
    """Return `value` as float64 after checking that it is finite and zero or more."""
    array = _as_float(value, name, example)
    require((array >= 0) & (array < np.inf), array, name, f"a finite number >= 0, for example {example}")
    return array


def fraction(value: ArrayLike, name: str, example: str) -> Float:
    """Return `value` as float64 after checking that it lies in 0 <= value < 1."""
    array = _as_float(value, name, example)
    require((array >= 0) & (array < 1), array, name, f"a fraction in 0 <= x < 1, for example {example}")
    return array


def _as_float(value: ArrayLike, name: str, example: str) -> Float:
    try:
        return np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError) as err:
        raise InputError(
            f"{value!r} is not a number", where=name, expected=f"SI numbers, for example {example}"
        ) from err
