"""Several mounts of one state, pooled with their scatter, so that one bad mount in eight does no harm.

Every mount makes its joints anew, and a joint that was made badly (a tilted plate, a hair, too little paste) is far
from the rest, nearly always hotter. The resistance R_i of mount i, read with variance u_i², is taken as

    R_i ~ (1 − ε) N(μ, s² + u_i²) + ε N(μ + m, w² + u_i²),     ε = 1/8, m = w = 4s,

a good mount of a normal scatter s, or a bad one (contaminated normal: Tukey 1960; Box and Tiao 1968, Biometrika 55,
119). μ is wanted: flat prior; s is known before to a factor about the scatter of its class. The posterior is summed on
a grid, so that one mount and many are one method: with one, the scatter is the class's.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp
from scipy.stats import norm

from ..errors import InputError, UnknownNameError, suggest
from ..tables import Column, Table
from ..units import ValueLike, parse
from .reading import Reading

__all__ = ["ASSUMED_SCATTER", "Remounts", "pool_mounts", "posterior"]

BAD, SHIFT, WIDTH = 1 / 8, 4.0, 4.0
"""Share of bad mounts (*common practice, no source*), and their mean shift and its width in scatters of good ones
(assumed)."""
FACTOR = 2.0
"""One standard deviation of what is known of a scatter before any mount: a factor (assumed)."""
ASSUMED_SCATTER = 0.7
"""Scatter of the rise over remounts where the class's is not given (assumed; weak, *common practice, no source*).
[K]"""


@dataclass(frozen=True, eq=False)
class Remounts:
    """The mean over mounts of a state, with its scatter.

    Attributes
    ----------
    mounts : tuple of str
    resistances, uncertainties : ndarray, shape (n,)
        Of each mount, as read: mean of the sensors above the coolant over power. [K/W]
    bad : ndarray, shape (n,)
        Probability that a mount is a bad one.
    resistance, uncertainty : float
        Of a good mount, on the average. [K/W]
    scatter, scatter_uncertainty : float
        Standard deviation of good mounts. [K/W]
    scatter_from : {"class", "class and data"}
    class_scatter : float
        [K/W]
    assumed : bool
        Whether the class's scatter was not given.
    """

    mounts: tuple[str, ...]
    resistances: NDArray[np.float64]
    uncertainties: NDArray[np.float64]
    bad: NDArray[np.float64]
    resistance: float
    uncertainty: float
    scatter: float
    scatter_uncertainty: float
    scatter_from: Literal["class", "class and data"]
    class_scatter: float
    assumed: bool

    @property
    def table(self) -> Table:
        """A row a mount, and the mean."""
        columns = (
            Column("mount", "mount"), Column("resistance", "resistance [K/W]", ".5f"),
            Column("u", "standard uncertainty [K/W]", ".5f"), Column("bad", "chance of a bad mount", ".2f"),
        )  # fmt: skip
        each = zip(self.mounts, self.resistances, self.uncertainties, self.bad, strict=True)
        rows: list[tuple[Any, ...]] = [(m, float(r), float(u), float(b)) for m, r, u, b in each]
        rows.append(("mean of good mounts", self.resistance, self.uncertainty, None))
        return Table(columns, tuple(rows), "Mounts of one state", tuple(self._notes()))

    def _notes(self) -> list[str]:
        kind = "assumed" if self.assumed else "the class's"
        scatter = f"Scatter of good mounts {self.scatter:.2g} K/W (sd {self.scatter_uncertainty:.1g} K/W)"
        if self.scatter_from == "class":
            return [f"{scatter}: with one mount it comes from the class ({kind}), not from the data."]
        return [f"{scatter}: from {len(self.mounts)} mounts and the class ({kind} {self.class_scatter:.2g} K/W)."]

    def __str__(self) -> str:
        return str(self.table)

    def _repr_html_(self) -> str:
        return self.table._repr_html_()

    def to_dict(self) -> dict[str, Any]:
        """Return everything as plain data, SI."""
        return {k: v.tolist() if isinstance(v, np.ndarray) else v for k, v in vars(self).items()}


def pool_mounts(
    readings: Sequence[Reading], *, scatter: ValueLike | None = None, sensors: Iterable[str] | None = None
) -> Remounts:
    """Return the mean of the mounts of one state, with their scatter.

    Parameters
    ----------
    readings : sequence of Reading
        Of one state. Those with one mount label share a mount: levels under load are averaged by their uncertainties,
        idle ones say too little of a resistance and are left out. Without labels, each reading is a mount.
    scatter : value, optional
        Standard deviation of good mounts by the class of the joints that are remade. [K/W] Left out, 0.7 K at the
        readings' power is assumed, and said so.
    sensors : iterable of str, optional
        Over whose mean; by default all that every reading has.

    Raises
    ------
    InputError
        No reading under load, no common sensor, a scatter of zero.
    UnknownNameError
        A sensor that a reading does not have.
    """
    loaded = [reading for reading in readings if not reading.idle]
    if not loaded:
        raise InputError("no reading under load", where="readings", expected="one at least for a mount")
    common = [name for name in loaded[0].sensors if all(name in reading.sensors for reading in loaded)]
    names = common if sensors is None else list(sensors)
    for name in names:
        if name not in common:
            raise UnknownNameError(f"{name!r} is not in every reading", where="sensors", expected=suggest(name, common))
    if not names:
        raise InputError(
            "no sensor that every reading has", where="readings", expected="the same sensors before and after"
        )
    by_mount: dict[str, list[tuple[float, float]]] = {}
    for number, reading in enumerate(loaded, 1):
        at = [reading.sensors.index(name) for name in names]
        weights = np.zeros(len(reading.sensors))
        weights[at] = 1 / len(at)
        figure = float(weights @ reading.resistance), float(weights @ reading.resistance_covariance @ weights)
        by_mount.setdefault(reading.mount or f"{number}", []).append(figure)
    values, variances = np.array([_averaged(figures) for figures in by_mount.values()]).T
    power = float(np.mean([reading.power for reading in loaded]))
    own = ASSUMED_SCATTER / power if scatter is None else parse(scatter, "resistance", "scatter").si
    if own <= 0:
        raise InputError(f"{scatter} is no scatter", where="scatter", expected="such as '0.003 K/W'")
    mean, u, width, u_width, bad = posterior(values, variances, own)
    return Remounts(
        tuple(by_mount), values, np.sqrt(variances), bad, mean, u, width, u_width,
        "class" if len(values) == 1 else "class and data", own, scatter is None,
    )  # fmt: skip


def _averaged(figures: list[tuple[float, float]]) -> tuple[float, float]:
    """Return the mean weighted by inverse variances, and its variance (plain where one has none)."""
    values, variances = np.array(figures).T
    if (variances <= 0).any():
        return float(values.mean()), float(variances.mean() / len(values))
    weights = 1 / variances
    return float(weights @ values / weights.sum()), float(1 / weights.sum())


def posterior(
    values: NDArray[np.float64], variances: NDArray[np.float64], scatter: float
) -> tuple[float, float, float, float, NDArray[np.float64]]:
    """Return what n mounts tell of good ones: mean, its uncertainty, scatter, its uncertainty; and the chance of each
    to be bad.

    Parameters
    ----------
    values, variances : ndarray, shape (n,)
        Of each mount, and the variance of its reading.
    scatter : float
        Of the class, known to a factor of 2 (lognormal).
    """
    widths = scatter * np.exp(np.linspace(-3.5, 3.5, 57) * math.log(FACTOR))
    # fine about the values, and far out, since the widest scatter moves a bad mount far from the good ones
    fine = scatter + float(np.sqrt(variances.max()))
    end = math.asinh(200 + 2 * float(np.ptp(values)) / fine)
    places = np.linspace(-end, end, 1001)
    centres = float(np.median(values)) + fine * np.sinh(places)
    prior = norm.logpdf(np.log(widths / scatter), scale=math.log(FACTOR))
    v, s = values[:, None, None], widths[None, None, :]
    good = math.log(1 - BAD) + norm.logpdf(v, centres[:, None], np.sqrt(s**2 + variances[:, None, None]))
    wide = np.sqrt((WIDTH * s) ** 2 + variances[:, None, None])
    wrong = math.log(BAD) + norm.logpdf(v, centres[:, None] + SHIFT * s, wide)
    either = np.logaddexp(good, wrong)
    weight = either.sum(axis=0) + prior + np.log(np.cosh(places))[:, None]
    weight = np.exp(weight - logsumexp(weight))
    of_centre, of_width = weight.sum(axis=1), weight.sum(axis=0)
    mean, width = float(of_centre @ centres), float(of_width @ widths)
    u = math.sqrt(float(of_centre @ (centres - mean) ** 2))
    u_width = math.sqrt(float(of_width @ (widths - width) ** 2))
    return mean, u, width, u_width, np.asarray((np.exp(wrong - either) * weight).sum(axis=(1, 2)))
