"""A stack and its inputs as tables, from the coolant down to the dies, as it would be drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..tables import Cell, Column, Table
from .fields import Pair
from .parts import Coolant, Die, Interface, Layer
from .paths import get_value, paths

if TYPE_CHECKING:
    from .stack import Stack

__all__ = ["inputs_table", "listing"]

PLACED = ("wetted_x", "wetted_y", "centre_x", "centre_y")
"""What the column of sides shows, or no column."""
_JOINT = ("resistance", "pressure", "yield_stress", "gap", "bow", "conductivity", "contact", "void_fraction")


def listing(stack: Stack) -> Table:
    """Return a row a part: what it is, its sizes, and what was written of its conduction."""
    rows: list[tuple[Cell, ...]] = [_row(stack, stack.coolant)]
    rows += [_row(stack, part) for part in reversed(stack.layers)]
    for die in stack.dies:
        rows += [_row(stack, part) for part in (*reversed(die.joint), die)]
    notes = []
    for die in stack.dies:
        notes += [f"{region.name}: {region.power} on {die.name}" for region in die.power.regions]
    if stack.board is not None:
        notes.append(f"board: {stack.board.resistance} from the active faces")
    columns = (
        Column("part", "part"),
        Column("what", "what"),
        Column("thickness", "thickness", align="right"),
        Column("sides", "sides"),
        Column("told", "written"),
    )
    return Table(columns, tuple(rows), title=stack.label, notes=tuple(notes))


def _row(stack: Stack, part: Coolant | Layer | Interface | Die) -> tuple[Cell, ...]:
    def told(*fields: str) -> str | None:
        values = ((field, get_value(stack, f"{part.name}.{field}")) for field in fields)
        return "; ".join(f"{field.replace('_', ' ')} {value}" for field, value in values if value is not None) or None

    if isinstance(part, Coolant):
        fields = (f.removeprefix("coolant.") for f in paths(stack) if f.startswith("coolant."))
        return part.name, _cooling(part), None, _sides(part.wetted), told(*(f for f in fields if f not in PLACED))
    sides = _sides(part.footprint)
    if isinstance(part, Interface):
        what = part.interface.name if part.interface is not None else "interface"
        thickness = None if part.bond_line is None else str(part.bond_line)
        return part.name, what, thickness, sides, told(*_JOINT)
    if isinstance(part, Die):
        return part.name, part.material.name, str(part.thickness), sides, told("power", "conductivity")
    written = told("conductivity", "conductivity_in_plane")
    return part.name, part.material.name, str(part.thickness), sides, written


def _sides(pair: Pair | None) -> str | None:
    return None if pair is None else f"{pair[0]} x {pair[1]}"


def _cooling(coolant: Coolant) -> str:
    """Return what flows, through what, and where its temperature is read."""
    through = getattr(coolant.model, "kind", getattr(coolant.model, "name", ""))
    words = [through, coolant.fluid or "", "plate included" if coolant.whole else ""]
    words.append("radiator" if coolant.radiator is not None else "")
    return ", ".join([word for word in words if word] + [f"read at the {coolant.reference}"])


def inputs_table(stack: Stack) -> Table:
    """Return a row an input: path, value with its spread, scope, source, and whether it is assumed."""
    columns = (
        Column("path", "input"),
        Column("value", "value"),
        Column("scope", "scope"),
        Column("assumed", "assumed"),
        Column("source", "source", wrap=60),
    )
    rows = tuple((e.path, str(e.value), e.scope, e.assumed, e.source) for e in stack.inputs())
    return Table(columns, rows, title=f"Inputs, {stack.label}")
