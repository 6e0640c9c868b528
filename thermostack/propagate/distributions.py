"""How an uncertain value is distributed: quantiles, probabilities, densities, moments. SI, vectorised.

Every distribution has a *natural scale*, in which it is closest to a normal one: the logarithm for a lognormal value,
the value itself for all others. A linear budget works in it, since a response is straighter there.
"""

# ruff: noqa: D102 - what the methods give is said once, in Distribution

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import ClassVar, Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from ..errors import InputError

__all__ = [
    "Distribution",
    "Exact",
    "Lognormal",
    "Normal",
    "Rectangular",
    "Student",
    "TruncatedNormal",
]

Float = NDArray[np.float64]
Scale: TypeAlias = Literal["linear", "log"]

_LOG_SQRT_2PI = 0.5 * math.log(2.0 * math.pi)
_LEAST_KEPT = 1e-6
"""Smallest share of a normal distribution that a truncation may leave. Below, what is left is nobody's statement."""


def _log_normal_density(z: Float) -> Float:
    """Return ln φ(z)."""
    return -0.5 * z**2 - _LOG_SQRT_2PI


def _array(x: ArrayLike) -> Float:
    return np.asarray(x, dtype=np.float64)


class Distribution(ABC):
    """What all distributions know of themselves. Arguments broadcast; answers are float64 arrays.

    Attributes
    ----------
    scale : {"linear", "log"}
        The natural scale.
    degrees_of_freedom : float
        Of the standard uncertainty (JCGM 100:2008, G.3 and G.4); infinite unless it came from few readings.
    """

    scale: ClassVar[Scale] = "linear"
    degrees_of_freedom: float = math.inf

    @abstractmethod
    def ppf(self, u: ArrayLike) -> Float:
        """Return the quantile for probabilities `u` in (0, 1), in the unit of the value."""

    @abstractmethod
    def cdf(self, x: ArrayLike) -> Float:
        """Return the probability of `x` or less."""

    @abstractmethod
    def logpdf(self, x: ArrayLike) -> Float:
        """Return the logarithm of the density per unit of the value; −inf outside the support."""

    @property
    @abstractmethod
    def mean(self) -> float:
        """Expectation."""

    @property
    @abstractmethod
    def sd(self) -> float:
        """Standard deviation."""

    @property
    def centre(self) -> float:
        """Where a linear budget expands: the expectation, or on the log scale exp(E[ln x])."""
        return self.mean

    @property
    def natural_sd(self) -> float:
        """Standard uncertainty on the natural scale: of the value, or of its logarithm."""
        return self.sd

    def moved(self, steps: ArrayLike) -> Float:
        """Return the centre moved by so many natural standard uncertainties."""
        move = self.natural_sd * _array(steps)
        return self.centre * np.exp(move) if self.scale == "log" else self.centre + move


@dataclass(frozen=True)
class Exact(Distribution):
    """A value without spread: all probability at one point (its density is taken per point, not per unit)."""

    value: float

    def ppf(self, u: ArrayLike) -> Float:
        return np.broadcast_to(_array(self.value), np.shape(u))

    def cdf(self, x: ArrayLike) -> Float:
        return np.where(_array(x) >= self.value, 1.0, 0.0)

    def logpdf(self, x: ArrayLike) -> Float:
        return np.where(_array(x) == self.value, 0.0, -np.inf)

    @property
    def mean(self) -> float:
        return self.value

    @property
    def sd(self) -> float:
        return 0.0


@dataclass(frozen=True)
class Normal(Distribution):
    """Normal distribution of mean `location` and standard deviation `spread`.

    Raises
    ------
    InputError
        Unless both are finite and the spread is above zero.
    """

    location: float
    spread: float

    def __post_init__(self) -> None:
        _check_spread(self.location, self.spread)

    def ppf(self, u: ArrayLike) -> Float:
        return _array(self.location + self.spread * special.ndtri(_array(u)))

    def cdf(self, x: ArrayLike) -> Float:
        return _array(special.ndtr((_array(x) - self.location) / self.spread))

    def logpdf(self, x: ArrayLike) -> Float:
        return _log_normal_density((_array(x) - self.location) / self.spread) - math.log(self.spread)

    @property
    def mean(self) -> float:
        return self.location

    @property
    def sd(self) -> float:
        return self.spread


@dataclass(frozen=True)
class Student(Distribution):
    """Student's t shifted and scaled (JCGM 101:2008, 6.4.9): the mean of few readings.

    Parameters
    ----------
    location, spread : float
        Mean of the readings, and its standard uncertainty s/√n.
    degrees_of_freedom : float
        n − 1 for the mean of n readings.

    Notes
    -----
    Its standard deviation, `sd`, is `spread` × √(ν/(ν − 2)), infinite for ν ≤ 2. The linear budget uses `spread` with
    its degrees of freedom instead (JCGM 100:2008, 4.2.3 and G.4).

    Raises
    ------
    InputError
        Unless all are finite, and spread and degrees of freedom above zero.
    """

    location: float
    spread: float
    degrees_of_freedom: float

    def __post_init__(self) -> None:
        _check_spread(self.location, self.spread)
        if not (math.isfinite(self.degrees_of_freedom) and self.degrees_of_freedom > 0):
            raise InputError(f"{self.degrees_of_freedom:g} degrees of freedom", expected="a finite number above zero")

    def ppf(self, u: ArrayLike) -> Float:
        return _array(self.location + self.spread * special.stdtrit(self.degrees_of_freedom, _array(u)))

    def cdf(self, x: ArrayLike) -> Float:
        return _array(special.stdtr(self.degrees_of_freedom, (_array(x) - self.location) / self.spread))

    def logpdf(self, x: ArrayLike) -> Float:
        nu, t = self.degrees_of_freedom, (_array(x) - self.location) / self.spread
        constant = special.gammaln((nu + 1) / 2) - special.gammaln(nu / 2) - 0.5 * math.log(nu * math.pi)
        return _array(constant - (nu + 1) / 2 * np.log1p(t**2 / nu) - math.log(self.spread))

    @property
    def mean(self) -> float:
        return self.location if self.degrees_of_freedom > 1 else math.nan

    @property
    def sd(self) -> float:
        nu = self.degrees_of_freedom
        return self.spread * math.sqrt(nu / (nu - 2)) if nu > 2 else math.inf

    @property
    def centre(self) -> float:
        return self.location

    @property
    def natural_sd(self) -> float:
        return self.spread


@dataclass(frozen=True)
class Rectangular(Distribution):
    """All values between two limits alike (JCGM 100:2008, 4.3.7).

    Raises
    ------
    InputError
        Unless both limits are finite and rise.
    """

    low: float
    high: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low < self.high):
            raise InputError(f"limits {self.low:g} and {self.high:g}", expected="two finite limits, the lower first")

    def ppf(self, u: ArrayLike) -> Float:
        return self.low + (self.high - self.low) * _array(u)

    def cdf(self, x: ArrayLike) -> Float:
        return np.clip((_array(x) - self.low) / (self.high - self.low), 0.0, 1.0)

    def logpdf(self, x: ArrayLike) -> Float:
        inside = (_array(x) >= self.low) & (_array(x) <= self.high)
        return np.where(inside, -math.log(self.high - self.low), -np.inf)

    @property
    def mean(self) -> float:
        return 0.5 * (self.low + self.high)

    @property
    def sd(self) -> float:
        return (self.high - self.low) / math.sqrt(12.0)


@dataclass(frozen=True)
class Lognormal(Distribution):
    """A positive value whose logarithm is normal: `median` ×/÷ `factor`, one standard deviation of the logarithm.

    Parameters
    ----------
    median, factor : float
        Both before truncation. So are `centre` and `natural_sd`, in which a linear budget works.
    high : float
        Upper bound at which it is truncated; infinite for none.

    Raises
    ------
    InputError
        Unless the median is finite, above zero and below the bound, and the factor finite and above 1.
    """

    median: float
    factor: float
    high: float = math.inf
    scale: ClassVar[Scale] = "log"

    def __post_init__(self) -> None:
        if not (math.isfinite(self.median) and self.median > 0):
            raise InputError(f"a median of {self.median:g} cannot carry a factor", expected="a median above zero")
        if not (math.isfinite(self.factor) and self.factor > 1):
            raise InputError(f"spread {self.factor:g} is not possible", expected="a factor above 1, such as 1.4")
        if not self.median < self.high:
            raise InputError(f"a bound of {self.high:g}", expected=f"one above the median {self.median:g}")

    @property
    def natural_sd(self) -> float:
        """Standard deviation of the logarithm."""
        return math.log(self.factor)

    @property
    def centre(self) -> float:
        return self.median

    @property
    def kept(self) -> float:
        """Share of the distribution that truncation leaves."""
        return float(special.ndtr(self._z(self.high))) if math.isfinite(self.high) else 1.0

    def _z(self, x: ArrayLike) -> Float:
        with np.errstate(divide="ignore"):
            return _array((np.log(np.maximum(_array(x), 0.0)) - math.log(self.median)) / self.natural_sd)

    def ppf(self, u: ArrayLike) -> Float:
        x = self.median * np.exp(self.natural_sd * special.ndtri(_array(u) * self.kept))
        return _array(np.minimum(x, self.high))

    def cdf(self, x: ArrayLike) -> Float:
        return _array(special.ndtr(self._z(np.minimum(x, self.high))) / self.kept)

    def logpdf(self, x: ArrayLike) -> Float:
        x = _array(x)
        inside = (x > 0) & (x <= self.high)
        held = np.where(inside, x, 1.0)
        density = _log_normal_density(self._z(held)) - np.log(held) - math.log(self.natural_sd * self.kept)
        return np.where(inside, density, -np.inf)

    def _moment(self, order: int) -> float:
        """Return E[xᵏ] = mᵏ exp(k²s²/2) Φ(z − k s)/Φ(z), z the bound in standard deviations s of the logarithm."""
        s = self.natural_sd
        whole = self.median**order * math.exp(0.5 * (order * s) ** 2)
        return whole * float(special.ndtr(self._z(self.high) - order * s)) / self.kept

    @property
    def mean(self) -> float:
        return self._moment(1)

    @property
    def sd(self) -> float:
        if math.isinf(self.high):
            return self.mean * math.sqrt(math.expm1(self.natural_sd**2))
        return math.sqrt(self._moment(2) - self.mean**2)


@dataclass(frozen=True)
class TruncatedNormal(Distribution):
    """Normal distribution of which only what lies between two bounds is left, scaled up to 1.

    Parameters
    ----------
    location, spread : float
        Mean and standard deviation *before* truncation.
    low, high : float
        Bounds; one of them may be infinite.

    Raises
    ------
    InputError
        Unless the bounds rise and the truncation leaves at least a millionth of the distribution.
    """

    location: float
    spread: float
    low: float = -math.inf
    high: float = math.inf

    def __post_init__(self) -> None:
        _check_spread(self.location, self.spread)
        if not self.low < self.high:
            raise InputError(f"bounds {self.low:g} and {self.high:g}", expected="the lower first")
        if self.kept < _LEAST_KEPT:
            raise InputError(
                f"truncation to {self.low:g} .. {self.high:g} leaves {self.kept:.1g} of a normal distribution of mean "
                f"{self.location:g} and standard deviation {self.spread:g}",
                expected="bounds that hold the mean, or nearly",
            )

    @property
    def _bounds(self) -> tuple[float, float, float]:
        """Standardised bounds, and −1 where they are mirrored to keep clear of the upper tail, where Φ rounds to 1."""
        a, b = (self.low - self.location) / self.spread, (self.high - self.location) / self.spread
        return (-b, -a, -1.0) if a > 0 else (a, b, 1.0)

    @property
    def kept(self) -> float:
        """Share of the distribution that truncation leaves."""
        a, b, _ = self._bounds
        return float(special.ndtr(b) - special.ndtr(a))

    def ppf(self, u: ArrayLike) -> Float:
        a, _, sign = self._bounds
        u = _array(u) if sign > 0 else 1.0 - _array(u)
        z = special.ndtri(special.ndtr(a) + u * self.kept)
        return np.clip(_array(self.location + sign * self.spread * z), self.low, self.high)

    def cdf(self, x: ArrayLike) -> Float:
        a, _, sign = self._bounds
        z = (np.clip(_array(x), self.low, self.high) - self.location) / self.spread
        below = _array(special.ndtr(sign * z) - special.ndtr(a)) / self.kept
        return below if sign > 0 else 1.0 - below

    def logpdf(self, x: ArrayLike) -> Float:
        x = _array(x)
        density = _log_normal_density((x - self.location) / self.spread) - math.log(self.spread * self.kept)
        return np.where((x >= self.low) & (x <= self.high), density, -np.inf)

    def _moments(self) -> tuple[float, float]:
        """Return mean and variance of the standardised, possibly mirrored, distribution."""
        a, b, _ = self._bounds
        phi_a, phi_b = (math.exp(_log_normal_density(_array(z)).item()) if math.isfinite(z) else 0.0 for z in (a, b))
        a_phi, b_phi = (z * phi if phi else 0.0 for z, phi in ((a, phi_a), (b, phi_b)))
        mean = (phi_a - phi_b) / self.kept
        return mean, 1.0 + (a_phi - b_phi) / self.kept - mean**2

    @property
    def mean(self) -> float:
        return self.location + self._bounds[2] * self.spread * self._moments()[0]

    @property
    def sd(self) -> float:
        return self.spread * math.sqrt(self._moments()[1])


def _check_spread(location: float, spread: float) -> None:
    if not math.isfinite(location):
        raise InputError(f"{location} is not a finite number")
    if not (math.isfinite(spread) and spread > 0):
        raise InputError(f"spread {spread:g} is not possible", expected="a spread above zero")
