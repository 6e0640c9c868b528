"""Where a log is steady: the tests that a stretch of it has to pass, on die minus coolant.

Die, lid and cold plate settle in about 10 s, the coolant loop in many minutes, and die minus coolant follows the former
(*common practice, no source*). So the coolant may still drift, slowly: a drift of v falsifies die minus coolant by
about v · 10 s.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from .blocks import Blocks
from .flags import lasting
from .mean import ENOUGH, correlation_times, random_walk_evidence

__all__ = ["COOLANT_TOLD", "STARTS", "Judgement", "drift", "judge"]

SETTLING = 10.0
"""Of die, lid and plate. [s]"""
COOLANT_TOLD, COOLANT_MOST = 0.1 / 60, 0.6 / 60
"""Drift of the coolant that is told (a bench habit: *common practice, no source*), and one that falsifies die minus
coolant by 0.1 K within `SETTLING`. [K/s]"""
DRIFT_LEAST, DRIFT_SHARE = 0.1, 0.005
"""Change of die minus coolant over a window that is of no consequence, however significant: in K, or of itself."""
SIGNIFICANT = 0.01
FEWEST_TIMES = 15.0
"""Correlation times: with fewer in the window, a wander cannot be told from a drift or a random walk."""
STARTS = (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7)
"""Where in what follows the soak a window may begin; it lasts to the end."""


@dataclass(frozen=True)
class Judgement:
    """Whether a stretch is steady, and why.

    Attributes
    ----------
    steady : bool
    why : str
        The figures behind it, or what is wrong.
    kind : {"", "drift", "wander", "coolant drift"}
        What is wrong.
    coolant_drift : float
        [K/s]
    """

    steady: bool
    why: str
    kind: str
    coolant_drift: float


def drift(time: NDArray[np.float64], means: NDArray[np.float64]) -> tuple[float, float]:
    """Return the slope of a series and its two-sided tail probability.

    Least squares; the variance of the slope from eight cosines of what remains, so that a slow wander counts as noise.

    Parameters
    ----------
    time, means : ndarray, shape (B,)
        Of blocks; NaN where there is none.
    """
    here = np.isfinite(means)
    t, y = time[here] - time[here].mean(), means[here] - means[here].mean()
    n = len(t)
    if n < 4:
        return 0.0, 1.0
    slope = float(t @ y / (t @ t))
    number = int(min(8, n // 4))
    waves = np.cos(np.pi * np.outer(np.arange(1, number + 1), (np.arange(n) + 0.5) / n))
    # the fitted line takes one degree of freedom, nearly all of it from the first cosine
    power = 2 / n * np.sum((waves @ (y - slope * t)) ** 2) / max(number - 1, 1)
    if power <= 0:
        return slope, 0.0 if slope else 1.0
    return slope, float(2 * student.sf(abs(slope) / np.sqrt(power / (t @ t)), max(number - 1, 1)))


def judge(
    blocks: Blocks, rise: NDArray[np.float64], coolant: NDArray[np.float64] | None, again: bool = False
) -> Judgement:
    """Return whether a stretch is steady.

    Parameters
    ----------
    blocks : Blocks
        Of the stretch.
    rise : ndarray, shape (B,)
        Die minus coolant, mean over sensors.
    coolant : ndarray, shape (B,), or None where none was logged
    again : bool
        Whether a longer stretch was refused: a random walk that is tried often enough passes any test, so that more is
        asked.
    """
    span = blocks.width * len(rise)
    minutes = lasting(span)
    slope, chance = drift(blocks.time, rise)
    moved, allowed = abs(slope) * span, max(DRIFT_LEAST, DRIFT_SHARE * abs(float(np.nanmean(rise))))
    speed = 0.0 if coolant is None else drift(blocks.time, coolant)[0]
    if moved > allowed and chance < SIGNIFICANT:
        text = f"die minus coolant moves by {moved:.2g} K within {minutes} (allowed are {allowed:.2g} K)"
        return Judgement(False, text, "drift", speed)
    if abs(speed) > COOLANT_MOST:
        text = f"the coolant drifts by {60 * abs(speed):.2g} K/min (allowed are {60 * COOLANT_MOST:.2g} K/min)"
        return Judgement(False, text, "coolant drift", speed)
    times = correlation_times(rise)
    fewest, most = (ENOUGH, -2.0) if again else (FEWEST_TIMES, 0.0)
    whole = rise[np.isfinite(rise)]
    eighths = np.array([part.mean() for part in np.array_split(whole, 8) if len(part)])
    wander = float(np.ptp(eighths)) if len(eighths) else 0.0
    if wander > 2 * allowed and (times < fewest or random_walk_evidence(rise) > most):
        needed = lasting(span * fewest / times)
        text = (
            f"die minus coolant wanders by {wander:.2g} K, and {minutes} hold only {times:.0f} correlation times of it"
        )
        return Judgement(False, f"{text}: log {needed} at least, or steady what wanders", "wander", speed)
    why = (
        f"die minus coolant moves by {moved:.2g} K within {minutes} (allowed are {allowed:.2g} K; p = {chance:.2g}), "
        f"coolant by {60 * abs(speed):.2g} K/min; {times:.0f} correlation times or more"
    )
    return Judgement(True, why, "", speed)
