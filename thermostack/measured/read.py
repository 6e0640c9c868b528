"""Read a log: from a file as logging programs and bench loggers write it to a `Log` in SI."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from datetime import date as Date  # noqa: N812 - `date` is what callers write
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from ..errors import FileError, InputError
from .clock import Dates
from .layout import Span, layout_of, spans_of
from .log import Log
from .mapping import wants_of
from .order import Duplicates, check_order, merge_equal_times, sampling
from .recorded import Recorded, decimal_sign, recorded_of
from .rows import Rows, read_rows, sample_decimal
from .sift import Unreadable, listed, sift
from .sniff import PathLike, text_of

__all__ = ["read_log"]


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

    Delimiter, decimal sign, encoding, lines before the header, repeated headers, lines of units, footers, cells that
    are not available and the form of the times are found out; what cannot be told is asked for. Nothing is written.

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

        For several columns of a kind give a list of these, or names for them: ``{"core 0": "Core #0", "die": "Die"}``;
        in a pattern the star of the name is filled as that of the header is: ``{"core *": "Core #*"}``. Date and time
        of day in two columns: ``"time": ["Date", "Time"]``. What two numbers with a colon mean is told like a unit:
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
    spans = spans_of(data, wants, layout, below, line, where, several=section is not None)
    spans = _chosen(spans, section, where)
    parts, sign = _parts(data, spans, decimal, missing, where)
    if section is None and _may_hold_header(parts[0]):
        spans = spans_of(data, wants, layout, below, line, where, several=True)
        parts, sign = _parts(data, spans, decimal, missing, where)
    if len(spans) > 1:
        lines = listed([span.header for span in spans])
        notes.append(f"{len(spans)} sections are joined; their headers are in lines {lines}")
    notes += [_left_out(span) for span in spans if span.left_out]
    recorded = recorded_of(parts, sign, missing, where, dates, day, notes)
    keep = sift(recorded, data, parts, unreadable, spans[-1], notes)
    return _log(recorded, keep, duplicates, spans, notes)


def _log(
    recorded: Recorded, keep: NDArray[np.bool_], duplicates: Duplicates, spans: list[Span], notes: list[str]
) -> Log:
    seconds, lines, values = recorded.times.seconds, recorded.lines, recorded.values
    if not keep.all():
        seconds, lines = seconds[keep], lines[keep]
        values = {name: value[keep] for name, value in values.items()}
    at = recorded.where, recorded.time_header
    check_order(seconds, lines, at, [span.header for span in spans])
    origin = recorded.times.origin
    try:
        start = None if origin is None else origin + timedelta(seconds=float(seconds[0]))
    except OverflowError as error:
        raise FileError("the date is out of range", where=f"{recorded.where}, line {lines[0]}",
                        expected="years from 1 to 9999") from error  # fmt: skip
    seconds, values = merge_equal_times(seconds, values, recorded.roles, duplicates, notes)
    notes += sampling(seconds)
    return Log(seconds - seconds[0], values, recorded.roles, os.path.basename(recorded.where), start, tuple(notes))


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


def _chosen(spans: list[Span], section: int | None, where: str) -> list[Span]:
    if section is None:
        return spans
    if isinstance(section, bool) or not isinstance(section, int) or not 1 <= section <= len(spans):
        raise InputError(f"no section {section!r} in {where}", where="section", expected=f"1 to {len(spans)}")
    return [spans[section - 1]]


def _may_hold_header(rows: Rows) -> bool:
    """Return whether a header may stand among rows: numbers are not all numbers, or a time is the header of times."""
    for cells, column in zip(rows.cells, rows.layout.columns, strict=True):
        if cells.dtype.kind == "O" or (
            cells.dtype.kind == "S" and np.any(cells == column.header.encode()[: cells.dtype.itemsize])
        ):
            return True
    return False


def _left_out(span: Span) -> str:
    line, text = span.left_out[0]
    more = f" and {len(span.left_out) - 1} more" if len(span.left_out) > 1 else ""
    return f"left out below the rows: line {line}, {text[:60]!r}{more}"


def _parts(
    data: bytes, spans: list[Span], decimal: str | None, missing: Sequence[str], where: str
) -> tuple[list[Rows], str]:
    """Return the rows of the spans, those of one layout together, and the decimal sign.

    They are read once more where the first rows did not show the sign.
    """
    groups = [list(group) for _, group in groupby(spans, key=lambda span: (span.layout.header, span.layout.units))]
    sign = decimal or sample_decimal(data, spans[0]) or "."
    parts = [read_rows(data, group, sign, missing) for group in groups]
    if decimal is None and any(c.dtype == object for part in parts for c in part.cells):
        found = decimal_sign(parts, sign)
        if found is None:
            raise FileError("numbers such as '1,234' may hold a decimal comma or a separator of thousands", where=where,
                            expected="read_log(..., decimal=',') or decimal='.'")  # fmt: skip
        if found != sign:
            parts = [read_rows(data, group, found, missing) for group in groups]
        sign = found
    return parts, sign
