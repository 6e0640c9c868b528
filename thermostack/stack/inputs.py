"""Every input of a stack: what was written, and what comes with its classes and materials."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from ..catalogue import InterfaceRow, Material, Range
from ..errors import InputError
from ..units import DIMENSIONS, Value, convert
from .parts import Board, Coolant, Die, Interface, Layer, Part
from .paths import FIELDS, get_value

if TYPE_CHECKING:
    from .stack import Stack

__all__ = ["Input", "Scope", "class_row", "inputs_of"]

Scope = Literal["lasting", "mount", "run"]


@dataclass(frozen=True)
class Input:
    """One input of a stack.

    Attributes
    ----------
    path : str
        ``part.field``; a joint's mount factor stands at ``joint.mount``.
    value : Value
        Centre and distribution.
    scope : {"lasting", "mount", "run"}
        Of this part or material; new each time a joint is made; new each log.
    source : str
        Where the value comes from.
    assumed : bool
        True where the user did not write it and no class or material states it for this very case.
    """

    path: str
    value: Value
    scope: Scope
    source: str
    assumed: bool = False


def inputs_of(stack: Stack) -> tuple[Input, ...]:
    """Return every input of the stack, from the dies up."""
    return tuple(_inputs(stack))


def _inputs(stack: Stack) -> Iterator[Input]:
    for part in stack.parts():
        for field in FIELDS[type(part)]:
            path = f"{part.name}.{field}"
            value = get_value(stack, path)
            if value is not None and not _idle(part, field):
                run = (isinstance(part, Coolant | Board) and field == "temperature") or field == "power"
                yield Input(path, value, "run" if run else "lasting", "as written")
        if isinstance(part, Die | Layer):
            yield from _from_material(
                part.name,
                part.material,
                part.conductivity,
                part.conductivity_in_plane if isinstance(part, Layer) else None,
            )
        elif isinstance(part, Interface):
            yield from _from_class(stack, part)


def _idle(part: Part, field: str) -> bool:
    """Tell whether a field has no effect: where the middle of something lies that covers all there is."""
    whole = (isinstance(part, Interface) and part.footprint is None) or (
        isinstance(part, Coolant) and part.wetted is None
    )
    whole = whole or (isinstance(part, Layer) and part.footprint is None)
    return whole and field.startswith("centre")


def _from_material(name: str, material: Material, through: Value | None, along: Value | None) -> Iterator[Input]:
    if through is None:
        value = _lognormal(material.conductivity, "conductivity")
        yield Input(f"{name}.conductivity", value, "lasting", _told(material.name, material))
        if along is None and material.conductivity_in_plane != material.conductivity:
            value = _lognormal(material.conductivity_in_plane, "conductivity")
            yield Input(f"{name}.conductivity_in_plane", value, "lasting", _told(material.name, material))


def class_row(stack: Stack, interface: Interface) -> InterfaceRow | None:
    """Return the row of an interface's class for the place in which the joint stands; None without a class."""
    if interface.interface is None:
        return None
    if any(interface is element for element in stack.layers[1:]):
        return interface.interface.at("lid to plate")
    lidded = any(isinstance(element, Interface) for element in stack.layers[1:])
    return interface.interface.at("die to lid" if lidded else "die to plate")


def _from_class(stack: Stack, joint: Interface) -> Iterator[Input]:
    row = class_row(stack, joint)
    if row is None:
        return
    source = _told(row.name, row) + (f"; {row.assumed}" if row.assumed else "")
    assumed = bool(row.assumed)
    if joint.resistance is None and joint.bond_line is None:
        yield Input(
            f"{joint.name}.resistance", _lognormal(row.resistance, "specific resistance"), "lasting", source, assumed
        )
    elif joint.bond_line is not None:
        if joint.conductivity is None:
            if row.conductivity is None:
                raise InputError(
                    f"{row.name} has no conductivity of its own",
                    where=f"{joint.name}.conductivity",
                    expected="conductivity='… W/m/K'",
                )
            yield Input(
                f"{joint.name}.conductivity", _lognormal(row.conductivity, "conductivity"), "lasting", source, True
            )
        if joint.contact is None:
            yield Input(f"{joint.name}.contact", _contact(row), "lasting", f"{source}; {row.contact_basis}", True)
    if row.mount_sigma_ln > 0:
        factor = Value(1.0, "", "fraction", "lognormal", round(math.exp(row.mount_sigma_ln), 4))
        yield Input(f"{joint.name}.mount", factor, "mount", f"{row.name}: {row.mount_basis}")


def _contact(row: InterfaceRow) -> Value:
    exact = row.contact_factor == 1 or row.contact_resistance == 0
    return Value(
        _in(row.contact_resistance, "specific resistance"),
        "mm^2*K/W",
        "specific resistance",
        "exact" if exact else "lognormal",
        0.0 if exact else row.contact_factor,
    )


def _told(name: str, data: Material | InterfaceRow) -> str:
    return f"{name}: {data.source} ({data.provenance})"


def _in(si: float, dimension: str) -> float:
    return float(f"{convert(si, dimension):.15g}")


def _lognormal(given: Range, dimension: str) -> Value:
    unit = DIMENSIONS[dimension].shown_in
    if given.low == given.high:
        return Value(_in(given.typical, dimension), unit, dimension)
    return Value(_in(given.typical, dimension), unit, dimension, "lognormal", round(given.factor, 4))
