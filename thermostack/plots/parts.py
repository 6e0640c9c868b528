"""What is said of a part in every picture: its role, what it is made of, and how thick it is drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..model import Values
from ..model.joints import bond_line_of
from ..stack.parts import Coolant, Die, Interface, Layer
from ..tables import format_number
from ..units import convert, unit_text
from .style import Role

if TYPE_CHECKING:
    from ..stack.parts import Board, Part
    from ..stack.stack import Stack

__all__ = ["board_text", "coolant_text", "drawn_height", "in_unit", "made_of", "number", "role_of", "size_of"]

THINNEST = 0.16
"""Height of the thinnest layer as drawn, relative to the thickest."""


def role_of(part: Part) -> Role:
    """Return what a part is for in a picture."""
    if isinstance(part, Die):
        return "die"
    if isinstance(part, Interface):
        return "interface"
    return "coolant" if isinstance(part, Coolant) else "solid"


def number(values: Values, path: str) -> float:
    """Return an input as a number in SI, of the first sample."""
    return float(np.asarray(values(path)).flat[0])


def in_unit(si: float, dimension: str) -> str:
    """Return an SI number in the unit that is shown, without an exponent; lengths below 0.1 mm in µm."""
    if dimension == "length" and abs(si) < 1e-4:
        dimension = "bond line"
    return f"{format_number(convert(si, dimension))} {unit_text(dimension)}".rstrip()


def size_of(part: Part, values: Values) -> str:
    """Return the thickness of a part, or the specific resistance of an interface that has none; with its unit."""
    if isinstance(part, Die | Layer):
        return in_unit(number(values, f"{part.name}.thickness"), "length")
    if not isinstance(part, Interface):
        return ""
    bond_line = bond_line_of(part.name, values)
    if bond_line is not None:
        return in_unit(float(np.asarray(bond_line).flat[0]), "bond line")
    return in_unit(number(values, f"{part.name}.resistance"), "specific resistance")


def made_of(part: Part, values: Values) -> str:
    """Return what a die, layer or interface is made of and how thick it is, such as ``"copper, 2.4 mm"``."""
    name = ""
    if isinstance(part, Die | Layer):
        name = part.material.name
    elif isinstance(part, Interface) and part.interface is not None and part.interface.name != part.name:
        name = part.interface.name
    return ", ".join(text for text in (name, size_of(part, values)) if text)


def coolant_text(coolant: Coolant, values: Values) -> str:
    """Return temperature and film of the coolant."""
    temperature = in_unit(number(values, "coolant.temperature"), "temperature")
    place = {"inlet": "at the inlet", "mean": "mean", "ambient": "ambient"}[coolant.reference]
    known = (figure for figure in ("conductance", "resistance") if f"coolant.{figure}" in values)
    figure = next(known, None)
    kind = getattr(coolant.model, "kind", "")
    film = kind if figure is None else in_unit(number(values, f"coolant.{figure}"), figure)
    return f"{temperature} {place}, {film}"


def board_text(board: Board, values: Values) -> str:
    """Return resistance and temperature of the board path."""
    at = f", {in_unit(number(values, 'board.temperature'), 'temperature')}" if board.temperature is not None else ""
    return in_unit(number(values, "board.resistance"), "resistance") + at


def drawn_height(stack: Stack, part: Part, values: Values) -> float:
    """Return the height at which a part is drawn: of the root of its thickness, the thickest 1, none below `THINNEST`.

    A bond line is a hundredth of a plate, and an interface by class has no stated thickness: to scale neither could
    be seen. The order of thicknesses is kept.
    """
    solids = [p for p in stack.parts() if isinstance(p, Die | Layer)]
    thickest = max(number(values, f"{p.name}.thickness") for p in solids)
    if isinstance(part, Interface):
        bond_line = bond_line_of(part.name, values)
        thickness = 0.0 if bond_line is None else float(np.asarray(bond_line).flat[0])
    else:
        path = f"{part.name}.thickness"
        thickness = number(values, path) if path in values else 0.0
    return max(THINNEST, float(np.sqrt(thickness / thickest)))
