"""Sample variants together."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import replace

import numpy as np

from ..propagate import BLOCK, Variable, evaluate
from ..propagate.sampling import check_count
from ..stack.stack import Stack
from .joint import LEAKAGE, JointModel
from .result import Ensemble
from .unknowns import LearnedSampler, unknowns_of, variables_of_stack
from .variant import variant_of

__all__ = ["ensemble_of", "joint_model_of"]


def joint_model_of(
    stacks: Sequence[Stack], solver: str, *, limit: float | None = None, emulate: bool = True
) -> JointModel:
    """Return variants as one function of all their unknowns, with an emulator for each.

    Parameters
    ----------
    stacks : sequence of Stack
        The baseline first.
    solver : str
    limit : float, optional
        Junction temperature for the headroom. [K]
    emulate : bool
        As in `variant_of`.
    """
    variants = tuple(
        variant_of(stack, solver, variables_of_stack(stack), limit=limit, emulate=emulate) for stack in stacks
    )
    leaks = any(die.leakage is not None for stack in stacks for die in stack.dies)
    model = JointModel(variants, unknowns_of(stacks), assumed_leakage=len(stacks) > 1 and not leaks)
    one = {v.path: np.atleast_1d(v.distribution.centre) for v in drawn_by(model)}
    return replace(model, outputs=tuple(output for output, _ in model.computed(one)))


def drawn_by(model: JointModel) -> tuple[Variable, ...]:
    """Return what is drawn for a joint model."""
    variables = tuple(unknown.variable for unknown in model.unknowns)
    return (*variables, LEAKAGE) if model.assumed_leakage else variables


def ensemble_of(
    stacks: Sequence[Stack],
    solver: str,
    samples: int,
    *,
    seed: int = 0,
    limit: float | None = None,
    coverage: float = 0.95,
    emulate: bool = True,
    executor: Executor | None = None,
    progress: bool | None = None,
) -> Ensemble:
    """Sample stacks together: what they share is the same number in each.

    Parameters
    ----------
    stacks : sequence of Stack
        The baseline first.
    solver : str
    samples : int
        How many; rounded up to whole Latin hypercubes of `BLOCK`.
    seed : int
        The same seed gives the same figures, whoever computes them.
    limit : float, optional
        Junction temperature for the headroom. [K]
    coverage : float
        Of the intervals.
    emulate : bool
        As in `variant_of`.
    executor, progress
        As in `propagate.evaluate`.

    Raises
    ------
    InputError
        A spread larger than its bound allows, samples that are no whole number above zero.
    SolveError
        An emulator is refused, or no sample has an operating point.
    """
    count = check_count(samples)
    count = max(-(-count // BLOCK), 2) * BLOCK
    model = joint_model_of(stacks, solver, limit=limit, emulate=emulate)
    learned = tuple(stack.learned for stack in stacks if stack.learned is not None)
    sampler = LearnedSampler(drawn_by(model), seed, "latin hypercube", learned=learned)
    run = evaluate(model, sampler, count, executor=executor, progress=progress)
    return Ensemble(model, sampler, run, coverage)
