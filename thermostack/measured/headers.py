"""What columns a file has, before anyone has said what they are: their headers, and a guess."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ..errors import FileError
from .cells import is_number
from .clock import looks_like_time
from .header_units import known_unit, split_unit, tidy
from .layout import split
from .mapping import Kind
from .sniff import PathLike, text_of

__all__ = ["Header", "headers_of", "mapping_of"]

DELIMITERS = ("\t", ";", ",", "|")
DEPTH = 200
"""Lines in which the header is looked for."""
_WORDS: tuple[tuple[Kind, tuple[str, ...]], ...] = (
    ("coolant", ("coolant", "water", "liquid", "inlet", "outlet", "loop")),
    ("ambient", ("ambient", "room", "air", "intake")),
    ("limit", ("throttl", "limit")),
    ("pump", ("pump",)),
    ("fan", ("fan",)),
)
"""Words in a header, in small letters, that tell what is recorded there."""


@dataclass(frozen=True)
class Header:
    """A column of a file.

    Attributes
    ----------
    number : int
        From 1.
    text : str
        As it stands there.
    name, unit : str
        What it is called, and its unit; empty where the header tells none.
    example : str
        The cell of the first row.
    kind : str or None
        What it may be, as `read_log` calls it: a guess by unit and words; None where there is none.
    """

    number: int
    text: str
    name: str
    unit: str
    example: str
    kind: Kind | None


def headers_of(path: PathLike) -> tuple[Header, ...]:
    """Return the columns of a file of rows and columns.

    The header is the line with the most names above a line of as many cells that are nearly all numbers.

    Raises
    ------
    FileError
        The file cannot be read, or no such line is found.
    """
    data, _ = text_of(path)
    lines = data.decode("utf-8", "replace").splitlines()[:DEPTH]
    best: tuple[int, int, str, list[str], list[str]] | None = None
    for sign in DELIMITERS:
        rows = [split(line, sign) for line in lines]
        for n, cells in enumerate(rows):
            names = sum(_is_name(cell) for cell in cells)
            if len(cells) < 2 or names < 2 or (best is not None and names <= best[0]):
                continue
            below = next((row for row in rows[n + 1 : n + 4] if len(row) >= len(cells) - 1 and _is_row(row)), None)
            if below is not None:
                best = names, n, sign, cells, below
    if best is None:
        raise FileError("no header was found above rows of numbers", where=str(path),
                        expected="a line of names above the rows, or read_log with columns by number")  # fmt: skip
    _, _, _, cells, below = best
    found, taken = [], False
    for i, cell in enumerate(cells):
        text = tidy(cell)
        name, unit = split_unit(text)
        example = below[i] if i < len(below) else ""
        kind = _guess(name, unit, example, taken)
        taken = taken or kind == "time"
        if text:
            found.append(Header(i + 1, text, name, unit, example, kind))
    return tuple(found)


def mapping_of(headers: Sequence[Header], kinds: Sequence[str | None], units: Sequence[str] = ()) -> dict[str, Any]:
    """Return the mapping that `read_log` takes, for columns with what they are.

    Parameters
    ----------
    headers : sequence of Header
    kinds : sequence of str or None
        What each is; None for one that is not used.
    units : sequence of str, optional
        Of each, where the header tells none; empty for none.
    """
    texts = [header.text for header in headers]
    named: dict[str, dict[str, Any]] = {}
    times: list[Any] = []
    for header, kind, unit in zip(headers, kinds, units or [""] * len(headers), strict=True):
        if not kind:
            continue
        column: Any = header.text if texts.count(header.text) == 1 and "*" not in header.text else header.number
        entry = (column, unit) if unit and not header.unit else column
        if kind == "time":
            times.append(entry)
        else:
            of_kind = named.setdefault("sensors" if kind == "sensor" else kind, {})
            name = header.name if header.name not in of_kind else f"{header.name} ({header.number})"
            of_kind[name] = entry
    mapping: Mapping[str, Any] = named
    return {**({"time": times[0] if len(times) == 1 else times} if times else {}), **mapping}


def _is_name(cell: str) -> bool:
    return bool(cell) and not is_number(cell) and not looks_like_time(cell)


def _is_row(cells: Sequence[str]) -> bool:
    numbers = sum(is_number(cell) or looks_like_time(cell) for cell in cells if cell)
    return numbers >= 2 and numbers >= 0.6 * sum(map(bool, cells))


def _guess(name: str, unit: str, example: str, taken: bool) -> Kind | None:
    words = name.casefold()
    known = known_unit(unit) if unit else None
    measures = known[1] if known else ""
    clock = looks_like_time(example) and not is_number(example)
    if clock or "date" in words or (not taken and (measures == "time" or "time" in words)):
        return "time"
    for kind, signs in _WORDS:
        if any(sign in words for sign in signs) and (measures == "temperature") == (kind in ("coolant", "ambient")):
            return kind
    if measures == "temperature":
        return "sensor"
    return {"power": "power", "frequency": "clock"}.get(measures)  # type: ignore[return-value]
