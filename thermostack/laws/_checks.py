"""Checks of arguments, shared by the laws: what was wrong, which argument, and what a right value looks like."""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermostack.errors import InputError, ThermostackWarning

__all__ = ["Float", "fraction", "non_negative", "positive", "require", "warn_outside", "within"]

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


def within(value: ArrayLike, name: str, low: float, high: float, what: str) -> Float:
    """Return `value` as float64 after checking that it lies in low <= value <= high, the range of the law `what`."""
    array = _as_float(value, name, f"{low:g}")
    require((array >= low) & (array <= high), array, name, f"{low:g} to {high:g}, the range of {what}")
    return array


def warn_outside(value: Float, name: str, low: float, high: float, what: str) -> None:
    """Warn where `value` lies outside low <= value <= high, where the law `what` was measured."""
    outside = (value < low) | (value > high)
    if np.any(outside):
        worst = np.broadcast_to(value, np.shape(outside))[outside].flat[0]
        text = f"{name} = {worst:.4g} lies outside {low:g} to {high:g}, where {what} was measured"
        warnings.warn(text, ThermostackWarning, stacklevel=4)
