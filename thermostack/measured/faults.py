"""What may be wrong with a log: sensors that stick or jump, single wild rows, throttling, a fan or pump not fixed.

The limits are common practice, no source, unless their reason stands beside them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .changes import robust_sd
from .flags import Flag, Kind, lasting
from .log import Log

__all__ = ["clock_drops", "limits", "not_fixed", "stuck_all_along", "stuck_in", "without_outliers"]

SPIKE = 5.0
"""A temperature that leaves by this and is back after at most `SHORT` rows, while power stays, is not one. [K]"""
SHORT = 3
NOISES = 12.0
"""... and by this many robust standard deviations of the change from row to row."""
PIECE = 32_768
ENOUGH_ROWS = 20_000
"""Rows that are looked at where a tenth of the rows of a window would tell."""
SWING = 0.05
"""Speed of a fan or pump, or clock, relative to its mean, that is no longer called fixed."""


def without_outliers(log: Log, name: str, power: NDArray[np.float64] | None) -> tuple[NDArray[np.float64], list[Flag]]:
    """Return a temperature without rows that jump away and back, and a flag that tells how many there were."""
    column = log.values[name]
    stride = max(1, len(column) // 20_000)
    some = column[1::stride] - column[:-1:stride]
    levels = np.abs(some[np.nonzero(some)])
    step = float(np.nanmin(levels)) if np.isfinite(levels).any() else 0.0
    limit = max(SPIKE, NOISES * robust_sd(some), 3 * step if step < SPIKE else 0.0)
    wild = _jumps(column, limit)
    if len(wild) < 2:
        return column, []
    change = column[wild + 1] - column[wild]
    # from one jump to the next that goes back, a few rows on
    near = np.diff(wild) <= SHORT
    back = np.sign(change[1:]) != np.sign(change[:-1])
    alike = np.abs(change[1:] + change[:-1]) < 0.5 * np.abs(change[:-1])
    rows: list[int] = []
    for first, last in zip(wild[:-1][near & back & alike], wild[1:][near & back & alike], strict=True):
        inside = np.arange(first + 1, last + 1)
        if rows and inside[0] == rows[-1] + 1:
            continue  # the way back from one spike is not another
        if power is not None:
            around = power[max(0, first - 2) : last + 3]
            if np.isfinite(around).any() and np.nanmax(around) - np.nanmin(around) > 0.2 * np.nanmax(around):
                continue  # the load paused: the die did cool down
        rows += list(inside)
    if not rows:
        return column, []
    clean = column.copy()
    clean[rows] = np.nan
    farthest = float(np.abs(column[rows] - np.nanmedian(clean)).max())
    text = f"{name}: {len(rows)} rows up to {farthest:.0f} K away from the rest are left out"
    return clean, [Flag("outliers", text, float(log.time[rows[0]]), float(log.time[rows[-1]]), name)]


def _jumps(column: NDArray[np.float64], limit: float) -> NDArray[np.intp]:
    """Return the rows after which a column changes by more than a limit; in pieces that stay in the processor's
    cache.
    """
    found = []
    for first in range(0, len(column) - 1, PIECE):
        piece = column[first : first + PIECE + 1]
        change = piece[1:] - piece[:-1]
        if not (change.max() <= limit and change.min() >= -limit):  # also where a value is missing
            found.append(first + np.flatnonzero(np.abs(change) > limit))
    return np.concatenate(found) if found else np.array([], dtype=np.intp)


def stuck_all_along(log: Log, names: tuple[str, ...], moved: float) -> list[Flag]:
    """Return a flag for each sensor that never changes while others do, or while the power changes by `moved` of
    itself.
    """
    constant, others = [], 0.0
    for name in names:
        spread = _spread(log.values[name][:: max(1, len(log.time) // ENOUGH_ROWS)]) or _spread(log.values[name])
        constant += [name] if spread == 0 else []
        others = max(others, spread)
    if others < 2.0 and moved < 0.2:
        return []
    return [
        Flag("stuck", f"{name} never changes; it is left out", float(log.time[0]), float(log.time[-1]), name)
        for name in constant
    ]


def _spread(values: NDArray[np.float64]) -> float:
    here = values[np.isfinite(values)]
    return float(np.ptp(here)) if len(here) else 0.0


def stuck_in(time: NDArray[np.float64], column: NDArray[np.float64], name: str) -> list[Flag]:
    """Return a flag if a sensor that otherwise moves holds one value for a long part of a window.

    Long is a tenth of the window and 25 times the usual run of equal values: a random run is so long once in e²⁵.
    """
    rows = np.arange(0, len(column), max(1, len(column) // ENOUGH_ROWS))
    rows = rows[np.isfinite(column[rows])]
    moves = np.flatnonzero(np.diff(column[rows]))
    if len(moves) < 20:
        return []
    bounds = np.concatenate([[-1], moves, [len(rows) - 1]])
    runs = np.diff(bounds)
    longest = int(runs.argmax())
    if runs[longest] < max(0.1 * len(rows), 25 * (len(rows) - int(runs[longest])) / (len(runs) - 1)):
        return []
    first, last = float(time[rows[bounds[longest] + 1]]), float(time[rows[bounds[longest + 1]]])
    text = f"{name} holds one value for {lasting(last - first)}, and moves otherwise"
    return [Flag("stuck", text, first, last, name)]


def limits(log: Log) -> list[Flag]:
    """Return a flag for each column that tells of throttling in any row."""
    flags = []
    for name in log.of_role("limit"):
        rows = np.flatnonzero(np.nan_to_num(log.values[name]) != 0)
        if len(rows):
            share = len(rows) / len(log.time)
            text = f"{name} tells of throttling in {len(rows)} rows ({100 * share:.2g} % of the log)"
            flags.append(Flag("throttling", text, float(log.time[rows[0]]), float(log.time[rows[-1]]), name))
    return flags


def clock_drops(time: NDArray[np.float64], means: NDArray[np.float64], name: str) -> list[Flag]:
    """Return a flag if the clock falls below its usual value: throttling, or another load.

    Parameters
    ----------
    time, means : ndarray, shape (B,)
        Of blocks in the window.
    """
    here = np.isfinite(means)
    if not here.any():
        return []
    usual = float(np.median(means[here]))
    low = np.flatnonzero(here & (means < (1 - SWING) * usual))
    if not len(low):
        return []
    text = f"{name} drops to {100 * float(means[low].min()) / usual:.0f} % of its median: throttling or another load"
    return [Flag("throttling", text, float(time[low[0]]), float(time[low[-1]]), name)]


def not_fixed(time: NDArray[np.float64], means: NDArray[np.float64], name: str, kind: Kind) -> list[Flag]:
    """Return a flag if the speed of a fan or pump changes by more than 5 % over a window, scatter apart."""
    here = means[np.isfinite(means)]
    if len(here) < 8 or not np.mean(here):
        return []
    eighths = [float(part.mean()) for part in np.array_split(here, 8)]
    swing = (max(eighths) - min(eighths)) / abs(float(np.mean(here)))
    if swing <= SWING:
        return []
    text = f"{name} changes by {100 * swing:.0f} % within the window: fix it for a comparison"
    return [Flag(kind, text, float(time[0]), float(time[-1]), name)]
