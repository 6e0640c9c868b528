"""Whether the readings, all together, could have come from what was described; and which one stands out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..tables import format_number
from ..units import convert
from .predictive import Drawn

__all__ = ["Contradiction", "contradiction_in"]

CLEAR = 0.01
"""Chance below which readings are said to contradict each other."""


@dataclass(frozen=True)
class Contradiction:
    """How far all readings together lie from what was to be expected of them.

    Attributes
    ----------
    distance : float
        Mahalanobis distance. [sd]
    data : int
    p : float
        Chance that readings of the described stack lie as far off or farther, from the draws.
    least : float
        The least that so many draws can tell.
    name : str
        Reading and sensor that stands out most against all others.
    read, expected, sd : float
        What it reads, and what is to be expected of it given all the others. [K]
    """

    distance: float
    data: int
    p: float
    least: float
    name: str
    read: float
    expected: float
    sd: float

    @property
    def clear(self) -> bool:
        """Whether the readings contradict each other or the description."""
        return self.p < CLEAR

    def __str__(self) -> str:
        read, expected = (float(convert(x, "temperature")) for x in (self.read, self.expected))
        signed = f"{(self.read - self.expected) / self.sd:+.1f}".replace("-", "−")
        word = "contradict" if self.clear else "agree with"
        text = (
            f"All {self.data} readings together {word} the description: {format_number(self.distance, 3)} standard "
            f"deviations off (p {'<' if self.p <= self.least else '='} {format_number(self.p, 2)})"
        )
        if self.data == 1:
            return f"{text}."
        return (
            f"{text}; most against all others stands {self.name}, which reads {read:.1f} °C where {expected:.1f} °C "
            f"(sd {self.sd:.2f} K) follows from them ({signed} sd)."
        )

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        return vars(self).copy()


def contradiction_in(drawn: Drawn) -> Contradiction:
    """Return how far the readings lie from the draws, by their mean and covariance.

    Given all others, reading i is expected at dᵢ − (P r)ᵢ/Pᵢᵢ with standard deviation 1/√Pᵢᵢ, P the inverse of the
    covariance and r the residuals.
    """
    y, d = drawn.repeated, drawn.model.observed
    mean = y.mean(axis=0)
    precision = np.linalg.inv(np.atleast_2d(np.cov(y.T)) + 1e-9 * np.eye(len(d)))
    residual = d - mean
    apart = y - mean
    square = float(residual @ precision @ residual)
    simulated = np.einsum("sd,de,se->s", apart, precision, apart)
    least = 1 / (len(simulated) + 1)
    p = (int(np.sum(simulated >= square)) + 1) * least
    sd = 1.0 / np.sqrt(np.diag(precision))
    off = (precision @ residual) * sd**2
    worst = int(np.argmax(np.abs(off) / sd))
    return Contradiction(
        float(np.sqrt(square)), len(d), p, least, drawn.model.names[worst], float(d[worst]),
        float(d[worst] - off[worst]), float(sd[worst]),
    )  # fmt: skip
