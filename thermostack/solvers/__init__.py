"""Solvers: graph and arrays in, influence matrix out."""

from __future__ import annotations

from functools import cache

from ..errors import UnknownNameError, suggest
from .graph import Solver

__all__ = ["SOLVER_NAMES", "solver_named"]

SOLVER_NAMES = ("one-dimensional", "axisymmetric", "layered")


@cache
def solver_named(name: str) -> Solver:
    """Return a solver by name; it is imported when it is first asked for.

    Raises
    ------
    UnknownNameError
        The message suggests the names there are.
    """
    if name == "one-dimensional":
        from .series import one_dimensional

        return one_dimensional
    if name == "axisymmetric":
        from .sections import axisymmetric

        return axisymmetric
    if name == "layered":
        from .layered import layered

        return layered
    raise UnknownNameError(f"no solver is named {name!r}; {suggest(str(name), SOLVER_NAMES)}", where="solver")
