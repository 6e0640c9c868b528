"""The one boundary for units: what a user writes becomes a `Value`, and a `Value` knows its SI number.

A user's value is a string (``"45 um"``), a pint Quantity or a pair (``(45, "um")``). A bare number for something that
has a dimension is refused. Uncertain values are written

===============================  =============================================  ================
``"0.25 mm (sd 0.04 mm)"``       one standard uncertainty                       normal
``"0.25(4) mm"``                 the same, last digits                          normal
``"0.25 ± 0.04 mm"``             the same (one standard uncertainty)            normal
``"0.25 mm (limits 0.04 mm)"``   half-width of limits (JCGM 100:2008, 4.3.7)    rectangular
``"25 .. 60 um"``                limits                                         rectangular
``"5 mm^2*K/W (x/ 1.4)"``        a median and a factor                          lognormal
===============================  =============================================  ================
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from typing import Any, Literal, TypeAlias

import pint

from .errors import InputError, UnitError

__all__ = [
    "DIMENSIONS",
    "Dimension",
    "Value",
    "ValueLike",
    "convert",
    "parse",
    "quantity",
    "show",
    "to_si",
    "unit_text",
]

Kind = Literal["exact", "normal", "rectangular", "lognormal"]


@dataclass(frozen=True)
class Dimension:
    """What a field measures: its SI unit, a right example, and the unit that tables show it in."""

    name: str
    si: str
    example: str
    shown_in: str
    absolute: bool = False


DIMENSIONS = {
    d.name: d
    for d in (
        Dimension("length", "m", "0.25 mm", "mm"),
        Dimension("bond line", "m", "45 um", "um"),
        Dimension("power", "W", "230 W", "W"),
        Dimension("temperature", "K", "26 degC", "degC", absolute=True),
        Dimension("temperature difference", "K", "0.5 K", "K"),
        Dimension("conductivity", "W/(m*K)", "390 W/m/K", "W/m/K"),
        Dimension("specific resistance", "m^2*K/W", "12 mm^2*K/W", "mm^2*K/W"),
        Dimension("resistance", "K/W", "0.03 K/W", "K/W"),
        Dimension("conductance", "W/(m^2*K)", "35 kW/m^2/K", "kW/m^2/K"),
        Dimension("pressure", "Pa", "300 kPa", "kPa"),
        Dimension("yield stress", "Pa", "150 Pa", "Pa"),
        Dimension("force", "N", "200 N", "N"),
        Dimension("spring rate", "N/m", "60 N/mm", "N/mm"),
        Dimension("modulus", "Pa", "25 GPa", "GPa"),
        Dimension("density", "kg/m^3", "8960 kg/m^3", "kg/m^3"),
        Dimension("heat capacity", "J/(kg*K)", "385 J/kg/K", "J/kg/K"),
        Dimension("temperature coefficient", "1/K", "-0.0005 1/K", "1/K"),
        Dimension("time", "s", "10 min", "s"),
        Dimension("frequency", "Hz", "4200 MHz", "MHz"),
        Dimension("flow", "m^3/s", "4 L/min", "L/min"),
        Dimension("volume", "m^3", "1.2 L", "L"),
        Dimension("exchanger conductance", "W/K", "60 W/K", "W/K"),
        Dimension("fraction", "", "0.1", ""),
    )
}

_PRETTY = {"um": "µm", "degC": "°C", "mm^2*K/W": "mm²·K/W", "kW/m^2/K": "kW/m²/K", "kg/m^3": "kg/m³"}
_NUMBER = r"[-+−]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?|[-+]?(?:nan|inf(?:inity)?)"
_BARE = re.compile(rf"\s*({_NUMBER})\s*(.*?)\s*", re.IGNORECASE)
_DIGITS = re.compile(r"\s*([-+−]?\d+(?:\.(\d+))?)\((\d+)\)((?:[eE][-+]?\d+)?)\s*(.*?)\s*")
_RANGE = re.compile(rf"\s*({_NUMBER})\s*(.*?)\s*\.\.\s*({_NUMBER})\s*(.*?)\s*", re.IGNORECASE)
_PLUS_MINUS = re.compile(rf"\s*({_NUMBER})\s*(.*?)\s*(?:±|\+/?-)\s*({_NUMBER})\s*(.*?)\s*", re.IGNORECASE)
_SPREAD = re.compile(r"(.*?)\(\s*(sd|limits|x/|×/÷|×/)\s*(.*?)\s*\)\s*", re.DOTALL)
_TRANSLATE = str.maketrans({"·": "*", "−": "-", "⋅": "*"})


@cache
def _registry() -> Any:
    # the application's registry, so that quantities made by the user and by us mix
    application_registry: Any = pint.application_registry
    return application_registry.get()


@lru_cache(maxsize=1024)
def _scale(unit: str, difference: bool) -> tuple[float, float, str]:
    """Return factor, offset and SI unit text of a unit: si = factor * magnitude + offset."""
    registry = _registry()
    try:
        parsed = registry.parse_units(unit.translate(_TRANSLATE), as_delta=difference)
        if difference and parsed in (registry.degC, registry.degF):
            parsed = registry.parse_units("delta_degC" if parsed == registry.degC else "delta_degF")
        zero, one = (registry.Quantity(m, parsed).to_base_units() for m in (0.0, 1.0))
    except Exception as error:  # pint raises a family of errors, some of them plain Python ones
        raise UnitError(f"unit {unit!r} is not understood") from error
    dimensions = str(zero.dimensionality)
    # a temperature's offset (0 degC = 273.15 K) is exact; a factor is taken to the 15 digits that are meant
    return float(f"{one.magnitude - zero.magnitude:.15g}"), float(zero.magnitude), dimensions


@cache
def _dimensionality(si: str) -> str:
    return str(_registry().parse_units(si).dimensionality)


@dataclass(frozen=True, eq=False)
class Value:
    """A number with a unit and, where it has one, a spread: what a user wrote, kept as written.

    Parameters
    ----------
    magnitude : float
        Centre, in `unit`: the mean (normal), the middle of the limits (rectangular) or the median (lognormal).
    unit : str
        Unit as written.
    dimension : str
        A key of `DIMENSIONS`.
    kind : {"exact", "normal", "rectangular", "lognormal"}
        How the value is distributed.
    spread : float
        One standard uncertainty (normal) or the half-width of the limits (rectangular), both in `unit`; the factor,
        above 1, that one standard deviation of the logarithm stands for (lognormal); else 0.
    """

    magnitude: float
    unit: str
    dimension: str
    kind: Kind = "exact"
    spread: float = 0.0

    @cached_property
    def si(self) -> float:
        """Centre in SI (temperatures in K)."""
        factor, offset, _ = _scale(self.unit, not DIMENSIONS[self.dimension].absolute)
        return float(f"{factor * self.magnitude + offset:.15g}")

    @property
    def spread_si(self) -> float:
        """Spread in SI; a factor (lognormal) as it is."""
        if self.kind in ("exact", "lognormal"):
            return self.spread
        factor = _scale(self.unit, not DIMENSIONS[self.dimension].absolute)[0]
        return float(f"{factor * self.spread:.15g}")

    @property
    def standard_uncertainty(self) -> float:
        """Standard deviation in SI (rectangular: half-width / √3; lognormal: exact)."""
        if self.kind == "rectangular":
            return self.spread_si / math.sqrt(3.0)
        if self.kind == "lognormal":
            variance = math.log(self.spread) ** 2
            return self.si * math.exp(variance / 2) * math.sqrt(math.expm1(variance))
        return self.spread_si

    @cached_property
    def _key(self) -> tuple[str, str, str, str]:
        # of the numbers as they are written, so that a value equals what its text reads back as
        magnitude, spread = float(_shortest(self.magnitude)), float(_shortest(self.spread))
        written = Value(magnitude, self.unit, self.dimension, self.kind, spread)
        return self.dimension, self.kind, f"{written.si:.12g}", f"{written.spread_si:.12g}"

    def __eq__(self, other: object) -> bool:
        """Two values are equal where they mean the same to 12 digits, in whatever unit they are written."""
        return isinstance(other, Value) and self._key == other._key

    def __hash__(self) -> int:
        return hash(self._key)

    def __str__(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        if self.kind == "normal":
            return f"{_shortest(self.magnitude)}{unit} (sd {_shortest(self.spread)}{_difference(unit)})"
        if self.kind == "rectangular":
            return self._limits(unit)
        if self.kind == "lognormal":
            return f"{_shortest(self.magnitude)}{unit} (x/ {_shortest(self.spread)})"
        return f"{_shortest(self.magnitude)}{unit}"

    def _limits(self, unit: str) -> str:
        """Return both limits where they read back as the same value, else the middle and the half-width."""
        middle, half = float(_shortest(self.magnitude)), float(_shortest(self.spread))
        places = 14 - math.floor(math.log10(max(abs(middle), half)))  # beyond these is rounding error
        low, high = (float(_shortest(round(limit, places))) for limit in (middle - half, middle + half))
        if [float(_shortest(each)) for each in ((low + high) / 2, (high - low) / 2)] == [middle, half]:
            return f"{_shortest(low)} .. {_shortest(high)}{unit}"
        return f"{_shortest(middle)}{unit} (limits {_shortest(half)}{_difference(unit)})"

    def __repr__(self) -> str:
        return f"Value({str(self)!r}, {self.dimension!r})"


ValueLike: TypeAlias = "str | Value | tuple[float, str] | pint.Quantity | float"
"""What may be given for a value; a bare number only for a fraction."""


def _shortest(number: float) -> str:
    """Return the shortest text that reads back as the same number to 15 digits."""
    text = f"{number:.15g}"
    return repr(number) if float(text) != number and not math.isclose(float(text), number, rel_tol=1e-14) else text


def _difference(unit: str) -> str:
    # the spread of a temperature is a difference, which has no zero point: write it in K
    return " K" if unit.strip() in ("degC", "°C", "celsius") else unit


def _number(text: str) -> float:
    return float(text.replace("−", "-"))


def _split(text: str, where: str, dimension: Dimension) -> tuple[float, str]:
    match = _BARE.fullmatch(text)
    if match is None:
        raise InputError(f"cannot read {text!r}", where=where, expected=f"a value such as {dimension.example!r}")
    return _number(match[1]), match[2]


def _in_unit(text: str, unit: str, where: str, dimension: Dimension, *, difference: bool = True) -> float:
    """Return a spread (a difference) or a limit in the unit of its centre, which it has where it names none."""
    number, own = _split(text, where, dimension)
    if not own or own == unit:
        return number
    factor, offset, dims = _scale(own, difference)
    factor0, offset0, dims0 = _scale(unit, difference)
    if dims != dims0:
        raise UnitError(f"spread {text!r} does not fit the unit {unit!r}", where=where, expected=f"{dimension.example}")
    return float(f"{number * (factor / factor0) + (offset - offset0) / factor0:.15g}")


def _read(text: str, where: str, dimension: Dimension) -> tuple[float, str, Kind, float]:
    if match := _SPREAD.fullmatch(text):
        centre, unit = _split(match[1], where, dimension)
        if match[2] == "sd":
            return centre, unit, "normal", _in_unit(match[3], unit, where, dimension)
        if match[2] == "limits":
            return centre, unit, "rectangular", _in_unit(match[3], unit, where, dimension)
        return centre, unit, "lognormal", _in_unit(match[3], "", where, DIMENSIONS["fraction"])
    if match := _DIGITS.fullmatch(text):
        digits = len(match[2] or "")
        power = match[4]
        return (
            _number(match[1] + power),
            match[5],
            "normal",
            float(f"{match[3]}e{int(power[1:] or 0) - digits}"),
        )
    if match := _RANGE.fullmatch(text):
        unit = match[4] or match[2]
        low = _in_unit(f"{match[1]} {match[2]}", unit, where, dimension, difference=not dimension.absolute)
        high = _number(match[3])
        if not low < high:
            raise InputError(
                f"limits {text!r} are reversed or equal",
                where=where,
                expected=f"the lower first: '{high:g} .. {low:g} {unit}'",
            )
        return (low + high) / 2, unit, "rectangular", (high - low) / 2
    if match := _PLUS_MINUS.fullmatch(text):
        unit = match[4] if match[4] and not match[2] else match[2]
        return _number(match[1]), unit, "normal", _in_unit(f"{match[3]} {match[4]}", unit, where, dimension)
    return *_split(text, where, dimension), "exact", 0.0


def parse(value: ValueLike, dimension: str, where: str = "") -> Value:
    """Return `value` as a `Value` of the given dimension.

    Parameters
    ----------
    value : str, pint.Quantity, pair or Value
        See the module's page. A bare number is taken for a fraction only.
    dimension : str
        A key of `DIMENSIONS`.
    where : str
        Path of the field, for messages.

    Raises
    ------
    UnitError
        No unit, or one of another dimension.
    InputError
        Not a number, not finite, or a spread that is zero or less (a factor: 1 or less).
    """
    if not isinstance(value, str):
        return _parsed(value, dimension, where)
    try:
        return _parsed_text(value, dimension)
    except InputError as error:
        raise error.at(where) from error


@lru_cache(maxsize=4096)
def _parsed_text(text: str, dimension: str) -> Value:
    return _parsed(text, dimension, "")


def _parsed(value: ValueLike, dimension: str, where: str) -> Value:
    meant = DIMENSIONS[dimension]
    kind: Kind = "exact"
    spread = 0.0
    if isinstance(value, Value):
        if value.dimension == dimension:
            return value
        magnitude, unit, kind, spread = value.magnitude, value.unit, value.kind, value.spread
    elif isinstance(value, str):
        magnitude, unit, kind, spread = _read(value, where, meant)
    elif isinstance(value, pint.Quantity):
        magnitude, unit = _as_float(value.magnitude, where, meant), f"{value.units}"
        unit = {"degree_Celsius": "degC", "dimensionless": ""}.get(unit, unit)
    elif isinstance(value, tuple | list):
        if len(value) != 2 or not isinstance(value[1], str):
            raise InputError(f"cannot read {value!r}", where=where, expected=f"a value such as {meant.example!r}")
        magnitude, unit = _as_float(value[0], where, meant), value[1]
    else:
        magnitude, unit = _as_float(value, where, meant), ""
    if not math.isfinite(magnitude):
        raise InputError(
            f"{magnitude} is not a finite number", where=where, expected=f"a value such as {meant.example!r}"
        )
    _check_unit(value, magnitude, unit, meant, where)
    _check_spread(kind, magnitude, spread, where)
    return Value(magnitude, unit, dimension, kind, spread)


def _as_float(number: Any, where: str, meant: Dimension) -> float:
    if isinstance(number, bool):
        raise InputError(f"{number!r} is not a number", where=where, expected=f"a value such as {meant.example!r}")
    try:
        return float(number)
    except (TypeError, ValueError) as error:
        problem = f"cannot read {number!r}"
        raise InputError(problem, where=where, expected=f"a value such as {meant.example!r}") from error


def _check_unit(value: object, magnitude: float, unit: str, meant: Dimension, where: str) -> None:
    if not unit and meant.si:
        right = f"{magnitude:g} {meant.example.split(' ', 1)[1]}"
        raise UnitError(f"{value!r} has no unit", where=where, expected=f"for example {right!r}")
    try:
        dims = _scale(unit, not meant.absolute)[2] if unit else "dimensionless"
    except UnitError as error:
        raise UnitError(error.problem, where=where, expected=f"for example {meant.example!r}") from error
    if dims != _dimensionality(meant.si):
        problem = f"{unit!r} is not a unit of {meant.name}"
        raise UnitError(problem, where=where, expected=f"for example {meant.example!r}")


def _check_spread(kind: Kind, magnitude: float, spread: float, where: str) -> None:
    if kind == "exact":
        return
    if not math.isfinite(spread) or spread <= (1.0 if kind == "lognormal" else 0.0):
        right = "a factor above 1, such as '(x/ 1.4)'" if kind == "lognormal" else "a spread above zero"
        raise InputError(f"spread {spread:g} is not possible", where=where, expected=right)
    if kind == "lognormal" and magnitude <= 0:
        raise InputError(
            f"a median of {magnitude:g} cannot carry a factor", where=where, expected="a median above zero"
        )


def convert(number: Any, dimension: str, unit: str | None = None) -> Any:
    """Return an SI number (or array) of the given dimension in `unit`, by default the one that tables show."""
    meant = DIMENSIONS[dimension]
    factor, offset, _ = (
        _scale(unit or meant.shown_in, not meant.absolute) if (unit or meant.shown_in) else (1.0, 0.0, "")
    )
    return (number - offset) / factor


def to_si(number: Any, dimension: str, unit: str) -> Any:
    """Return a number (or array) in `unit` as SI: the inverse of `convert`.

    Raises
    ------
    UnitError
        `unit` is not understood, or is one of another dimension.
    """
    parse((1.0, unit), dimension)
    factor, offset, _ = _scale(unit, not DIMENSIONS[dimension].absolute)
    scaled = number if factor == 1.0 else number * factor
    return scaled if offset == 0.0 else scaled + offset


def quantity(number: Any, dimension: str) -> pint.Quantity:
    """Return an SI number (or array) as a pint Quantity in the unit that tables show."""
    meant = DIMENSIONS[dimension]
    made: pint.Quantity = _registry().Quantity(convert(number, dimension), meant.shown_in or "dimensionless")
    return made


def unit_text(dimension: str) -> str:
    """Return the unit in which tables and plots show a dimension, as people write it; empty for a fraction."""
    unit = DIMENSIONS[dimension].shown_in
    return _PRETTY.get(unit, unit)


def show(number: float, dimension: str, digits: int = 4) -> str:
    """Return an SI number as text in the unit that tables show, such as ``"2.4 mm"``."""
    return f"{convert(number, dimension):.{digits}g} {unit_text(dimension)}".rstrip()
