"""How probable the readings are under each cause: the inputs and the size integrated out.

Under a cause the readings are y(z) + Δ(t) + B + noise: z the scores of all unknown inputs, N(0, I); t the size of the
cause; B what may have come besides, such as a bad mount, summed over points. *By Laplace:* with y straight about the
most probable z, z is integrated in closed form, and t along the straight pieces of Δ in closed form too. *By
importance sampling:* scores are drawn about the most probable points of all causes together so that they follow the
bend of the model (`inference.implicit`), and weighted by all densities they came from (the balance heuristic of Veach
and Guibas 1995); t is still integrated in closed form. One pool of model runs then serves all causes at all scales of
their sizes.

What a departure does is known to some per cent of its pattern (`Scored.doubt`), which counts as noise of its cause.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, special

from ..errors import SolveError, ThermostackWarning
from ..inference.implicit import Implicit, densities, drawn
from ..inference.modes import log_prior
from ..inference.pareto import largest_shape, smoothed
from .besides import NOTHING, Besides
from .effect import SCALES, Effect, unlisted_covariance
from .scored import EDGE, STEP, Scored
from .segments import log_segment_density
from .straight import Kind, Linear, constant, linearised

__all__ = ["DRAWS", "Evidence", "evidence_of"]

Float = NDArray[np.float64]

DRAWS = 600
"""Samples. Each takes some twenty runs of the model, and one for each score."""
ROUNDS = 4
WORTH, SAMPLED = 12.0, 4.0
"""Effects whose evidence is e^−12 of the best are not refined, and below e^−4 not sampled: Laplace's value does."""
NIL = 1e-5
"""Pieces with less than this share of the most probable one are not sampled."""
SLIGHT = 0.05
"""What may have come besides with less than this share of the most probable is not sampled."""
LEAST_SIZE, HALF = 30.0, 0.5
"""Least effective size for which importance sampling is taken, and least share of what it sums."""
UNCHECKED, UNSAMPLED = 0.5, 0.3
"""Error of ln evidence by Laplace's approximation: by itself, and moved as sampling moved it elsewhere (in trials)."""
PLACES, LEAST_DRAWS, LEAST_SOLVED = 8, 60, 0.6
"""Most places to draw at; least draws at each; least share of draws that are solved. Most of the others have no
solution (in a trial 18 of 20: a size for which no inputs make up), and so no density is lost with them."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """The evidence of each effect, of the described stack, and of what is not listed.

    Attributes
    ----------
    linear : tuple of Linear
        Effects in their order, then as described, then not listed: each about its own most probable point.
    log_evidence : ndarray, shape (effects + 2, scales)
    error : ndarray, shape (effects + 2,)
        Standard error of ln evidence, sizes as stated.
    effective_size : ndarray, shape (effects + 2,)
        As many independent samples it rests on; NaN where Laplace's approximation stands, moved as others were.
    khat : ndarray, shape (effects + 2,)
        Shape of the tail of the weights, good below 0.7.
    laplace : ndarray, shape (effects + 2,)
        ln evidence by Laplace's approximation, sizes as stated.
    """

    linear: tuple[Linear, ...]
    log_evidence: Float
    error: Float
    effective_size: Float
    khat: Float
    laplace: Float


def evidence_of(
    scored: Scored,
    observed: Float,
    effects: Sequence[Effect],
    *,
    besides: Sequence[Besides] = (),
    draws: int = DRAWS,
    seed: int = 0,
) -> Evidence:
    """Return the evidence of every effect.

    Parameters
    ----------
    scored : Scored
    observed : ndarray (D,)
        [K]
    effects : sequence of Effect
    besides : sequence of Besides
        What may have come with each effect; nothing where left out.
    draws : int
        Samples; 0 leaves it at Laplace's approximation.
    seed : int
    """
    extra = tuple(unlisted_covariance(scored.model, scale) for scale in SCALES)
    with_each = besides or [NOTHING] * len(effects)
    kinds = [*(Kind(e, b) for e, b in zip(effects, with_each, strict=True)), Kind(), Kind(extra=extra)]
    J = scored.latent.size
    starts = np.concatenate([np.zeros((1, J)), scored.latent.other_components])
    best: list[Linear] = []
    for start in starts:
        found = _climbed(scored, observed, start, kinds)
        best = [_either(a, b) for a, b in zip(best, found, strict=True)] if best and found else best or found
    if not best:
        raise SolveError("the described stack has no operating point at what was read")
    laplace = np.array([each.log_evidence for each in best])
    n = len(best)
    nan = np.full(n, np.nan)
    plain = Evidence(tuple(best), laplace, np.full(n, UNCHECKED), nan, nan, laplace[:, 1])
    return plain if draws == 0 else _sampled(scored, observed, kinds, plain, draws, seed)


def _climbed(scored: Scored, observed: Float, start: Float, kinds: Sequence[Kind]) -> list[Linear]:
    """Return every kind straight about its own most probable point, from one start.

    Empty where there is no operating point at the start.
    """
    y, slopes = scored.linearised(start[None])
    if not np.isfinite(y).all():
        return []
    found = [linearised(scored, observed, start, y[0], slopes[0], kind) for kind in kinds]
    resting: set[int] = set()
    for _ in range(ROUNDS):
        top = max(each.log_evidence[1] for each in found)
        near = [i for i, each in enumerate(found) if each.log_evidence[1] > top - WORTH and i not in resting]
        moving = [i for i in near if _distance(found[i]) > 0.05]
        if not moving:
            break
        z = np.clip(np.array([found[i].mode for i in moving]), -EDGE + STEP, EDGE - STEP)
        y, slopes = scored.linearised(z)
        possible: NDArray[np.bool_] = np.asarray(np.isfinite(y).all(axis=1))
        for row, i in enumerate(moving):
            if possible[row]:
                found[i] = linearised(scored, observed, z[row], y[row], slopes[row], kinds[i])
            else:  # no such operating point: the slopes before stand
                resting.add(i)
    return found


def _distance(each: Linear) -> float:
    """Return how far the most probable point lies from where the slopes were taken, in scores."""
    return float(np.linalg.norm(np.clip(each.mode, -EDGE + STEP, EDGE - STEP) - each.z))


def _either(a: Linear, b: Linear) -> Linear:
    """Return the more probable of two modes, with the evidence of both where they are apart."""
    first, second = (a, b) if a.log_evidence[1] >= b.log_evidence[1] else (b, a)
    if _apart(first, second.mode) < 1.0:
        return first
    return replace(first, log_evidence=np.logaddexp(first.log_evidence, second.log_evidence))


def _apart(linear: Linear, z: Float) -> float:
    """Return the squared Mahalanobis distance of scores from the most probable ones."""
    off = z - linear.mode
    white = linalg.solve_triangular(np.linalg.cholesky(linear.noise), linear.slopes @ off, lower=True)
    return float(off @ off + white @ white)


def _sampled(
    scored: Scored, observed: Float, kinds: Sequence[Kind], plain: Evidence, draws: int, seed: int
) -> Evidence:  # fmt: skip
    """Return the evidence by importance sampling, where that does; Laplace's approximation elsewhere."""
    rng = np.random.default_rng([seed, 22])
    top = plain.laplace.max()
    described = len(kinds) - 2
    alive = [i for i in range(len(kinds)) if plain.laplace[i] > top - SAMPLED or i == described]
    about = _places([plain.linear[i] for i in sorted(alive, key=lambda i: -plain.laplace[i])], observed)
    each = max(draws // len(about), LEAST_DRAWS)
    with warnings.catch_warnings():  # what is tried far out on the way to a solution is no answer
        warnings.simplefilter("ignore", ThermostackWarning)
        z = drawn(about, rng, each, scored)
    solved: NDArray[np.bool_] = np.asarray(np.isfinite(z).all(axis=1))
    # some of the prior besides: no part of it is then out of reach
    z = np.concatenate([np.where(solved[:, None], z, 0.0), rng.standard_normal((each, scored.latent.size))])
    with warnings.catch_warnings():  # nor what the prior holds besides
        warnings.simplefilter("ignore", ThermostackWarning)
        y, slopes = scored.sloped(z)
    possible: NDArray[np.bool_] = np.asarray(np.isfinite(y).all(axis=1))
    y = np.where(possible[:, None], y, 0.0)
    log_densities, own = densities(about, each, z, y, slopes)
    solved &= own & possible[: len(solved)]
    kept = solved.reshape(len(about), each).mean(axis=1) > LEAST_SOLVED
    rows = np.append(np.repeat(kept, each), np.full(each, True))
    log_densities = np.vstack([log_densities[kept], log_prior(z)])[:, rows]
    possible = np.append(solved, possible[len(solved) :])[rows]
    y, z = y[rows], z[rows]
    mixture = special.logsumexp(log_densities, axis=0) - math.log(len(log_densities))
    from_prior = np.where(possible, log_prior(z) - mixture, -np.inf)
    log_evidence, error = plain.log_evidence.copy(), plain.error.copy()
    size, khat = plain.effective_size.copy(), plain.khat.copy()
    moved = {}
    for i in alive:
        log_likelihood, share = _log_likelihood(scored, observed, y, kinds[i], plain.linear[i])
        found, judged = _weighed(log_likelihood + from_prior[:, None])
        trusted = [shape < largest_shape(len(z)) and worth >= LEAST_SIZE for shape, worth, _ in judged]
        middle, khat[i] = len(SCALES) // 2, judged[len(SCALES) // 2][0]
        moved[i] = float(found[middle] - plain.laplace[i])
        if trusted[middle]:
            good = np.array(trusted) & (share > HALF)
            log_evidence[i] = np.where(good, found, plain.log_evidence[i] + moved[i])
            size[i], error[i] = judged[middle][1:]
    # what bends does so for all causes alike: where sampling does not do, Laplace's value is moved as it is elsewhere
    done = [i for i in range(len(size)) if np.isfinite(size[i])]
    left = [i for i in range(len(size)) if i not in done]
    if done:
        log_evidence[left] += np.median([moved[i] for i in done])
        error[left] = UNSAMPLED
    for i in left:
        error[i] = max(error[i], abs(moved.get(i, 0.0)))
    return Evidence(plain.linear, log_evidence, error, size, khat, plain.laplace)


def _weighed(raw: Float) -> tuple[Float, list[tuple[float, float, float]]]:
    """Return ln evidence at each scale from log weights (N, scales); and shape of the tail, worth, error of each."""
    n = len(raw)
    found = special.logsumexp(raw, axis=0) - math.log(n)
    judged = []
    for column, whole in zip(raw.T, found, strict=True):
        steady, shape = smoothed(column)
        weights = np.exp(steady - special.logsumexp(steady))
        error = float(np.std(np.exp(column - whole), ddof=1)) / math.sqrt(n)
        judged.append((shape, 1.0 / float(np.sum(weights**2)), error))
    return np.asarray(found), judged


def _places(found: Sequence[Linear], observed: Float) -> list[Implicit]:
    """Return where to draw: at points that are apart from each other, since most causes leave the inputs alike."""
    kept: list[Linear] = []
    for linear in found:
        if len(kept) < PLACES and all(
            _apart(other, linear.mode) > 0.5 or _wider(linear, other) > 0.2 for other in kept
        ):
            kept.append(linear)
    return [Implicit.about(each.mode, each.slopes, observed - each.centre, each.noise) for each in kept]


def _wider(a: Linear, b: Linear) -> float:
    """Return by how much the logarithm of the volume of the noise is larger."""
    (_, first), (_, second) = (np.linalg.slogdet(each.noise) for each in (a, b))
    return float(0.5 * (first - second))


def _log_likelihood(
    scored: Scored, observed: Float, y: Float, kind: Kind, linear: Linear
) -> tuple[Float, Float]:  # fmt: skip
    """Return ln p(readings | scores) (N, scales), size and what came besides integrated out.

    What least probably came besides, and sizes far off, are taken as they are by Laplace; what is left is the share of
    each scale (scales,).
    """
    if kind.extra:
        columns = []
        for each in kind.extra:
            L = np.asarray(np.linalg.cholesky(scored.noise + each))
            x = linalg.solve_triangular(L, (observed - y).T, lower=True)
            columns.append(-0.5 * np.sum(x**2, axis=0) + constant(L))
        return np.stack(columns, axis=1), np.ones(len(SCALES))
    L = np.asarray(np.linalg.cholesky(linear.about))
    x = linalg.solve_triangular(L, (observed - y).T, lower=True).T
    chain = kind.chain(y - scored.coolant)
    white = np.asarray(
        linalg.solve_triangular(L, chain.reshape(-1, chain.shape[-1]).T, lower=True).T.reshape(chain.shape)
    )
    of_pieces = linear.joint.sum(axis=1).max(axis=0)
    pieces = np.flatnonzero(of_pieces > NIL * of_pieces.max())
    start, step = white[..., pieces, :], white[..., pieces + 1, :] - white[..., pieces, :]
    # what comes besides is taken at the rises of the most probable point
    shifts = linalg.solve_triangular(L, kind.besides.shifts(linear.y - scored.coolant).T, lower=True).T
    log_points, log_pieces = kind.besides.log_masses, kind.log_masses[:, pieces]
    of = kind.besides.of
    mine = of == np.argmax(np.bincount(of, linear.points))
    kept = np.flatnonzero(mine & (linear.points > SLIGHT * linear.points[mine].max()))
    total = np.full((len(y), len(SCALES)), -np.inf)
    for o in kept:
        log_density = log_segment_density(x - shifts[o], start, step)
        total = np.logaddexp(total, _mixed(log_density, log_pieces) + log_points[:, o])
    share = linear.joint[:, kept][:, :, pieces].sum(axis=(1, 2))
    return np.asarray(total - np.sum(np.log(np.diag(L))) - np.log(np.maximum(share, 1e-300))), share


def _mixed(log_density: Float, log_masses: Float) -> Float:
    """Return ln Σ exp(log_density (N, K) + log_masses (scales, K)), shape (N, scales)."""
    top = np.max(log_density, axis=1, keepdims=True)
    with np.errstate(divide="ignore"):
        return np.asarray(top + np.log(np.exp(log_density - top) @ np.exp(log_masses).T))
