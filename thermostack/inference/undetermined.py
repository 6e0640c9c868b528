"""What the data leave open: inputs they do not move, and inputs that they fix only in combination."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..tables import format_number

__all__ = ["Combination", "Undetermined", "undetermined_of"]

Float = NDArray[np.float64]

_MOVED = 0.05
_CORRELATED = 0.7
_FIXED = 0.5
_TAKES_PART = 0.25


@dataclass(frozen=True)
class Combination:
    """A combination of inputs that the data fix better than its parts.

    Attributes
    ----------
    weights : mapping of path to float
        Of the scores of those inputs that take part; the squares of all weights add up to 1.
    sd : float
        Posterior standard deviation of the combination; 1 in the prior.
    part_sds : mapping of path to float
        That of each score by itself.
    """

    weights: Mapping[str, float]
    sd: float
    part_sds: Mapping[str, float]

    def __str__(self) -> str:
        terms = " ".join(f"{'−' if w < 0 else '+'} {abs(w):.2f} {path}" for path, w in self.weights.items())
        parts = ", ".join(f"{path} to {format_number(sd, 2)}" for path, sd in self.part_sds.items())
        return (
            f"fixed to {format_number(self.sd, 2)} of its prior standard deviation: {terms.removeprefix('+ ')} "
            f"(in prior standard deviations); by themselves {parts}"
        )


@dataclass(frozen=True)
class Undetermined:
    """What the data cannot tell.

    Attributes
    ----------
    unmoved : tuple of str
        Inputs whose mean and standard deviation the data change by less than 5 % of the prior standard deviation.
    pairs : tuple of (str, str, float)
        Inputs with a posterior correlation above 0.7 in size that the prior did not have, strongest first.
    combinations : tuple of Combination
        Best fixed first.
    """

    unmoved: tuple[str, ...]
    pairs: tuple[tuple[str, str, float], ...]
    combinations: tuple[Combination, ...]

    def sentences(self) -> tuple[str, ...]:
        """Return what is undetermined, a sentence each."""
        out = [
            f"the data cannot tell {a} from {b}: they are correlated by {r:.2f}".replace("-", "−")
            for a, b, r in self.pairs
        ]
        out += [str(each) for each in self.combinations]
        if self.unmoved:
            out.append(f"the data say nothing of {', '.join(self.unmoved)}")
        return tuple(out)

    def __str__(self) -> str:
        return "\n".join(self.sentences()) or "the data determine every input by itself"


def undetermined_of(paths: tuple[str, ...], y: Float, prior_correlation: Float) -> Undetermined:
    """Return what samples of scores (N, paths) leave open.

    Parameters
    ----------
    paths : tuple of str
        Names of the scores.
    y : ndarray (N, paths)
        Equally weighted samples, each N(0, 1) in the prior.
    prior_correlation : ndarray (paths, paths)
        Of the scores.
    """
    mean, sd = y.mean(axis=0), y.std(axis=0, ddof=1)
    unmoved = tuple(p for p, m, s in zip(paths, mean, sd, strict=True) if abs(m) < _MOVED and abs(1 - s) < _MOVED)
    covariance = np.cov(y.T).reshape(len(paths), len(paths))
    correlation = covariance / np.outer(sd, sd)
    pairs = [
        (paths[i], paths[j], float(correlation[i, j]))
        for i in range(len(paths))
        for j in range(i)
        if abs(correlation[i, j]) > _CORRELATED and abs(correlation[i, j] - prior_correlation[i, j]) > 0.1
    ]
    values, vectors = np.linalg.eigh(covariance)
    combinations = []
    for value, vector in zip(values, vectors.T, strict=True):
        taking_part = np.flatnonzero(np.abs(vector) > _TAKES_PART * np.abs(vector).max())
        own = np.sqrt(max(value, 0.0))
        # of use only if it says more than its parts do
        if own < _FIXED and taking_part.size > 1 and own < 0.7 * float(sd[taking_part].min()):
            order = taking_part[np.argsort(-np.abs(vector[taking_part]), kind="stable")]
            sign = np.sign(vector[order[0]])
            combinations.append(
                Combination(
                    {paths[i]: float(sign * vector[i]) for i in order},
                    float(own),
                    {paths[i]: float(sd[i]) for i in order},
                )
            )
    return Undetermined(unmoved, tuple(sorted(pairs, key=lambda p: -abs(p[2]))), tuple(combinations))
