"""As many samples as it takes: the adaptive Monte Carlo procedure of JCGM 101:2008, 7.9."""

from __future__ import annotations

import math
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np

from ..errors import InputError, SolveError
from .evaluate import Model, Run, evaluate
from .sampling import BLOCK, Sampler, check_count
from .summary import Summary, numerical_tolerance, summarise

__all__ = ["Stabilised", "stabilised"]

_LEAST_BATCH = 10_000


@dataclass(frozen=True, eq=False)
class Stabilised:
    """Outcome of the adaptive procedure.

    Attributes
    ----------
    run : Run
        All samples.
    summary : Summary
        What they say.
    tolerance : float
        Numerical tolerance of the standard uncertainty that was asked for, in the unit of the result.
    batches : int
        How many batches it took.
    """

    run: Run
    summary: Summary
    tolerance: float
    batches: int


def stabilised(
    model: Model,
    sampler: Sampler,
    *,
    digits: int = 2,
    coverage: float = 0.95,
    most: int = 2_000_000,
    executor: Executor | None = None,
    progress: bool | None = None,
) -> Stabilised:
    """Sample in batches until mean, standard uncertainty and both ends of the interval have stabilised.

    Parameters
    ----------
    model : callable
        Takes a mapping of path to samples (S,) and returns an array (S,).
    sampler : Sampler
        Draws the samples.
    digits : int
        Significant digits of the standard uncertainty that are meant; usually 1 or 2.
    coverage : float
        Of the (probabilistically symmetric) interval.
    most : int
        Samples after which to give up.
    executor, progress
        As in `evaluate`.

    Returns
    -------
    Stabilised
        Twice the standard error of each of the four figures, from the scatter between batches, is less than the
        tolerance; unless it was interrupted, which a note then says.

    Raises
    ------
    SolveError
        If `most` samples did not suffice; it says how far they got.
    InputError
        If `most` holds less than two batches, the coverage is not between 0 and 1, or as `evaluate`, `summarise`.

    Notes
    -----
    A batch holds M = max(J, 10⁴) samples, J the smallest integer not less than 100/(1 − coverage) (7.9.4 b).
    """
    digits, most = check_count(digits, "digits"), check_count(most, "most")
    if not 0.0 < coverage < 1.0:
        raise InputError(f"a coverage of {coverage:g}", where="coverage", expected="a probability such as 0.95")
    batch = max(math.ceil(100 / (1 - coverage) - 1e-9), _LEAST_BATCH)
    batch = -(-batch // BLOCK) * BLOCK
    if most < 2 * batch:
        raise InputError(f"{most} samples", where="most", expected=f"at least two batches of {batch}")
    runs: list[Run] = []
    figures: list[tuple[float, ...]] = []
    while True:
        run = evaluate(model, sampler, batch, first=batch * len(runs), executor=executor, progress=progress)
        runs.append(run)
        if not run.complete:
            break
        found = summarise(run, coverage=coverage)
        figures.append(tuple(e.value for e in (found.mean, found.standard_uncertainty, found.low, found.high)))
        if len(runs) > 1:
            u = float(np.concatenate([run.results for run in runs]).std(ddof=1))
            if u == 0:
                raise InputError(
                    "the result does not vary", where="model", expected="at least one variable that matters"
                )
            tolerance = numerical_tolerance(u, digits)
            twice = 2 * np.std(figures, axis=0, ddof=1) / math.sqrt(len(figures))
            if np.all(twice < tolerance):
                break
            if (len(runs) + 1) * batch > most:
                raise SolveError(
                    f"not stable to {digits} digits of the standard uncertainty after {len(runs) * batch} samples: "
                    "twice the errors of mean, standard uncertainty, low and high end are "
                    f"{', '.join(f'{e:.2g}' for e in twice)}, the tolerance {tolerance:.2g}; "
                    "ask for fewer digits, or raise most"
                )
    whole = Run(
        np.concatenate([run.results for run in runs]),
        np.concatenate([run.numbers for run in runs]),
        sampler.block,
        batch * len(runs),
    )
    if not whole.complete:
        whole = replace(
            whole, notes=(f"interrupted after {len(whole.numbers)} samples, before all digits were stable",)
        )
    summary = summarise(whole, coverage=coverage)
    tolerance = numerical_tolerance(summary.standard_uncertainty.value, digits)
    return Stabilised(whole, summary, tolerance, len(runs))
