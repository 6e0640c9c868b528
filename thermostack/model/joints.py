"""What a joint resists, as an expression of the inputs: by class, by bond line, or by what presses and bends it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..errors import InputError
from ..laws.bond_line import outside_of_range, pressed_bond_line
from ..laws.gaps import bowed_extra_bond_line
from ..laws.interface import bond_line_resistance
from ..stack.parts import Interface
from .rects import Expression, Float, Rect, Values, at, meets, overlap

__all__ = ["bond_line_of", "note_on", "resistance_of"]


def resistance_of(joint: Interface, face: Rect, dies: Sequence[Rect], values: Values) -> Expression:
    """Return the specific resistance of an interface as an expression of the inputs.

    Parameters
    ----------
    joint : Interface
    face : Rect
        Where the faces meet that it joins.
    dies : sequence of Rect
        The dies below: over them a bow counts.
    values : Values
        Which inputs there are.
    """
    name = joint.name
    extra = _bowed(f"{name}.bow", face, dies, values) if joint.bow is not None else None

    def described(v: Values) -> Float:
        void = v(f"{name}.void_fraction") if f"{name}.void_fraction" in values else np.asarray(0.0)
        if f"{name}.resistance" in values:
            return np.asarray(v(f"{name}.resistance") / (1.0 - void))
        bond_line = bond_line_of(name, v)
        assert bond_line is not None  # a joint without resistance has one
        bond_line = bond_line if extra is None else bond_line + extra(v)
        conductivity, contact = v(f"{name}.conductivity"), v(f"{name}.contact")
        return np.asarray(bond_line_resistance(bond_line, conductivity, contact, void))

    if f"{name}.mount" not in values:
        return described
    return lambda v: described(v) * v(f"{name}.mount")


def bond_line_of(name: str, v: Values) -> Float | None:
    """Return the bond line of an interface where its faces are closest: as written, or as it is pressed. [m]

    A gap that hard parts leave, such as the rim of a lid, is a stop: the filling is not pressed any thinner. None for
    an interface that is described by its resistance.
    """
    if f"{name}.resistance" in v:
        return None
    if f"{name}.bond_line" in v:
        bond_line = np.asarray(v(f"{name}.bond_line"))
    else:
        try:
            bond_line = pressed_bond_line(v(f"{name}.yield_stress"), v(f"{name}.pressure"))
        except InputError as error:
            raise error.at(name) from error
        bond_line = bond_line * v(f"{name}.bond_line_factor")
    return np.maximum(bond_line, v(f"{name}.gap")) if f"{name}.gap" in v else bond_line


def note_on(joint: Interface, values: Values) -> str:
    """Return what is used outside of its range in a joint, empty where nothing is; refuse what cannot be pressed."""
    if joint.pressure is None:
        return ""
    bond_line_of(joint.name, values)
    stress, pressure = (float(values(f"{joint.name}.{field}")) for field in ("yield_stress", "pressure"))
    outside = outside_of_range(stress, pressure)
    return f"{joint.name}: {outside}" if outside else ""


def _bowed(path: str, face: Rect, dies: Sequence[Rect], values: Values) -> Expression:
    """Return the mean extra bond line over the dies, or over the whole face where none lies below it.

    Heat crosses a large joint mostly over the die. A bow of ±40 µm of a 36 mm lid over a 12 mm die of 150 W raises the
    die by 0.25 and 2.44 K (layered solver, joint of 36 pieces); this gives 0.11 and 2.60 K, the mean over the whole
    joint 0.97 and 1.86 K.
    """
    below = [overlap(face, die) for die in dies if meets(at(die, values), at(face, values))] or [face]

    def extra(v: Values) -> Float:
        size, middle = _extent(face, v)
        total, areas = 0.0, 0.0
        for rect in below:
            part, centre = _extent(rect, v)
            area = part.prod(axis=-1)
            total = total + area * bowed_extra_bond_line(v(path), size, part, centre - middle)
            areas = areas + area
        return np.asarray(total / areas)

    return extra


def _extent(rect: Rect, v: Values) -> tuple[Float, Float]:
    """Return the sides of a rectangle and its centre, shape (..., 2)."""
    x0, y0, x1, y1 = np.broadcast_arrays(*(edge(v) for edge in rect))
    return np.stack([x1 - x0, y1 - y0], axis=-1), np.stack([x0 + x1, y0 + y1], axis=-1) / 2
