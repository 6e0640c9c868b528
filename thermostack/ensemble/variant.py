"""One stack ready to be sampled: its model, and an emulator in the place of its solver."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import SolveError
from ..field import Points, hot_points
from ..local import Curvature, curvature_of
from ..model import Model, model_of
from ..operating import OperatingPoint, operate, to_limit
from ..propagate import Sampler, Variable
from ..propagate.emulator import Emulator, emulator_of
from ..solvers import solver_named
from ..solvers.graph import Solver
from ..stack.stack import Stack

__all__ = ["EMULATED", "Variant", "variant_of"]

Float = NDArray[np.float64]

EMULATED = ("axisymmetric", "layered")
"""Solvers that an emulator stands for; the one-dimensional one is as fast itself."""
TRIED = 500
"""Samples among which the coolest, the middle and the hottest are found for the local conductivity."""


@dataclass(frozen=True, eq=False)
class Variant:
    """A stack ready to be sampled. Travels to other processes, where its model is made anew.

    Attributes
    ----------
    stack : Stack
    solver : str
    points : mapping of die name to points
        Where the hottest points lie.
    emulator : Emulator or None
        In the place of the solver.
    curvature : Curvature or None
        What local conductivity adds.
    limit : float or None
        Junction temperature for the headroom. [K]
    """

    stack: Stack
    solver: str
    points: Points
    emulator: Emulator | None = None
    curvature: Curvature | None = None
    limit: float | None = None

    @cached_property
    def model(self) -> Model:
        """The stack made ready, with its hottest points."""
        return _with(self.stack, self.points)

    @property
    def method(self) -> Solver:
        """What solves: the emulator, or the solver itself."""
        return self.emulator or solver_named(self.solver)

    @cached_property
    def unleaking(self) -> Variant:
        """Return the variant with the powers as they are given, leakage in them."""
        stack = self.stack
        for die in stack.dies:
            if die.leakage is not None:
                stack = stack.swap(die.name, [replace(die, leakage=None)])
        return replace(self, stack=stack)

    def __getstate__(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in self.__dataclass_fields__}

    def point(self, samples: Mapping[str, Float]) -> OperatingPoint:
        """Return the operating points of samples by path; those that run away have NaN."""
        point = operate(self.model, self.method, self.model.values(samples), partial=True)
        return point if self.curvature is None else self.curvature.added(point)

    def headroom(self, point: OperatingPoint, samples: Mapping[str, Float]) -> Float:
        """Return the power that may be added until the junction is at the limit, shape (S,). [W]"""
        assert self.limit is not None
        found = np.full(len(point.settled), np.nan)
        if point.settled.all():
            return to_limit(point, self.method, self.limit) - point.total
        if point.settled.any():
            kept = {path: np.broadcast_to(x, len(found))[point.settled] for path, x in samples.items()}
            settled = self.point(kept)
            found[point.settled] = to_limit(settled, self.method, self.limit) - settled.total
        return found


def variant_of(
    stack: Stack,
    solver: str,
    variables: tuple[Variable, ...],
    *,
    limit: float | None,
    emulate: bool = True,
    points: Points | None = None,
) -> Variant:
    """Return a stack ready to be sampled over its variables; its emulator is built once and kept.

    Parameters
    ----------
    stack : Stack
    solver : str
    variables : tuple of Variable
        By the paths of the stack, as wide as they will be sampled.
    limit : float, optional
        Junction temperature for the headroom. [K]
    emulate : bool
        False: every sample is solved, at about a millisecond each.
    points : mapping of die name to points, optional
        Where the hottest points lie; found if not given.

    Raises
    ------
    SolveError
        The emulator is refused: its held-out error is above the limit. The message names what it is curved in.
    """
    plain = stack.uncalibrated
    points = hot_points(plain, solver) if points is None else points
    model = _with(plain, points)
    emulator = None
    if emulate and solver in EMULATED:
        try:
            emulator = emulator_of(model, variables, solver=solver_named(solver), hottest=limit)
        except SolveError as error:
            raise SolveError(f"{error} (emulate=False, about 1 ms a sample)") from error
    variant = Variant(stack, solver, points, emulator, None, limit)
    if solver != "layered":
        return variant
    some = Sampler(variables, 0, "latin hypercube").draw(0, TRIED if emulator is not None else 50)
    tried = replace(variant, stack=plain).point(some)
    if not tried.settled.any():
        raise SolveError(f"{stack.label}: none of {len(tried.settled)} samples has an operating point")
    return replace(variant, curvature=curvature_of(tried))


def _with(stack: Stack, points: Points) -> Model:
    model = model_of(stack)
    return model.with_points(points) if points else model
