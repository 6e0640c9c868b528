"""Which column of a file is what: the mapping that the user gives, and the units that headers tell."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal, get_args

from ..errors import FileError, InputError, UnitError, UnknownNameError, suggest
from ..units import DIMENSIONS, parse, to_si
from .log import Role

__all__ = ["CLOCK_FORMATS", "Column", "Want", "columns_of", "known_unit", "matches", "split_unit", "unit_of", "wants_of"]

DIMENSION_OF: dict[str, str] = {
    "time": "time", "sensor": "temperature", "coolant": "temperature", "ambient": "temperature", "power": "power",
    "clock": "frequency",
}  # fmt: skip
"""Of each role whose values have a unit that must be known; the others are kept as they were logged."""

CLOCK_FORMATS = ("h:m:s", "h:m", "m:s")
"""What may stand in the place of a unit of time."""

# as headers write them, without regard to upper and lower case: the unit as pint reads it, and what it measures
_UNITS = {
    "c": ("degC", "temperature"), "°c": ("degC", "temperature"), "℃": ("degC", "temperature"),
    "degc": ("degC", "temperature"), "deg c": ("degC", "temperature"), "celsius": ("degC", "temperature"),
    "f": ("degF", "temperature"), "°f": ("degF", "temperature"), "℉": ("degF", "temperature"),
    "degf": ("degF", "temperature"), "deg f": ("degF", "temperature"), "fahrenheit": ("degF", "temperature"),
    "k": ("K", "temperature"), "kelvin": ("K", "temperature"),
    "w": ("W", "power"), "watt": ("W", "power"), "watts": ("W", "power"), "kw": ("kW", "power"), "mw": ("mW", "power"),
    "hz": ("Hz", "frequency"), "khz": ("kHz", "frequency"), "mhz": ("MHz", "frequency"), "ghz": ("GHz", "frequency"),
    "s": ("s", "time"), "sec": ("s", "time"), "secs": ("s", "time"), "second": ("s", "time"), "seconds": ("s", "time"),
    "ms": ("ms", "time"), "msec": ("ms", "time"), "milliseconds": ("ms", "time"), "us": ("us", "time"),
    "µs": ("us", "time"), "min": ("min", "time"), "minutes": ("min", "time"), "h": ("h", "time"), "hr": ("h", "time"),
    "hours": ("h", "time"), "d": ("day", "time"), "days": ("day", "time"),
    "rpm": ("rpm", "speed"), "1/min": ("rpm", "speed"), "%": ("%", "share"), "v": ("V", "voltage"),
    "mv": ("mV", "voltage"), "a": ("A", "current"), "ma": ("mA", "current"), "l/min": ("L/min", "flow"),
    "l/h": ("L/h", "flow"),
}  # fmt: skip
_UNMISTAKABLE = {"°c", "℃", "degc", "°f", "℉", "degf", "w", "mw", "kw", "hz", "khz", "mhz", "ghz", "rpm", "ms"}
_IN_BRACKETS = re.compile(r"(.*?)\s*[\[(]\s*([^\[\]()]+?)\s*[\])]")
_AFTER_SLASH = re.compile(r"(.*\S)\s*/\s*(\S+)")
_AT_THE_END = re.compile(r"(.*[^\s,_])[\s,_]+(\S+)")

Kind = Literal["time"] | Role


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
        return re.compile("(.+)".join(re.escape(_tidy(part)) for part in self.column.split("*")))


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


def known_unit(text: str) -> tuple[str, str] | None:
    """Return the unit that a header's text means, and what it measures; None where it is not known for one."""
    text = _tidy(text)
    if text == "MW":
        return "MW", "power"
    return _UNITS.get(text.casefold())


def split_unit(header: str) -> tuple[str, str]:
    """Return the name and the unit of a header such as ``"Package [W]"``, ``"Water / °C"`` or ``"Core 1 °C"``.

    The unit is empty where there is none; what stands in brackets and is not a unit belongs to the name.
    """
    header = _tidy(header)
    for form in (_IN_BRACKETS, _AFTER_SLASH):
        if (match := form.fullmatch(header)) and match[1] and known_unit(match[2]):
            return match[1], match[2]
    match = _AT_THE_END.fullmatch(header)
    if match and match[2].casefold() in _UNMISTAKABLE:
        return match[1], match[2]
    return header, ""


def unit_of(column: Column, told: str, where: str) -> str:
    """Return the unit of a column, as pint reads it, from what the file tells and what the mapping gives.

    Raises
    ------
    UnitError
        Neither tells a unit, both do and differ, or it is not a unit of what the column is.
    """
    dimension = column.dimension
    assert dimension is not None
    known = known_unit(told) if told else None
    at = f"{where}, column {column.header!r}"
    example = DIMENSIONS[dimension].example.split(" ", 1)[1]
    if known and known[1] != dimension:
        raise UnitError(f"{told!r} is not a unit of {dimension}", where=at,
                        expected=f"a column in, for example, {example!r}")  # fmt: skip
    if column.unit:
        given = (known_unit(column.unit) or (column.unit, ""))[0]
        parse((1.0, given), dimension, where=at)
        if known and _scale(known[0], dimension) != _scale(given, dimension):
            raise UnitError(f"the file says {told!r}, the mapping {column.unit!r}", where=at,
                            expected="the unit in which the numbers are, or none in the mapping")  # fmt: skip
        return given
    if known:
        return known[0]
    raise UnitError("no unit in the header and none given", where=at,
                    expected=f"name and unit in the mapping, such as ({column.header!r}, {example!r})")  # fmt: skip


def _scale(unit: str, dimension: str) -> tuple[float, float]:
    return float(to_si(0.0, dimension, unit)), float(to_si(1.0, dimension, unit))


# --- the mapping ------------------------------------------------------------------------------------------------------

_KEYS: dict[str, Kind] = {"sensors": "sensor", **{role: role for role in get_args(Role) if role != "sensor"}}
_RIGHT = "columns={'time': 'Elapsed [s]', 'power': ('Package', 'W'), 'sensors': {'core *': 'Core * [°C]'}}"


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
    others = tuple(
        want for key, kind in _KEYS.items() if key in columns for want in _wants(kind, key, columns[key])
    )
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
        yield _want(kind, "" if key in ("sensors", "other") else key, entry, where)


def _want(kind: Kind, name: str, entry: Any, where: str) -> Want:
    column, unit = (entry if len(entry) == 2 else (None, None)) if isinstance(entry, tuple) else (entry, "")
    if isinstance(column, str) and column.strip() and isinstance(unit, str):
        if "*" in column and kind == "time":
            raise InputError(f"{column!r} may be several columns", where=where, expected="one column")
        name = "" if "*" in column and "*" not in name else name
    elif not (isinstance(column, int) and not isinstance(column, bool) and column >= 1 and isinstance(unit, str)):
        raise InputError(f"{entry!r} is not a column", where=where,
                         expected="a header, header and unit ('Package', 'W'), or a number from 1")  # fmt: skip
    if unit and not (kind == "time" and unit in CLOCK_FORMATS) and kind in DIMENSION_OF:
        parse((1.0, (known_unit(unit) or (unit,))[0]), DIMENSION_OF[kind], where=where)
    return Want(kind, name, column, unit, where)


def _check_twice(names: Sequence[str], where: str) -> None:
    named = [name for name in names if name]
    for name in named:
        if named.count(name) > 1:
            raise InputError(f"the name {name!r} is given twice", where=where,
                             expected="a name for each, such as {'core 0': 'Core 0 [°C]'}")  # fmt: skip


# --- finding the columns in a header ----------------------------------------------------------------------------------


def matches(want: Want, header: Sequence[str]) -> list[tuple[int, str]]:
    """Return index and name in the log of the columns that answer an entry of the mapping.

    A header is met by its full text or, where none is, by its text without the unit.
    """
    if isinstance(want.column, int):
        if want.column > len(header):
            return []
        own = split_unit(header[want.column - 1])[0] or f"column {want.column}"
        return [(want.column - 1, want.name or own)]
    full = [_tidy(cell) for cell in header]
    for texts in (full, [split_unit(cell)[0] for cell in full]):
        if want.pattern is None:
            found = [(i, want.name or split_unit(full[i])[0]) for i, text in enumerate(texts) if text == _tidy(want.column)]
        else:
            met = [(i, want.pattern.fullmatch(text)) for i, text in enumerate(texts)]
            found = [(i, _filled(want.name, match) or split_unit(full[i])[0]) for i, match in met if match]
        if found:
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
        columns += [Column(i, name, want.kind, _tidy(header[i]) if header else "", want.unit) for i, name in found]
    indices = [column.index for column in columns]
    for column in columns:
        if indices.count(column.index) > 1:
            uses = " and ".join(repr(c.name) for c in columns if c.index == column.index)
            raise FileError(f"column {column.header!r} is mapped twice, as {uses}", where=where,
                            expected="one use for a column; a narrower pattern")  # fmt: skip
    _check_twice([column.name for column in columns if column.kind != "time"], where)
    return tuple(columns)


def _missing(want: Want, header: Sequence[str], where: str) -> UnknownNameError:
    if isinstance(want.column, int):
        problem = f"no column {want.column}, there are {len(header)}"
    elif want.pattern is not None:
        problem = f"no column is like {want.column!r}; {suggest(want.column.replace('*', ''), filter(None, header))}"
    else:
        problem = f"no column {want.column!r}; {suggest(want.column, filter(None, header))}"
    return UnknownNameError(f"{problem} ({want.where})", where=where)


def _tidy(text: str) -> str:
    return " ".join(text.split())
