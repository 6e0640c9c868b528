"""The solvers side by side on one stack: what each says, how they differ, and why."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from .errors import InputError
from .prediction import Prediction, predict
from .solvers import SOLVER_NAMES
from .stack.stack import Stack
from .tables import Cell, Column, Table

__all__ = ["SideBySide", "side_by_side"]

WHY = {
    "one-dimensional": "each step in width spreads into an even film; regions, voids and offsets are not seen",
    "axisymmetric": "every footprint is a disk of equal area; corners, regions and offsets are not seen",
    "layered": "three-dimensional; every rectangle where it is",
}
"""What each method leaves out."""


@dataclass(frozen=True, eq=False)
class SideBySide:
    """Answers of several solvers for one stack. Made by `side_by_side`.

    Attributes
    ----------
    predictions : mapping of str to Prediction
        By solver, the most faithful last.
    refused : mapping of str to str
        Solvers that cannot answer for this stack, and why.
    """

    predictions: dict[str, Prediction]
    refused: dict[str, str]

    @cached_property
    def table(self) -> Table:
        """Return a row a solver, with its difference from the last."""
        best = list(self.predictions.values())[-1]
        rows: list[tuple[Cell, ...]] = []
        for name, p in self.predictions.items():
            junction, mean = float(p.junction.magnitude), float(p.mean.magnitude)
            rows.append((
                name, junction, mean, junction - float(best.junction.magnitude), mean - float(best.mean.magnitude),
                float(p.point.error[0].max()), WHY[name],
            ))  # fmt: skip
        rows += [(name, None, None, None, None, None, why) for name, why in self.refused.items()]
        columns = (
            Column("solver", "solver"),
            Column("junction_degC", "junction [°C]", ".2f"),
            Column("mean_degC", "die mean [°C]", ".2f"),
            Column("junction_difference_K", "junction differs by [K]", "+.2f"),
            Column("mean_difference_K", "mean differs by [K]", "+.2f"),
            Column("error_K", "own error estimate [K]", ".2g"),
            Column("why", "what it leaves out", wrap=60),
        )
        return Table(columns, tuple(rows), title=f"Solvers, {best.stack.label}",
                     notes=(f"differences are counted from the {list(self.predictions)[-1]} solver",))  # fmt: skip

    def to_dict(self) -> Any:
        """Return the rows as plain numbers, with units in the names."""
        return self.table.to_dict()

    def __str__(self) -> str:
        return str(self.table)

    def _repr_html_(self) -> str:
        return self.table._repr_html_()


def side_by_side(stack: Stack) -> SideBySide:
    """Return the answers of all solvers for one stack, with their differences and why.

    A solver that cannot answer for the stack is listed with its reason.

    Raises
    ------
    InputError
        The stack makes no sense as a whole, so that no solver answers.
    """
    predictions, refused = {}, {}
    for name in SOLVER_NAMES:
        try:
            predictions[name] = predict(stack, solver=name)
        except InputError as error:
            refused[name] = str(error)
    if not predictions:
        raise InputError(refused["layered"], where=stack.name)
    return SideBySide(predictions, refused)
