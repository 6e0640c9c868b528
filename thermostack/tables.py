"""A small table of values that shows itself as text, as HTML in a notebook, and as plain data."""

from __future__ import annotations

import html
import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from thermostack.errors import InputError

__all__ = ["Cell", "Column", "Table", "format_number"]

Cell = float | str | bool | None

NOTHING = "–"
"""Stands in a cell that holds no value."""


def format_number(value: float, digits: int = 4) -> str:
    """Return `value` to so many significant digits, without an exponent where a reader can do without.

    Parameters
    ----------
    value : float
        The number; need not be finite.
    digits : int
        Significant digits, at least 1. Digits before the decimal point are never replaced by zeros.

    Returns
    -------
    str
        With a true minus sign; in the form ``1.2e-07`` below 1e-4 and from 1e7.

    Examples
    --------
    >>> format_number(0.0123456, 3), format_number(12345.6, 3), format_number(-2.0, 3)
    ('0.0123', '12346', '−2')
    """
    if not math.isfinite(value):
        text = str(value)
    elif value == 0:
        text = "0"
    elif 1e-4 <= abs(value) < 1e7:
        rounded = float(f"{value:.{digits}g}") if abs(value) < 10**digits else float(round(value))
        decimals = max(0, digits - 1 - math.floor(math.log10(abs(rounded))))
        text = f"{rounded:.{decimals}f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
    else:
        text = f"{value:.{digits - 1}e}"
    return text.replace("-", "−", 1) if text.startswith("-") else text


@dataclass(frozen=True)
class Column:
    """One column of a `Table`.

    Parameters
    ----------
    key : str
        Name of the column in `Table.to_dict` and `Table.to_pandas`.
    title : str
        Heading, with the unit in it: ``"drop [K]"``.
    spec : str
        Format specification for numbers, such as ``".2f"``; left out, four significant digits (`format_number`).
    align : {"auto", "left", "right"}
        ``"auto"`` puts a column to the right when it holds numbers and no text.
    wrap : int, optional
        Characters after which plain text goes on in a further line of the same row.
    """

    key: str
    title: str
    spec: str = ""
    align: Literal["auto", "left", "right"] = "auto"
    wrap: int | None = None

    def show(self, cell: Cell) -> str:
        """Return the text of one cell, in a single line."""
        if cell is None:
            return NOTHING
        if isinstance(cell, str):
            return " ".join(cell.split())
        if isinstance(cell, bool):
            return "yes" if cell else "no"
        if not self.spec:
            return format_number(cell)
        text = format(cell, self.spec)
        if not text.strip("-0.,"):
            return text.lstrip("-")  # what rounds to nothing has no sign
        return text.replace("-", "−", 1) if text.startswith("-") else text


@dataclass(frozen=True)
class Table:
    """Rows of values under headings.

    Parameters
    ----------
    columns : tuple of Column
        Headings and formats, keys unique.
    rows : tuple of tuple
        Cells in the order of the columns: a number, a text, a truth value or ``None`` for no value.
    title : str
        What the table shows.
    notes : tuple of str
        Lines below the table.

    Raises
    ------
    InputError
        If a key stands twice, or a row has not one cell for each column.

    Examples
    --------
    >>> print(Table((Column("part", "part"), Column("rise", "rise [K]", ".1f")), (("die", 12.94), ("lid", None))))
    part  rise [K]
    ----  --------
    die       12.9
    lid          –
    """

    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    title: str = ""
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        keys = [column.key for column in self.columns]
        if len(set(keys)) != len(keys):
            raise InputError(f"the column keys {keys} are not unique", where="table")
        for number, row in enumerate(self.rows):
            if len(row) != len(keys):
                raise InputError(f"{len(row)} cells", where=f"table.row {number}", expected=f"{len(keys)} cells")

    def __len__(self) -> int:
        return len(self.rows)

    def __str__(self) -> str:
        texts = [[column.show(cell) for column, cell in zip(self.columns, row, strict=True)] for row in self.rows]
        lines_of = [[_wrapped(t, c.wrap) for t, c in zip(row, self.columns, strict=True)] for row in texts]
        heads = [column.title for column in self.columns]
        right = [self.stands_right(i) for i in range(len(heads))]
        widths = [max([len(head), *(len(line) for row in lines_of for line in row[i])]) for i, head in enumerate(heads)]

        def line(cells: Sequence[str]) -> str:
            shown = (c.rjust(w) if r else c.ljust(w) for c, w, r in zip(cells, widths, right, strict=True))
            return "  ".join(shown).rstrip()

        out = [self.title] if self.title else []
        out += [line(heads), line(["-" * w for w in widths])]
        for row in lines_of:
            height = max((len(cell) for cell in row), default=0)
            out += [line([cell[i] if i < len(cell) else "" for cell in row]) for i in range(height)]
        return "\n".join([*out, *self.notes])

    def _repr_html_(self) -> str:
        """Return a table element; colours are the page's own, so it reads on light and dark alike."""
        align = ["right" if self.stands_right(i) else "left" for i in range(len(self.columns))]
        head = "".join(
            f'<th scope="col" style="text-align:{a};border-bottom:1px solid currentColor">{html.escape(c.title)}</th>'
            for c, a in zip(self.columns, align, strict=True)
        )
        body = "\n".join("<tr>" + self._html_row(row, align) + "</tr>" for row in self.rows)
        notes = "".join(
            f'<tr><td colspan="{len(self.columns)}" style="text-align:left;opacity:0.8">{html.escape(note)}</td></tr>'
            for note in self.notes
        )
        caption = f'<caption style="text-align:left">{html.escape(self.title)}</caption>' if self.title else ""
        return (
            f'<table style="border-collapse:collapse">{caption}\n<thead><tr>{head}</tr></thead>\n'
            f"<tbody>\n{body}\n</tbody>" + (f"\n<tfoot>{notes}</tfoot>" if notes else "") + "</table>"
        )

    def _html_row(self, row: tuple[Cell, ...], align: list[str]) -> str:
        """Return the cells of one row; the first is the row's own heading."""
        out = []
        for i, (column, cell, side) in enumerate(zip(self.columns, row, align, strict=True)):
            style = f"text-align:{side}" + (";font-variant-numeric:tabular-nums" if side == "right" else "")
            text = html.escape(column.show(cell))
            if i == 0:
                out.append(f'<th scope="row" style="{style};font-weight:inherit">{text}</th>')
            else:
                out.append(f'<td style="{style}">{text}</td>')
        return "".join(out)

    def stands_right(self, index: int) -> bool:
        """Say whether a column stands to the right."""
        if self.columns[index].align != "auto":
            return self.columns[index].align == "right"
        cells = [row[index] for row in self.rows]
        holds_number = any(isinstance(c, (int, float)) and not isinstance(c, bool) for c in cells)
        return holds_number and not any(isinstance(c, str) for c in cells)

    def to_dict(self) -> dict[str, list[Cell]]:
        """Return the values as they are, a list a column."""
        return {column.key: [row[i] for row in self.rows] for i, column in enumerate(self.columns)}

    def to_pandas(self) -> Any:
        """Return the values as a pandas DataFrame.

        Raises
        ------
        ImportError
            If pandas is not installed.
        """
        try:
            import pandas as pd
        except ImportError as error:
            raise ImportError("to_pandas needs pandas: install it, or use to_dict()") from error
        return pd.DataFrame(self.to_dict())


def _wrapped(text: str, width: int | None) -> list[str]:
    """Return the lines of one cell, at least one."""
    return textwrap.wrap(text, width) or [""] if width else [text]
