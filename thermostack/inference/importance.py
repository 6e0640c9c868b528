"""Weighted samples of a posterior and its evidence: adaptive multiple importance sampling (Cornuet and others 2012)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from .implicit import Implicit, densities, drawn
from .modes import Mode, log_prior, pulled, sensitivities
from .pareto import largest_shape, smoothed
from .problem import Target
from .proposal import Hump, Proposal, hump_of

__all__ = ["Weighted", "after_tempering", "followed", "importance_sampled", "resampled"]

Float = NDArray[np.float64]

_ROUNDS = 6
_PULLED = 16
_LAST_ROUNDS = 3
_FITS_TO_TEMPERED = 5
_FOR_A_DIRECTION = 50  # samples of a round, where there is a covariance to be fitted
_MOST_DRAWS = 4
_AMPLE = 0.4  # effective share of the samples at which there is no more to gain by another round
_FOLLOWED, _MOST_PLACES, _FAINTER = 4, 6, 10.0
"""Draws that follow the bend: one for so many asked for, since each costs a run for every score; about all modes that
are no fainter than e^−10 of the best, if they are so few."""
_LEAST_SOLVED, _FARTHEST = 0.9, 8.0
"""Least share of draws about each mode that are solved; scores beyond are tried no further out."""
_OF_FIRST = 0.1  # share of Laplace's approximation in the last round, in case the refitted one has lost a part


@dataclass(frozen=True, eq=False)
class Weighted:
    """Weighted samples.

    Attributes
    ----------
    scores : ndarray (N, J)
        Drawn from several densities, and weighted as if from their mixture.
    predicted : ndarray (N, D)
        What the model gave.
    log_likelihood : ndarray (N,)
        Of the data.
    weights : ndarray (N,)
        Normalised, their tail smoothed.
    log_evidence, log_evidence_error : float
        From the weights as they are.
    effective_size : float
        1/Σw²: as many independent samples they are worth.
    khat : float
        Shape of the tail of the weights (`pareto`).
    proposal : Proposal
        The last one.
    """

    scores: Float
    predicted: Float
    log_likelihood: Float
    weights: Float
    log_evidence: float
    log_evidence_error: float
    effective_size: float
    khat: float
    proposal: Proposal

    @property
    def usable(self) -> bool:
        """Whether the weights have moments enough for so many samples."""
        return self.khat < largest_shape(len(self.scores))

    @property
    def efficiency(self) -> float:
        """Effective share of the samples."""
        return self.effective_size / len(self.scores)

    def good(self, least: float) -> bool:
        """Say whether the samples can be trusted and are worth at least so many."""
        return self.usable and self.effective_size >= least


class _Pool:
    """All samples drawn so far, and all densities they came from."""

    def __init__(self, target: Target, scores: Float, predicted: Float, log_likelihood: Float) -> None:
        self.target = target
        self.scores, self.predicted, self.log_likelihood = scores, predicted, log_likelihood
        self.from_prior = len(scores)
        self.counts: list[int] = []
        self.humps: list[Hump] = []
        self.log_densities = np.empty((0, len(scores)))

    def add(self, proposal: Proposal, rng: np.random.Generator, samples: int) -> None:
        """Draw about so many samples from a proposal."""
        z, counts = proposal.draw(rng, samples)
        self.last = proposal
        found = self.target.evaluate(z)
        earlier = np.array([hump.log_density(z) for hump in self.humps]).reshape(-1, len(z))
        self.log_densities = np.hstack([self.log_densities, earlier])
        self.scores = np.concatenate([self.scores, z])
        self.predicted = np.concatenate([self.predicted, found.predicted])
        self.log_likelihood = np.concatenate([self.log_likelihood, found.log_likelihood])
        new = np.array([hump.log_density(self.scores) for hump in proposal.humps])
        self.log_densities = np.vstack([self.log_densities, new])
        self.humps += proposal.humps
        self.counts += counts

    def weighted(self) -> Weighted:
        """Return the samples so far, weighted."""
        n = len(self.scores)
        prior = log_prior(self.scores)
        logs = np.vstack([prior, self.log_densities])
        counts = np.array([self.from_prior, *self.counts], dtype=np.float64)
        mixture = np.logaddexp.reduce(logs + np.log(np.maximum(counts, 1e-300))[:, None], axis=0) - math.log(n)
        raw = self.log_likelihood + prior - mixture
        log_evidence = float(special.logsumexp(raw)) - math.log(n)
        relative = np.exp(raw - log_evidence)
        error = float(np.std(relative, ddof=1)) / math.sqrt(n)
        steady, khat = smoothed(raw)
        weights = np.exp(steady - special.logsumexp(steady))
        return Weighted(
            self.scores,
            self.predicted,
            self.log_likelihood,
            weights,
            log_evidence,
            error,
            1 / float(np.sum(weights**2)),
            khat,
            self.last,
        )


def importance_sampled(
    target: Target,
    modes: list[Mode],
    prior_draws: tuple[Float, Float, Float],
    rng: np.random.Generator,
    draws: int,
    least: float,
) -> Weighted:
    """Return weighted samples of the posterior, drawn in rounds until they are as good as they will be.

    Parameters
    ----------
    target : Target
        The likelihood.
    modes : list of Mode
        About which humps are put.
    prior_draws : (ndarray (M, J), ndarray (M, D), ndarray (M,))
        Scores, predictions and log likelihoods drawn from the prior, which are used as well.
    rng : Generator
        Source of random numbers.
    draws : int
        Samples of the last round; earlier rounds have a third of them.
    least : float
        Effective samples that are asked for. What comes back may have fewer: see `Weighted.good`.

    Notes
    -----
    Every sample is weighted by the mixture of all densities used, in the numbers in which they were (the balance
    heuristic of Veach and Guibas 1995). Samples that have shaped a density are not weighted by it in the end: they lie
    where it is high, which biases the evidence (by −0.4 in ln for 40 informed directions and 1000 samples). So where
    Laplace's approximation does, nothing is refitted; where it does not, the last round stands alone.
    """
    share = max(len(prior_draws[0]) / (2.0 * draws), 0.02)
    log_mass = np.array([mode.log_mass for mode in modes])
    shares = np.maximum(np.exp(log_mass - special.logsumexp(log_mass)), 0.02)
    first = Proposal(share, shares / shares.sum() * (1 - share), tuple(hump_of(mode) for mode in modes))
    pilot = max(draws // 3, 200)
    pool = _Pool(target, *prior_draws)
    pool.add(first, rng, pilot)
    found = pool.weighted()
    if found.usable and found.efficiency > _AMPLE:
        pool.add(first, rng, draws)
        found = pool.weighted()
        if found.good(least):
            return found
    proposal = _along_the_curve(target, first, rng)
    pilot = max(pilot, _FOR_A_DIRECTION * max(hump.rank for hump in proposal.humps))
    best = 0.0
    for _ in range(_ROUNDS):
        pool.add(proposal, rng, pilot)
        found = pool.weighted()
        if found.usable and (found.efficiency > _AMPLE or found.efficiency < 1.1 * best):
            break
        best = max(best, found.efficiency)
        proposal = _fitted(proposal, found.scores, found.weights, found.log_likelihood)
    return judged(target, proposal.beside(first, _OF_FIRST), rng, draws, least)


def judged(target: Target, proposal: Proposal, rng: np.random.Generator, draws: int, least: float) -> Weighted:
    """Return weighted samples from a proposal as it is; from one fitted to them where they will not do."""
    for _ in range(_LAST_ROUNDS):
        z = rng.standard_normal((max(draws // 20, 20), target.size))
        of_prior = target.evaluate(z)
        alone = _Pool(target, z, of_prior.predicted, of_prior.log_likelihood)
        for _ in range(_MOST_DRAWS):  # where only their number is wanting
            alone.add(proposal, rng, draws)
            found = alone.weighted()
            if found.good(least) or not found.usable or found.efficiency < least / (_MOST_DRAWS * draws):
                break
        if found.good(least):
            break
        proposal = _fitted(proposal, found.scores, found.weights, found.log_likelihood)
    return found


def followed(target: Target, modes: list[Mode], rng: np.random.Generator, draws: int) -> Weighted | None:
    """Return weighted samples that follow the bend of the model about its modes; None where that cannot be done.

    For normal data whose covariance is the same everywhere. Where data are much more precise than the priors, the
    posterior is a thin curved sheet, which no normal proposal covers.
    """
    if math.isfinite(target.problem.degrees_of_freedom) or callable(target.problem.model_error):
        return None
    top = max(mode.log_mass for mode in modes)
    kept = [mode for mode in modes if mode.log_mass > top - _FAINTER]
    if len(kept) > _MOST_PLACES:
        return None
    factor = target.factor_at(kept[0].scores)
    places = [
        Implicit.about(mode.scores, factor @ mode.sensitivities, target.problem.observed, target.covariance)
        for mode in kept
    ]
    count = max(draws // (_FOLLOWED * len(places)), 100)
    z = drawn(places, rng, count, lambda z: target.evaluate(np.clip(z, -_FARTHEST, _FARTHEST)).predicted)
    solved: NDArray[np.bool_] = np.asarray(np.isfinite(z).all(axis=1))
    z = np.where(solved[:, None], z, 0.0)
    found = target.evaluate(z)
    possible: NDArray[np.bool_] = np.asarray(solved & np.isfinite(found.log_likelihood))
    predicted = np.where(possible[:, None], found.predicted, target.problem.observed)
    slopes = factor @ sensitivities(target, z, predicted)[1]
    log_densities, own = densities(places, count, z, predicted, slopes)
    possible &= own
    if possible.reshape(len(places), count).mean(axis=1).min() < _LEAST_SOLVED:
        return None
    mixture = special.logsumexp(log_densities, axis=0) - math.log(len(places))
    raw = (found.log_likelihood + log_prior(z) - mixture)[possible]
    log_evidence = float(special.logsumexp(raw)) - math.log(len(z))
    relative = np.exp(raw - log_evidence)
    steady, khat = smoothed(raw)
    weights = np.exp(steady - special.logsumexp(steady))
    return Weighted(
        z[possible], predicted[possible], found.log_likelihood[possible], weights, log_evidence,
        float(np.std(relative, ddof=1)) / math.sqrt(len(z)), 1 / float(np.sum(weights**2)), khat,
        Proposal(1.0, np.empty(0), ()),
    )  # fmt: skip


def after_tempering(
    target: Target,
    proposal: Proposal,
    samples: tuple[Float, Float, Float],
    rng: np.random.Generator,
    draws: int,
    least: float,
) -> Weighted:
    """Return weighted samples from a proposal fitted to samples (scores, weights, log likelihoods) of the posterior."""
    for _ in range(_FITS_TO_TEMPERED):
        proposal = _fitted(proposal, *samples)
    return judged(target, proposal, rng, draws, least)


def _along_the_curve(target: Target, first: Proposal, rng: np.random.Generator) -> Proposal:
    """Return a proposal with humps at some draws of the prior that were pulled to the data, in half of its share."""
    humps = tuple(hump_of(mode) for mode in pulled(target, rng.standard_normal((_PULLED, target.size)), rng))
    if not humps:
        return first
    return first.beside(Proposal(first.prior_share, np.full(len(humps), 1.0), humps), 0.5)


def _fitted(proposal: Proposal, z: Float, weights: Float, log_likelihood: Float) -> Proposal:
    """Return a proposal fitted to weighted samples, with new humps where it still falls short."""
    return proposal.refitted(z, weights).completed(z, weights, log_likelihood + log_prior(z))


def resampled(weights: Float, samples: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Return indices of samples of equal weight, each taken ⌊nw⌋ or ⌈nw⌉ times (systematic), in random order."""
    edges = np.cumsum(weights)
    at = (np.arange(samples) + rng.random()) / samples * edges[-1]
    return np.asarray(rng.permutation(np.minimum(np.searchsorted(edges, at), weights.size - 1)))
