"""Paths name the values of a stack: ``part.field``, split at the last dot."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from ..catalogue import CoolerClass
from ..errors import InputError, UnknownNameError, suggest
from ..units import Value, ValueLike, parse
from .cooling import MODELS, Radiator
from .parts import Board, Coolant, Die, Interface, Layer, Part, Patch, PowerMap, Region, Sensor

if TYPE_CHECKING:
    from .stack import Stack

__all__ = ["dimension_of", "get_value", "paths", "set_value", "split"]


def _pair(field: str) -> dict[str, str]:
    return {f"{field}_x": "length", f"{field}_y": "length"}


MODEL_FIELDS = {field: dimension for model in MODELS.values() for field, dimension in model.sizes.items()}
"""Fields of the models of cooling, which stand at `coolant` themselves."""

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
        "pressure": "pressure",
        "yield_stress": "yield stress",
        "gap": "bond line",
        "bow": "bond line",
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
        "flow": "flow",
        "conductance": "conductance",
        "resistance": "resistance",
        **_pair("wetted"),
        **_pair("centre"),
        **MODEL_FIELDS,
        **{f"radiator_{field}": dimension for field, dimension in Radiator.sizes.items()},
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


def _inside(part: Part, field: str) -> tuple[str, str] | None:
    """Return what of a part holds a field, and the field's name there; None where the part itself holds it."""
    if isinstance(part, Die) and field.startswith("leakage_"):
        return "leakage", field.removeprefix("leakage_")
    if isinstance(part, Coolant) and field.startswith("radiator_"):
        return "radiator", field.removeprefix("radiator_")
    return ("model", field) if isinstance(part, Coolant) and field in MODEL_FIELDS else None


def _get(part: Part, field: str) -> Value | None:
    if inside := _inside(part, field):
        return getattr(getattr(part, inside[0]), inside[1], None)
    if field.endswith(("_x", "_y")):
        pair = getattr(part, field[:-2])
        return None if pair is None else pair["xy".index(field[-1])]
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
    if inside := _inside(part, field):
        changes = {inside[0]: _with_inside(part, *inside, value, path)}
    elif field.endswith(("_x", "_y")):
        pair = getattr(part, field[:-2])
        if pair is None:
            right = f"a {type(part).__name__} made with {field[:-2]}=(…, …)"
            raise InputError(
                f"{field[:-2]} was not given, so one side alone cannot be changed", where=path, expected=right
            )
        sides = [pair[0], pair[1]]
        sides["xy".index(field[-1])] = parse(value, "length", path)
        changes = {field[:-2]: tuple(sides)}
    elif isinstance(part, Die) and field == "power":
        changes = {"power": _scaled(part.power, value, path)}
    elif isinstance(part, Coolant) and isinstance(part.model, CoolerClass) and field == part.model.figure:
        changes = {field: value, "model": None}  # a figure of one's own in place of the class's
        changes |= {"contains_plate": part.model.contains_plate} if field == "resistance" else {}
    else:
        changes = {field: value}
    return stack.swap(part.name, [replace(part, **changes)])


_LACKING = {
    "leakage": "a Die made with leakage=Leakage(…)",
    "radiator": "a Coolant made with radiator=Radiator(…)",
    "model": "a Coolant made with a model that has it, such as ChannelPlate(…)",
}


def _with_inside(part: Part, holder: str, field: str, value: ValueLike, path: str) -> Any:
    """Return what a part holds (its leakage, model or radiator) with another value in it."""
    held = getattr(part, holder)
    if not hasattr(held, field):
        lacking = holder if held is None else field
        raise InputError(f"the {type(part).__name__.lower()} has no {lacking}", where=path, expected=_LACKING[holder])
    change: dict[str, Any] = {field: value}
    return replace(held, **change)


def _scaled(power: PowerMap, value: ValueLike, path: str) -> PowerMap:
    total = parse(value, "power", path)
    ratio = total.si / power.total.si
    return PowerMap(total, [replace(region, power=_times(region.power, ratio)) for region in power.regions])


def _times(value: Value, ratio: float) -> Value:
    spread = value.spread if value.kind == "lognormal" else float(f"{value.spread * ratio:.15g}")
    return replace(value, magnitude=float(f"{value.magnitude * ratio:.15g}"), spread=spread)
