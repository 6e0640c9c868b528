"""How a log is laid out: delimiter, header, columns, and the spans of lines that hold rows."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ..errors import FileError, UnknownNameError
from .cells import is_number
from .clock import looks_like_time
from .header_units import known_unit, split_unit
from .mapping import Column, Want, columns_of, matches

__all__ = ["Layout", "Span", "layout_of", "spans_of", "split"]

_DELIMITERS = ("\t", ";", ",", "|")
_DEPTH = 500
_SHORT = 4
_MOST_BEFORE_ROWS = 50


@dataclass(frozen=True)
class Layout:
    """The columns of a part of a file.

    Attributes
    ----------
    delimiter : str
        What stands between cells.
    header : tuple of str
        Cells of the header line; empty where there is none.
    columns : tuple of Column
        Those that are used.
    units : tuple of str
        Of each used column, as the header or a line of units below it tells; empty where nothing does.
    width : int
        Number of cells of a row.
    """

    delimiter: str
    header: tuple[str, ...]
    columns: tuple[Column, ...]
    units: tuple[str, ...]
    width: int

    @property
    def time(self) -> tuple[int, ...]:
        """Indices of the columns of time: one, or date and time of day."""
        return tuple(column.index for column in self.columns if column.kind == "time")

    def is_row(self, line: bytes) -> bool:
        """Return whether a line holds a time where a row does."""
        cells = split(line, self.delimiter)
        if not cells or any(i >= len(cells) for i in self.time):
            return False
        return looks_like_time(" ".join(cells[i] for i in self.time))


@dataclass(frozen=True)
class Span:
    """Lines one after the other that hold rows, and what was left out after them.

    Attributes
    ----------
    layout : Layout
        Their columns.
    header : int
        Line of the header, counted from 1; 0 where there is none.
    start, stop : int
        Offsets in the file's text, `stop` before the last line end.
    line : int
        Number of the first line.
    left_out : tuple of (int, str)
        Lines after the rows that hold something else, with their numbers.
    """

    layout: Layout
    header: int
    start: int
    stop: int
    line: int
    left_out: tuple[tuple[int, str], ...]


def split(line: bytes | str, delimiter: str) -> list[str]:
    """Return the cells of a line without the spaces around them; empty where the line cannot be split."""
    text = line if isinstance(line, str) else line.decode("utf-8", "replace")
    text = text.rstrip("\r\n")
    try:
        if '"' not in text:
            return [cell.strip() for cell in text.split(delimiter)] if text else []
        return [cell.strip() for cell in next(csv.reader([text], delimiter=delimiter, skipinitialspace=True), [])]
    except csv.Error:
        return []


def _lines(data: bytes, start: int = 0) -> Iterator[tuple[int, int]]:
    """Yield start and stop of each line, without its LF."""
    while start <= len(data):
        stop = data.find(b"\n", start)
        if stop < 0:
            stop = len(data)
        yield start, stop
        start = stop + 1


def layout_of(data: bytes, wants: Sequence[Want], where: str, delimiter: str | None = None) -> tuple[Layout, int, int]:
    """Return the layout of a file, the offset below its header line, and the number of that line (0: there is none).

    The header is the line in which most of the mapped columns stand, by the delimiter for which they do. Where all
    columns are given by number, it is what stands above the first row.

    Raises
    ------
    UnknownNameError
        A column is missing.
    FileError
        There are no rows.
    """
    head = [(s, data[s:e]) for (s, e), _ in zip(_lines(data), range(_DEPTH), strict=False)]
    candidates = (
        (delimiter,) if delimiter else tuple(d for d in _DELIMITERS if any(d.encode() in text for _, text in head))
    )
    if all(isinstance(want.column, int) for want in wants):
        return _by_number(head, wants, candidates or _DELIMITERS[:1], where)
    best: tuple[tuple[int, int, int], int, str] | None = None
    for sign in candidates or _DELIMITERS[:1]:
        for n, (_, text) in enumerate(head):
            cells = split(text, sign)
            score = (sum(bool(matches(want, cells)) for want in wants) if cells else 0, len(cells), -n)
            if best is None or score > best[0]:
                best = score, n, sign
            if score[0] == len(wants):
                break
    assert best is not None
    (met, _, _), n, sign = best
    if not met:  # the line that looks most like a header
        n, sign = max(((n, d) for d in candidates or _DELIMITERS[:1] for n in range(len(head))),
                      key=lambda at: _header_likeness(split(head[at[0]][1], at[1]), at[0]))  # fmt: skip
    start, text = head[n]
    header = tuple(split(text, sign))
    return (
        _layout(data, wants, header, sign, start + len(text) + 1, f"{where}, line {n + 1}"),
        start + len(text) + 1,
        n + 1,
    )


def _header_likeness(cells: Sequence[str], n: int) -> tuple[int, int]:
    return sum(bool(cell) and not is_number(cell) and not looks_like_time(cell) for cell in cells), -n


def _by_number(
    head: Sequence[tuple[int, bytes]], wants: Sequence[Want], candidates: Sequence[str], where: str
) -> tuple[Layout, int, int]:
    needed = max(int(want.column) for want in wants)
    for sign in candidates:
        bare = Layout(sign, (), columns_of(wants, [""] * needed, where), (), needed)
        rows = [n for n, (_, text) in enumerate(head) if len(split(text, sign)) >= needed and bare.is_row(text)]
        if not rows:
            continue
        n = rows[0]
        width = len(split(head[n][1], sign))
        above = next((m for m in range(n - 1, -1, -1) if head[m][1].strip()), None)
        header = tuple(split(head[above][1], sign)) if above is not None else ()
        if len(header) < needed or above is None:
            header, line = ("",) * width, 0
        else:
            line = above + 1
        columns = columns_of(wants, header, where)
        return Layout(sign, header, columns, _told(columns, ()), max(width, len(header))), head[n][0], line
    if len(candidates) == 1 or not any(len(split(text, d)) >= needed for d in candidates for _, text in head):
        most = max(len(split(text, d)) for d in candidates for _, text in head)
        if most < needed:
            raise UnknownNameError(f"no column {needed}, there are {most}", where=where)
    raise FileError("holds no rows", where=where, expected="a time and a number in each row")


def _layout(data: bytes, wants: Sequence[Want], header: tuple[str, ...], sign: str, below: int, where: str) -> Layout:
    columns = columns_of(wants, header, where)
    layout = Layout(sign, header, columns, _told(columns, ()), len(header))
    for start, stop in _lines(data, below):
        line = data[start:stop]
        if layout.is_row(line):
            return Layout(sign, header, columns, layout.units, max(len(header), len(split(line, sign))))
        cells = split(line, sign)
        units = [cells[c.index].strip("[]() ") if c.index < len(cells) else "" for c in columns]
        if cells and any(units) and sum(known_unit(u) is not None for u in units if u) * 2 > sum(map(bool, units)):
            layout = Layout(sign, header, columns, _told(columns, units), layout.width)
        if start - below > _MOST_BEFORE_ROWS * 200:
            break
    return layout


def _told(columns: Sequence[Column], below: Sequence[str]) -> tuple[str, ...]:
    """Return the unit of each column, from its header or from the line below."""
    own = [split_unit(column.header)[1] for column in columns]
    if not below:
        return tuple(own)
    return tuple(unit or (other if known_unit(other) else "") for unit, other in zip(own, below, strict=True))


def spans_of(
    data: bytes, wants: Sequence[Want], layout: Layout, below: int, header_line: int, where: str, *, several: bool
) -> list[Span]:
    """Return the spans of rows in a file: one below each line that is a header.

    With `several`, further headers are looked for: the same one repeated, or another that holds the mapped columns
    as well.

    Raises
    ------
    FileError
        There are no rows.
    """
    heads = [(below, header_line, layout)]
    needle = max((split_unit(column.header)[0] for column in layout.columns), key=len, default="").encode()
    if len(needle) < _SHORT:  # would be found in too many places: only the whole line is looked for
        needle = data[data.rfind(b"\n", 0, below - 1) + 1 : below]
    at = data.find(needle, below) if header_line and several else -1
    counted, number = below, header_line + 1
    while at >= 0:
        start, stop = max(data.rfind(b"\n", 0, at) + 1, below), data.find(b"\n", at)
        stop = len(data) if stop < 0 else stop
        counted, number = start, number + data.count(b"\n", counted, start)
        cells = tuple(split(data[start:stop], layout.delimiter))
        if cells == layout.header:
            heads.append((stop + 1, number, layout))
        elif len(cells) > 1 and all(matches(want, cells) for want in wants) and not layout.is_row(data[start:stop]):
            own = _layout(data, wants, cells, layout.delimiter, stop + 1, f"{where}, line {number}")
            heads.append((stop + 1, number, own))
        at = data.find(needle, stop)
    spans = []
    for n, (start, line, own) in enumerate(heads):
        end = data.rfind(b"\n", 0, heads[n + 1][0] - 1) if n + 1 < len(heads) else len(data)
        if span := _span(data, own, line, start, max(end, start)):
            spans.append(span)
    if not spans:
        raise FileError("holds no rows", where=where + (f", below line {header_line}" if header_line else ""),
                        expected="a time and a number in each row")  # fmt: skip
    return spans


def _span(data: bytes, layout: Layout, header: int, start: int, end: int) -> Span | None:
    for first, stop in _lines(data, start):
        if first >= end:
            return None
        if layout.is_row(data[first:stop]):
            break
    else:
        return None
    left_out: list[tuple[int, bytes]] = []
    stop = end
    while stop > first:
        begin = data.rfind(b"\n", first, stop) + 1 or first
        line = data[begin:stop]
        if layout.is_row(line) or (stop == len(data) and _is_cut(line, layout)):
            break
        if line.strip(b'\r\n\t ;,|"'):
            left_out.append((begin, line))
        stop = begin - 1
    number = data.count(b"\n", 0, first) + 1
    found = []
    if left_out:
        at, line_number = first, number
        for begin, line in reversed(left_out):
            at, line_number = begin, line_number + data.count(b"\n", at, begin)
            found.append((line_number, line.decode("utf-8", "replace").strip()))
    return Span(layout, header, first, max(stop, first), number, tuple(found))


def _is_cut(line: bytes, layout: Layout) -> bool:
    """Return whether a last line without a line end is the beginning of a row."""
    cells = split(line, layout.delimiter)
    if not cells or len(cells) >= layout.width or not any(cells):
        return False
    return all(not c or is_number(c) or looks_like_time(c) or c in "-+." for c in cells[:-1] or cells)
