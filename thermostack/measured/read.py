"""Read a log: from a file as logging programs and bench loggers write it to a `Log` in SI."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from datetime import date as Date  # noqa: N812 - `date` is what callers write
from datetime import datetime
from itertools import groupby
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from ..errors import FileError, InputError, UnitError
from ..units import to_si
from .cells import decimal_of, flags, numbers
from .clock import DAY, Dates, Times, read_times
from .columns import CLOCK_FORMATS, Column, known_unit, unit_of, wants_of
from .layout import Layout, Span, layout_of, spans_of
from .log import Log, Role
from .merging import merge_equal_times
from .rows import Rows, read_rows, sample_decimal
from .sniff import PathLike, text_of

__all__ = ["read_log"]

Unreadable = Literal["refuse", "leave out"]
Duplicates = Literal["average", "first"]


def read_log(
    path: PathLike,
    columns: Mapping[str, Any],
    *,
    delimiter: str | None = None,
    decimal: Literal[".", ","] | None = None,
    encoding: str | None = None,
    dates: Dates | None = None,
    date: str | Date | None = None,
    section: int | None = None,
    missing: Sequence[str] = (),
    duplicates: Duplicates = "average",
    unreadable: Unreadable = "refuse",
) -> Log:
    """Return what a file recorded against time, in SI.

    Delimiter, decimal sign, encoding, lines before the header, repeated headers, lines of units, footers, cells that are
    not available and the form of the times are found out; what cannot be told is asked for. Nothing is written.

    Parameters
    ----------
    path : str or path
        A text file of rows and columns.
    columns : mapping
        Which column is what. Keys: ``time``, ``power``, ``coolant``, ``ambient``, ``clock``, ``limit`` (a flag of
        throttling), ``fan``, ``pump``, ``sensors`` (temperatures of the part) and ``other``. A column is

        - its header: ``"Package [W]"``, or without the unit ``"Package"``;
        - header and unit, where the file does not tell it: ``("Package", "W")``;
        - its number, from 1: ``3`` or ``(3, "W")``;
        - a pattern of several, a star for any text: ``"Core * [°C]"``.

        For several columns of a kind give a list of these, or names for them: ``{"core 0": "Core #0", "die": "Die"}``; in
        a pattern the star of the name is filled as that of the header is: ``{"core *": "Core #*"}``. Date and time of
        day in two columns: ``"time": ["Date", "Time"]``. What two numbers with a colon mean is told like a unit:
        ``("Time", "m:s")``.
    delimiter, decimal, encoding : str, optional
        Where they are not to be found out.
    dates : {"day first", "month first"}, optional
        Order of dates such as 3/4/2026 where no row tells it. Dates with points have their day first.
    date : str or date, optional
        Of the first row, ``"2026-03-01"``, where clock times stand without one.
    section : int, optional
        The one to read, from 1, of a file in which a header stands more than once; by default all of them.
    missing : sequence of str
        Words that stand for "not available" in this file, beside the usual ones: ``["OL", "-999"]``.
    duplicates : {"average", "first"}
        What to keep of rows with the same time: their mean (a flag: whether any was set), or the first.
    unreadable : {"refuse", "leave out"}
        What to do with a row that is cut off or holds text in the place of a number.

    Returns
    -------
    Log
        Temperatures in K, power in W, clock in Hz, flags 0 or 1; fans, pumps and others as they were logged.

    Raises
    ------
    FileError
        The file cannot be read as a log; the message names line and column.
    UnitError
        No unit is told, or two that differ, or one of another dimension.
    UnknownNameError
        A mapped column is missing; the nearest are suggested.
    InputError
        An argument is not what it should be.
    """
    _check_choices(delimiter=(delimiter, ("\t", ";", ",", "|", None)), decimal=(decimal, (".", ",", None)),
                   dates=(dates, (*get_args(Dates), None)), duplicates=(duplicates, get_args(Duplicates)),
                   unreadable=(unreadable, get_args(Unreadable)))  # fmt: skip
    day = _day(date)
    missing = _words(missing)
    wants = wants_of(columns)
    data, notes = text_of(path, encoding)
    where = os.fspath(path)
    layout, below, line = layout_of(data, wants, where, delimiter)
    spans = spans_of(data, wants, layout, below, line, where)
    spans = _chosen(spans, section, where, notes)
    parts = _parts(data, spans, decimal, missing, where)
    log = _Reading(data, where, parts, decimal or _decimal(parts), missing, notes)
    log.read_times(dates, day, where, len(spans))
    log.read_values()
    log.sift(unreadable, _cut_at_the_end(data, spans[-1]))
    return log.finish(duplicates, len(spans))


def _check_choices(**choices: tuple[object, tuple[object, ...]]) -> None:
    for name, (given, allowed) in choices.items():
        if given not in allowed:
            right = ", ".join(repr(each) for each in allowed if each is not None)
            raise InputError(f"{given!r} is not a choice", where=name, expected=f"one of {right}")


def _day(date: str | Date | None) -> Date | None:
    if date is None or (isinstance(date, Date) and not isinstance(date, datetime)):
        return date
    try:
        return Date.fromisoformat(date)  # type: ignore[arg-type]  # anything else raises
    except (TypeError, ValueError) as error:
        raise InputError(f"{date!r} is not a date", where="date", expected="for example '2026-03-01'") from error


def _words(missing: Sequence[str]) -> tuple[str, ...]:
    words = tuple(missing) if not isinstance(missing, str) else (missing,)
    for word in words:
        if not isinstance(word, str):
            raise InputError(f"{word!r} is not a text", where="missing", expected="a list such as ['OL', '-999']")
    return words


def _chosen(spans: list[Span], section: int | None, where: str, notes: list[str]) -> list[Span]:
    if section is not None:
        if not isinstance(section, int) or not 1 <= section <= len(spans):
            raise InputError(f"no section {section!r} in {where}", where="section", expected=f"1 to {len(spans)}")
        spans = [spans[section - 1]]
    elif len(spans) > 1:
        notes.append(
            f"{len(spans)} sections are joined; their headers are in lines {_listed([s.header for s in spans])}"
        )
    for span in spans:
        if span.left_out:
            line, text = span.left_out[0]
            more = f" and {len(span.left_out) - 1} more" if len(span.left_out) > 1 else ""
            notes.append(f"left out below the rows: line {line}, {text[:60]!r}{more}")
    return spans


def _listed(numbers_: Sequence[int], most: int = 6) -> str:
    return ", ".join(map(str, numbers_[:most])) + (", …" if len(numbers_) > most else "")


def _parts(data: bytes, spans: list[Span], decimal: str | None, missing: Sequence[str], where: str) -> list[Rows]:
    """Return the rows of the spans, those of one layout together; read once more if the decimal sign was another."""
    groups = [list(group) for _, group in groupby(spans, key=lambda span: (span.layout.header, span.layout.units))]
    guess = decimal or sample_decimal(data, spans[0]) or "."
    parts = [read_rows(data, group, guess, missing) for group in groups]
    if decimal is None and any(c.dtype == object for part in parts for c in part.cells):
        found = _decimal(parts, where)
        if found != guess:
            parts = [read_rows(data, group, found, missing) for group in groups]
    return parts


def _decimal(parts: Sequence[Rows], where: str = "") -> str:
    """Return the decimal sign by the cells that are still text; a point where none are."""
    import pandas as pd

    texts: set[str] = set()
    pointed = False
    for part in parts:
        for cells, column in zip(part.cells, part.layout.columns, strict=True):
            if cells.dtype == object and column.kind != "limit":
                texts.update(c for c in pd.unique(cells) if isinstance(c, str))
            elif cells.dtype.kind == "f" and not pointed:
                pointed = bool(np.any(np.mod(cells[np.isfinite(cells)], 1.0)))
    sign = decimal_of(texts)
    if sign is None and not pointed:
        example = min(text for text in texts if decimal_of([text]) is None)
        raise FileError(f"{example!r} may hold a decimal comma or a separator of thousands", where=where,
                        expected="read_log(..., decimal=',') or decimal='.'")  # fmt: skip
    return sign or "."


def _cut_at_the_end(data: bytes, last: Span) -> bool:
    """Return whether the last row has no line end and ends in a cell that is used, which may then lack digits."""
    if last.stop < len(data):
        return False
    line = data[data.rfind(b"\n", last.start, last.stop) + 1 or last.start :]
    cells = line.count(last.layout.delimiter.encode()) + 1
    return any(column.index == cells - 1 for column in last.layout.columns)


class _Reading:
    """The columns of a log on their way from cells to SI, and the rows that are in doubt."""

    def __init__(
        self, data: bytes, where: str, parts: list[Rows], decimal: str, missing: Sequence[str], notes: list[str]
    ) -> None:
        self.data, self.where, self.parts, self.decimal, self.missing, self.notes = (
            data, where, parts, decimal, missing, notes,
        )  # fmt: skip
        self.lines = _joined([part.lines for part in parts])
        self.reasons: dict[int, str] = {}
        offset = 0
        for part in parts:
            self.reasons |= {offset + row: reason for row, reason in part.reasons.items()}
            offset += len(part.lines)
        self.values: dict[str, NDArray[np.float64]] = {}
        self.roles: dict[str, Role] = {}
        self.bad: dict[str, NDArray[np.bool_]] = {}
        self.headers: dict[str, str] = {}

    # --- times

    def read_times(self, dates: Dates | None, day: Date | None, where: str, sections: int) -> None:
        layout = self.parts[0].layout
        named = [column for column in layout.columns if column.kind == "time"]
        self.time_header = " ".join(column.header for column in named)
        at = f"{where}, column {self.time_header!r}"
        cells = [_time_cells(part) for part in self.parts]
        clocked = {c.dtype.kind == "S" for c in cells}
        if len(clocked) > 1:
            raise FileError("times are numbers in one section and clock times in another", where=at,
                            expected="one of them: read_log(..., section=1)")  # fmt: skip
        if clocked == {True}:
            form = self._form(named, at)
            self.times = read_times(_joined(cells), at, dates, form)
            self._midnights(day)
        else:
            self.times = self._elapsed(cells, named, day)
        self.sections = sections

    def _form(self, named: Sequence[Column], at: str) -> str:
        for column in named:
            if column.unit and column.unit not in CLOCK_FORMATS:
                raise UnitError(f"the column holds clock times, the mapping says {column.unit!r}", where=at,
                                expected="no unit, or a form such as 'm:s'")  # fmt: skip
        return next((column.unit for column in named if column.unit), "")

    def _elapsed(self, cells: list[NDArray[Any]], named: Sequence[Column], day: Date | None) -> Times:
        if day is not None:
            raise InputError("a date is given, but times are numbers and no clock times", where="date",
                             expected="no date")  # fmt: skip
        seconds, bad = [], []
        for part, own in zip(self.parts, cells, strict=True):
            index = next(n for n, c in enumerate(part.layout.columns) if c.kind == "time")
            column = part.layout.columns[index]
            if column.unit in CLOCK_FORMATS:
                raise UnitError(f"the column holds numbers, the mapping says {column.unit!r}",
                                where=f"{self.where}, column {column.header!r}", expected="a unit such as 's'")  # fmt: skip
            value, wrong, told = _numbers(own, self.decimal, self.missing)
            told = part.layout.units[index] or told
            seconds.append(to_si(value, "time", unit_of(column, told, self.where)))
            bad.append(wrong | ~np.isfinite(value))
        joined = _joined(seconds)
        return Times(joined, None, _joined(bad), of_day=False)

    def _midnights(self, day: Date | None) -> None:
        times = self.times
        if day is not None and times.start is not None:
            raise InputError(f"a date is given, but the file tells its own: {times.start:%Y-%m-%d}", where="date",
                             expected="no date")  # fmt: skip
        good = np.flatnonzero(~times.bad)
        if not len(good) or times.start is not None:
            return
        seconds = times.seconds.copy()
        if times.of_day:
            # a fall by more than half a day is midnight; by less the clock was set back, or the rows are out of order
            crossed = np.r_[False, np.diff(seconds[good]) < -DAY / 2]
            seconds[good] += DAY * np.cumsum(crossed)
            if crossed.any():
                self.notes.append(f"clock times cross midnight at line {_listed(list(self.lines[good][crossed]))}")
        start = None
        if day is not None:
            start = datetime.fromtimestamp(0).replace(year=day.year, month=day.month, day=day.day, hour=0)
            start = datetime(day.year, day.month, day.day) + _delta(float(seconds[good[0]]))
        self.times = Times(seconds, start, times.bad, times.of_day)

    # --- values

    def read_values(self) -> None:
        layout = self.parts[0].layout
        for column in layout.columns:
            if column.kind == "time":
                continue
            found = [self._column(part, column) for part in self.parts]
            self.values[column.name] = _joined([value for value, _ in found])
            self.bad[column.name] = _joined([bad for _, bad in found])
            self.roles[column.name] = column.kind
            self.headers[column.name] = column.header

    def _column(self, part: Rows, wanted: Column) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        n = next((n for n, c in enumerate(part.layout.columns) if (c.name, c.kind) == (wanted.name, wanted.kind)), None)
        if n is None:
            line = self.lines[sum(len(p.lines) for p in self.parts[: self.parts.index(part)])]
            raise FileError(f"the section of line {line} has no {wanted.name!r}", where=self.where,
                            expected="the same columns in each, or one section: section=1")  # fmt: skip
        column, cells = part.layout.columns[n], part.cells[n]
        if wanted.kind == "limit":
            if cells.dtype.kind == "f":
                return np.where(np.isnan(cells), np.nan, cells != 0), np.isinf(cells)
            return flags(cells.astype(object), self.decimal, self.missing)
        value, bad, told = _numbers(cells, self.decimal, self.missing)
        if wanted.dimension:
            unit = unit_of(column, self._unit(part.layout, n, told), self.where)
            value = to_si(value, wanted.dimension, unit)
            if wanted.dimension == "temperature" and len(value) and np.nanmin(value, initial=0.0) < 0.0:
                row = int(np.flatnonzero(value < 0.0)[0])
                raise FileError(f"{float(cells[row])!r} {unit} is below absolute zero",
                                where=f"{self.where}, line {part.lines[row]}, column {column.header!r}",
                                expected=f"a temperature; if it stands for 'not available': missing=['{cells[row]}']",
                                )  # fmt: skip
        return value, bad

    def _unit(self, layout: Layout, n: int, beside: str) -> str:
        told = layout.units[n]
        if not beside:
            return told
        column = layout.columns[n]
        if known_unit(beside) is None or (told and known_unit(told) != known_unit(beside)):
            raise UnitError(f"{beside!r} stands beside the numbers" + (f", {told!r} in the header" if told else ""),
                            where=f"{self.where}, column {column.header!r}", expected="one unit that is known")  # fmt: skip
        return beside

    # --- rows

    def sift(self, unreadable: Unreadable, cut: bool) -> None:
        """Drop blank lines and remarks, and find the rows that cannot be read."""
        no_time = self.times.bad
        bad_cell = np.zeros(len(self.lines), dtype=bool)
        for bad in self.bad.values():
            bad_cell |= bad
        drop = np.zeros(len(self.lines), dtype=bool)
        if no_time.any():
            empty = np.logical_and.reduce([np.isnan(value) for value in self.values.values()])
            drop |= no_time & empty
            remarks = [row for row in np.flatnonzero(drop) if self._text(row).strip(' \t;,|"\r')]
            if remarks:
                self.notes.append(f"left out, not rows: line {_listed(list(self.lines[remarks]))}")
        wrong = (no_time | bad_cell) & ~drop
        wrong[[row for row in self.reasons if not drop[row]]] = True
        if cut and not wrong[-1]:
            drop[-1] = True
            self.notes.append(
                f"line {self.lines[-1]} is the last and has no line end: it may lack digits and was left out"
            )
        if wrong.any():
            row = int(np.flatnonzero(wrong)[0])
            if unreadable == "refuse":
                raise self._error(row)
            count = int(np.count_nonzero(wrong))
            self.notes.append(f"{count} unreadable rows were left out, the first in line {self.lines[row]}")
        self._keep(~(drop | wrong))

    def _text(self, row: int) -> str:
        line = int(self.lines[row])
        if not hasattr(self, "_all_lines"):
            self._all_lines = self.data.split(b"\n")
        return self._all_lines[line - 1].decode("utf-8", "replace")

    def _error(self, row: int) -> FileError:
        where = f"{self.where}, line {self.lines[row]}"
        or_else = "or read_log(..., unreadable='leave out')"
        if row in self.reasons:
            return FileError(f"{self.reasons[row]}: {self._text(row).strip()[:60]!r}", where=where,
                             expected=f"a whole row, {or_else}")  # fmt: skip
        cells = self._cells(row)
        for name, bad in self.bad.items():
            if bad[row]:
                shown = cells.get(name, "")
                right = "yes or no, or 0 or 1" if self.roles[name] == "limit" else "a number"
                return FileError(f"{shown!r} is not {right}", where=f"{where}, column {self.headers[name]!r}",
                                 expected=f"{right}; for a word that means 'not available': missing=[{shown!r}]; "
                                 f"{or_else}")  # fmt: skip
        return FileError(f"{cells.get('', '')!r} is not a time as in the other rows",
                         where=f"{where}, column {self.time_header!r}", expected=f"a time, {or_else}")  # fmt: skip

    def _cells(self, row: int) -> dict[str, str]:
        """Return the cells of a row as they stand in the file, by name; that of time under the empty name."""
        from .layout import split

        for part in self.parts:
            if row < len(part.lines):
                break
            row -= len(part.lines)
        line = self.data.split(b"\n")[int(part.lines[row]) - 1]
        cells = split(line, part.layout.delimiter)
        own = {c.name: cells[c.index] for c in part.layout.columns if c.index < len(cells) and c.kind != "time"}
        return own | {"": " ".join(cells[i] for i in part.layout.time if i < len(cells))}

    def _keep(self, keep: NDArray[np.bool_]) -> None:
        if not keep.any():
            raise FileError(
                "holds no rows that can be read", where=self.where, expected="a time and a number in each row"
            )
        times = self.times
        self.seconds = times.seconds
        if not keep.all():
            self.kept = np.flatnonzero(keep)
            self.seconds = self.seconds[keep]
            self.lines = self.lines[keep]
            self.values = {name: value[keep] for name, value in self.values.items()}
        else:
            self.kept = np.arange(len(keep)) if False else None  # type: ignore[assignment]

    def finish(self, duplicates: Duplicates, sections: int) -> Log:
        raise NotImplementedError


def _delta(seconds: float) -> Any:
    raise NotImplementedError


def _time_cells(part: Rows) -> NDArray[Any]:
    raise NotImplementedError


def _numbers(cells: Any, decimal: str, missing: Any) -> Any:
    raise NotImplementedError


def _joined(arrays: Sequence[NDArray[Any]]) -> NDArray[Any]:
    return arrays[0] if len(arrays) == 1 else np.concatenate(arrays)
