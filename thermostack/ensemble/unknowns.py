"""From stacks to what is drawn: one variable an identity, shared by the variants that have it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..propagate import (
    Distribution,
    Lognormal,
    Sampler,
    Variable,
    distribution_of,
    mount_factor,
    uniforms,
    variables_of,
)
from ..stack.inputs import Input
from ..stack.learned import Learned
from ..stack.stack import Stack

__all__ = ["LearnedSampler", "Unknown", "after_calibration", "unknowns_of", "variables_of_stack"]

Float = NDArray[np.float64]


def variables_of_stack(stack: Stack) -> tuple[Variable, ...]:
    """Return a variable for each uncertain input of a stack, as it was described before any calibration.

    Raises
    ------
    InputError
        As `propagate.distribution_of`: a spread larger than its bound allows, named by path.
    """
    inputs = {entry.path: entry for entry in stack.uncalibrated.inputs()}
    identity = {entry.path: entry.identity for entry in stack.inputs()}  # what a calibration knows of it
    plain = variables_of(inputs.values(), identity=lambda entry: identity[entry.path])
    return tuple(_with_bad_mounts(variable, inputs[variable.path]) for variable in plain)


def _with_bad_mounts(variable: Variable, entry: Input) -> Variable:
    if entry.bad is None:
        return variable
    assert isinstance(variable.distribution, Lognormal)  # as every mount factor
    worse = Lognormal(entry.bad.factor.si, entry.bad.factor.spread_si)
    factor = mount_factor(variable.distribution.factor, entry.bad.share, worse)
    return Variable(variable.path, factor, variable.identity, variable.dimension)


@dataclass(frozen=True)
class Unknown:
    """One unknown of several variants.

    Attributes
    ----------
    variable : Variable
        Its path is the name under which it is sampled and listed: the path of the input, with the variant's label
        where another variant has another unknown at that path.
    scope : {"lasting", "mount", "run"}
    places : tuple of (int, str, Distribution)
        Variant, path there, distribution there: usually the same; a path described differently keeps its quantile.
    """

    variable: Variable
    scope: str
    places: tuple[tuple[int, str, Distribution], ...]

    @property
    def variants(self) -> tuple[int, ...]:
        """Which variants have it."""
        return tuple(variant for variant, _, _ in self.places)


def unknowns_of(stacks: Sequence[Stack]) -> tuple[Unknown, ...]:
    """Return the unknowns of several variants, in the order of their inputs."""
    found: dict[str, list[tuple[int, Variable, str]]] = {}
    for variant, stack in enumerate(stacks):
        scopes = {entry.path: entry.scope for entry in stack.inputs()}
        for variable in variables_of_stack(stack):
            found.setdefault(variable.identity, []).append((variant, variable, scopes[variable.path]))
    taken: dict[str, int] = {}
    for places in found.values():
        path = places[0][1].path
        taken[path] = taken.get(path, 0) + 1
    unknowns = []
    for identity, places in found.items():
        first, variable, scope = places[0]
        name = variable.path if taken[variable.path] == 1 else f"{variable.path} ({stacks[first].label})"
        unknowns.append(
            Unknown(
                Variable(name, variable.distribution, identity, variable.dimension),
                scope,
                tuple((variant, v.path, v.distribution) for variant, v, _ in places),
            )
        )
    return tuple(unknowns)


def after_calibration(unknowns: Iterable[Unknown], stacks: Sequence[Stack]) -> tuple[Variable, ...]:
    """Return the variables with what calibrations left of each spread, for linear budgets."""
    known: dict[str, Any] = {}
    for stack in stacks:
        if stack.learned is not None:
            known |= stack.learned.values
    free = (-np.inf, np.inf)
    return tuple(
        Variable(v.path, distribution_of(known[v.identity], v.path, free), v.identity, v.dimension)
        if v.identity in known
        else v
        for v in (unknown.variable for unknown in unknowns)
    )


@dataclass(frozen=True, eq=False)
class LearnedSampler(Sampler):
    """A sampler whose variables, where readings have taught of them, come from the draws of their joint posterior.

    Parameters
    ----------
    learned : tuple of Learned
        Each of the variants'; equal ones count once.
    """

    learned: tuple[Learned, ...] = ()

    @cached_property
    def _taught(self) -> tuple[tuple[Learned, tuple[tuple[str, int], ...]], ...]:
        """For each posterior the variables that it knows: path and column; the first that knows one has it."""
        left: Mapping[str, str] = {v.identity: v.path for v in self.variables}
        taught, seen = [], set[str]()
        for learned in {each.key: each for each in self.learned}.values():
            columns = [
                (left[identity], column)
                for column, identity in enumerate(learned.identities)
                if identity in left and identity not in seen
            ]
            seen.update(learned.identities)
            taught.append((learned, tuple(columns)))
        return tuple(taught)

    def draw(self, start: int, stop: int) -> dict[str, Float]:
        """Return samples `start` to `stop` of each variable by its path, in SI."""
        drawn = super().draw(start, stop)
        for learned, columns in self._taught:
            u = uniforms(self.seed, f"posterior {learned.key}", start, stop, self.method)
            rows = np.minimum((u * len(learned.draws)).astype(int), len(learned.draws) - 1)
            for path, column in columns:
                drawn[path] = learned.draws[rows, column]
        return drawn

    def correlations_taught(self, variables: Iterable[Variable]) -> dict[tuple[str, str], float]:
        """Return the correlation coefficients of variables in the posterior draws, on their natural scales."""
        laws = {v.path: v.distribution for v in variables}
        found: dict[tuple[str, str], float] = {}
        for learned, columns in self._taught:
            natural = [
                np.log(learned.draws[:, column]) if laws[path].scale == "log" else learned.draws[:, column]
                for path, column in columns
            ]
            if len(natural) < 2:
                continue
            matrix = np.corrcoef(natural)
            for i, (path, _) in enumerate(columns):
                for j in range(i):
                    found[path, columns[j][0]] = float(matrix[i, j])
        return found
