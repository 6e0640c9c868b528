"""One stack ready to be sampled: its model, and an emulator in the place of its solver."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from ..errors import InputError, SolveError
from ..field import Points, hot_points
from ..local import Curvature, curvature_of
from ..model import Model, model_of
from ..operating import OperatingPoint, operate, to_limit
from ..propagate import Sampler, Variable, uniforms
from ..propagate.emulator import REACH, WARMTH, Emulator, emulator_of
from ..propagate.features import take
from ..solvers import solver_named
from ..solvers.graph import Arrays, Graph, Response, Solver
from ..stack.stack import Stack

__all__ = ["EMULATED", "Variant", "variant_of"]

Float = NDArray[np.float64]

EMULATED = ("axisymmetric", "layered")
"""Solvers that an emulator stands for; the one-dimensional one is as fast itself."""
TRIED = 500
"""Samples among which the coolest, the middle and the hottest are found for the local conductivity."""
TAILS = 1.5
"""By how much farther out than samples it is tried whether an emulator answers…"""
HOTTER, HOTTER_TIMES = 1.5, 4
"""…and by what factor of the rise it is then built for hotter samples, so many times at most."""

FEW = 0.01
"""Share of the samples that may lie outside an emulator's box, and are solved one by one."""


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
        solver = solver_named(self.solver)
        if self.emulator is None:
            return solver
        return self.emulator if self.emulator.lenient else _WithTails(self.emulator, solver)

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
        if not self.model.leaks:  # as of `unleaking`: what is said of the leakage has no effect
            samples = {path: x for path, x in samples.items() if ".leakage_" not in path}
        point = operate(self.model, self.method, self.model.values(samples), partial=True)
        return point if self.curvature is None else self.curvature.added(point)

    def headroom(self, point: OperatingPoint, samples: Mapping[str, Float]) -> Float:
        """Return the power that may be added until the junction is at the limit, shape (S,). [W]

        NaN where a sample runs away, or would on the way to the limit.
        """
        assert self.limit is not None
        found = np.full(len(point.settled), np.nan)
        if point.settled.all():
            return self._at_limit(point, samples) - point.total
        if point.settled.any():
            kept = {path: np.broadcast_to(x, len(found))[point.settled] for path, x in samples.items()}
            settled = self.point(kept)
            found[point.settled] = self._at_limit(settled, kept) - settled.total
        return found

    def _at_limit(self, point: OperatingPoint, samples: Mapping[str, Float]) -> Float:
        """Return the power at the limit; with leakage, samples that keep the others from settling are set apart."""
        assert self.limit is not None
        try:
            return to_limit(point, self.method, self.limit)
        except (SolveError, InputError):
            count = len(point.settled)
            if not self.model.leaks:
                raise
            if count == 1:
                return np.full(1, np.nan)
        whole = {path: np.broadcast_to(x, count) for path, x in samples.items()}
        halves = ({path: x[part] for path, x in whole.items()} for part in (slice(count // 2), slice(count // 2, None)))
        return np.concatenate([self._at_limit(self.point(half), half) for half in halves])


@dataclass(frozen=True, eq=False)
class _WithTails:
    """An emulator, and the solver itself for the few samples that lie outside its box.

    The product of several tails may leave it once in a million samples; no comparison should fail for that.
    """

    emulator: Emulator
    solver: Solver

    def __call__(self, graph: Graph, arrays: Arrays) -> Response:
        try:
            return self.emulator(graph, arrays)
        except SolveError:
            features = self.emulator.features
            outside = features.outside(features.of(arrays, lenient=True))
            if outside.mean() > FEW:
                raise
        found = replace(self.emulator, lenient=True)(graph, arrays)
        direct = self.solver(graph, take(arrays, np.flatnonzero(outside)))
        for name in ("influence", "flow", "error"):
            getattr(found, name)[outside] = getattr(direct, name)
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
        False: every sample is solved, several times where conductivities change: milliseconds to tens of them.
    points : mapping of die name to points, optional
        Where the hottest points lie; found if not given.

    Raises
    ------
    SolveError
        The emulator is refused: its held-out error is above the limit. The message names what it is curved in.
    """
    asked = None if points is None else tuple((die, tuple(map(tuple, at))) for die, at in points.items())
    return replace(_ready(stack.uncalibrated, solver, variables, limit, emulate, asked), stack=stack)


@lru_cache(maxsize=32)
def _ready(
    stack: Stack,
    solver: str,
    variables: tuple[Variable, ...],
    limit: float | None,
    emulate: bool,
    asked: tuple[tuple[str, tuple[tuple[float, ...], ...]], ...] | None,
) -> Variant:
    points: Points = hot_points(stack, solver) if asked is None else dict(asked)  # type: ignore[arg-type]
    model = _with(stack, points)
    emulator = None
    if emulate and solver in EMULATED:
        try:
            emulator = _emulator(model, variables, solver_named(solver), limit)
        except SolveError as error:
            raise SolveError(f"{error} (emulate=False, milliseconds to tens of them a sample)") from error
    variant = Variant(stack, solver, points, emulator, None, limit)
    if solver != "layered":
        return variant
    some = Sampler(variables, 0, "latin hypercube").draw(0, TRIED if emulator is not None else 50)
    tried = variant.point(some)
    if not tried.settled.any():
        raise SolveError(f"{stack.label}: none of {len(tried.settled)} samples has an operating point")
    return replace(variant, curvature=curvature_of(tried))


def _emulator(model: Model, variables: tuple[Variable, ...], solver: Solver, limit: float | None) -> Emulator:
    """Return an emulator that also covers the conductivities of the hottest samples.

    How hot they become is known only when they are solved: it is tried far out in the tails, and built for hotter
    samples where they leave its box.
    """
    scores = {v: TAILS * special.ndtri(uniforms(0, v.identity, 0, TRIED, "latin hypercube")) for v in variables}
    tails = {v.path: v.distribution.ppf(special.ndtr(np.clip(z, -REACH, REACH))) for v, z in scores.items()}
    hottest = limit
    for _ in range(HOTTER_TIMES):
        emulator = emulator_of(model, variables, solver=solver, hottest=hottest)
        point = operate(model, replace(emulator, lenient=True), model.values(tails), partial=True)
        features = emulator.features
        follows = np.array([".conductivity" in name for name in features.names], dtype=bool)  # the temperature
        x = features.of(point.arrays, lenient=True)
        if not np.any(x[:, follows] < features.low[follows]):
            break
        centre = operate(model, emulator)
        known = centre.coolant[0] + WARMTH * centre.junction_rise[0]
        hottest = float(HOTTER * max(known, hottest or 0.0) - (HOTTER - 1.0) * centre.coolant[0])
    return emulator


def _with(stack: Stack, points: Points) -> Model:
    model = model_of(stack)
    return model.with_points(points) if points else model
