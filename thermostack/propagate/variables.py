"""From the inputs of a description to the variables that are sampled."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError, UnknownNameError, suggest
from ..units import DIMENSIONS, Value
from .distributions import Distribution, Exact, Lognormal, Normal, Rectangular, TruncatedNormal

__all__ = ["LARGEST_TRUNCATED", "Variable", "correlation_matrix", "distribution_of", "physical_bounds", "variables_of"]

LARGEST_TRUNCATED = 0.01
"""Largest share of a normal value that a physical bound may cut off.

At one per cent the bound lies 2.33 standard uncertainties away, and truncation moves the mean by 2.7 % of the standard
uncertainty and narrows it by 3 %. Beyond, what was written as mean and sd is no longer what is used, and a lognormal
value says better what is meant.
"""

_UNBOUNDED = {"centre_x", "centre_y", "point_x", "point_y", "offset", "slope", "bow"}
"""Fields that may be of either sign although their dimension usually is not: positions, bows, errors of a sensor."""


class _Input(Protocol):
    @property
    def path(self) -> str: ...
    @property
    def value(self) -> Value: ...


I_ = TypeVar("I_", bound=_Input)


@dataclass(frozen=True)
class Variable:
    """An uncertain input, ready to be sampled.

    Parameters
    ----------
    path : str
        Under which the model finds its samples.
    distribution : Distribution
        In SI.
    identity : str
        What is drawn: variables of one identity, in one variant or in several, get the same random numbers; by
        default the path. A joint that is made anew has its mount token in it, such as ``"paste.mount@2"``.
    dimension : str
        Key of `units.DIMENSIONS`, for tables; empty for a plain number.
    """

    path: str
    distribution: Distribution
    identity: str = ""
    dimension: str = ""

    def __post_init__(self) -> None:
        if not self.path:
            raise InputError("a variable without a path", expected="a path such as 'paste.bond_line'")
        if not self.identity:
            object.__setattr__(self, "identity", self.path)


def physical_bounds(path: str, dimension: str) -> tuple[float, float]:
    """Return the bounds that physics sets to what stands at a path, in SI.

    Parameters
    ----------
    path : str
        ``part.field``.
    dimension : str
        Key of `units.DIMENSIONS`.

    Returns
    -------
    low, high : float
        Zero below for all but positions, errors of sensors and temperature coefficients; 1 above for a part of a
        whole. Infinite where there is none.
    """
    field = path.rpartition(".")[2]
    if field in _UNBOUNDED or dimension == "temperature coefficient":
        return -math.inf, math.inf
    return 0.0, 1.0 if field.endswith("fraction") else math.inf


def distribution_of(value: Value, where: str = "", bounds: tuple[float, float] | None = None) -> Distribution:
    """Return the distribution behind a value as written, in SI.

    Parameters
    ----------
    value : Value
        Exact, normal, rectangular or lognormal.
    where : str
        Path of the field, for messages and for its bounds.
    bounds : (low, high), optional
        Physical bounds in SI; by default those of `physical_bounds`.

    Returns
    -------
    Distribution
        A normal or lognormal value with a bound is truncated there.

    Raises
    ------
    InputError
        If the value, or a limit of it, lies outside its bounds; or if its spread is larger than its bound allows: the
        bounds would cut off more than `LARGEST_TRUNCATED` of a normal or of a lognormal value.
    """
    low, high = physical_bounds(where, value.dimension) if bounds is None else bounds
    centre, spread = value.si, value.spread_si
    if not low <= centre <= high or (value.kind in ("normal", "lognormal") and centre in (low, high)):
        raise InputError(
            f"'{value}' lies on or outside its bounds",
            where=where,
            expected=f"a value {_bounds_text(value, low, high)}",
        )
    if value.kind == "exact":
        return Exact(centre)
    if value.kind == "rectangular":
        room = min(centre - low, high - centre)
        if spread > room * (1 + 1e-12):
            raise InputError(
                f"spread larger than its bound allows: the limits of '{value}' go beyond it",
                where=where,
                expected=f"limits {_bounds_text(value, low, high)}",
            )
        return Rectangular(max(centre - spread, low), min(centre + spread, high))
    if value.kind == "lognormal":
        lognormal = Lognormal(centre, spread, high)
        if 1.0 - lognormal.kept > LARGEST_TRUNCATED:
            raise _too_wide(value, where, 1.0 - lognormal.kept, low, high)
        return lognormal
    if math.isinf(low) and math.isinf(high):
        return Normal(centre, spread)
    truncated = TruncatedNormal(centre, spread, low, high)
    if 1.0 - truncated.kept > LARGEST_TRUNCATED:
        raise _too_wide(value, where, 1.0 - truncated.kept, low, high)
    return truncated


def _in_unit(value: Value, si: float) -> str:
    """Return an SI number as text in the unit of a value."""
    one = Value(1.0, value.unit, value.dimension).si
    zero = Value(0.0, value.unit, value.dimension).si
    return f"{(si - zero) / (one - zero):.4g} {value.unit}".rstrip()


def _bounds_text(value: Value, low: float, high: float) -> str:
    if math.isinf(high):
        return f"above {_in_unit(value, low)}"
    if math.isinf(low):
        return f"below {_in_unit(value, high)}"
    return f"between {_in_unit(value, low)} and {_in_unit(value, high)}"


def _too_wide(value: Value, where: str, removed: float, low: float, high: float) -> InputError:
    room = min(value.si - low, high - value.si)
    z = 2.4  # a little more than the 2.33 standard uncertainties at which the share is reached
    if value.kind == "lognormal":
        right = f"a factor of at most {math.exp(math.log(high / value.si) / z):.3g}"
    else:
        absolute = DIMENSIONS[value.dimension].absolute
        largest = room / z if absolute else room / z / value.spread_si * value.spread
        right = f"a standard uncertainty of at most {largest:.3g} {'K' if absolute else value.unit}".rstrip()
        if low == 0.0 and math.isinf(high) and not absolute:
            squared = math.log1p((value.spread_si / value.si) ** 2)  # the lognormal of the same mean and sd
            median, factor = value.magnitude * math.exp(-squared / 2), math.exp(math.sqrt(squared))
            right += f", or a lognormal value such as '{median:.3g} {value.unit} (x/ {factor:.3g})'"
    return InputError(
        f"spread larger than its bound allows: {100 * removed:.2g} % of '{value}' lies beyond "
        f"({100 * LARGEST_TRUNCATED:g} % may)",
        where=where,
        expected=right,
    )


def variables_of(
    inputs: Iterable[I_],
    *,
    identity: Callable[[I_], str] | None = None,
    bounds: Callable[[I_], tuple[float, float]] | None = None,
) -> tuple[Variable, ...]:
    """Return a variable for each input that has a spread; exact inputs are left to the model.

    Parameters
    ----------
    inputs : iterable
        Whatever has a `path` and a `value`.
    identity : callable, optional
        Gives the identity of an input (see `Variable`); by default its path.
    bounds : callable, optional
        Gives the physical bounds of an input; by default `physical_bounds`.

    Raises
    ------
    InputError
        If a path stands twice, or as `distribution_of`.
    """
    found: dict[str, Variable] = {}
    for each in inputs:
        if each.path in found:
            raise InputError("stands twice among the inputs", where=each.path)
        law = distribution_of(each.value, each.path, None if bounds is None else bounds(each))
        if not isinstance(law, Exact):
            name = each.path if identity is None else identity(each)
            found[each.path] = Variable(each.path, law, name, each.value.dimension)
    return tuple(found.values())


def correlation_matrix(
    variables: Iterable[Variable], correlations: Mapping[tuple[str, str], float] | None
) -> NDArray[np.float64]:
    """Return the matrix of correlation coefficients of variables, from those of pairs of paths.

    Parameters
    ----------
    variables : iterable of Variable
        Their order is that of the matrix.
    correlations : mapping of (path, path) to float
        Pairs that are correlated, each once; all others are not.

    Returns
    -------
    ndarray (variables, variables)

    Raises
    ------
    UnknownNameError
        If a path is not among the variables.
    InputError
        If a pair stands twice or holds one path twice, a coefficient is not between −1 and 1, or no set of variables
        can be correlated in this way (the matrix has a negative eigenvalue).
    """
    index = {variable.path: i for i, variable in enumerate(variables)}
    matrix = np.eye(len(index))
    for pair, r in (correlations or {}).items():
        where = f"correlation of {pair[0]} and {pair[1]}"
        for path in pair:
            if path not in index:
                raise UnknownNameError(f"no uncertain input {path!r}; {suggest(path, index)}", where=where)
        i, j = (index[path] for path in pair)
        if i == j or matrix[i, j] != 0.0:
            raise InputError("a pair that stands twice, or is none", where=where, expected="two paths, once")
        if not -1.0 <= _number(r) <= 1.0:
            raise InputError(f"{r!r} is not possible", where=where, expected="a number between −1 and 1")
        matrix[i, j] = matrix[j, i] = r
    smallest = float(np.linalg.eigvalsh(matrix)[0]) if index else 1.0
    if smallest < -1e-10:
        raise InputError(
            f"these coefficients cannot hold together (smallest eigenvalue of their matrix {smallest:.3g})",
            where="correlations",
            expected="a matrix of correlation coefficients without a negative eigenvalue",
        )
    return matrix


def _number(r: Any) -> float:
    return float(r) if isinstance(r, int | float | np.number) and not isinstance(r, bool) else math.nan
