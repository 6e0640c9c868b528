"""Cells of a log as text, to numbers and flags: decimal signs, groups of thousands, units beside numbers, gaps."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["LARGEST", "NOT_AVAILABLE", "decimal_of", "flags", "is_number", "numbers"]

NOT_AVAILABLE = (
    "", "-", "--", "---", "N/A", "n/a", "NA", "n.a.", "NaN", "nan", "NAN", "-nan", "-NaN", "null", "NULL", "Null",
    "None", "none", "NONE", "#N/A", "?", "...", "-nan(ind)", "nan(ind)", "1.#QNAN", "<null>",
)  # fmt: skip
LARGEST = 1e30
"""Nothing that a log records is larger: a cell beyond it is damaged, and sums and changes of unit cannot overflow."""

_NOT_AVAILABLE = {word.casefold() for word in NOT_AVAILABLE}
_WORDS = {
    "yes": 1.0,
    "true": 1.0,
    "on": 1.0,
    "y": 1.0,
    "ja": 1.0,
    "no": 0.0,
    "false": 0.0,
    "off": 0.0,
    "n": 0.0,
    "nein": 0.0,
}
_SPACES = str.maketrans({"\u00a0": " ", "\u202f": " ", "\u2009": " ", "−": "-", "’": "'"})  # fmt: skip
_CELL = re.compile(r"([-+]?)((?:\d[\d.,' ]*)?\d|\d[\d., ']*[.,]|[.,]\d+)([eE][-+]?\d+)?\s*([^\d\s.,'][^\d]*)?")


def _clean(cell: str) -> str:
    return cell.translate(_SPACES).strip()


def is_number(cell: str) -> bool:
    """Return whether a cell may be a number, in whatever notation."""
    return _CELL.fullmatch(_clean(cell)) is not None


def decimal_of(cells: Iterable[str]) -> str | None:
    """Return the decimal sign that cells are written with, or None where ``"1,234"`` could be either.

    A sign that follows another kind of sign, or is not followed by exactly three digits, is decimal; one that stands
    twice separates thousands. Points alone are decimal: ``"1.234"`` is taken as a little more than one.
    """
    count = {".": 0, ",": 0}
    doubtful = {".": 0, ",": 0}
    for cell in cells:
        match = _CELL.fullmatch(_clean(cell))
        signs = [c for c in match[2] if c in ".,"] if match else []
        if not match or not signs:
            continue
        before, after = match[2].rsplit(signs[-1], 1)
        if len(set(signs)) == 2:
            count[signs[-1]] += 1
        elif len(signs) > 1:
            count["," if signs[0] == "." else "."] += 1
        elif len(after) == 3 and 1 <= len(before) <= 3 and before[0] != "0":
            doubtful[signs[0]] += 1
        else:
            count[signs[0]] += 1
    if count["."] or count[","]:
        return "." if count["."] >= count[","] else ","
    return None if doubtful[","] else "."


def numbers(
    cells: NDArray[Any], decimal: str, missing: Iterable[str] = ()
) -> tuple[NDArray[np.float64], NDArray[np.bool_], str]:
    """Return the numbers of cells, which cells are none, and the unit that stands in every cell beside the number.

    Parameters
    ----------
    cells : ndarray of object, shape (N,)
        Texts, or numbers where they are read already.
    decimal : {".", ","}
        The other one, a space and an apostrophe separate groups of three digits and nothing else.
    missing : iterable of str
        Words for "not available" beside those that are known.

    Returns
    -------
    numbers : ndarray, shape (N,)
        NaN where not available and where it is no number.
    bad : ndarray of bool, shape (N,)
        Where a cell is no number.
    unit : str
        Empty where there is none.
    """
    import pandas as pd

    not_available = _NOT_AVAILABLE | {word.casefold() for word in missing}
    result = np.full(len(cells), np.nan)
    bad = np.zeros(len(cells), dtype=bool)
    is_text = np.fromiter((isinstance(c, str) for c in cells), bool, len(cells))
    for i in np.flatnonzero(~is_text):
        bad[i] = isinstance(cells[i], bool | np.bool_)
        # by its text, as a whole number may be too large to become a float
        result[i] = np.nan if bad[i] or cells[i] is None else float(str(cells[i]))
    codes, uniques = pd.factorize(cells[is_text])
    group = r"[.' ]" if decimal == "," else r"[,' ]"
    number = re.compile(rf"(?:\d{{1,3}}(?:({group})\d{{3}})(?:\1\d{{3}})*|\d+)?(?:{re.escape(decimal)}\d*)?")
    values = np.full(len(uniques), np.nan)
    wrong = np.zeros(len(uniques), dtype=bool)
    units = []
    for n, text in enumerate(map(_clean, uniques)):
        if text.casefold() in not_available:
            continue
        match = _CELL.fullmatch(text)
        if match is None or not (plain := number.fullmatch(match[2])):
            wrong[n] = True
            continue
        digits = match[2].replace(plain[1], "") if plain[1] else match[2]
        values[n] = float(f"{match[1]}{digits.replace(decimal, '.')}{match[3] or ''}")
        units.append((n, (match[4] or "").strip()))
    told = units[0][1] if units else ""
    for n, unit in units:
        wrong[n] |= unit != told
    values[wrong] = np.nan
    result[is_text] = values[codes]
    bad[is_text] = wrong[codes]
    bad |= np.abs(result) > LARGEST
    result[bad] = np.nan
    return result, bad, told


def flags(
    cells: NDArray[Any], decimal: str, missing: Iterable[str] = ()
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return 0 or 1 for each cell (no or yes, off or on, false or true, a number), and which cells are neither."""
    words = np.array([_WORDS.get(_clean(str(c)).casefold(), c) for c in cells] + [None], dtype=object)[:-1]
    result, bad, _ = numbers(words, decimal, missing)
    return np.where(np.isnan(result), np.nan, result != 0), bad
