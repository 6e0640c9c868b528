"""How long a log must be: until its mean is so well known that it no longer matters against the mounts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import InputError
from ..measured.mean import ENOUGH
from ..measured.reading import Reading
from ..units import ValueLike, parse

__all__ = ["CORRELATION", "NOISE", "Noise", "log_length", "noise_of"]

NOISE, CORRELATION = "0.5 K", "20 s"
"""Of die minus coolant at a steady load, one row, and its correlation time (assumed; *common practice, no source*)."""


@dataclass(frozen=True)
class Noise:
    """How a steady log of die minus coolant wanders.

    Attributes
    ----------
    sd : float
        Of one row. [K]
    correlation_time : float
        Integrated: twice the time constant of what forgets exponentially. [s]
    source : str
        Where the two come from.
    """

    sd: float
    correlation_time: float
    source: str

    def uncertainty(self, length: float) -> float:
        """Return the standard uncertainty of the mean of a log so long, u = s √(τ/L). [K]"""
        return float(self.sd * np.sqrt(self.correlation_time / length))


def log_length(uncertainty: float, noise: Noise) -> float:
    """Return how long a steady window must be for its mean to be known so well. [s]

    L = τ (s/u)² (the variance of the mean of a long stationary series, Anderson 1971, *The Statistical Analysis of Time
    Series*, 8.3), and no shorter than 50 correlation times, below which a reading gives a bound, not an estimate.

    Parameters
    ----------
    uncertainty : float
        u, above zero. [K]
    noise : Noise
    """
    if uncertainty <= 0:
        raise InputError(f"{uncertainty:g} K cannot be reached", where="uncertainty", expected="above zero")
    return max(noise.correlation_time * (noise.sd / uncertainty) ** 2, ENOUGH * noise.correlation_time)


def noise_of(log: Reading | None, noise: ValueLike | None, correlation_time: ValueLike | None) -> Noise:
    """Return how a log wanders: as a first reading shows, as told, or as assumed.

    Of a reading, the variance of the mean of its sensors over the coolant, without the part by resolution (which no
    longer log takes away), is that of its window: s² τ = u² L. Its correlation time is an upper bound: a reading tells
    none shorter than a block of its window.

    Raises
    ------
    InputError
        A typed reading, which has no window; values not above zero.
    """
    if log is None:
        found = [parse(value, kind, name).si for value, kind, name in (
            (noise or NOISE, "temperature difference", "noise"),
            (correlation_time or CORRELATION, "time", "correlation_time"),
        )]  # fmt: skip
        for value, name, right in zip(found, ("noise", "correlation_time"), (NOISE, CORRELATION), strict=True):
            if value <= 0:
                raise InputError("must lie above zero", where=name, expected=f"such as '{right}'")
        told = [name for given, name in ((noise, "noise"), (correlation_time, "correlation time")) if given is None]
        return Noise(found[0], found[1], f"{' and '.join(told)} assumed" if told else "as told")
    if not isinstance(log, Reading) or log.window is None or not log.correlation_times > 0:
        raise InputError(
            "tells nothing of how a log wanders", where="log", expected="a reading of a log: read_log(…).steady()"
        )
    length = log.window[1] - log.window[0]
    weights = np.full(len(log.sensors), 1 / len(log.sensors))
    steps = sum(log.resolution.get(name, 0.0) ** 2 for name in log.sensors) / len(log.sensors) ** 2
    variance = max(float(weights @ log.rise_covariance @ weights) - steps, 1e-8)
    time = length / log.correlation_times
    return Noise(float(np.sqrt(variance * length / time)), time, f"from {log.source}; correlation time at most")
