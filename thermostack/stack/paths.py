"""Paths name the values of a stack: ``part.field``, split at the last dot."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from ..errors import InputError, UnknownNameError, suggest
from ..units import Value, ValueLike, parse
from .parts import Board, Coolant, Die, Interface, Layer, Part, Patch, PowerMap, Region, Sensor

if TYPE_CHECKING:
    from .stack import Stack

__all__ = ["dimension_of", "get_value", "paths", "set_value", "split"]


def _pair(field: str) -> dict[str, str]:
    return {f"{field}_x": "length", f"{field}_y": "length"}


FIELDS: dict[type, dict[str, str]] = {
    Die: {
        "power": "power",
        "leakage_power": "power",
        "leakage_at": "temperature",
        "leakage_e_fold": "temperature difference",
        "thickness": "length",
        "conductivity": "conductivity",
        **_pair("footprint"),
        **_pair("centre"),
    },
    Region: {"power": "power", **_pair("corner"), **_pair("size")},
    Interface: {
        "resistance": "specific resistance",
        "bond_line": "bond line",
        "conductivity": "conductivity",
        "contact": "specific resistance",
        "void_fraction": "fraction",
        **_pair("footprint"),
        **_pair("centre"),
    },
    Patch: {"resistance": "specific resistance", **_pair("corner"), **_pair("size")},
    Layer: {
        "thickness": "length",
        "conductivity": "conductivity",
        "conductivity_in_plane": "conductivity",
        **_pair("footprint"),
        **_pair("centre"),
    },
    Coolant: {
        "temperature": "temperature",
        "conductance": "conductance",
        "resistance": "resistance",
        **_pair("wetted"),
        **_pair("centre"),
    },
    Board: {"resistance": "resistance", "temperature": "temperature"},
    Sensor: {
        "offset": "temperature difference",
        "slope": "fraction",
        "pivot": "temperature",
        "step": "temperature difference",
        **_pair("point"),
    },
}
"""Field of each kind of part, and its dimension."""


def split(path: str) -> tuple[str, str]:
    """Return part and field of a path."""
    part, dot, field = path.rpartition(".") if isinstance(path, str) else ("", "", "")
    if not dot or not part or not field:
        raise InputError(f"{path!r} is not a path", expected="part and field, such as 'paste.bond_line'")
    return part, field


def _find(stack: Stack, path: str) -> tuple[Part, str]:
    name, field = split(path)
    part = stack.part(name)
    known = FIELDS[type(part)]
    if field not in known:
        raise UnknownNameError(f"{name!r} has no field {field!r}; {suggest(field, known)}", where=path)
    return part, field


def dimension_of(stack: Stack, path: str) -> str:
    """Return the dimension (a key of `units.DIMENSIONS`) of what stands at the path."""
    part, field = _find(stack, path)
    return FIELDS[type(part)][field]


def get_value(stack: Stack, path: str) -> Value | None:
    """Return what was written at the path; None where it was left to the class or material."""
    return _get(*_find(stack, path))


def _get(part: Part, field: str) -> Value | None:
    if field.endswith(("_x", "_y")):
        pair = getattr(part, field[:-2])
        return None if pair is None else pair["xy".index(field[-1])]
    if field.startswith("leakage_"):
        leakage = part.leakage if isinstance(part, Die) else None
        return None if leakage is None else getattr(leakage, field.removeprefix("leakage_"))
    value = getattr(part, field)
    return value.total if isinstance(value, PowerMap) else value


def paths(stack: Stack) -> dict[str, Value]:
    """Return every path at which a value was written."""
    found = {}
    for part in stack.parts():
        for field in FIELDS[type(part)]:
            value = _get(part, field)
            if value is not None:
                found[f"{part.name}.{field}"] = value
    return found


def set_value(stack: Stack, path: str, value: ValueLike) -> Stack:
    """Return the stack with another value at the path; a power map keeps its shape when its total is changed."""
    part, field = _find(stack, path)
    changes: dict[str, Any]
    if field.endswith(("_x", "_y")):
        pair = getattr(part, field[:-2])
        if pair is None:
            right = f"a {type(part).__name__} made with {field[:-2]}=(…, …)"
            raise InputError(
                f"{field[:-2]} was not given, so one side alone cannot be changed", where=path, expected=right
            )
        sides = [pair[0], pair[1]]
        sides["xy".index(field[-1])] = parse(value, "length", path)
        changes = {field[:-2]: tuple(sides)}
    elif isinstance(part, Die) and field.startswith("leakage_"):
        if part.leakage is None:
            raise InputError("the die has no leakage", where=path, expected="a Die made with leakage=Leakage(…)")
        leakage: dict[str, Any] = {field.removeprefix("leakage_"): value}
        changes = {"leakage": replace(part.leakage, **leakage)}
    elif isinstance(part, Die) and field == "power":
        changes = {"power": _scaled(part.power, value, path)}
    else:
        changes = {field: value}
    return stack.swap(part.name, [replace(part, **changes)])


def _scaled(power: PowerMap, value: ValueLike, path: str) -> PowerMap:
    total = parse(value, "power", path)
    ratio = total.si / power.total.si
    return PowerMap(total, [replace(region, power=_times(region.power, ratio)) for region in power.regions])


def _times(value: Value, ratio: float) -> Value:
    spread = value.spread if value.kind == "lognormal" else float(f"{value.spread * ratio:.15g}")
    return replace(value, magnitude=float(f"{value.magnitude * ratio:.15g}"), spread=spread)
