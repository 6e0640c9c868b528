"""Rows of a log out of a span of its text: pandas reads them, and what it cannot read is found line by line."""

from __future__ import annotations

import csv
import io
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .cells import NOT_AVAILABLE, decimal_of
from .clock import WIDTH, is_clock
from .layout import Layout, Span, split

__all__ = ["Rows", "read_rows", "sample_decimal"]


@dataclass(eq=False)
class Rows:
    """Cells of some lines, column by column.

    Attributes
    ----------
    layout : Layout
        Their columns.
    lines : ndarray of int, shape (N,)
        Number of the line of each row.
    cells : list of ndarray, shape (N,)
        Of each column of the layout: numbers; texts and numbers (object); or text in bytes, for clock times.
    reasons : dict of int to str
        Rows that cannot be split into cells, and why.
    """

    layout: Layout
    lines: NDArray[np.int64]
    cells: list[NDArray[Any]]
    reasons: dict[int, str] = field(default_factory=dict)


def sample_decimal(data: bytes, span: Span, most: int = 50) -> str | None:
    """Return the decimal sign of the first rows of a span."""
    lines = data[span.start : min(span.stop, span.start + most * 400)].split(b"\n")[:most]
    used = [c.index for c in span.layout.columns]
    cells = [split(line, span.layout.delimiter) for line in lines]
    return decimal_of(row[i] for row in cells for i in used if i < len(row))


def read_rows(data: bytes, spans: Sequence[Span], decimal: str, missing: Sequence[str]) -> Rows:
    """Return the rows of spans that have one layout."""
    layout = spans[0].layout
    text = _Text(data, spans)
    width = _clock_width(text, layout)
    try:
        cells = _by_pandas(text, layout, decimal, missing, width)
    except (ValueError, Warning, OverflowError):  # what pandas raises on rows that it cannot make columns of
        cells = []
    # lines and rows are the same but for quoted or stray line ends
    if not cells or ((text.has(b'"') or text.has(b"\r") or len(spans) > 1) and len(cells[0]) != len(text.lines())):
        return _by_hand(text, layout, width)
    lines = text.lines() if len(spans) > 1 else np.arange(spans[0].line, spans[0].line + len(cells[0]))
    rows = Rows(layout, lines, cells)
    _find_short(text, rows)
    return rows


class _Text:
    """The text of some spans, copied only where it must be."""

    def __init__(self, data: bytes, spans: Sequence[Span]) -> None:
        self.data, self.spans = data, spans

    @cached_property
    def body(self) -> bytes:
        """The lines of all spans."""
        return b"\n".join(self.data[s.start : s.stop] for s in self.spans)

    def stream(self) -> io.BytesIO:
        """Return the lines as a file."""
        first = self.spans[0]
        if len(self.spans) > 1 or self.data[first.stop :] not in (b"", b"\n"):
            return io.BytesIO(self.body)
        stream = io.BytesIO(self.data)
        stream.seek(first.start)
        return stream

    def head(self) -> bytes:
        """Return the first lines."""
        return self.data[self.spans[0].start : min(self.spans[0].stop, self.spans[0].start + (1 << 16))]

    def has(self, sign: bytes) -> bool:
        """Return whether a sign stands in the lines."""
        return any(self.data.find(sign, s.start, s.stop) >= 0 for s in self.spans)

    def lines(self) -> NDArray[np.int64]:
        """Return the number of each line."""
        buffer = np.frombuffer(self.data, np.uint8)
        counts = [int(np.count_nonzero(buffer[s.start : s.stop] == ord("\n"))) + 1 for s in self.spans]
        return np.concatenate([np.arange(s.line, s.line + n) for s, n in zip(self.spans, counts, strict=True)])


def _clock_width(text: _Text, layout: Layout) -> int:
    """Return how many bytes a cell of time may have, or 0 where times are plain numbers."""
    first = split(text.head().split(b"\n", 1)[0], layout.delimiter)
    times = [first[i] for i in layout.time if i < len(first)]
    if len(layout.time) == 1 and not any(map(is_clock, times)):
        return 0
    return min(max(map(len, times), default=WIDTH) + 12, WIDTH)


def _by_pandas(text: _Text, layout: Layout, decimal: str, missing: Sequence[str], width: int) -> list[NDArray[Any]]:
    import pandas as pd

    used = [column.index for column in layout.columns]
    few = 2 * len(used) < layout.width
    # with few columns in use the others are not read; one more than there should be shows rows that are too long
    names = range(layout.width + 1 if few else layout.width)
    head = text.head()
    with warnings.catch_warnings():
        warnings.simplefilter("error", pd.errors.ParserWarning)
        warnings.simplefilter("ignore", pd.errors.DtypeWarning)  # mixed columns are looked at cell by cell
        frame = pd.read_csv(
            text.stream(),
            sep=layout.delimiter,
            decimal=decimal,
            header=None,
            names=names,
            usecols=[*used, layout.width] if few else None,
            index_col=False,
            dtype=dict.fromkeys(layout.time, f"S{width}") if width else None,
            na_values=[*NOT_AVAILABLE, *missing],
            keep_default_na=False,
            skip_blank_lines=False,
            skipinitialspace=layout.delimiter.encode() + b" " in head or head[:1] == b" ",
        )
    if few and frame[layout.width].notna().any():
        raise ValueError("rows of more cells than the header")
    cells = []
    for column in layout.columns:
        own = frame[column.index].to_numpy()
        cells.append(own.astype(float) if own.dtype.kind in "iu" else own)
        if own.dtype.kind not in "iufbOS":  # texts, as newer versions of pandas hold them
            cells[-1] = own.astype(object)
    return cells


def _find_short(text: _Text, rows: Rows) -> None:
    """Note the rows that hold fewer cells than the last used column needs, except blank ones."""
    needed = max(column.index for column in rows.layout.columns) + 1
    last = next(c for c, column in zip(rows.cells, rows.layout.columns, strict=True) if column.index == needed - 1)
    if last.dtype.kind == "b":
        return
    if last.dtype.kind == "S":
        empty = last == b""
    elif last.dtype.kind == "f":
        empty = np.isnan(last)
    else:
        empty = np.array([not isinstance(c, str) for c in last])
    if not empty.any():
        return
    body = text.body
    buffer = np.frombuffer(body, np.uint8)
    ends = np.r_[np.flatnonzero(buffer == ord("\n")), len(buffer)]
    signs = np.r_[0, np.searchsorted(np.flatnonzero(buffer == ord(rows.layout.delimiter)), ends)]
    starts = np.r_[0, ends[:-1] + 1]
    for row in np.flatnonzero(empty & (np.diff(signs) + 1 < needed)):
        cells = split(body[starts[row] : ends[row]], rows.layout.delimiter)
        if any(cells):
            rows.reasons[int(row)] = _short(len(cells), rows.layout)


def _short(count: int, layout: Layout) -> str:
    return f"the row is cut off: {count} of {layout.width} cells"


def _by_hand(source: _Text, layout: Layout, width: int) -> Rows:
    """Return rows line by line: slow, and sure about which line cannot be read."""
    table: list[list[str | None]] = []
    reasons: dict[int, str] = {}
    needed = max(column.index for column in layout.columns) + 1
    for row, line in enumerate(source.body.split(b"\n")):
        text = line.decode("utf-8", "replace").rstrip("\r")
        cells = split(text, layout.delimiter)
        if text.strip() and not cells:
            reasons[row] = "the line cannot be split into cells"
        elif '"' in text and _is_open(text, layout.delimiter):
            reasons[row] = "a quotation mark is not closed"
        elif any(cells[layout.width :]):
            reasons[row] = f"{len(cells)} cells, where the header has {layout.width}"
        elif any(cells) and len(cells) < needed:
            reasons[row] = _short(len(cells), layout)
        table.append([cells[c.index] if c.index < len(cells) else None for c in layout.columns])
    columns: list[NDArray[Any]] = []
    for index, column in enumerate(layout.columns):
        own = np.empty(len(table), dtype=object)
        own[:] = [row[index] for row in table]
        if column.kind == "time" and width:
            own = np.array([(c or "").encode()[:width] for c in own], dtype=f"S{width}")
        columns.append(own)
    return Rows(layout, source.lines(), columns, reasons)


def _is_open(text: str, delimiter: str) -> bool:
    try:
        list(csv.reader([text], delimiter=delimiter, skipinitialspace=True, strict=True))
    except csv.Error as error:
        return "unexpected end" in str(error)
    return False
