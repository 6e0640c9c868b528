"""How the fields of parts are read: each returns a checked `Value` or raises an error that names part and field."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

from ..errors import InputError
from ..units import DIMENSIONS, Value, ValueLike, parse, show

__all__ = [
    "Pair",
    "PairLike",
    "bow",
    "corner",
    "footprint",
    "fraction",
    "name_of",
    "optional",
    "position",
    "positive",
    "put",
    "temperature",
]

Pair: TypeAlias = tuple[Value, Value]
PairLike: TypeAlias = Sequence[ValueLike]

LONGEST = 0.1
"""A layer thicker than this is asked back. [m]"""
THICKEST_BOND_LINE = 2e-3
"""A bond line thicker than this is asked back. [m]"""
COLDEST = 50.0
"""A temperature below this is asked back: it was probably meant in °C. [K]"""


def put(part: object, **values: object) -> None:
    """Set the fields of a frozen part, in its constructor."""
    for field, value in values.items():
        object.__setattr__(part, field, value)


def name_of(name: object, kind: str) -> str:
    """Return the name of a part: text, not empty, without the dot that separates a part from its field in a path."""
    if not isinstance(name, str) or not name.strip():
        raise InputError(f"{name!r} is not a name", where=kind, expected="a text such as 'lid'")
    if "." in name:
        raise InputError(
            f"name {name!r} holds a dot, which separates a part from its field",
            where=kind,
            expected=f"for example {name.replace('.', ' ')!r}",
        )
    return name.strip()


def positive(value: ValueLike, dimension: str, where: str, *, zero: bool = False, hint: str = "") -> Value:
    """Return a value above zero (or, with `zero`, not below it), and not of an absurd size."""
    parsed = parse(value, dimension, where)
    if parsed.si < 0 or (parsed.si == 0 and not zero):
        right = hint or f"a value above zero, such as {DIMENSIONS[dimension].example!r}"
        raise InputError(f"{str(parsed)!r} is not possible", where=where, expected=right)
    if parsed.kind == "rectangular" and parsed.si - parsed.spread_si < 0:
        raise InputError(f"the lower limit of {str(parsed)!r} is below zero", where=where, expected="limits above zero")
    limit = {"length": LONGEST, "bond line": THICKEST_BOND_LINE}.get(dimension)
    if limit is not None and parsed.si > limit:
        micro = f"{parsed.magnitude:g} um"
        raise InputError(
            f"{str(parsed)!r} is more than {show(limit, 'length')}; is this micrometres ({micro!r})?",
            where=where,
            expected=f"at most {show(limit, 'length')}, such as {DIMENSIONS[dimension].example!r}",
        )
    return parsed


def optional(
    value: ValueLike | None, dimension: str, where: str, *, zero: bool = False, hint: str = ""
) -> Value | None:
    """Return None where nothing is given, else a value above zero, as `positive` does."""
    return None if value is None else positive(value, dimension, where, zero=zero, hint=hint)


def fraction(value: ValueLike, where: str) -> Value:
    """Return a fraction from 0 to below 1."""
    parsed = parse(value, "fraction", where)
    if not 0 <= parsed.si < 1:
        raise InputError(
            f"{str(parsed)!r} is not a fraction", where=where, expected="0 to below 1, such as 0.05 or '5 %'"
        )
    return parsed


def bow(value: ValueLike, where: str) -> Value:
    """Return a bow of either sign, asked back where it is of an absurd size."""
    parsed = parse(value, "bond line", where)
    if abs(parsed.si) > THICKEST_BOND_LINE:
        raise InputError(
            f"{str(parsed)!r} is more than {show(THICKEST_BOND_LINE, 'length')}",
            where=where,
            expected="gap at the corners minus gap in the middle, such as '30 um' or '-30 um'",
        )
    return parsed


def temperature(value: ValueLike, where: str) -> Value:
    """Return a temperature (never a difference), asked back where it was probably meant in °C."""
    parsed = parse(value, "temperature", where)
    if parsed.si < COLDEST:
        right = f"did you mean '{parsed.magnitude:g} degC'?"
        raise InputError(
            f"{str(parsed)!r} is {parsed.si - 273.15:.0f} °C; {right}", where=where, expected=f"above {COLDEST:g} K"
        )
    return parsed


def footprint(value: PairLike, where: str) -> Pair:
    """Return the two sides of a rectangle, along x and along y."""
    x, y = _two(value, where, "('36 mm', '36 mm')")
    return positive(x, "length", f"{where}_x"), positive(y, "length", f"{where}_y")


def position(value: PairLike, where: str) -> Pair:
    """Return the coordinates of a point, of either sign."""
    x, y = _two(value, where, "('2 mm', '-1.5 mm')")
    return parse(x, "length", f"{where}_x"), parse(y, "length", f"{where}_y")


def corner(value: PairLike, where: str) -> Pair:
    """Return a lower left corner, counted from another lower left corner: not negative."""
    x, y = _two(value, where, "('0 mm', '1.5 mm')")
    return (positive(x, "length", f"{where}_x", zero=True), positive(y, "length", f"{where}_y", zero=True))


def _two(value: PairLike, where: str, right: str) -> tuple[ValueLike, ValueLike]:
    if (
        isinstance(value, str)
        or not isinstance(value, Sequence)
        or len(value) != 2
        or isinstance(value[0], int | float)
    ):
        raise InputError(f"{value!r} is not a pair", where=where, expected=f"two values with units, such as {right}")
    return value[0], value[1]
