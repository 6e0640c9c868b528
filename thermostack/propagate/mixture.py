"""A value that is one of several lognormal ones: the factor of a mount that may come out bad."""

# ruff: noqa: D102 - what the methods give is said once, in Distribution

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from ..errors import InputError
from .distributions import Distribution, Lognormal, Scale

__all__ = ["Mixture", "mount_factor"]

Float = NDArray[np.float64]


@dataclass(frozen=True)
class Mixture(Distribution):
    """One of several lognormal distributions, each with its share.

    Parameters
    ----------
    shares : tuple of float
        Positive, adding up to 1.
    components : tuple of Lognormal
        As many.

    Raises
    ------
    InputError
        Unless the shares are positive, add up to 1 and are as many as the components.
    """

    shares: tuple[float, ...]
    components: tuple[Lognormal, ...]
    scale: ClassVar[Scale] = "log"

    def __post_init__(self) -> None:
        if len(self.shares) != len(self.components) or not self.shares:
            raise InputError(f"{len(self.shares)} shares of {len(self.components)} components", expected="one for each")
        if not all(share > 0 for share in self.shares) or not math.isclose(sum(self.shares), 1.0, rel_tol=1e-12):
            raise InputError(f"shares {self.shares}", expected="positive shares that add up to 1")

    def ppf(self, u: ArrayLike) -> Float:
        """Return the quantile, by bisection in the logarithm between the quantiles of the components."""
        u = np.asarray(u)
        quantiles = np.log([component.ppf(u) for component in self.components])
        low, high = quantiles.min(axis=0), quantiles.max(axis=0)
        for _ in range(64):  # each halves the bracket; it ends at neighbouring floats
            middle = 0.5 * (low + high)
            below = self.cdf(np.exp(middle)) < u
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return np.asarray(np.exp(0.5 * (low + high)))

    def cdf(self, x: ArrayLike) -> Float:
        return np.asarray(sum(p * c.cdf(x) for p, c in zip(self.shares, self.components, strict=True)))

    def _joint(self, x: ArrayLike) -> Float:
        """Return ln(share × density) of each component, components first."""
        return np.array([math.log(p) + c.logpdf(x) for p, c in zip(self.shares, self.components, strict=True)])

    def logpdf(self, x: ArrayLike) -> Float:
        return np.asarray(special.logsumexp(self._joint(x), axis=0))

    def membership(self, x: ArrayLike) -> Float:
        """Return the probability that a positive `x` came from each component, components first.

        A calibrated mount factor thus says how likely its mount was a bad one.
        """
        joint = self._joint(x)
        return np.asarray(np.exp(joint - special.logsumexp(joint, axis=0)))

    @property
    def mean(self) -> float:
        return sum(p * c.mean for p, c in zip(self.shares, self.components, strict=True))

    @property
    def sd(self) -> float:
        second = sum(p * (c.sd**2 + c.mean**2) for p, c in zip(self.shares, self.components, strict=True))
        return math.sqrt(second - self.mean**2)

    @property
    def centre(self) -> float:
        return math.exp(sum(p * math.log(c.median) for p, c in zip(self.shares, self.components, strict=True)))

    @property
    def natural_sd(self) -> float:
        middle = math.log(self.centre)
        return math.sqrt(
            sum(
                p * (c.natural_sd**2 + (math.log(c.median) - middle) ** 2)
                for p, c in zip(self.shares, self.components, strict=True)
            )
        )


def mount_factor(spread: float, bad_share: float, bad: Lognormal) -> Mixture:
    """Return the factor by which one mount multiplies a joint's resistance, when some mounts come out bad.

    A good mount is lognormal about 1; a bad one is a good one times a further lognormal factor, which is lognormal
    again: logarithms add.

    Parameters
    ----------
    spread : float
        Lognormal factor of one standard deviation between good mounts, above 1.
    bad_share : float
        Share of mounts that come out bad, between 0 and 1.
    bad : Lognormal
        Factor by which a bad mount is worse.

    Raises
    ------
    InputError
        If the share is not between 0 and 1, or the spread not above 1.

    Examples
    --------
    >>> factor = mount_factor(1.2, 0.1, Lognormal(2.0, 1.3))
    >>> factor.membership(2.0).round(2)  # a mount twice as resistive as usual is a bad one
    array([0.01, 0.99])
    """
    if not 0.0 < bad_share < 1.0:
        raise InputError(f"a share of {bad_share:g} bad mounts", expected="a share between 0 and 1, such as 0.1")
    good = Lognormal(1.0, spread)
    worse = Lognormal(bad.median, math.exp(math.hypot(good.natural_sd, bad.natural_sd)))
    return Mixture((1.0 - bad_share, bad_share), (good, worse))
