"""Times as logs write them, to seconds: clock times that cross midnight, dates in their three orders, elapsed h:m:s.

Cells are grouped by their *shape*, the text with every digit replaced by 0. A log has few shapes, so that each is
understood once and its digits are read for all its rows together.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..errors import FileError

__all__ = ["WIDTH", "Dates", "Times", "is_clock", "looks_like_time", "read_times"]

Dates = Literal["day first", "month first"]

WIDTH = 48
"""Bytes of a cell of time that are looked at; the longest that is understood is shorter."""

DAY = 86400.0
_DIGITS_TO_0 = bytes(ord("0") if chr(b).isdigit() and b < 128 else b for b in range(256))
_MOST_SHAPES = 400

_TIME = (
    r"(?P<h>0{1,4}):(?P<m>00?)(?::(?P<s>00?)(?::(?P<f3>000))?)?(?:[.,](?P<f>0{1,9}))?"
    r"\s*(?P<half>[AaPp]\.?\s?[Mm]\.?)?\s*(?P<zone>Z|UTC|GMT|[-+]00:?00)?"
)
_WEEKDAY = r"(?:(?:mon|tue|wed|thu|fri|sat|sun)[a-z]{0,6}\.?,?\s*)?"
_DATES = (
    r"(?P<Y>0000)(?P<sep>[-/.])(?P<M>00?)(?P=sep)(?P<D>00?)\.?",
    r"(?P<Y>0000)(?P<M>00)(?P<D>00)",
    r"(?P<a>00?)(?P<sep>[-/.])(?P<b>00?)(?P=sep)(?P<Y>0000|00)",
    r"(?P<D>00?)\.?[ -]?(?P<month>[A-Za-z]{3,9})\.?[ -]?(?P<Y>0000|00)",
    r"(?P<month>[A-Za-z]{3,9})\.?[ ](?P<D>00?),?[ ](?P<Y>0000)",
)
_SHAPES = tuple(
    re.compile(rf"\s*{form}\s*", re.IGNORECASE)
    for form in (
        _TIME,
        *(f"{_WEEKDAY}{day}(?:T|,?\\s+){_TIME}" for day in _DATES),
        *(f"{_TIME},?\\s+{_WEEKDAY}{day}" for day in _DATES),
    )
)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_LOOKS = re.compile(r"[-+]?[\d.,]*\d[\d.,]*(?:[eE][-+]?\d+)?")


@dataclass(frozen=True, eq=False)
class Times:
    """Times of rows.

    Attributes
    ----------
    seconds : ndarray, shape (N,)
        From `origin`, or from whatever the log counts from; NaN where the cell is no time.
    origin : datetime or None
        The midnight that seconds count from, where dates tell it.
    bad : ndarray of bool, shape (N,)
        Where the cell is no time.
    of_day : bool
        Clock times without a date: the seconds start anew at midnight.
    """

    seconds: NDArray[np.float64]
    origin: datetime | None
    bad: NDArray[np.bool_]
    of_day: bool = False


def looks_like_time(cell: str) -> bool:
    """Return whether a cell may be a time: a number, a clock time, or a date with one."""
    return len(cell) <= WIDTH and (bool(_LOOKS.fullmatch(cell.strip())) or is_clock(cell))


def is_clock(cell: str) -> bool:
    """Return whether a cell is a clock time or elapsed h:m:s, with or without a date."""
    text = cell.replace("\u202f", " ").replace("\u00a0", " ")
    return len(cell) <= WIDTH and _match(re.sub(r"[0-9]", "0", text)) is not None


def _match(shape: str) -> re.Match[str] | None:
    for form in _SHAPES:
        if match := form.fullmatch(shape):
            month = match.groupdict().get("month")
            if month is None or month[:3].casefold() in _MONTHS:
                return match
    return None


@dataclass(frozen=True, eq=False)
class _Group:
    """The rows of one shape: their numbers in the file, and the parts of their dates and times."""

    rows: NDArray[np.intp]
    match: re.Match[str]
    digits: NDArray[np.uint8]

    def number(self, name: str) -> NDArray[np.int64]:
        """Return the number at a named place of the shape, shape (rows,)."""
        start, stop = self.match.span(name)
        number = np.zeros(len(self.digits), dtype=np.int32)  # nine digits at most
        for place in range(start, stop):
            number *= 10
            number += self.digits[:, place]
            number -= ord("0")
        return number.astype(np.int64)

    def has(self, name: str) -> bool:
        return self.match.groupdict().get(name) is not None


def read_times(cells: NDArray[np.bytes_], where: str, dates: Dates | None = None, form: str = "") -> Times:
    """Return the times of cells.

    Parameters
    ----------
    cells : ndarray of bytes, shape (N,)
        Text in UTF-8, cut at `WIDTH`.
    where : str
        File and column, for messages.
    dates : {"day first", "month first"}, optional
        Order of dates such as 3/4/2026, where no row tells it.
    form : {"", "h:m:s", "h:m", "m:s"}
        What two numbers with a colon between them are.

    Raises
    ------
    FileError
        The order of the dates, or what two numbers mean, cannot be told.
    """
    groups = list(_groups(cells))
    seconds = np.full(len(cells), np.nan)
    days = np.full(len(cells), -1, dtype=np.int64)
    order = _order(groups, where, dates)
    zones = set()
    for group in groups:
        dated = group.has("Y")
        seconds[group.rows] = _of_day(group, where, form, dated)
        if dated:
            days[group.rows] = _ordinals(group, order)
            seconds[group.rows[days[group.rows] < 0]] = np.nan
        zones.add(group.has("zone"))
    bad = np.isnan(seconds)
    dated_rows = days >= 0
    understood = np.flatnonzero(~bad)
    if not len(understood):
        return Times(seconds, None, bad)
    first = understood[0]
    if not dated_rows[first]:
        bad |= dated_rows
        seconds[bad] = np.nan
        return Times(seconds, None, bad, of_day=form != "m:s" and bool(np.nanmax(seconds) < DAY))
    bad |= ~dated_rows
    seconds += (days - days[first]) * DAY
    seconds[bad] = np.nan
    midnight = datetime.fromordinal(int(days[first]))
    return Times(seconds, midnight.replace(tzinfo=UTC) if zones == {True} else midnight, bad)


def _groups(cells: NDArray[np.bytes_]) -> list[_Group]:
    width = cells.dtype.itemsize
    raw = np.ascontiguousarray(cells)
    shapes = np.frombuffer(raw.tobytes().translate(_DIGITS_TO_0), dtype=cells.dtype)
    digits = raw.view(np.uint8).reshape(len(raw), width)
    left = np.arange(len(raw))
    groups = []
    for _ in range(_MOST_SHAPES):
        if not len(left):
            break
        shape = shapes[left[0]]
        hit = shapes[left] == shape
        rows, left = left[hit], left[~hit]
        # a space of another width is as good; it must not move the digits
        text = shape.replace("\u202f".encode(), b"   ").replace("\u00a0".encode(), b"  ").decode("utf-8", "replace")
        if len(shape) < width and text.isascii() and (match := _match(text)):
            groups.append(_Group(rows, match, digits if len(rows) == len(raw) else digits[rows]))
    return groups


def _of_day(group: _Group, where: str, form: str, dated: bool) -> NDArray[np.float64]:
    """Return seconds since midnight (or since zero, for an elapsed time), NaN where there is no such time."""
    hour, minute = group.number("h"), group.number("m")
    if group.has("s"):
        second = group.number("s").astype(float)
    else:
        if not dated and form not in ("h:m", "m:s"):
            raise FileError("two numbers with a colon may be hours and minutes, or minutes and seconds", where=where,
                            expected="the column with its form, such as ('Time', 'm:s')")  # fmt: skip
        second = np.zeros(len(hour))
        if form == "m:s":
            hour, minute, second = np.zeros_like(hour), hour, minute.astype(float)
    for fraction in ("f", "f3"):
        if group.has(fraction):
            start, stop = group.match.span(fraction)
            second = second + group.number(fraction) / 10.0 ** (stop - start)
    wrong = (second >= 61) | ((minute >= 60) if form != "m:s" else (second >= 60))
    if group.has("f") and not group.has("s") and form != "m:s":
        wrong[:] = True  # a fraction of a minute
    if group.has("half"):
        wrong |= (hour < 1) | (hour > 12)
        hour = hour % 12 + (12 if group.match["half"][0] in "pP" else 0)
    if dated:
        wrong |= hour > 24
    result = hour * 3600.0 + minute * 60.0 + second
    if group.has("zone") and group.match["zone"][0] in "+-":
        start, stop = group.match.span("zone")
        zone = group.digits[:, start + 1 : stop].astype(np.int64) - ord("0")
        offset = 3600.0 * (10 * zone[:, 0] + zone[:, 1]) + 60.0 * (10 * zone[:, -2] + zone[:, -1])
        result = result - offset if group.match["zone"][0] == "+" else result + offset
    return np.where(wrong, np.nan, result)


def _order(groups: list[_Group], where: str, dates: Dates | None) -> Dates:
    """Return which of two numbers in front of the year is the day."""
    asked = [g for g in groups if g.has("a")]
    slashed = [g for g in asked if g.match["sep"] != "."]  # points between the numbers: the day is first
    if not slashed:
        return "day first"
    if dates is not None:
        return dates
    # a year of two digits may stand first as well, where the signs between are dashes
    if not any(g.match["sep"] == "-" and len(g.match["Y"]) == 2 for g in slashed):
        if any(np.any(g.number("a") > 12) for g in slashed):
            return "day first"
        if any(np.any(g.number("b") > 12) for g in slashed):
            return "month first"
    a, b = int(slashed[0].number("a")[0]), int(slashed[0].number("b")[0])
    sep, year = slashed[0].match["sep"], int(slashed[0].number("Y")[0])
    raise FileError(f"the date {a:02d}{sep}{b:02d}{sep}{year:02d} may have its day or its month first", where=where,
                    expected="read_log(..., dates='day first') or dates='month first'")  # fmt: skip


def _ordinals(group: _Group, order: Dates) -> NDArray[np.int64]:
    """Return the day of each row, counted as `datetime.date` does; -1 where there is no such day."""
    year = group.number("Y")
    if group.match.end("Y") - group.match.start("Y") == 2:
        year = year + 2000
    if group.has("a"):
        a, b = group.number("a"), group.number("b")
        month, day = (b, a) if order == "day first" or group.match["sep"] == "." else (a, b)
    else:
        day = group.number("D")
        if group.has("month"):
            month = np.full(len(day), _MONTHS.index(group.match["month"][:3].casefold()) + 1)
        else:
            month = group.number("M")
    key = (year * 100 + month) * 100 + day
    # few days, each over many rows one after the other
    starts = np.flatnonzero(np.r_[True, key[1:] != key[:-1]])
    known: dict[int, int] = {int(k): _ordinal(int(k)) for k in np.unique(key[starts])}
    days = np.array([known[int(k)] for k in key[starts]])
    return np.repeat(days, np.diff(np.r_[starts, len(key)]))


def _ordinal(key: int) -> int:
    try:
        return date(key // 10000, key // 100 % 100, key % 100).toordinal()
    except ValueError:
        return -1
