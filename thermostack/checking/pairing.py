"""Two causes at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, special

from .effect import Effect, Effects
from .evidence import Evidence, Scored
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

    The readings are taken as straight about the most probable point of the better cause; effects add up.
    """
    pairs = []
    for a, b in combinations(range(len(effects.causes)), 2):
        alone = [np.logaddexp.reduce([found.laplace[i] + np.log(active[i].share) for i in ways[c]]) for c in (a, b)]
        first, second = (a, b) if alone[0] >= alone[1] else (b, a)
        top = max(ways[first], key=lambda i: found.laplace[i])
        linear = found.linear[top]
        L = np.linalg.cholesky(linear.slopes @ linear.slopes.T + scored.noise)
        x = linalg.solve_triangular(L, observed - linear.y + linear.slopes @ linear.z, lower=True)
        constant = -float(np.sum(np.log(np.diag(L))))
        rise = linear.y - scored.coolant
        values = []
        for i in ways[second]:
            starts, log_mass = _points(active[i], rise)
            left = x - linalg.solve_triangular(L, starts.T, lower=True).T
            for j in ways[first]:
                white = linalg.solve_triangular(L, active[j].starts(rise).T, lower=True).T
                log_density = log_segment_density(left, white[:-1], np.diff(white, axis=0))
                with np.errstate(divide="ignore"):
                    inner = special.logsumexp(log_density + np.log(active[j].masses[1]), axis=1)
                shares = np.log(active[i].share * active[j].share)
                values.append(float(special.logsumexp(inner + log_mass)) + shares + constant)
        log_evidence = float(np.logaddexp.reduce(values))
        names = effects.causes[first].name, effects.causes[second].name
        pairs.append(Pair(*names, log_evidence, log_evidence - float(max(alone))))
    return tuple(sorted(pairs, key=lambda pair: -pair.log_evidence))


def _points(effect: Effect, rise: Float) -> tuple[Float, Float]:
    """Return shifts at some sizes (n, D), and the logarithms of their prior masses."""
    starts = effect.starts(rise)
    s = (np.arange(POINTS) + 0.5) / POINTS
    shifts = starts[:-1, None] + s[:, None] * np.diff(starts, axis=0)[:, None]
    with np.errstate(divide="ignore"):
        log_mass = np.repeat(np.log(effect.masses[1] / POINTS), POINTS)
    return shifts.reshape(-1, shifts.shape[-1]), log_mass
