"""Every input of a stack: what was written, and what comes with its classes and materials."""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from ..catalogue import CoolerClass, InterfaceRow, Material, Range
from ..errors import InputError
from ..laws.bond_line import SCATTER
from ..units import DIMENSIONS, Value, convert
from .cooling import unwritten
from .parts import Board, Coolant, Die, Interface, Layer, Part
from .paths import FIELDS, get_value

if TYPE_CHECKING:
    from .stack import Stack

__all__ = ["BadMount", "Input", "Scope", "class_row", "inputs_of"]

Scope = Literal["lasting", "mount", "run"]
RUN_FIELDS = ("temperature", "flow", "radiator_air_flow", "radiator_pump_heat")
"""Of coolant and board: what may be another in each log."""


@dataclass(frozen=True)
class BadMount:
    """How often a mount of a joint comes out bad, and what it is worth then.

    Attributes
    ----------
    share : float
        Of the mounts, between 0 and 1.
    factor : Value
        By which a bad mount multiplies the joint's resistance once more; lognormal.
    """

    share: float
    factor: Value


BAD_FACTOR = Value(2.0, "", "fraction", "lognormal", 1.5)
"""A tilted or low corner has two to five times the local resistance over a part of the joint (from memory): about twice
that of the whole joint, to a factor of 1.5 (*assumed*)."""


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
    identity : str
        What is drawn: inputs of one identity, in one stack or in several, are one unknown. A lasting input is known by
        its path and by the material or class it comes from, that of a replaced part also by what replaced it; a mount
        (its factor and its pressure) by its joint and the act that made it; a run by its path.
    bad : BadMount or None
        Of a mount factor: that some mounts come out bad.
    """

    path: str
    value: Value
    scope: Scope
    source: str
    assumed: bool = False
    identity: str = ""
    bad: BadMount | None = None

    def __post_init__(self) -> None:
        if not self.identity:
            object.__setattr__(self, "identity", self.path)


def inputs_of(stack: Stack) -> tuple[Input, ...]:
    """Return every input of the stack, from the dies up."""
    anew = _put_in_anew(stack)
    entries = (
        replace(entry, identity=f"{entry.identity}{anew.get(entry.path.rpartition('.')[0], '')}")
        if entry.scope == "lasting"
        else entry
        for entry in _inputs(stack)
    )
    learned = stack.learned
    return tuple(entries) if learned is None else tuple(learned.applied(entry) for entry in entries)


def _put_in_anew(stack: Stack) -> dict[str, str]:
    """Return a mark for each part that was put in place of another of its name: it is not the same piece."""
    marks: dict[str, str] = {}
    for edit in stack.edits:
        if edit.verb == "replace" and getattr(edit.given, "name", "") == edit.target:
            mark = f" (new {zlib.crc32(repr(edit.given).encode()):08x})"
            marks |= {part.name: mark for part in _with_its_parts(edit.given)}
    return marks


def _with_its_parts(part: Any) -> Iterator[Part]:
    if isinstance(part, Die):
        yield part
        yield from part.power.regions
        yield from part.joint
    elif isinstance(part, Interface):
        yield part
        yield from part.patches
    elif isinstance(part, Layer | Coolant | Board):
        yield part


def _inputs(stack: Stack) -> Iterator[Input]:
    for part in stack.parts():
        for field in FIELDS[type(part)]:
            path = f"{part.name}.{field}"
            value = get_value(stack, path)
            if value is not None and not _idle(part, field):
                yield _written(part, field, path, value)
        if isinstance(part, Die | Layer):
            yield from _from_material(
                part.name,
                part.material,
                part.conductivity,
                part.conductivity_in_plane if isinstance(part, Layer) else None,
            )
        elif isinstance(part, Interface):
            if part.pressure is not None:
                factor = Value(1.0, "", "fraction", "lognormal", SCATTER)
                told = "scatter of measured bond lines about the law of the pressed bond line, ±20 % (from memory)"
                yield Input(f"{part.name}.bond_line_factor", factor, "lasting", told, True)
            yield from _from_class(stack, part)
        elif isinstance(part, Coolant):
            yield from _from_cooling(part)


def _written(part: Part, field: str, path: str, value: Value) -> Input:
    if isinstance(part, Interface) and field == "pressure":  # of one mount, however well the paste is known
        return Input(path, value, "mount", "as written", identity=f"{path}, {part.mount}")
    run = (isinstance(part, Coolant | Board) and field in RUN_FIELDS) or field == "power"
    return Input(path, value, "run" if run else "lasting", "as written")


def _from_cooling(coolant: Coolant) -> Iterator[Input]:
    model = coolant.model
    if isinstance(model, CoolerClass):
        path, source = f"coolant.{model.figure}", f"{model.name}: {model.source} ({model.provenance})"
        yield Input(path, _lognormal(model.value, model.figure), "lasting", source, True, f"{path} of {model.name}")
    elif model is not None:
        for field, value, source in unwritten(model):
            path = f"coolant.{field}"
            yield Input(path, value, "lasting", source, True, f"{path} of {model.kind}")


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
            value, path = _lognormal(material.conductivity_in_plane, "conductivity"), f"{name}.conductivity_in_plane"
            yield Input(path, value, "lasting", _told(material.name, material), identity=f"{path} of {material.name}")


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

    def of_class(field: str, value: Value, source: str, assumed: bool) -> Input:
        path = f"{joint.name}.{field}"
        # known by its class, not by its row: a paste is the same paste under the lid and on the bare die
        return Input(path, value, "lasting", source, assumed, f"{path} of {_class_name(joint)}")

    if joint.resistance is None and joint.bond_line is None and joint.pressure is None:
        yield of_class("resistance", _lognormal(row.resistance, "specific resistance"), source, assumed)
    elif joint.resistance is None:
        if joint.pressure is not None and joint.yield_stress is None:
            if row.yield_stress is None:
                raise InputError(
                    f"{row.name} has no yield stress of its own that would give its bond line under pressure",
                    where=f"{joint.name}.yield_stress",
                    expected="yield_stress='150 Pa' of a paste, or bond_line=… in place of the pressure",
                )
            value = _lognormal(row.yield_stress, "yield stress")
            yield of_class("yield_stress", value, f"{row.name}: {row.yield_stress_basis}", True)
        if joint.conductivity is None:
            if row.conductivity is None:
                raise InputError(
                    f"{row.name} has no conductivity of its own",
                    where=f"{joint.name}.conductivity",
                    expected="conductivity='… W/m/K'",
                )
            yield of_class("conductivity", _lognormal(row.conductivity, "conductivity"), source, True)
        if joint.contact is None:
            yield of_class("contact", _contact(row), f"{source}; {row.contact_basis}", True)
    if row.mount_sigma_ln > 0:
        factor = Value(1.0, "", "fraction", "lognormal", round(math.exp(row.mount_sigma_ln), 4))
        identity = f"{joint.name}.mount of {_class_name(joint)}, {joint.mount}"
        bad = None if row.bad_mounts is None else BadMount(row.bad_mounts.typical, BAD_FACTOR)
        told = f"{row.name}: {row.mount_basis}"
        if bad is not None:
            told += f"; {100 * bad.share:.0f} % of the mounts are bad, {bad.factor} times as resistive (size assumed)"
        yield Input(f"{joint.name}.mount", factor, "mount", told, identity=identity, bad=bad)


def _class_name(joint: Interface) -> str:
    return "" if joint.interface is None else joint.interface.name


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
