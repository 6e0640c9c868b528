"""The order of a log's times: never backwards, equal ones merged, gaps told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..errors import FileError
from .log import Role

__all__ = ["Duplicates", "check_order", "merge_equal_times", "sampling"]

Duplicates = Literal["average", "first"]
PIECE = 32_768
"""Rows that are looked at in one go."""


def check_order(
    seconds: NDArray[np.float64], lines: NDArray[np.int64], at: tuple[str, str], headers: Sequence[int]
) -> None:
    """Raise a `FileError` that names the line where time goes backwards.

    Parameters
    ----------
    seconds, lines : ndarray, shape (N,)
        Of the rows that are kept.
    at : tuple of str
        The file, and the header of the column of time.
    headers : sequence of int
        Lines of the headers of the sections.
    """
    if np.all(seconds[1:] >= seconds[:-1]):
        return
    steps = np.diff(seconds)
    row = int(np.argmax(steps < 0.0)) + 1
    right = "rows in the order of time"
    if len(headers) > 1:
        right += f"; of {len(headers)} sections, one: read_log(..., section=1)"
    raise FileError(f"time goes back by {-steps[row - 1]:g} s from line {lines[row - 1]}",
                    where=f"{at[0]}, line {lines[row]}, column {at[1]!r}", expected=right)  # fmt: skip


def merge_equal_times(
    seconds: NDArray[np.float64], values: Mapping[str, NDArray[np.float64]], roles: Mapping[str, Role],
    duplicates: Duplicates, notes: list[str],
) -> tuple[NDArray[np.float64], dict[str, NDArray[np.float64]]]:  # fmt: skip
    """Return times that rise strictly: rows of one time become their mean, or the first of them.

    Cells that are not available do not count; a flag is set where it was set in any of the rows.
    """
    if np.all(seconds[1:] > seconds[:-1]):
        return seconds, dict(values)
    first = np.flatnonzero(np.r_[True, np.diff(seconds) > 0.0])
    kept = "averaged" if duplicates == "average" else "left out but for the first"
    notes.append(f"rows with the time of the row before: {len(seconds) - len(first)}; rows of one time were {kept}")
    if duplicates == "first":
        return seconds[first], {name: value[first] for name, value in values.items()}
    merged = {}
    for name, value in values.items():
        if roles[name] == "limit":
            merged[name] = np.fmax.reduceat(value, first)
            continue
        there = ~np.isnan(value)
        count = np.add.reduceat(there.astype(np.int64), first)
        total = np.add.reduceat(np.where(there, value, 0.0), first)
        merged[name] = np.divide(total, count, out=np.full(len(first), np.nan), where=count > 0)
    return seconds[first], merged


def _even(seconds: NDArray[np.float64]) -> bool:
    """Tell whether no interval is longer than five times the shortest; in pieces that stay in the processor's cache."""
    ends = []
    for first in range(0, len(seconds) - 1, PIECE):
        piece = seconds[first : first + PIECE + 1]
        steps = piece[1:] - piece[:-1]
        ends.append((float(steps.min()), float(steps.max())))
    return max(high for _, high in ends) <= 5.0 * min(low for low, _ in ends)


def sampling(seconds: NDArray[np.float64]) -> list[str]:
    """Return a note on gaps that are longer than five usual intervals."""
    if len(seconds) < 2 or _even(seconds):
        return []
    steps = np.diff(seconds)
    usual = float(np.median(steps))
    gaps = np.flatnonzero(steps > 5.0 * usual)
    if not len(gaps):
        return []
    longest = int(gaps[np.argmax(steps[gaps])])
    return [
        f"gaps of more than five intervals of {usual:g} s: {len(gaps)}, the longest of {steps[longest]:g} s "
        f"at {seconds[longest] - seconds[0]:g} s"
    ]
