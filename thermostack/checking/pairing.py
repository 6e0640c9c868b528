"""Two causes at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, special

from .effect import Effect, Effects
from .evidence import Evidence
from .scored import Scored
from .segments import log_segment_density

__all__ = ["Pair", "pairs_of"]

Float = NDArray[np.float64]

POINTS = 3
"""Points of each piece of the first cause; along the second one the sizes are integrated in closed form."""


@dataclass(frozen=True)
class Pair:
    """Two causes at once.

    Attributes
    ----------
    first, second : str
    log_evidence : float
        By Laplace's approximation.
    gain : float
        By how much it is above the better of the two alone. A gain is paid for: pairs are many.
    """

    first: str
    second: str
    log_evidence: float
    gain: float


def pairs_of(
    scored: Scored,
    observed: Float,
    effects: Effects,
    active: Sequence[Effect],
    found: Evidence,
    ways: Sequence[Sequence[int]],
) -> tuple[Pair, ...]:
    """Return all pairs of causes by their evidence, the highest first.

    The readings are taken as straight about the most probable point of the better cause; effects add up. A pair is
    compared with its causes alone in the same straight model: nothing besides, and effects known exactly.
    """
    pairs = []
    for a, b in combinations(range(len(effects.causes)), 2):
        first, second = sorted((a, b), key=lambda c: -max(found.laplace[i] for i in ways[c]))
        linear = found.linear[max(ways[first], key=lambda i: found.laplace[i])]
        L = np.asarray(np.linalg.cholesky(linear.slopes @ linear.slopes.T + scored.noise))
        x = linalg.solve_triangular(L, observed - linear.y + linear.slopes @ linear.z, lower=True)
        constant = -float(np.sum(np.log(np.diag(L))))
        rise = linear.y - scored.coolant
        white = {i: _whitened(active[i].starts(rise), L) for c in (a, b) for i in ways[c]}
        alone = [
            float(np.logaddexp.reduce([_summed(x[None], white[i], active[i])[0] for i in ways[c]])) for c in (a, b)
        ]
        values = []
        for i in ways[second]:
            points, log_mass = _points(white[i], active[i])
            values += [
                float(special.logsumexp(_summed(x - points, white[j], active[j]) + log_mass)) for j in ways[first]
            ]
        log_evidence = float(np.logaddexp.reduce(values))
        names = effects.causes[first].name, effects.causes[second].name
        pairs.append(Pair(*names, log_evidence + constant, log_evidence - max(alone)))
    return tuple(sorted(pairs, key=lambda pair: -pair.log_evidence))


def _whitened(chain: Float, L: Float) -> Float:
    return np.asarray(linalg.solve_triangular(L, chain.T, lower=True).T)


def _summed(x: Float, white: Float, effect: Effect) -> Float:
    """Return ln evidence (N,) of one way of a cause for whitened data (N, D), its size integrated out."""
    with np.errstate(divide="ignore"):
        log_mass = np.log(effect.masses[1] * effect.share)
    return np.asarray(special.logsumexp(log_segment_density(x, white[:-1], np.diff(white, axis=0)) + log_mass, axis=1))


def _points(white: Float, effect: Effect) -> tuple[Float, Float]:
    """Return whitened shifts at some sizes (n, D), and the logarithms of their prior masses."""
    s = (np.arange(POINTS) + 0.5) / POINTS
    shifts = white[:-1, None] + s[:, None] * np.diff(white, axis=0)[:, None]
    with np.errstate(divide="ignore"):
        log_mass = np.repeat(np.log(effect.masses[1] * effect.share / POINTS), POINTS)
    return shifts.reshape(-1, shifts.shape[-1]), log_mass
