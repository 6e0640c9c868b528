"""Rows of a log out of a span of its text: pandas reads them, and what it cannot read is found line by line."""

from __future__ import annotations

import csv
import io
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .cells import NOT_AVAILABLE, decimal_of, is_number
from .clock import WIDTH
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


def sample_decimal(data: bytes, span: Span, most: int = 200) -> str | None:
    """Return the decimal sign of the first rows of a span."""
    lines = data[span.start : min(span.stop, span.start + most * 400)].split(b"\n")[:most]
    used = [c.index for c in span.layout.columns]
    cells = [split(line, span.layout.delimiter) for line in lines]
    return decimal_of(row[i] for row in cells for i in used if i < len(row))


def read_rows(data: bytes, spans: Sequence[Span], decimal: str, missing: Sequence[str]) -> Rows:
    """Return the rows of spans that have one layout."""
    layout = spans[0].layout
    body = b"\n".join(data[s.start : s.stop] for s in spans) if len(spans) > 1 else data[spans[0].start : spans[0].stop]
    counts = [int(np.count_nonzero(np.frombuffer(data, np.uint8)[s.start : s.stop] == ord("\n"))) + 1 for s in spans]
    lines = np.concatenate([np.arange(s.line, s.line + n) for s, n in zip(spans, counts, strict=True)])
    try:
        cells = _by_pandas(body, layout, decimal, missing)
    except (ValueError, Warning, OverflowError):  # what pandas raises on rows that it cannot make columns of
        cells = []
    if not cells or len(cells[0]) != len(lines):
        return _by_hand(body, layout, lines)
    rows = Rows(layout, lines, cells)
    _find_short(body, rows)
    return rows


def _clocked(body: bytes, layout: Layout) -> bool:
    """Return whether times are written with more than a number."""
    first = split(body[: body.find(b"\n") if b"\n" in body else len(body)], layout.delimiter)
    return len(layout.time) > 1 or not all(i < len(first) and is_number(first[i]) for i in layout.time)


def _by_pandas(body: bytes, layout: Layout, decimal: str, missing: Sequence[str]) -> list[NDArray[Any]]:
    import pandas as pd

    used = [column.index for column in layout.columns]
    few = 2 * len(used) < layout.width
    # with few columns in use the others are not read; one more than there should be shows rows that are too long
    names = range(layout.width + 1 if few else layout.width)
    clocked = _clocked(body, layout)
    with warnings.catch_warnings():
        warnings.simplefilter("error", pd.errors.ParserWarning)
        warnings.simplefilter("ignore", pd.errors.DtypeWarning)  # mixed columns are looked at cell by cell
        frame = pd.read_csv(
            io.BytesIO(body),
            sep=layout.delimiter,
            decimal=decimal,
            header=None,
            names=names,
            usecols=[*used, layout.width] if few else None,
            index_col=False,
            dtype=dict.fromkeys(layout.time, f"S{WIDTH}") if clocked else None,
            na_values=[*NOT_AVAILABLE, *missing],
            keep_default_na=False,
            skip_blank_lines=False,
            skipinitialspace=layout.delimiter.encode() + b" " in body[: 1 << 16] or body[:1] == b" ",
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


def _find_short(body: bytes, rows: Rows) -> None:
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


def _by_hand(body: bytes, layout: Layout, lines: NDArray[np.int64]) -> Rows:
    """Return rows line by line: slow, and sure about which line cannot be read."""
    table: list[list[str | None]] = []
    reasons: dict[int, str] = {}
    needed = max(column.index for column in layout.columns) + 1
    for row, line in enumerate(body.split(b"\n")):
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
        if column.kind == "time" and _clocked(body, layout):
            own = np.array([(c or "").encode()[:WIDTH] for c in own], dtype=f"S{WIDTH}")
        columns.append(own)
    return Rows(layout, lines[: len(table)], columns, reasons)


def _is_open(text: str, delimiter: str) -> bool:
    try:
        list(csv.reader([text], delimiter=delimiter, skipinitialspace=True, strict=True))
    except csv.Error as error:
        return "unexpected end" in str(error)
    return False
