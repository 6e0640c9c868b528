"""Which column of a file is what: the mapping that the user gives, and the columns of a header that answer it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal, get_args

from ..errors import FileError, InputError, UnknownNameError, suggest
from ..units import parse
from .header_units import CLOCK_FORMATS, DIMENSION_OF, known_unit, split_unit, tidy
from .log import Role

__all__ = ["Column", "Want", "columns_of", "matches", "wants_of"]

Kind = Literal["time"] | Role

_KEYS: dict[str, Kind] = {"sensors": "sensor", **{role: role for role in get_args(Role) if role != "sensor"}}
_RIGHT = "columns={'time': 'Elapsed [s]', 'power': ('Package', 'W'), 'sensors': {'core *': 'Core * [°C]'}}"


@dataclass(frozen=True)
class Want:
    """One entry of the mapping: a column that is wanted, or a pattern of several."""

    kind: Kind
    name: str
    column: str | int
    unit: str
    where: str

    @cached_property
    def pattern(self) -> re.Pattern[str] | None:
        """What the header must look like, where `column` holds a star."""
        if isinstance(self.column, int) or "*" not in self.column:
            return None
        return re.compile("(.+)".join(map(re.escape, tidy(self.column).split("*"))))


@dataclass(frozen=True)
class Column:
    """A column of a file that was found: where it stands, what it is called in the log, and its unit as given."""

    index: int
    name: str
    kind: Kind
    header: str
    unit: str

    @property
    def dimension(self) -> str | None:
        """A key of `units.DIMENSIONS`, or None where no unit is needed."""
        return DIMENSION_OF.get(self.kind)


def wants_of(columns: Mapping[str, Any]) -> tuple[Want, ...]:
    """Return the entries of a mapping, those of time first.

    Raises
    ------
    InputError
        It is not a mapping of the form that `read_log` describes; it has no time, or nothing else.
    """
    if not isinstance(columns, Mapping):
        raise InputError(f"{columns!r} is not a mapping", where="columns", expected=_RIGHT)
    for key in columns:
        if key != "time" and key not in _KEYS:
            problem = f"{key!r} is not what a column can be; {suggest(str(key), ['time', *_KEYS])}"
            raise UnknownNameError(problem, where="columns")
    if "time" not in columns:
        raise InputError("no column of time", where="columns", expected=_RIGHT)
    times = _times(columns["time"])
    others = tuple(want for key, kind in _KEYS.items() if key in columns for want in _wants(kind, key, columns[key]))
    if not others:
        raise InputError("nothing but time is mapped", where="columns", expected=_RIGHT)
    _check_twice([want.name for want in others if not want.pattern], "columns")
    return times + others


def _times(entry: Any) -> tuple[Want, ...]:
    where = "columns['time']"
    if isinstance(entry, list):
        if len(entry) != 2:
            raise InputError(f"{entry!r} are not date and time", where=where, expected="['Date', 'Time of day']")
        return tuple(_want("time", name, each, where) for name, each in zip(("date", "time"), entry, strict=True))
    return (_want("time", "time", entry, where),)


def _wants(kind: Kind, key: str, entry: Any) -> Iterator[Want]:
    where = f"columns[{key!r}]"
    if isinstance(entry, Mapping):
        for name, each in entry.items():
            if not isinstance(name, str) or not name.strip():
                raise InputError(f"{name!r} is not a name", where=where, expected="a text such as 'core 0'")
            want = _want(kind, name, each, f"{where}[{name!r}]")
            stars = want.column.count("*") if isinstance(want.column, str) else 0
            if name.count("*") != stars:
                raise InputError(f"{name!r} and {want.column!r} do not hold the same number of stars", where=want.where,
                                 expected="a star on both sides, such as {'core *': 'Core * [°C]'}")  # fmt: skip
            yield want
    elif isinstance(entry, list):
        for each in entry:
            yield _want(kind, "", each, where)
    else:
        several = key in ("sensors", "other") or "*" in str(entry)
        yield _want(kind, "" if several else key, entry, where)


def _want(kind: Kind, name: str, entry: Any, where: str) -> Want:
    column, unit = entry if isinstance(entry, tuple) and len(entry) == 2 else (entry, "")
    is_number = isinstance(column, int) and not isinstance(column, bool) and column >= 1
    if not isinstance(unit, str) or not (is_number or (isinstance(column, str) and column.strip())):
        raise InputError(f"{entry!r} is not a column", where=where,
                         expected="a header, header and unit ('Package', 'W'), or a number from 1")  # fmt: skip
    if kind == "time" and "*" in str(column):
        raise InputError(f"{column!r} may be several columns", where=where, expected="one column")
    if unit and not (kind == "time" and unit in CLOCK_FORMATS) and kind in DIMENSION_OF:
        parse((1.0, (known_unit(unit) or (unit,))[0]), DIMENSION_OF[kind], where=where)
    return Want(kind, name, column, unit, where)


def _check_twice(names: Sequence[str], where: str) -> None:
    for name in names:
        if name and names.count(name) > 1:
            raise InputError(f"the name {name!r} is given twice", where=where,
                             expected="a name for each, such as {'core 0': 'Core 0 [°C]'}")  # fmt: skip


def matches(want: Want, header: Sequence[str]) -> list[tuple[int, str]]:
    """Return index and name in the log of the columns that answer an entry of the mapping.

    A name meets the full text of a header or, where it meets none, the text without the unit; a pattern the other way
    round.
    """
    if isinstance(want.column, int):
        if want.column > len(header):
            return []
        own = split_unit(header[want.column - 1])[0] or f"column {want.column}"
        return [(want.column - 1, want.name or own)]
    full = [tidy(cell) for cell in header]
    bare = [split_unit(cell)[0] for cell in full]
    if want.pattern is None:
        wanted = tidy(want.column)
        for texts in (full, bare):
            if wanted in texts:
                return [(i, want.name or bare[i]) for i, text in enumerate(texts) if text == wanted]
        return []
    for texts in (bare, full):  # a star stands for the unit only where the pattern cannot be met without it
        met = [(i, want.pattern.fullmatch(text)) for i, text in enumerate(texts)]
        if found := [(i, _filled(want.name, match) or bare[i]) for i, match in met if match]:
            return found
    return []


def _filled(name: str, match: re.Match[str]) -> str:
    for part in match.groups():
        name = name.replace("*", part.strip(), 1)
    return name


def columns_of(wants: Sequence[Want], header: Sequence[str], where: str) -> tuple[Column, ...]:
    """Return the columns of a header that the mapping asks for.

    Raises
    ------
    UnknownNameError
        One is missing; the nearest names are suggested.
    FileError
        One stands there twice, or two entries of the mapping meet the same column or bear the same name.
    """
    columns: list[Column] = []
    for want in wants:
        found = matches(want, header)
        if not found:
            raise _missing(want, header, where)
        if len(found) > 1 and want.pattern is None:
            numbers = " and ".join(str(index + 1) for index, _ in found)
            raise FileError(f"columns {numbers} are both called {want.column!r}", where=where,
                            expected=f"its number in {want.where}, such as {found[0][0] + 1}")  # fmt: skip
        columns += [Column(i, name, want.kind, tidy(header[i]) or f"no. {i + 1}", want.unit) for i, name in found]
    for column in columns:
        uses = [other.name for other in columns if other.index == column.index]
        if len(uses) > 1:
            raise FileError(f"column {column.header!r} is mapped twice, as {' and '.join(map(repr, uses))}",
                            where=where, expected="one use for a column; a narrower pattern")  # fmt: skip
    _check_twice([column.name for column in columns if column.kind != "time"], where)
    return tuple(columns)


def _missing(want: Want, header: Sequence[str], where: str) -> UnknownNameError:
    known = [cell for cell in header if cell]
    if isinstance(want.column, int):
        problem = f"no column {want.column}, there are {len(header)}"
    elif want.pattern is not None:
        problem = f"no column is like {want.column!r}; {suggest(want.column.replace('*', '').strip(), known)}"
    else:
        problem = f"no column {want.column!r}; {suggest(want.column, known)}"
    return UnknownNameError(f"{problem} ({want.where})", where=where)
