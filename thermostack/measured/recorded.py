"""Cells of a log to times in seconds and values in SI, row by row; nothing is dropped yet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import FileError, InputError, UnitError
from ..units import to_si
from .cells import LARGEST, decimal_of, flags, numbers
from .clock import DAY, Dates, Times, read_times
from .header_units import CLOCK_FORMATS, known_unit, unit_of
from .log import Role
from .mapping import Column
from .rows import Rows

__all__ = ["Recorded", "decimal_sign", "recorded_of"]


@dataclass(frozen=True, eq=False)
class Recorded:
    """All rows of a log.

    Attributes
    ----------
    where : str
        The file.
    lines : ndarray of int, shape (N,)
        Number of the line of each row.
    times : Times
        Of each row.
    time_header : str
        Of the column of time.
    values : dict of str to ndarray, shape (N,)
        In SI; NaN where a cell is empty, not available, or not a number.
    bad : dict of str to ndarray of bool, shape (N,)
        Where a cell is not a number.
    roles, headers : dict
        By name, as `values`.
    reasons : dict of int to str
        Rows that could not be split into cells, and why.
    """

    where: str
    lines: NDArray[np.int64]
    times: Times
    time_header: str
    values: dict[str, NDArray[np.float64]]
    bad: dict[str, NDArray[np.bool_]]
    roles: dict[str, Role]
    headers: dict[str, str]
    reasons: dict[int, str]


def decimal_sign(parts: Sequence[Rows], used: str) -> str | None:
    """Return the decimal sign by the cells that are still text, None where they do not tell it.

    Parameters
    ----------
    parts : sequence of Rows
        Read with the decimal sign `used`, which is right where numbers with a fraction came out of it.
    """
    import pandas as pd

    cells = [
        own
        for part in parts
        for own, column in zip(part.cells, part.layout.columns, strict=True)
        if column.kind != "limit"
    ]
    texts = {c for own in cells if own.dtype == object for c in pd.unique(own) if isinstance(c, str)}
    sign = decimal_of(texts)
    if sign is None and any(np.any(np.mod(own[np.isfinite(own)], 1.0)) for own in cells if own.dtype.kind == "f"):
        return used
    return sign


def recorded_of(
    parts: Sequence[Rows], decimal: str, missing: Sequence[str], where: str, dates: Dates | None, day: date | None,
    notes: list[str],
) -> Recorded:  # fmt: skip
    """Return the columns of all parts of a file in SI."""
    lines = _joined([part.lines for part in parts])
    columns = parts[0].layout.columns
    header = " ".join(column.header for column in columns if column.kind == "time")
    times = _times(parts, decimal, missing, where, dates, day)
    if times.of_day:
        times = _across_midnight(times, lines, notes)
    roles: dict[str, Role] = {c.name: c.kind for c in columns if c.kind != "time"}
    headers = {c.name: c.header for c in columns if c.kind != "time"}
    values, bad = {}, {}
    for column in columns:
        if column.kind != "time":
            found = [_in_si(*_same_column(part, column, where), part, decimal, missing, where) for part in parts]
            values[column.name] = _joined([value for value, _ in found])
            bad[column.name] = _joined([wrong for _, wrong in found])
    reasons: dict[int, str] = {}
    first = 0
    for part in parts:
        reasons |= {first + row: reason for row, reason in part.reasons.items()}
        first += len(part.lines)
    return Recorded(where, lines, times, header, values, bad, roles, headers, reasons)


# --- times


def _times(
    parts: Sequence[Rows], decimal: str, missing: Sequence[str], where: str, dates: Dates | None, day: date | None
) -> Times:
    named = [column for column in parts[0].layout.columns if column.kind == "time"]
    at = f"{where}, column {' '.join(column.header for column in named)!r}"
    cells = [_time_cells(part) for part in parts]
    if len({own.dtype.kind == "S" for own in cells}) > 1:
        raise FileError("times are numbers in one section and clock times in another", where=at,
                        expected="one of them: read_log(..., section=1)")  # fmt: skip
    if cells[0].dtype.kind != "S":
        if day is not None:
            raise InputError("a date is given, but the times are numbers", where="date", expected="no date")
        return _elapsed(parts, cells, decimal, missing, where)
    form = next((column.unit for column in named if column.unit), "")
    if form and form not in CLOCK_FORMATS:
        raise UnitError(f"the column holds clock times, the mapping says {form!r}", where=at,
                        expected=f"no unit, or one of {', '.join(map(repr, CLOCK_FORMATS))}")  # fmt: skip
    times = read_times(_joined(cells), at, dates, form)
    if day is None:
        return times
    if times.origin is not None:
        raise InputError(f"a date is given, but the file tells its own, {times.origin:%Y-%m-%d}", where="date",
                         expected="no date")  # fmt: skip
    return Times(times.seconds, datetime(day.year, day.month, day.day), times.bad, times.of_day)


def _time_cells(part: Rows) -> NDArray[Any]:
    found = [cells for cells, c in zip(part.cells, part.layout.columns, strict=True) if c.kind == "time"]
    if len(found) == 1:
        return found[0]
    return np.char.add(np.char.add(found[0], b" "), found[1])


def _elapsed(
    parts: Sequence[Rows], cells: Sequence[NDArray[Any]], decimal: str, missing: Sequence[str], where: str
) -> Times:
    seconds = []
    for part, own in zip(parts, cells, strict=True):
        index = next(n for n, column in enumerate(part.layout.columns) if column.kind == "time")
        column = part.layout.columns[index]
        if column.unit in CLOCK_FORMATS:
            raise UnitError(f"the column holds numbers, the mapping says {column.unit!r}",
                            where=f"{where}, column {column.header!r}", expected="a unit such as 's'")  # fmt: skip
        value, _, beside = _numbers(own, decimal, missing)
        unit = unit_of("time", _told(part, index, beside, where), column.unit, column.header, where)
        seconds.append(to_si(value, "time", unit))
    joined = _joined(seconds)
    return Times(joined, None, np.isnan(joined))


def _across_midnight(times: Times, lines: NDArray[np.int64], notes: list[str]) -> Times:
    """Return clock times without dates as seconds that go on rising after midnight.

    A fall by more than half a day is midnight. By less, the clock was set back or rows are out of order.
    """
    good = np.flatnonzero(~times.bad)
    crossed = np.r_[False, np.diff(times.seconds[good]) < -DAY / 2]
    if not crossed.any():
        return times
    notes.append(f"clock times cross midnight at line {lines[good][crossed][0]}")
    seconds = times.seconds.copy()
    seconds[good] += DAY * np.cumsum(crossed)
    return Times(seconds, times.origin, times.bad, times.of_day)


# --- values


def _same_column(part: Rows, wanted: Column, where: str) -> tuple[Column, int]:
    for index, column in enumerate(part.layout.columns):
        if (column.name, column.kind) == (wanted.name, wanted.kind):
            return column, index
    raise FileError(f"the section of line {part.lines[0]} has no {wanted.name!r}", where=where,
                    expected="the same columns in each, or one section: read_log(..., section=1)")  # fmt: skip


def _in_si(
    column: Column, index: int, part: Rows, decimal: str, missing: Sequence[str], where: str
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    cells = part.cells[index]
    if column.kind == "limit" and cells.dtype.kind != "f":
        return flags(cells.astype(object), decimal, missing)
    value, bad, beside = _numbers(cells, decimal, missing)
    if column.kind == "limit":
        return np.where(np.isnan(value), np.nan, value != 0), bad
    if column.dimension is None:
        return value, bad
    unit = unit_of(column.dimension, _told(part, index, beside, where), column.unit, column.header, where)
    value = to_si(value, column.dimension, unit)
    if column.dimension == "temperature" and np.fmin.reduce(value, initial=np.inf) < 0.0:
        row = int(np.flatnonzero(value < 0.0)[0])
        raise FileError(f"{cells[row]} is below absolute zero",
                        where=f"{where}, line {part.lines[row]}, column {column.header!r}",
                        expected="a temperature; where the number means 'not available', "
                        f"read_log(..., missing=['{cells[row]:g}'])" if cells.dtype.kind == "f" else "a temperature",
                        )  # fmt: skip
    return value, bad


def _told(part: Rows, index: int, beside: str, where: str) -> str:
    """Return the unit of a column as the file tells it: in its header, below it, or beside every number."""
    told = part.layout.units[index]
    if not beside:
        return told
    if known_unit(beside) is None or (told and known_unit(told) != known_unit(beside)):
        in_header = f", {told!r} in the header" if told else ""
        raise UnitError(f"{beside!r} stands beside the numbers{in_header}",
                        where=f"{where}, column {part.layout.columns[index].header!r}",
                        expected="one unit, such as 'W' or '°C'")  # fmt: skip
    return beside


def _numbers(
    cells: NDArray[Any], decimal: str, missing: Sequence[str]
) -> tuple[NDArray[np.float64], NDArray[np.bool_], str]:
    if cells.dtype.kind != "f":
        return numbers(cells.astype(object), decimal, missing)
    if len(cells) and cells.min() >= -LARGEST and cells.max() <= LARGEST:  # the usual case, in no time; not with NaN
        return cells, np.zeros(len(cells), dtype=bool), ""
    bad = np.abs(cells) > LARGEST
    return (np.where(bad, np.nan, cells) if bad.any() else cells), bad, ""


def _joined(arrays: Sequence[NDArray[Any]]) -> NDArray[Any]:
    return arrays[0] if len(arrays) == 1 else np.concatenate(arrays)
