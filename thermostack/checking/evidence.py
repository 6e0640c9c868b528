"""How probable the readings are under each cause: the inputs and the size integrated out.

Under a cause the readings are y(z) + Δ(t) + noise: z the scores of all unknown inputs, N(0, I); t the size of the
cause. *By Laplace:* with y straight about the most probable z, z is integrated in closed form, and t along the straight
pieces of Δ in closed form too. *By importance sampling:* scores are drawn from that approximation, for all causes
together, and weighted by all densities they came from (the balance heuristic of Veach and Guibas 1995); t is still
integrated in closed form. One pool of model runs then serves all causes at all scales of their sizes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, special

from ..errors import SolveError
from ..inference import Latent
from ..inference.modes import log_prior
from ..inference.pareto import largest_shape, smoothed
from ..inference.proposal import Hump
from ..states import StatesModel
from .effect import SCALES, Effect, unlisted_covariance
from .predictive import coolant_rows
from .segments import log_segment_density

__all__ = ["Evidence", "Linear", "Scored", "evidence_of", "linearised"]

Float = NDArray[np.float64]

STEP = 0.25
"""Of the differences, in scores."""
EDGE = 4.9
"""Scores beyond are taken for this one: emulators end at 5."""
ROUNDS = 4
WORTH = 12.0
"""Effects whose evidence is e^−12 of the best are not refined."""
FINE = 9
"""Points of a piece in which its posterior is summed."""
LEAST_SIZE = 50.0
"""Least effective size for which importance sampling is taken."""
UNCHECKED, UNSAMPLED = 0.5, 0.3
"""Error of ln evidence by Laplace's approximation: by itself, and moved as sampling moved it elsewhere (in trials)."""
WIDER = 4.0
"""Factor by which the volume of the informed directions is wider than the straight model says, since the true one bends
(between 1.1 and 2 along each)."""


class Scored:
    """The readings as a function of scores of all unknowns."""

    def __init__(self, model: StatesModel) -> None:
        self.model, self.latent = model, Latent(model.variables)
        self.coolant = coolant_rows(model)
        self.noise: Float = model.covariance + np.diag(model.numerical_error**2 + 1e-6)

    def __call__(self, z: Float) -> Float:
        """Return what all sensors show (N, D) at scores (N, J). [K]"""
        return np.asarray(self.model(self.latent.values(np.clip(z, -EDGE, EDGE))))

    def linearised(self, z: Float) -> tuple[Float, Float]:
        """Return y (P, D) and its slopes (P, D, J) at points (P, J)."""
        P, J = z.shape
        steps = np.concatenate([np.zeros((1, J)), STEP * np.eye(J), -STEP * np.eye(J)])
        y = self((z[:, None, :] + steps).reshape(-1, J)).reshape(P, 2 * J + 1, -1)
        slopes = (y[:, 1 : J + 1] - y[:, J + 1 :]) / (2 * STEP)
        return y[:, 0], np.nan_to_num(np.swapaxes(slopes, 1, 2))


@dataclass(frozen=True, eq=False)
class Linear:
    """The readings straight about a point, with one effect upon them.

    Attributes
    ----------
    z, y, slopes : ndarray, shape (J,), (D,), (D, J)
        Point, what is shown there, and how it changes.
    effect : Effect or None
        None: as described, or not listed.
    log_evidence : ndarray, shape (scales,)
        At each scale of the sizes.
    size, spread : float
        Posterior mean and standard deviation of the size. SI.
    shift : ndarray, shape (D,)
        What the effect adds at the most probable size. [K]
    mode : ndarray, shape (J,)
        Most probable scores, in this straight model.
    hump : Hump
        Posterior of the scores, the size integrated out.
    pieces : ndarray, shape (K,)
        Posterior probability of each piece of the effect, sizes as stated.
    square : float
        Squared Mahalanobis distance of the readings at the most probable size.
    """

    z: Float
    y: Float
    slopes: Float
    effect: Effect | None
    log_evidence: Float
    size: float
    spread: float
    shift: Float
    mode: Float
    hump: Hump
    pieces: Float
    square: float


def linearised(
    scored: Scored,
    observed: Float,
    z: Float,
    y: Float,
    slopes: Float,
    effect: Effect | None,
    extra: Sequence[Float] = (),
) -> Linear:
    """Return the evidence by Laplace's approximation about a point.

    Parameters
    ----------
    extra : sequence of ndarray (D, D)
        Further covariance, one for each scale; for what is not listed.
    """
    base = y - slopes @ z
    noise = [scored.noise + each for each in extra] if extra else [scored.noise]
    total = [slopes @ slopes.T + each for each in noise]
    factors = [np.asarray(np.linalg.cholesky(each)) for each in total]
    if effect is None:
        x = [linalg.solve_triangular(L, observed - base, lower=True) for L in factors]
        found = [-0.5 * float(each @ each) + _constant(L) for each, L in zip(x, factors, strict=True)]
        log_evidence = np.array(found if extra else found * len(SCALES))
        middle = len(SCALES) // 2 if extra else 0
        L, Sigma, square = factors[middle], noise[middle], float(x[middle] @ x[middle])
        size, spread, shift, pieces, wide = 0.0, 0.0, np.zeros_like(observed), np.ones(1), np.zeros_like(observed)
    else:
        L, Sigma = factors[0], noise[0]
        shifts = effect.starts(y - scored.coolant)
        x = linalg.solve_triangular(L, observed - base, lower=True)
        white = linalg.solve_triangular(L, shifts.T, lower=True).T
        log_density = log_segment_density(x[None], white[:-1], np.diff(white, axis=0))[0]
        with np.errstate(divide="ignore"):
            log_pieces = log_density + np.log(effect.masses)
        log_evidence = special.logsumexp(log_pieces, axis=1) - np.sum(np.log(np.diag(L)))
        stated = log_pieces[len(SCALES) // 2]
        pieces = np.exp(stated - special.logsumexp(stated))
        size, spread, at, wide = _sizes(effect, x, white, shifts)
        shift = at
        left = x - linalg.solve_triangular(L, shift, lower=True)
        square = float(left @ left)
    gain = linalg.cho_solve((L, True), slopes).T
    mode = gain @ (observed - base - shift)
    hump = _hump(mode, slopes, Sigma + np.outer(wide, wide))
    return Linear(z, y, slopes, effect, log_evidence, size, spread, shift, mode, hump, pieces, square)


def _constant(L: Float) -> float:
    return -0.5 * len(L) * math.log(2 * math.pi) - float(np.sum(np.log(np.diag(L))))


def _sizes(effect: Effect, x: Float, white: Float, shifts: Float) -> tuple[float, float, Float, Float]:
    """Return posterior mean and sd of the size, the shift at its most probable value, and the shift of one sd."""
    s = (np.arange(FINE) + 0.5) / FINE
    along = white[:-1, None] + s[:, None] * np.diff(white, axis=0)[:, None]
    square = np.sum((x - along) ** 2, axis=2)
    with np.errstate(divide="ignore"):
        log_mass = np.log(effect.masses[len(SCALES) // 2])[:, None]
        log_width = np.log(np.diff(effect.edges))[:, None]
    log_w = -0.5 * square + log_mass
    w = np.exp(log_w - special.logsumexp(log_w))
    t = effect.edges[:-1, None] + s * np.diff(effect.edges)[:, None]
    mean = float(np.sum(w * t))
    spread = math.sqrt(max(float(np.sum(w * (t - mean) ** 2)), 0.0))
    best = np.unravel_index(np.argmax(log_w - log_width), t.shape)
    at = float(t[best])
    slope = np.diff(shifts, axis=0)[best[0]] / np.diff(effect.edges)[best[0]]
    shift = shifts[best[0]] + slope * (at - effect.edges[best[0]])
    return mean, spread, shift, np.asarray(slope * spread)


def _hump(mode: Float, slopes: Float, covariance: Float) -> Hump:
    L = np.linalg.cholesky(covariance)
    _, s, Vt = np.linalg.svd(linalg.solve_triangular(L, slopes, lower=True), full_matrices=False)
    kept = s > 0.1
    wider = float(np.clip(WIDER ** (1.0 / max(int(np.count_nonzero(kept)), 1)), 1.1, 2.0))
    return Hump(mode, Vt[kept].T, np.diag(wider / np.sqrt(1 + s[kept] ** 2)))


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
        As many independent samples it rests on; NaN where Laplace's approximation stands.
    khat : ndarray, shape (effects + 2,)
        Shape of the tail of the weights, good below 0.7.
    laplace : ndarray, shape (effects + 2,)
        ln evidence by Laplace's approximation, sizes as stated.
    evaluations : int
        Runs of the model.
    """

    linear: tuple[Linear, ...]
    log_evidence: Float
    error: Float
    effective_size: Float
    khat: Float
    laplace: Float
    evaluations: int


def evidence_of(
    scored: Scored, observed: Float, effects: Sequence[Effect], *, draws: int = 4000, seed: int = 0
) -> Evidence:
    """Return the evidence of every effect.

    Parameters
    ----------
    scored : Scored
    observed : ndarray (D,)
        [K]
    effects : sequence of Effect
    draws : int
        Runs of the model for importance sampling; 0 leaves it at Laplace's approximation.
    seed : int
    """
    extra = [unlisted_covariance(scored.model, scale) for scale in SCALES]
    kinds: list[Kind] = [*((e, ()) for e in effects), (None, ()), (None, extra)]
    J = scored.latent.size
    starts = np.concatenate([np.zeros((1, J)), scored.latent.other_components])
    best: list[Linear] = []
    count = 0
    for start in starts:
        found, runs = _climbed(scored, observed, start, kinds)
        count += runs
        best = [_either(a, b) for a, b in zip(best, found, strict=True)] if best and found else best or found
    if not best:
        raise SolveError("the described stack has no operating point at what was read")
    laplace = np.array([each.log_evidence for each in best])
    n = len(best)
    plain = Evidence(
        tuple(best), laplace, np.full(n, UNCHECKED), np.full(n, np.nan), np.full(n, np.nan), laplace[:, 1], count
    )
    return plain if draws == 0 else _sampled(scored, observed, kinds, plain, draws, seed)


Kind = tuple["Effect | None", Sequence[Float]]


def _climbed(scored: Scored, observed: Float, start: Float, kinds: Sequence[Kind]) -> tuple[list[Linear], int]:
    """Return every kind straight about its own most probable point, from one start; and runs of the model.

    Empty where there is no operating point at the start.
    """
    J = len(start)
    y, slopes = scored.linearised(start[None])
    count = 2 * J + 1
    if not np.isfinite(y).all():
        return [], count
    found = [linearised(scored, observed, start, y[0], slopes[0], e, x) for e, x in kinds]
    resting: set[int] = set()
    for _ in range(ROUNDS):
        top = max(each.log_evidence[1] for each in found)
        near = [i for i, each in enumerate(found) if each.log_evidence[1] > top - WORTH and i not in resting]
        moving = [i for i in near if _distance(found[i]) > 0.05]
        if not moving:
            break
        z = np.clip(np.array([found[i].mode for i in moving]), -EDGE + STEP, EDGE - STEP)
        y, slopes = scored.linearised(z)
        count += len(z) * (2 * J + 1)
        possible: NDArray[np.bool_] = np.asarray(np.isfinite(y).all(axis=1))
        for row, i in enumerate(moving):
            if possible[row]:
                found[i] = linearised(scored, observed, z[row], y[row], slopes[row], *kinds[i])
            else:  # no such operating point: the slopes before stand
                resting.add(i)
    return found, count


def _distance(each: Linear) -> float:
    """Return how far the most probable point lies from where the slopes were taken, in scores."""
    return float(np.linalg.norm(np.clip(each.mode, -EDGE + STEP, EDGE - STEP) - each.z))


def _either(a: Linear, b: Linear) -> Linear:
    """Return the more probable of two modes, with the evidence of both where they are apart."""
    first, second = (a, b) if a.log_evidence[1] >= b.log_evidence[1] else (b, a)
    inside, outside = first.hump.coordinates(second.mode[None])
    whitened = linalg.solve_triangular(first.hump.factor, inside.T, lower=True)
    if float(np.sum(whitened**2) + outside[0]) < 1.0:
        return first
    return replace(first, log_evidence=np.logaddexp(first.log_evidence, second.log_evidence))


def _sampled(
    scored: Scored, observed: Float, kinds: Sequence[tuple[Effect | None, Sequence[Float]]], plain: Evidence,
    draws: int, seed: int,
) -> Evidence:  # fmt: skip
    """Return the evidence by importance sampling, where that does; Laplace's approximation elsewhere."""
    rng = np.random.default_rng([seed, 22])
    top = plain.laplace.max()
    alive = [i for i in range(len(kinds)) if plain.laplace[i] > top - WORTH]
    humps = _apart([plain.linear[i].hump for i in sorted(alive, key=lambda i: -plain.laplace[i])])
    each = max(draws // (len(humps) + 1), 60)
    J = scored.latent.size
    z = np.concatenate([rng.standard_normal((each, J)), *(hump.draw(rng, each) for hump in humps)])
    y = scored(z)
    possible: NDArray[np.bool_] = np.asarray(np.isfinite(y).all(axis=1))
    mixture = special.logsumexp([log_prior(z), *(hump.log_density(z) for hump in humps)], axis=0)
    mixture -= math.log(len(humps) + 1)
    from_prior = np.where(possible, log_prior(z) - mixture, -np.inf)
    y = np.where(possible[:, None], y, 0.0)
    log_evidence, error = plain.log_evidence.copy(), plain.error.copy()
    size, khat = plain.effective_size.copy(), plain.khat.copy()
    for i in alive:
        raw = _log_likelihood(scored, observed, y, *kinds[i]) + from_prior[:, None]
        found = special.logsumexp(raw, axis=0) - math.log(len(z))
        relative = np.exp(raw[:, 1] - found[1])
        steady, khat[i] = smoothed(raw[:, 1])
        weights = np.exp(steady - special.logsumexp(steady))
        worth = 1.0 / float(np.sum(weights**2))
        if khat[i] < largest_shape(len(z)) and worth >= LEAST_SIZE:
            log_evidence[i], size[i] = found, worth
            error[i] = float(np.std(relative, ddof=1)) / math.sqrt(len(z))
        else:
            error[i] = max(UNSAMPLED, abs(float(found[1] - plain.laplace[i])))
    # what bends does so for all causes alike: where sampling does not do, Laplace's value is moved as it is elsewhere
    done = [i for i in range(len(size)) if np.isfinite(size[i])]
    left = [i for i in range(len(size)) if i not in done]
    if done:
        log_evidence[left] += np.median(log_evidence[done, 1] - plain.laplace[done])
    return Evidence(plain.linear, log_evidence, error, size, khat, plain.laplace, plain.evaluations + len(z))


def _apart(humps: Sequence[Hump]) -> list[Hump]:
    """Return humps that are apart from each other: most causes leave the inputs where they were."""
    kept: list[Hump] = []
    for hump in humps:
        for other in kept:
            inside, outside = other.coordinates(hump.middle[None])
            whitened = linalg.solve_triangular(other.factor, inside.T, lower=True)
            alike = np.sum(np.log(np.diag(hump.factor))) - np.sum(np.log(np.diag(other.factor)))
            if float(np.sum(whitened**2) + outside[0]) < 0.5 and alike < 0.2:
                break
        else:
            kept.append(hump)
    return kept


def _log_likelihood(scored: Scored, observed: Float, y: Float, effect: Effect | None, extra: Sequence[Float]) -> Float:
    """Return ln p(readings | scores) (N, scales), the size integrated out."""
    if effect is None and extra:
        columns = []
        for each in extra:
            L = np.asarray(np.linalg.cholesky(scored.noise + each))
            x = linalg.solve_triangular(L, (observed - y).T, lower=True)
            columns.append(-0.5 * np.sum(x**2, axis=0) + _constant(L))
        return np.stack(columns, axis=1)
    L = np.asarray(np.linalg.cholesky(scored.noise))
    x = linalg.solve_triangular(L, (observed - y).T, lower=True).T
    if effect is None:
        plain = -0.5 * np.sum(x**2, axis=1) + _constant(L)
        return np.repeat(plain[:, None], len(SCALES), axis=1)
    shifts = effect.starts(y - scored.coolant)
    white = np.asarray(
        linalg.solve_triangular(L, shifts.reshape(-1, shifts.shape[-1]).T, lower=True).T.reshape(shifts.shape)
    )
    log_density = log_segment_density(x, white[..., :-1, :], np.diff(white, axis=-2))
    with np.errstate(divide="ignore"):
        log_masses = np.log(effect.masses)
    columns = [special.logsumexp(log_density + each, axis=1) for each in log_masses]
    return np.asarray(np.stack(columns, axis=1) - np.sum(np.log(np.diag(L))))
