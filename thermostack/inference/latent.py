"""From variables to standard-normal scores and back, so that bounds and mixtures become smooth and the prior N(0, I).

x = F⁻¹(Φ(z)): F the distribution of a variable, z its score. Each identity has one score, as each has one stream of
random numbers in `propagate.Sampler`; correlations turn the scores of their variables by the symmetric root of the
correlation matrix (a Gaussian copula), again as there.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from ..errors import InputError, UnknownNameError, suggest
from ..propagate import (
    Distribution,
    Exact,
    Lognormal,
    Mixture,
    Normal,
    Student,
    TruncatedNormal,
    Variable,
    correlation_matrix,
)

__all__ = ["Latent", "score_of", "value_of"]

Float = NDArray[np.float64]

_LARGEST_SCORE = 37.0  # Φ(−37) is the smallest that a float holds with its digits
_CELLS = 4096


def value_of(distribution: Distribution, z: Float) -> Float:
    """Return F⁻¹(Φ(z)), with its digits in both tails where the distribution has a mirror image or a closed form.

    Parameters
    ----------
    distribution : Distribution
        F, in SI.
    z : ndarray
        Standard-normal scores.
    """
    z = np.asarray(z, dtype=np.float64)
    if isinstance(distribution, Normal):
        return np.asarray(distribution.location + distribution.spread * z)
    if isinstance(distribution, Lognormal) and np.isinf(distribution.high):
        return np.asarray(distribution.median * np.exp(distribution.natural_sd * z))
    if isinstance(distribution, Mixture):
        return _mixture_value(distribution, z)
    below = special.ndtr(np.clip(-np.abs(z), -_LARGEST_SCORE, 0.0))
    if isinstance(distribution, Student | TruncatedNormal):
        return np.where(z > 0, -_mirrored(distribution).ppf(below), distribution.ppf(below))
    return np.asarray(distribution.ppf(np.where(z > 0, 1.0 - below, below)))


def score_of(distribution: Distribution, x: Float) -> Float:
    """Return z = Φ⁻¹(F(x)), the inverse of `value_of`; infinite on and outside the bounds."""
    x = np.asarray(x, dtype=np.float64)
    if isinstance(distribution, Mixture):
        return _mixture_score(distribution, np.log(x))
    u = np.asarray(distribution.cdf(x))
    if isinstance(distribution, Normal | Student | TruncatedNormal):
        upper = np.asarray(_mirrored(distribution).cdf(-x))
        return np.asarray(np.where(u > 0.5, -special.ndtri(upper), special.ndtri(u)))
    return np.asarray(special.ndtri(u))


def _mirrored(distribution: Normal | Student | TruncatedNormal) -> Distribution:
    """Return the distribution of −x."""
    if isinstance(distribution, Normal):
        return Normal(-distribution.location, distribution.spread)
    if isinstance(distribution, Student):
        return Student(-distribution.location, distribution.spread, distribution.degrees_of_freedom)
    return TruncatedNormal(-distribution.location, distribution.spread, -distribution.high, -distribution.low)


def _mixture_score(mixture: Mixture, y: Float) -> Float:
    """Return the score of ln x = y, from the smaller of the two tails."""
    components = list(zip(mixture.shares, mixture.components, strict=True))
    z = np.array([(y - np.log(c.median)) / c.natural_sd for _, c in components])
    kept = [c.kept for _, c in components]
    inside = [np.minimum(special.ndtr(each) / k, 1.0) for each, k in zip(z, kept, strict=True)]
    outside = [np.maximum((special.ndtr(-each) - (1.0 - k)) / k, 0.0) for each, k in zip(z, kept, strict=True)]
    lower = sum(p * each for (p, _), each in zip(components, inside, strict=True))
    upper = sum(p * each for (p, _), each in zip(components, outside, strict=True))
    return np.asarray(np.where(lower < 0.5, special.ndtri(lower), -special.ndtri(upper)))


@lru_cache(maxsize=64)
def _mixture_table(mixture: Mixture) -> tuple[Float, Float]:
    """Return ln x on a fine grid, and the scores there, which rise strictly."""
    ends = [c.median * np.exp(s * 9.0 * c.natural_sd) for c in mixture.components for s in (-1, 1)]
    highest = max(min(end, c.high) for end, c in zip(ends[1::2], mixture.components, strict=True))
    y = np.linspace(np.log(min(ends)), np.log(highest), _CELLS + 1)
    score = _mixture_score(mixture, y)
    rising = np.isfinite(score) & (np.diff(np.maximum.accumulate(score), prepend=-np.inf) > 0)
    return y[rising], score[rising]


def _mixture_value(mixture: Mixture, z: Float) -> Float:
    """Return F⁻¹(Φ(z)): the cell from a table, a chord of the cell, then a secant, all held inside the cell."""
    y_grid, z_grid = _mixture_table(mixture)
    held = np.clip(z, z_grid[0], z_grid[-1])
    cell = np.clip(np.searchsorted(z_grid, held, side="right") - 1, 0, z_grid.size - 2)
    low, high = y_grid[cell], y_grid[cell + 1]
    slope = (z_grid[cell + 1] - z_grid[cell]) / (high - low)
    first = low + (held - z_grid[cell]) / slope
    missed = _mixture_score(mixture, first) - held
    second = np.clip(first - missed / slope, low, high)
    missed_again = _mixture_score(mixture, second) - held
    with np.errstate(divide="ignore", invalid="ignore"):
        secant = (missed_again - missed) / (second - first)
    last = second - missed_again / np.where(np.isfinite(secant) & (secant > 0), secant, slope)
    return np.asarray(np.exp(np.clip(last, low, high)))


class Latent:
    """The scores of a set of variables.

    Parameters
    ----------
    variables : tuple of Variable
        Paths unique.
    correlations : mapping of (path, path) to float, optional
        Correlation coefficients of the scores.

    Attributes
    ----------
    identities : tuple of str
        What has a score, J of them: each identity once, in the order of the variables; exact variables have none.
    size : int
        J.

    Raises
    ------
    InputError
        If no variable has a spread, or a path stands twice.
    """

    def __init__(
        self, variables: tuple[Variable, ...], correlations: Mapping[tuple[str, str], float] | None = None
    ) -> None:
        paths = [variable.path for variable in variables]
        for path in paths:
            if paths.count(path) > 1:
                raise InputError("stands twice among the variables", where=path)
        self.variables = variables
        self.uncertain = tuple(v for v in variables if not isinstance(v.distribution, Exact))
        if not self.uncertain:
            raise InputError("no uncertain input", where="variables", expected="at least one with a spread")
        self.identities = tuple(dict.fromkeys(v.identity for v in self.uncertain))
        self.size = len(self.identities)
        matrix = correlation_matrix(self.uncertain, correlations)
        index = [self.identities.index(v.identity) for v in self.uncertain]
        self._root: Float | None = None
        """Takes scores (J,) to the scores of each variable; none where they are the same."""
        if index != list(range(self.size)) or not np.array_equal(matrix, np.eye(len(matrix))):
            values, vectors = np.linalg.eigh(matrix)
            root = vectors * np.sqrt(np.maximum(values, 0.0)) @ vectors.T
            self._root = np.stack(
                [root[:, [i for i, j in enumerate(index) if j == k]].sum(1) for k in range(self.size)], 1
            )

    def scores_of_variables(self, z: Float) -> Float:
        """Return the score of each uncertain variable (N, variables), N(0, 1) each in the prior."""
        return z if self._root is None else z @ self._root.T

    def values(self, z: Float) -> dict[str, Float]:
        """Return samples (N,) by path, SI, for scores (N, J)."""
        y = self.scores_of_variables(z)
        out = {v.path: value_of(v.distribution, y[:, i]) for i, v in enumerate(self.uncertain)}
        exact = {v.path: v.distribution.ppf(np.full(len(z), 0.5)) for v in self.variables if v.path not in out}
        return {v.path: out[v.path] if v.path in out else exact[v.path] for v in self.variables}

    def scores(self, values: Mapping[str, float]) -> Float:
        """Return the scores (J,) at which variables have these values, as near as can be; left out: the median.

        Raises
        ------
        UnknownNameError
            If a path is not among the variables.
        InputError
            If a value lies on or outside the bounds of its variable.
        """
        paths = [v.path for v in self.uncertain]
        y = np.zeros(len(paths))
        for path, value in values.items():
            if path not in paths:
                raise UnknownNameError(f"no uncertain input {path!r}; {suggest(path, paths)}", where="start")
            i = paths.index(path)
            y[i] = float(score_of(self.uncertain[i].distribution, np.array([value]))[0])
            if not np.isfinite(y[i]):
                raise InputError(f"{value!r} lies on or outside the bounds", where=path, expected="a value inside")
        return y if self._root is None else np.asarray(np.linalg.lstsq(self._root, y, rcond=None)[0])

    @cached_property
    def other_components(self) -> Float:
        """Scores (K, J) at the middle of each component of each mixture but its commonest, all others zero."""
        points = []
        for i, variable in enumerate(self.uncertain):
            if isinstance(variable.distribution, Mixture):
                law = variable.distribution
                commonest = law.shares.index(max(law.shares))
                medians = np.array([c.median for k, c in enumerate(law.components) if k != commonest])
                for y in score_of(law, medians):
                    unit = np.zeros(len(self.uncertain))
                    unit[i] = y
                    points.append(unit if self._root is None else np.linalg.lstsq(self._root, unit, rcond=None)[0])
        return np.array(points).reshape(-1, self.size)
