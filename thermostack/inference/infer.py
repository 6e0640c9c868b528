"""From a problem to its posterior: modes, importance sampling, and tempering where that does not do."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import SolveError
from ..propagate.sampling import check_count
from .conflict import Conflict, conflict_of
from .importance import Weighted, after_tempering, followed, importance_sampled, resampled
from .modes import Mode, find_modes, log_prior
from .pareto import largest_shape
from .posterior import Method, Posterior, PosteriorMode
from .problem import Problem, Target
from .proposal import Proposal, latin_hypercube
from .tempering import Tempered, tempered

__all__ = ["posterior_of"]

Float = NDArray[np.float64]

_LEAST_DRAWS = 100
_LEAST_PRIOR = 256
_BEST_OF_PRIOR = 2
_ENOUGH = 0.08  # effective share of the draws below which importance sampling is given up
_WORST_SHAPE, _WORST_EFFICIENCY = 1.0, 0.01
"""A proposal beyond either has missed too much: tempering then starts from the prior. It does not otherwise, since the
way from there may lead past a narrow hump (Student data do so)."""
_LEAST_SIZE = 100.0
_LARGEST_ERROR = 0.3  # of ln evidence


def posterior_of(
    problem: Problem,
    *,
    draws: int = 4000,
    seed: int = 0,
    start: Mapping[str, float] | Sequence[Mapping[str, float]] | None = None,
) -> Posterior:
    """Return the joint posterior of all variables of a problem, and the evidence.

    Parameters
    ----------
    problem : Problem
        Variables, model and data.
    draws : int
        Samples to return, and of the last round of importance sampling; 100 or more. With 1000, a nearly straight
        problem takes 1600 to 2400 evaluations of the model, a curved one 3000 to 12 000; with 4000, 6000 and 9000 to
        40 000. Tempering takes some 100 000.
    seed : int
        Zero or more. Same problem, draws and seed: same figures.
    start : mapping of path to value, or several, optional
        Further points, in SI, from which to look for modes; variables left out stand at their median.

    Returns
    -------
    Posterior
        Look at `converged`, or call `checked()`.

    Raises
    ------
    InputError
        If draws or seed are no such numbers, or the model returns another shape than it should.
    UnknownNameError
        If a start names a variable that is not there.
    SolveError
        If the model gives nothing anywhere it was tried.

    Notes
    -----
    Modes are looked for from the medians of all variables, from the middle of each component of each mixture, from the
    best of some draws of the prior, and from what is given.
    """
    draws = check_count(draws, "draws", least=_LEAST_DRAWS)
    rng = np.random.default_rng(check_count(seed, "seed", least=0))
    target = Target(problem)
    starts = [] if start is None else [start] if isinstance(start, Mapping) else list(start)
    given = np.array([target.latent.scores(each) for each in starts]).reshape(-1, target.size)
    prior = latin_hypercube(rng, max(_LEAST_PRIOR, draws // 8), target.size)
    found = target.evaluate(prior)
    possible = np.isfinite(found.log_likelihood)
    if np.count_nonzero(possible) < 2:
        raise SolveError(
            f"the model gives nothing at {len(prior) - np.count_nonzero(possible)} of {len(prior)} draws of the prior"
        )
    conflict = conflict_of(target, prior, found.predicted, rng)
    best = np.argsort(-(found.log_likelihood + log_prior(prior)), kind="stable")[:_BEST_OF_PRIOR]
    modes = find_modes(
        target, np.concatenate([np.zeros((1, target.size)), target.latent.other_components, prior[best], given])
    )
    notes = [str(conflict)] if conflict.surprising else []
    if conflict.impossible > 0:
        notes.append(f"the model gives nothing in {100 * conflict.impossible:.2g} % of the prior")
    if any(not mode.converged for mode in modes):
        notes.append("the search for a mode did not come to rest")
    of_prior = (prior, found.predicted, found.log_likelihood)
    weighted = importance_sampled(target, modes, of_prior, rng, draws, _ENOUGH * draws)
    if weighted.good(_ENOUGH * draws):
        return _result(target, _from_weights(weighted, target, draws, rng), modes, conflict, notes)
    size = len(weighted.scores)
    notes.append(
        f"importance sampling did not do (worth {weighted.effective_size:.0f} of {size} samples, shape of the weights "
        f"{weighted.khat:.2f}; at least {_ENOUGH * draws:.0f} and below {largest_shape(size):.2f} are needed)"
    )
    bent = followed(target, modes, rng, draws)
    if bent is not None and bent.good(_ENOUGH * draws):
        notes.append(
            f"{len(bent.scores)} draws that follow the bend of the model did (worth {bent.effective_size:.0f}); "
            f"they are repeated to make {draws}"
        )
        return _result(target, _from_weights(bent, target, draws, rng), modes, conflict, notes)
    of_use = weighted.khat < _WORST_SHAPE and weighted.efficiency > _WORST_EFFICIENCY
    base = weighted.proposal if of_use else Proposal(1.0, np.empty(0), ())
    islands = tempered(target, rng, draws, base)
    K, n, J = islands.scores.shape
    samples = (
        islands.scores.reshape(K * n, J),
        np.repeat(islands.shares / n, n),
        islands.log_likelihood.reshape(K * n),
    )
    again = after_tempering(target, weighted.proposal, samples, rng, draws, _ENOUGH * draws)
    if again.good(_ENOUGH * draws):
        notes.append(f"it did after tempering in {islands.steps} steps had shown where the posterior is")
        return _result(target, _from_weights(again, target, draws, rng), modes, conflict, notes)
    return _result(target, _from_islands(islands, target, draws, rng), modes, conflict, notes)


@dataclass(frozen=True, eq=False)
class _Drawn:
    """Equally weighted samples, however they were drawn."""

    scores: Float
    predicted: Float
    log_likelihood: Float
    mean_errors: Float
    log_evidence: float
    log_evidence_error: float
    effective_size: float
    khat: float
    method: Method
    converged: bool
    notes: tuple[str, ...] = ()


def _from_weights(weighted: Weighted, target: Target, draws: int, rng: np.random.Generator) -> _Drawn:
    """Return equally weighted samples from weighted ones."""
    w = weighted.weights
    y = target.latent.scores_of_variables(weighted.scores)
    apart = y - w @ y
    taken = resampled(w, draws, rng)
    return _Drawn(
        weighted.scores[taken],
        weighted.predicted[taken],
        weighted.log_likelihood[taken],
        np.sqrt((w**2 @ apart**2) / (w @ apart**2)),
        weighted.log_evidence,
        weighted.log_evidence_error,
        weighted.effective_size,
        weighted.khat,
        "importance sampling",
        True,
    )


def _from_islands(found: Tempered, target: Target, draws: int, rng: np.random.Generator) -> _Drawn:
    """Return equally weighted samples from islands."""
    K, n, _ = found.scores.shape
    taken = resampled(np.repeat(found.shares / n, n), draws, rng)
    y = target.latent.scores_of_variables(found.scores.reshape(K * n, -1))
    errors = found.mean_errors(y.reshape(K, n, -1))
    size = min(1 / float(np.mean(errors**2)), float(draws))
    normal = math.isinf(target.problem.degrees_of_freedom)  # with Student data islands may agree and all be wrong
    converged = normal and found.finished and size >= _LEAST_SIZE and found.log_evidence_error < _LARGEST_ERROR
    told = (
        f"tempering in {found.steps} steps: worth {size:.0f} independent samples, error of ln evidence "
        f"{found.log_evidence_error:.2f}"
    )
    needed = f"; at least {_LEAST_SIZE:.0f} and below {_LARGEST_ERROR} are needed"
    if not normal:
        needed += ", and with Student data importance sampling that bears it out"
    return _Drawn(
        found.scores.reshape(K * n, -1)[taken],
        found.predicted.reshape(K * n, -1)[taken],
        found.log_likelihood.reshape(K * n)[taken],
        errors,
        found.log_evidence,
        found.log_evidence_error,
        size,
        math.nan,
        "tempering",
        converged,
        (told if converged else told + needed,),
    )


def _result(target: Target, drawn: _Drawn, modes: list[Mode], conflict: Conflict, notes: list[str]) -> Posterior:
    latent, problem = target.latent, target.problem
    paths = [variable.path for variable in latent.uncertain]
    return Posterior(
        variables=problem.variables,
        samples=latent.values(drawn.scores),
        scores=drawn.scores,
        identities=latent.identities,
        predicted=drawn.predicted,
        log_likelihood=drawn.log_likelihood,
        log_evidence=drawn.log_evidence,
        log_evidence_error=drawn.log_evidence_error,
        effective_size=drawn.effective_size,
        khat=drawn.khat,
        modes=_weighted_modes(target, modes, drawn.scores),
        mean_errors=dict(zip(paths, drawn.mean_errors.tolist(), strict=True)),
        conflict=conflict,
        method=drawn.method,
        evaluations=target.evaluations,
        converged=drawn.converged,
        notes=(*notes, *drawn.notes),
        scores_of_variables=latent.scores_of_variables(drawn.scores),
        prior_correlation=latent.scores_of_variables(np.eye(target.size)).T
        @ latent.scores_of_variables(np.eye(target.size)),
    )


def _weighted_modes(target: Target, modes: list[Mode], scores: Float) -> tuple[PosteriorMode, ...]:
    """Return the modes with the share of the samples that each has, by the largest of Laplace's densities."""
    densities = []
    for mode in modes:
        apart = scores - mode.scores
        square = np.sum(apart**2, axis=1) + np.sum((apart @ mode.sensitivities.T) ** 2, axis=1)
        densities.append(mode.log_posterior - 0.5 * square)
    owner = np.argmax(densities, axis=0)
    out = []
    for k, mode in enumerate(modes):
        values = target.latent.values(mode.scores[None])
        at = {path: float(x[0]) for path, x in values.items()}
        out.append(PosteriorMode(float(np.mean(owner == k)), at, mode.scores, mode.log_posterior))
    return tuple(sorted(out, key=lambda mode: -mode.weight))
