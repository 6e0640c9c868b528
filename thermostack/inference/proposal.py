"""The density from which scores are drawn: humps about the modes, and a share of the prior.

A hump is narrow only in the directions that the data inform, at most as many as data; in all others it is the prior
itself, about its own middle. For a straight model it is then the exact posterior, whatever the number of inputs, and
importance weights vary with the few informed directions alone (the likelihood-informed subspace of Cui and others
2014). In those, three quarters of a hump are normal and one quarter is Student with few degrees of freedom, for tails.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, special

from .modes import Mode, log_prior

__all__ = ["Hump", "Proposal", "hump_of", "latin_hypercube"]

Float = NDArray[np.float64]

_TAIL_SHARE = 0.25
_TAIL_FREEDOM = 5.0
_NEW_HUMPS = 2
_NEW_SHARE = 0.1
_NEXT_TO = 10  # one in so many samples
_LEAST_INFORMED = 0.1
"""Singular value of the whitened sensitivities below which a direction is left to the prior: it narrows by 0.5 %."""


def latin_hypercube(rng: np.random.Generator, samples: int, dimensions: int) -> Float:
    """Return standard-normal numbers (samples, dimensions), one in each of so many equal parts of every dimension."""
    ranks = np.argsort(rng.random((dimensions, samples)), axis=1, kind="stable").T
    u = (ranks + rng.random((samples, dimensions))) / samples
    return np.asarray(special.ndtri(np.clip(u, 2.0**-53, 1 - 2.0**-53)))


@dataclass(frozen=True, eq=False)
class Hump:
    """One hump of a proposal.

    Parameters
    ----------
    middle : ndarray (J,)
        In scores.
    basis : ndarray (J, r)
        Orthonormal: the directions that differ from the prior.
    factor : ndarray (r, r)
        Lower Cholesky factor of the covariance in them.
    """

    middle: Float
    basis: Float
    factor: Float

    @property
    def rank(self) -> int:
        """Number of directions, r."""
        return int(self.basis.shape[1])

    def coordinates(self, z: Float) -> tuple[Float, Float]:
        """Return coordinates (N, r) in the basis, and the squared distance (N,) outside it, both from the middle."""
        apart = z - self.middle
        inside = apart @ self.basis
        outside = np.sum(apart**2, axis=1) - np.sum(inside**2, axis=1)
        return inside, np.maximum(outside, 0.0)

    def log_density(self, z: Float) -> Float:
        """Return ln q (N,) at scores (N, J)."""
        inside, outside = self.coordinates(z)
        r, nu = self.rank, _TAIL_FREEDOM
        whole = -0.5 * (outside + (z.shape[1] - r) * math.log(2 * math.pi))
        if not r:
            return np.asarray(whole)
        square = np.sum(linalg.solve_triangular(self.factor, inside.T, lower=True) ** 2, axis=0)
        whole = whole - np.sum(np.log(np.diag(self.factor)))
        normal = -0.5 * (square + r * math.log(2 * math.pi))
        constant = special.gammaln((nu + r) / 2) - special.gammaln(nu / 2) - r / 2 * math.log(nu * math.pi)
        student = constant - (nu + r) / 2 * np.log1p(square / nu)
        return np.asarray(whole + np.logaddexp(math.log1p(-_TAIL_SHARE) + normal, math.log(_TAIL_SHARE) + student))

    def draw(self, rng: np.random.Generator, samples: int) -> Float:
        """Return scores (samples, J), stratified in each direction, with just the stated share in the tails."""
        J, r = self.basis.shape
        normal = latin_hypercube(rng, samples, J + r)
        tails = rng.permutation(samples) < round(_TAIL_SHARE * samples)
        chi = rng.chisquare(_TAIL_FREEDOM, samples) / _TAIL_FREEDOM
        inside = normal[:, :r] @ self.factor.T / np.where(tails, np.sqrt(chi), 1.0)[:, None]
        outside = normal[:, r:] - normal[:, r:] @ self.basis @ self.basis.T
        return np.asarray(self.middle + inside @ self.basis.T + outside)

    def widened(self, directions: Float) -> Hump:
        """Return the hump with further orthonormal directions (J, n), orthogonal to its own, of unit variance."""
        if not directions.shape[1]:
            return self
        factor = linalg.block_diag(self.factor, np.eye(directions.shape[1]))
        return replace(self, basis=np.hstack([self.basis, directions]), factor=factor)


def hump_of(mode: Mode) -> Hump:
    """Return Laplace's approximation about a mode: variance 1/(1 + s²) along the singular vectors of J."""
    _, s, Vt = np.linalg.svd(mode.sensitivities, full_matrices=False)
    kept = s > _LEAST_INFORMED
    return Hump(mode.scores, Vt[kept].T, np.diag(1 / np.sqrt(1 + s[kept] ** 2)))


@dataclass(frozen=True, eq=False)
class Proposal:
    """Humps and a share of the prior.

    Parameters
    ----------
    prior_share : float
        Above zero: it bounds every importance weight by the largest likelihood over it.
    shares : ndarray (K,)
        Of the humps; all add up to 1.
    humps : tuple of Hump
        K of them; none where the prior alone is meant.
    """

    prior_share: float
    shares: Float
    humps: tuple[Hump, ...]

    def parts(self, z: Float) -> Float:
        """Return ln(share × density) (1 + K, N) of the prior and of each hump."""
        rows = [math.log(self.prior_share) + log_prior(z)]
        rows += [math.log(share) + hump.log_density(z) for share, hump in zip(self.shares, self.humps, strict=True)]
        return np.array(rows)

    def draw(self, rng: np.random.Generator, samples: int) -> tuple[Float, tuple[int, ...]]:
        """Return about `samples` scores from the humps, each in its share, and how many each gave."""
        counts = tuple(max(1, round(samples * share)) for share in self.shares / self.shares.sum())
        return np.concatenate([hump.draw(rng, n) for hump, n in zip(self.humps, counts, strict=True)]), counts

    def log_density(self, z: Float) -> Float:
        """Return ln q (N,) at scores (N, J)."""
        return np.asarray(np.logaddexp.reduce(self.parts(z), axis=0))

    def independent(self, rng: np.random.Generator, samples: int, size: int) -> Float:
        """Return independent scores (samples, size) from the whole proposal, the share of the prior included."""
        shares = np.array([self.prior_share, *self.shares])
        counts = rng.multinomial(samples, shares / shares.sum())
        drawn = [rng.standard_normal((counts[0], size))]
        drawn += [hump.draw(rng, int(n)) for hump, n in zip(self.humps, counts[1:], strict=True) if n]
        return np.asarray(rng.permutation(np.concatenate(drawn), axis=0))

    def beside(self, other: Proposal, share: float) -> Proposal:
        """Return the proposal with the humps of another one in a share beside its own."""
        return Proposal(
            self.prior_share,
            np.concatenate([self.shares * (1 - share), other.shares / other.shares.sum() * self.shares.sum() * share]),
            self.humps + other.humps,
        )

    def refitted(self, z: Float, weights: Float) -> Proposal:
        """Return the proposal fitted better to weighted samples: one step of expectation and maximisation.

        Parameters
        ----------
        z : ndarray (N, J)
            Scores.
        weights : ndarray (N,)
            Normalised importance weights.

        Notes
        -----
        Mixture population Monte Carlo (Cappé, Douc, Guillin, Marin and Robert 2008). The new covariance is the mean of
        the weighted one and the old one, which counts as so many samples as it has directions. Directions outside a
        basis join it where the weighted samples lie otherwise than a prior would.
        """
        parts = self.parts(z)
        owned = weights * np.exp(parts - np.logaddexp.reduce(parts, axis=0))
        mass = owned.sum(axis=1)
        humps, shares = [], []
        for hump, w, total in zip(self.humps, owned[1:], mass[1:], strict=True):
            effective = total**2 / max(float(np.sum(w**2)), 1e-300)
            if total < 1e-3 or effective < 5:
                shares.append(max(total, 1e-3))
                humps.append(hump)
                continue
            shares.append(total)
            humps.append(_refitted(hump, z, w / total, effective))
        share = np.array(shares) / sum(shares) * (1 - self.prior_share)
        return Proposal(self.prior_share, share, tuple(humps))

    def completed(self, z: Float, weights: Float, log_posterior: Float) -> Proposal:
        """Return the proposal with further humps, each where it falls short of the posterior most.

        Incremental mixture importance sampling (Raftery and Bao 2010): a new hump stands at the sample of the largest
        ratio, with the covariance of the samples next to it, weighted half by importance and half alike. Next to it is
        counted in the directions of the hump it belongs to; in all others it is the prior still.

        Parameters
        ----------
        z, weights
            As for `refitted`.
        log_posterior : ndarray (N,)
            ln(likelihood × prior density), not normalised.
        """
        proposal = self
        for _ in range(_NEW_HUMPS):
            parts = proposal.parts(z)
            worst = int(np.argmax(log_posterior - np.logaddexp.reduce(parts, axis=0)))
            owner = proposal.humps[int(np.argmax(parts[1:, worst]))]
            inside, _ = owner.coordinates(z)
            whitened = linalg.solve_triangular(owner.factor, (inside - inside[worst]).T, lower=True)
            distance = np.sum(whitened**2, axis=0)
            count = min(max(len(z) // _NEXT_TO, 5 * (owner.rank + 1)), len(z))
            near = np.argpartition(distance, count - 1)[:count]
            w = 0.5 * weights[near] / max(float(weights[near].sum()), 1e-300) + 0.5 / count
            apart = inside[near] - inside[worst]
            covariance = (apart.T * w) @ apart + 1e-3 * owner.factor @ owner.factor.T
            born = Hump(
                owner.middle + owner.basis @ inside[worst], owner.basis, np.asarray(np.linalg.cholesky(covariance))
            )
            shares = np.append(proposal.shares * (1 - _NEW_SHARE), _NEW_SHARE * (1 - self.prior_share))
            proposal = Proposal(self.prior_share, shares, (*proposal.humps, born))
        return proposal


def _refitted(hump: Hump, z: Float, w: Float, effective: float) -> Hump:
    """Return one hump fitted to samples with weights that add up to 1."""
    hump = hump.widened(_new_directions(hump, z, w, effective))
    inside, _ = hump.coordinates(z)
    mean = w @ inside
    apart = inside - mean
    pseudo = hump.rank + 1.0
    old = hump.factor @ hump.factor.T
    covariance = (pseudo * old + effective * (apart.T * w) @ apart) / (pseudo + effective)
    moved = effective / (pseudo + effective) * mean
    return Hump(hump.middle + hump.basis @ moved, hump.basis, np.asarray(np.linalg.cholesky(covariance)))


def _new_directions(hump: Hump, z: Float, w: Float, effective: float) -> Float:
    """Return directions (J, n) outside the basis in which weighted samples differ from N(middle, I).

    Their second moments about the middle are compared with the band that random matrices leave (Marchenko and Pastur
    1967), with a margin of a quarter.
    """
    J = z.shape[1]
    free = J - hump.rank
    if free <= 0 or effective < 2:
        return np.empty((J, 0))
    complement = linalg.null_space(hump.basis.T) if hump.rank else np.eye(J)
    b = (z - hump.middle) @ complement
    values, vectors = np.linalg.eigh((b.T * w) @ b)
    edge = math.sqrt(free / effective)
    differs = (values > 1.25 * (1 + edge) ** 2) | (values < 0.8 * max(1 - edge, 0.0) ** 2)
    return np.asarray(complement @ vectors[:, differs])
