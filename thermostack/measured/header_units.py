"""The units that headers of logs tell, as people write them, beside those that the user gives."""

from __future__ import annotations

import re

from ..errors import UnitError
from ..units import DIMENSIONS, parse, to_si

__all__ = ["CLOCK_FORMATS", "DIMENSION_OF", "known_unit", "split_unit", "tidy", "unit_of"]

DIMENSION_OF = {
    "time": "time",
    "sensor": "temperature",
    "coolant": "temperature",
    "ambient": "temperature",
    "power": "power",
    "clock": "frequency",
}
"""Of each role whose values have a unit that must be known; the others are kept as they were logged."""

CLOCK_FORMATS = ("h:m:s", "h:m", "m:s")
"""What may stand in the place of a unit of time."""

# as headers write them, without regard to upper and lower case: the unit as pint reads it, and what it measures
_SPELLINGS = {
    ("degC", "temperature"): ("c", "°c", "℃", "degc", "deg c", "deg. c", "celsius"),
    ("degF", "temperature"): ("f", "°f", "℉", "degf", "deg f", "deg. f", "fahrenheit"),
    ("K", "temperature"): ("k", "kelvin"),
    ("W", "power"): ("w", "watt", "watts"),
    ("kW", "power"): ("kw",),
    ("mW", "power"): ("mw",),
    ("Hz", "frequency"): ("hz",),
    ("kHz", "frequency"): ("khz",),
    ("MHz", "frequency"): ("mhz",),
    ("GHz", "frequency"): ("ghz",),
    ("s", "time"): ("s", "sec", "secs", "second", "seconds"),
    ("ms", "time"): ("ms", "msec", "millisecond", "milliseconds"),
    ("us", "time"): ("us", "µs", "μs"),
    ("min", "time"): ("min", "minute", "minutes"),
    ("hour", "time"): ("h", "hr", "hrs", "hour", "hours"),
    ("day", "time"): ("d", "day", "days"),
    ("rpm", "speed"): ("rpm", "1/min"),
    ("%", "share"): ("%",),
    ("V", "voltage"): ("v",),
    ("mV", "voltage"): ("mv",),
    ("A", "current"): ("a",),
    ("mA", "current"): ("ma",),
    ("L/min", "flow"): ("l/min",),
    ("L/h", "flow"): ("l/h",),
}
_UNITS = {spelling: meant for meant, spellings in _SPELLINGS.items() for spelling in spellings}
_UNMISTAKABLE = {"°c", "℃", "degc", "°f", "℉", "degf", "w", "mw", "kw", "hz", "khz", "mhz", "ghz", "rpm", "ms"}
"""Taken for units at the end of a header without brackets as well."""

_IN_BRACKETS = re.compile(r"(.*?)\s*[\[(]\s*([^\[\]()]+?)\s*[\])]")
_AFTER_SLASH = re.compile(r"(.*\S)\s*/\s*(\S+)")
_AT_THE_END = re.compile(r"(.*[^\s,_])[\s,_]+(\S+)")


def tidy(text: str) -> str:
    """Return a text with one space where there is white space, and none around it."""
    return " ".join(text.split())


def known_unit(text: str) -> tuple[str, str] | None:
    """Return the unit that a header's text means, and what it measures; None where it is not known for one."""
    text = tidy(text)
    return ("MW", "power") if text == "MW" else _UNITS.get(text.casefold())


def split_unit(header: str) -> tuple[str, str]:
    """Return the name and the unit of a header such as ``"Package [W]"``, ``"Water / °C"`` or ``"Core 1 °C"``.

    The unit is empty where there is none; what stands in brackets and is not a unit belongs to the name.
    """
    header = tidy(header)
    for form in (_IN_BRACKETS, _AFTER_SLASH):
        if (match := form.fullmatch(header)) and match[1] and known_unit(match[2]):
            return match[1], match[2]
    match = _AT_THE_END.fullmatch(header)
    if match and match[2].casefold() in _UNMISTAKABLE:
        return match[1], match[2]
    return header, ""


def unit_of(dimension: str, told: str, given: str, header: str, where: str) -> str:
    """Return the unit of a column, as pint reads it.

    Parameters
    ----------
    dimension : str
        What it measures, a key of `units.DIMENSIONS`.
    told, given : str
        Unit by the file and by the mapping; empty where there is none.
    header, where : str
        Of the column and the file, for messages.

    Raises
    ------
    UnitError
        Neither tells a unit, both do and differ, or it is not a unit of what the column is.
    """
    at = f"{where}, column {header!r}"
    example = DIMENSIONS[dimension].example.split(" ", 1)[1]
    known = known_unit(told) if told else None
    if known and known[1] != dimension:
        raise UnitError(
            f"{told!r} is not a unit of {dimension}", where=at, expected=f"a column in {example!r} or alike"
        )
    if given:
        unit = (known_unit(given) or (given, ""))[0]
        parse((1.0, unit), dimension, where=at)
        if known and any(to_si(x, dimension, known[0]) != to_si(x, dimension, unit) for x in (0.0, 1.0)):
            raise UnitError(f"the file says {told!r}, the mapping {given!r}", where=at,
                            expected="the unit in which the numbers are, or none in the mapping")  # fmt: skip
        return unit
    if known:
        return known[0]
    raise UnitError("no unit in the header and none given", where=at,
                    expected=f"name and unit in the mapping, such as ({header!r}, {example!r})")  # fmt: skip
