"""What the cooling of a stack does: flow, film, pressure drop and how the coolant warms."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .model import model_of
from .operating import operate
from .solvers import solver_named
from .tables import Cell, Column, Table
from .units import DIMENSIONS, convert, unit_text

if TYPE_CHECKING:
    from .stack.stack import Stack

__all__ = ["cooling"]


def cooling(stack: Stack) -> Table:
    """Return what the cooling of a stack does, at its described power and coolant temperature.

    Parameters
    ----------
    stack : Stack

    Returns
    -------
    Table
        Film on the wetted area, what it came from where the coolant's `model` has sizes, and the temperatures of the
        coolant.

    Raises
    ------
    InputError
        The stack makes no sense, or the flow lies where no law holds.
    """
    model = model_of(stack)
    film = model.film()
    figures: dict[str, tuple[float, str]] = {name: (float(x), unit) for name, (x, unit) in film.figures.items()}
    figures.setdefault("conductance on the wetted area", (1 / float(film.resistance), "conductance"))
    point = operate(model, solver_named("one-dimensional" if len(stack.dies) == 1 else "layered"))
    if stack.coolant.flow is not None:
        figures["coolant into the block"] = (float(point.coolant_inlet[0]), "temperature")
        figures["coolant out of the block"] = (float(point.coolant_outlet[0]), "temperature")
    figures["coolant, to which the film refers"] = (float(point.coolant[0]), "temperature")
    rows: list[tuple[Cell, ...]] = []
    for name, (number, unit) in figures.items():
        known = unit in DIMENSIONS
        rows.append((name, float(convert(number, unit)) if known else number, unit_text(unit) if known else unit))
    columns = (Column("what", "what"), Column("value", "value"), Column("unit", "unit"))
    assumed = [f"{e.path} {e.value}" for e in model.inputs.values() if e.assumed and e.path.startswith("coolant.")]
    notes = (f"assumed: {', '.join(assumed)}",) if assumed else ()
    return Table(columns, tuple(rows), title=f"Cooling, {stack.label}", notes=notes)
