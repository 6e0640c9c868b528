"""Where a log changes its level, and where it has gaps."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .blocks import usual_interval
from .flags import Flag, lasting

__all__ = ["Change", "gaps", "level_changes", "robust_sd"]

GAP_ROWS, GAP_SECONDS = 5.0, 60.0
"""A pause of more than 5 usual intervals is told; one of more than a minute too ends a window, as a package can leave
and reach its steady state in it (*common practice, no source*: die, lid and plate settle in about 10 s)."""

Change = tuple[float, float]
"""When, and by how much."""


def robust_sd(values: NDArray[np.float64]) -> float:
    """Return 1.4826 times the median absolute deviation of what is finite: the standard deviation of normal noise."""
    here = values[np.isfinite(values)]
    return float(1.4826 * np.median(np.abs(here - np.median(here)))) if len(here) else 0.0


def level_changes(time: NDArray[np.float64], values: NDArray[np.float64], span: float, least: float) -> list[Change]:
    """Return where the mean over `span` before differs from the mean over `span` after.

    Parameters
    ----------
    time : ndarray, shape (B,)
        Rising. [s]
    values : ndarray, shape (B,)
        NaN where nothing was recorded.
    span : float
        [s]
    least : float
        Smallest change that counts; it must also exceed six standard deviations of what noise from block to block makes
        of the difference. A load that swings much faster than `span` averages out.
    """
    here = np.isfinite(values)
    sums = np.append(0.0, np.cumsum(np.where(here, values, 0.0)))
    counts = np.append(0, np.cumsum(here))
    before, after = np.searchsorted(time, time - span), np.searchsorted(time, time + span)
    middle = np.arange(len(time))

    def mean(low: NDArray[np.intp], high: NDArray[np.intp]) -> NDArray[np.float64]:
        n = counts[high] - counts[low]
        means: NDArray[np.float64] = np.divide(sums[high] - sums[low], n, out=np.full(len(n), np.nan), where=n > 0)
        return means

    difference = mean(middle, after) - mean(before, middle)
    size = np.nan_to_num(np.abs(difference))
    blocks = max(1.0, span / float(np.median(np.diff(time))))
    above = size > max(least, 6 * robust_sd(np.diff(values)) / np.sqrt(blocks))  # √2 of the two means, 1/√2 of diff
    edges = np.flatnonzero(np.diff(np.concatenate([[False], above, [False]]).astype(np.int8)))
    changes = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        top = first + int(size[first:last].argmax())
        changes.append((float(time[top]), float(difference[top])))
    return changes


def gaps(time: NDArray[np.float64]) -> tuple[list[Flag], list[float]]:
    """Return flags of pauses in recording, and the times after those too long to be bridged."""
    steps = np.diff(time)
    usual = usual_interval(time)
    long = np.flatnonzero(steps > max(GAP_ROWS * usual, 1e-9))
    ends = [float(time[i + 1]) for i in long if steps[i] > max(GAP_SECONDS, GAP_ROWS * usual)]
    if len(long) > 10:
        text = f"{len(long)} pauses in recording of up to {lasting(float(steps[long].max()))}"
        return [Flag("gap", text, float(time[long[0]]), float(time[long[-1] + 1]))], ends
    return [
        Flag("gap", f"nothing recorded for {lasting(float(steps[i]))}", float(time[i]), float(time[i + 1]))
        for i in long
    ], ends
