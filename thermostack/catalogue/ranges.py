"""A value met in practice between limits."""

from __future__ import annotations

import math
from dataclasses import dataclass

from thermostack.errors import InputError

__all__ = ["Range", "as_range", "check_positive"]

_WIDTH = 3.92
"""Standard deviations between the 2.5 % and the 97.5 % point of a normal distribution (2 × 1.96)."""


def check_positive(value: float, where: str, *, zero: bool = False) -> float:
    """Return `value` as a float, or raise unless it is finite and positive (or zero, where that is allowed).

    Raises
    ------
    InputError
        Names `where` and the value.
    """
    expected = "a finite number of zero or more" if zero else "a finite number above zero"
    if isinstance(value, (bool, str)):
        raise InputError(f"{value!r} is not a number", where=where, expected=expected)
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise InputError(f"{value!r} is not a number", where=where, expected=expected) from None
    if not math.isfinite(number) or number < 0 or (number == 0 and not zero):
        raise InputError(f"{number!r} is out of range", where=where, expected=expected)
    return number


@dataclass(frozen=True)
class Range:
    """A positive value with the limits between which it is met in practice. SI.

    `low` and `high` are the 2.5 % and the 97.5 % point and `typical` the median, unless the row it comes from
    says otherwise.

    Raises
    ------
    InputError
        Unless 0 < low ≤ typical ≤ high, all finite.
    """

    low: float
    typical: float
    high: float

    def __post_init__(self) -> None:
        for name in ("low", "typical", "high"):
            object.__setattr__(self, name, check_positive(getattr(self, name), name))
        if not self.low <= self.typical <= self.high:
            raise InputError(
                f"low {self.low!r}, typical {self.typical!r} and high {self.high!r} do not rise",
                expected="low ≤ typical ≤ high",
            )

    @property
    def median(self) -> float:
        """Median of the lognormal distribution that stands for the range: the typical value."""
        return self.typical

    @property
    def sigma_ln(self) -> float:
        """Standard deviation of the logarithm, ln(high/low)/3.92."""
        return math.log(self.high / self.low) / _WIDTH

    @property
    def factor(self) -> float:
        """Lognormal factor of one standard deviation, exp(ln(high/low)/3.92); 1 for an exact value.

        Where the typical value is not the geometric middle of the limits, the lognormal keeps the width of the
        range, and not both limits.
        """
        return math.exp(self.sigma_ln)

    def scaled(self, by: float) -> Range:
        """Return the range with all three values multiplied by a positive number."""
        return Range(self.low * by, self.typical * by, self.high * by)


def as_range(value: Range | float | tuple[float, float, float], where: str) -> Range:
    """Return a range from one exact value, or from low, typical and high.

    Raises
    ------
    InputError
        Names `where`, which is a path such as ``"my paste.conductivity"``.
    """
    if isinstance(value, Range):
        return value
    try:
        if isinstance(value, tuple):
            if len(value) != 3:
                raise InputError(f"{value!r} has {len(value)} values", expected="(low, typical, high)")
            return Range(*value)
        exact = check_positive(value, "")
        return Range(exact, exact, exact)
    except InputError as error:
        raise InputError(
            error.problem, where=f"{where}.{error.where}" if error.where else where, expected=error.expected
        ) from None
