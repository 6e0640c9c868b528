"""Two logs of different loggers on one axis of time."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..units import ValueLike, parse, show
from .log import Log

__all__ = ["join_logs"]

_USUAL_INTERVALS = 3.0


def join_logs(a: Log, b: Log, *, skew: ValueLike = "0 s", largest_gap: ValueLike | None = None) -> Log:
    """Return the log `a` with the columns of the log `b` brought to its times.

    A moment that `a` calls *t* is called *t + skew* by `b`. Where both logs tell their start, times are those of the
    two clocks; where neither does, they count from the first row of each log, and the skew is what `b` showed when `a`
    began.

    Values of `b` are interpolated linearly between its neighbouring rows, which smooths their noise by up to a half of
    its variance; a flag is set where either neighbour is. Nothing is interpolated across a gap longer than
    `largest_gap`, nor across cells that are not available for longer than that: there the joined log holds NaN. Rows
    of `a` that `b` does not cover are left out.

    Parameters
    ----------
    a, b : Log
        Without a name in common.
    skew : value of time
        How much the clock of `b` is ahead of that of `a`: ``"1.5 s"``; negative where it is behind.
    largest_gap : value of time, optional
        By default three times the usual interval of `b`.

    Raises
    ------
    InputError
        A name stands in both, one log tells its start and the other does not, they do not overlap, or a value of time
        is not one.
    """
    twice = sorted(set(a.values) & set(b.values))
    if twice:
        raise InputError(f"{', '.join(map(repr, twice))} in both logs", where="join_logs",
                         expected="names that differ: map the columns of one under other names")  # fmt: skip
    for log in (a, b):
        if len(log.time) < 2:
            raise InputError(f"{log.source} holds one row", where="join_logs", expected="two rows at least")
    ahead = parse(skew, "time", where="skew").si
    usual = float(np.median(np.diff(b.time)))
    gap = _USUAL_INTERVALS * usual if largest_gap is None else parse(largest_gap, "time", where="largest_gap").si
    if not gap > 0.0:
        raise InputError(f"{gap:g} s is no length of a gap", where="largest_gap", expected="for example '5 s'")
    theirs = b.time + _between_starts(a.start, b.start, a.source, b.source) - ahead
    inside = (a.time >= theirs[0]) & (a.time <= theirs[-1])
    if not inside.any():
        raise InputError(f"{b.source} lasts from {theirs[0]:g} to {theirs[-1]:g} s after the start of {a.source}, "
                         f"which ends at {a.time[-1]:g} s", where="join_logs",
                         expected="logs that overlap; another skew")  # fmt: skip
    time = a.time[inside]
    values = {name: value[inside] for name, value in a.values.items()}
    for name, value in b.values.items():
        values[name] = _brought(time, theirs, value, gap, flag=b.roles[name] == "limit")
    start = None if a.start is None else a.start + timedelta(seconds=float(time[0]))
    notes = [*a.notes, *(f"{b.source}: {note}" for note in b.notes)]
    notes.append(
        f"joined with {b.source}, its clock taken {show(ahead, 'time')} ahead; its values are interpolated within gaps "
        f"of at most {show(gap, 'time')}"
    )
    left_out = int(np.count_nonzero(~inside))
    if left_out:
        notes.append(f"{left_out} rows of {a.source} that {b.source} does not cover were left out")
    return Log(time - time[0], values, {**a.roles, **b.roles}, f"{a.source} + {b.source}", start, tuple(notes))


def _between_starts(a: datetime | None, b: datetime | None, name_a: str, name_b: str) -> float:
    """Return how much later the first row of b is than that of a, by their clocks; 0 where neither tells."""
    if a is None and b is None:
        return 0.0
    right = "read_log(..., date='2026-03-01') for the one without"
    if a is None or b is None:
        without = name_a if a is None else name_b
        raise InputError(f"{without} does not tell its date and the other log does", where="join_logs", expected=right)
    if (a.tzinfo is None) != (b.tzinfo is None):
        raise InputError("one log tells its time zone and the other does not", where="join_logs",
                         expected="both or neither; dataclasses.replace(log, start=...) sets it")  # fmt: skip
    return (b - a).total_seconds()


def _brought(
    time: NDArray[np.float64], theirs: NDArray[np.float64], value: NDArray[np.float64], gap: float, *, flag: bool
) -> NDArray[np.float64]:
    """Return a column at other times, NaN where its two neighbours lie further apart than `gap`."""
    there = ~np.isnan(value)
    if not there.any():
        return np.full(len(time), np.nan)
    known, numbers = theirs[there], value[there]
    after = np.searchsorted(known, time, side="left")
    right = np.minimum(after, len(known) - 1)
    left = np.where(known[right] == time, right, right - 1)
    outside = (after == len(known)) | (left < 0)
    left = np.maximum(left, 0)
    width = known[right] - known[left]
    share = np.divide(time - known[left], width, out=np.zeros(len(time)), where=width > 0)
    if flag:
        result = np.maximum(numbers[left], numbers[right])
    else:
        result = numbers[left] + share * (numbers[right] - numbers[left])
    result[outside | (width > gap)] = np.nan
    return result
