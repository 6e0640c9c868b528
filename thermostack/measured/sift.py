"""Which rows of a log are kept: blank lines and remarks go, a row that cannot be read is an error or is left out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..errors import FileError
from .layout import Span, split
from .recorded import Recorded
from .rows import Rows

__all__ = ["Unreadable", "listed", "sift"]

Unreadable = Literal["refuse", "leave out"]


def sift(
    recorded: Recorded, data: bytes, parts: Sequence[Rows], unreadable: Unreadable, last: Span, notes: list[str]
) -> NDArray[np.bool_]:
    """Return which rows are kept.

    Raises
    ------
    FileError
        A row cannot be read and `unreadable` is "refuse", or no row is left.
    """
    count = len(recorded.lines)
    no_time = recorded.times.bad
    drop = np.zeros(count, dtype=bool)
    if no_time.any():
        drop = no_time & np.logical_and.reduce([np.isnan(value) for value in recorded.values.values()])
        rows = np.flatnonzero(drop)
        texts = _lines(data, recorded.lines[rows])
        remarks = [
            int(line) for line, text in zip(recorded.lines[rows], texts, strict=True) if text.strip(b' \t;,|"\r')
        ]
        if remarks:
            notes.append(f"left out, no rows: line {listed(remarks)}")
    wrong = no_time.copy()
    for bad in recorded.bad.values():
        wrong |= bad
    wrong[list(recorded.reasons)] = True
    wrong &= ~drop
    if not wrong[-1] and _may_lack_digits(data, last):
        drop[-1] = True
        notes.append(f"line {recorded.lines[-1]}, the last, has no line end: it may lack digits and was left out")
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        if unreadable == "refuse":
            raise _error(recorded, data, parts, row)
        notes.append(
            f"unreadable rows that were left out: {np.count_nonzero(wrong)}, the first in line {recorded.lines[row]}"
        )
    keep = ~(drop | wrong)
    if not keep.any():
        raise FileError(
            "holds no row that can be read", where=recorded.where, expected="a time and a number in each row"
        )
    return np.asarray(keep)


def listed(numbers: Sequence[int], most: int = 5) -> str:
    """Return numbers as text, the first few of them."""
    return ", ".join(map(str, numbers[:most])) + (f" and {len(numbers) - most} more" if len(numbers) > most else "")


def _lines(data: bytes, numbers: NDArray[np.int64]) -> list[bytes]:
    if not len(numbers):
        return []
    lines = data.split(b"\n")
    return [lines[number - 1] for number in numbers]


def _may_lack_digits(data: bytes, last: Span) -> bool:
    """Return whether the last row has no line end and ends in a cell that is used."""
    if last.stop < len(data):
        return False
    cells = split(data[data.rfind(b"\n", last.start, last.stop) + 1 or last.start :], last.layout.delimiter)
    return any(column.index == len(cells) - 1 for column in last.layout.columns)


def _error(recorded: Recorded, data: bytes, parts: Sequence[Rows], row: int) -> FileError:
    where = f"{recorded.where}, line {recorded.lines[row]}"
    or_else = "or read_log(..., unreadable='leave out')"
    text = _lines(data, recorded.lines[row : row + 1])[0].decode("utf-8", "replace").strip()
    if row in recorded.reasons:
        return FileError(f"{recorded.reasons[row]}: {text[:60]!r}", where=where, expected=f"a whole row, {or_else}")
    local = row
    for part in parts:
        if local < len(part.lines):
            break
        local -= len(part.lines)
    cells = split(text, part.layout.delimiter)
    for name, bad in recorded.bad.items():
        if bad[row]:
            index = next(c.index for c in part.layout.columns if c.name == name and c.kind != "time")
            cell = cells[index][:60] if index < len(cells) else ""
            right = "yes or no, or 0 or 1" if recorded.roles[name] == "limit" else "a number"
            return FileError(f"{cell!r} is not {right}", where=f"{where}, column {recorded.headers[name]!r}",
                             expected=f"{right}; where the cell means 'not available', "
                             f"read_log(..., missing=[{cell!r}]); {or_else}")  # fmt: skip
    cell = " ".join(cells[i] for i in part.layout.time if i < len(cells))[:60]
    return FileError(f"{cell!r} is not a time like those of the other rows",
                     where=f"{where}, column {recorded.time_header!r}", expected=f"a time, {or_else}")  # fmt: skip
