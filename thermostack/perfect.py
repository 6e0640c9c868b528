"""What would be left if a layer were perfect: solved anew without its resistance, since heat then spreads otherwise."""

from __future__ import annotations

from dataclasses import replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from .model import Row
from .operating import OperatingPoint, curved, operate
from .solvers.graph import Arrays, Graph, Response, Solver

__all__ = ["junction_without"]

Float: TypeAlias = NDArray[np.float64]

FACTOR = 1e4
"""By which a perfect layer conducts better than the one described."""


def junction_without(point: OperatingPoint, solver: Solver, row: Row) -> Float:
    """Return the junction's rise with one part of the breakdown perfect, shape (S,). [K]

    Parameters
    ----------
    point : OperatingPoint
        The stack as described.
    solver : Solver
    row : Row
        Of the breakdown: a layer then has `FACTOR` times its conductivity in all directions, a joint or the coolant
        that fraction of its specific resistance.
    """

    def solve(graph: Graph, arrays: Arrays) -> Response:
        return solver(graph, _perfect(arrays, row))

    return curved(operate(point.model, solve, point.values), point.curvature).junction_rise


def _perfect(arrays: Arrays, row: Row) -> Arrays:
    if row.solid:
        factor = np.ones(arrays.k_through.shape[1])
        factor[row.slab] = FACTOR
        return replace(arrays, k_through=arrays.k_through * factor, k_in_plane=arrays.k_in_plane * factor)
    if row.contacts:
        factor = np.ones(arrays.contact_r.shape[1])
        factor[list(row.contacts)] = 1.0 / FACTOR
        return replace(arrays, contact_r=arrays.contact_r * factor)
    factor = np.ones(arrays.r_above.shape[1])
    factor[row.slab] = 0.0
    return replace(arrays, r_above=arrays.r_above * factor)
