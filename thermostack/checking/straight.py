"""The readings straight about a point, with one effect upon them: inputs and size integrated out in closed form."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from .besides import NOTHING, Besides
from .effect import SCALES, Effect
from .scored import Scored
from .segments import log_segment_density

__all__ = ["Kind", "Linear", "constant", "linearised"]

Float = NDArray[np.float64]

FINE = 9
"""Points of a piece in which its posterior is summed."""
FAINT = 1e-3
"""What may have come besides with less than this share of the most probable does not count for the size."""
WIDENED = 0.01
"""Doubt that moves ½ ln det of the noise by less is left out."""


@dataclass(frozen=True, eq=False)
class Kind:
    """What may be the case: an effect, with what may come besides; without one, the described stack.

    Attributes
    ----------
    effect : Effect or None
    besides : Besides
    extra : tuple of ndarray (D, D)
        Further covariance, one for each scale; of what is not listed. [K²]
    """

    effect: Effect | None = None
    besides: Besides = NOTHING
    extra: tuple[Float, ...] = ()

    def chain(self, rise: Float) -> Float:
        """Return what it adds over its size, for rises (D,) or (N, D): as `Effect.starts`, a point at zero for none."""
        return np.zeros((2, rise.shape[-1])) if self.effect is None else self.effect.starts(rise)

    @property
    def log_masses(self) -> Float:
        """Logarithms of the prior masses of the pieces (scales, K)."""
        if self.effect is None:
            return np.zeros((len(SCALES), 1))
        with np.errstate(divide="ignore"):
            return np.asarray(np.log(self.effect.masses))

    @property
    def edges(self) -> Float:
        """Sizes at the ends of the pieces (K + 1,). SI."""
        return np.array([0.0, 1.0]) if self.effect is None else self.effect.edges

    def noise(self, scored: Scored, shift: Float, came: Float) -> Float:
        """Return the covariance about what is shown, where it and what came besides add so much (D,). [K²]"""
        departs = self.effect is not None and self.effect.departs
        return np.asarray(scored.noise + (scored.doubt(shift) if departs else 0.0) + scored.doubt(came))


@dataclass(frozen=True, eq=False)
class Linear:
    """The readings straight about a point, with one effect upon them.

    Attributes
    ----------
    z, y, slopes : ndarray, shape (J,), (D,), (D, J)
        Point, what is shown there, and how it changes.
    log_evidence : ndarray, shape (scales,)
        At each scale of the sizes.
    size, spread : float
        Posterior mean and standard deviation of the size. SI.
    shift, came : ndarray, shape (D,)
        What the effect adds at the most probable size, and what most probably came besides. [K]
    mode : ndarray, shape (J,)
        Most probable scores, in this straight model.
    centre : ndarray, shape (D,)
        What the effect and what most probably came besides add on the mean. [K]
    about, noise : ndarray, shape (D, D)
        Covariance about what is shown and added, and about the centre, with the spread of both. [K²]
    joint : ndarray, shape (scales, O, K)
        Posterior probability of each piece of the effect with each point of what may have come besides.
    square : float
        Squared Mahalanobis distance of the readings from what is shown and added, without doubt about the latter.
    """

    z: Float
    y: Float
    slopes: Float
    log_evidence: Float
    size: float
    spread: float
    shift: Float
    came: Float
    mode: Float
    centre: Float
    about: Float
    noise: Float
    joint: Float
    square: float

    @property
    def pieces(self) -> Float:
        """Posterior probability of each piece of the effect (K,), sizes as stated."""
        return np.asarray(self.joint[len(SCALES) // 2].sum(axis=0))

    @property
    def points(self) -> Float:
        """Posterior probability of each point of what may have come besides (O,), sizes as stated."""
        return np.asarray(self.joint[len(SCALES) // 2].sum(axis=1))


def linearised(scored: Scored, observed: Float, z: Float, y: Float, slopes: Float, kind: Kind) -> Linear:
    """Return the evidence by Laplace's approximation about a point."""
    if kind.extra:
        return _unlisted(scored, observed, z, y, slopes, kind)
    found = _straight(scored, observed, z, y, slopes, kind, scored.noise)
    noise = kind.noise(scored, found.shift, found.came)
    widened = 0.5 * (np.linalg.slogdet(noise)[1] - np.linalg.slogdet(scored.noise)[1])
    return found if widened < WIDENED else _straight(scored, observed, z, y, slopes, kind, noise)


def _straight(
    scored: Scored, observed: Float, z: Float, y: Float, slopes: Float, kind: Kind, noise: Float
) -> Linear:  # fmt: skip
    left, rise = observed - y + slopes @ z, y - scored.coolant
    L = np.asarray(np.linalg.cholesky(slopes @ slopes.T + noise))
    chain, besides = kind.chain(rise), kind.besides.shifts(rise)
    white = linalg.solve_triangular(L, chain.T, lower=True).T
    x = linalg.solve_triangular(L, (left - besides).T, lower=True).T
    log_density = log_segment_density(x, white[:-1], np.diff(white, axis=0))
    log_pieces, log_points = kind.log_masses, kind.besides.log_masses
    log_joint = log_density + log_pieces[:, None, :] + log_points[:, :, None]
    top = log_joint.max(axis=(1, 2), keepdims=True)
    joints, middle = np.exp(log_joint - top), len(SCALES) // 2
    whole = joints.sum(axis=(1, 2))
    log_evidence = top[:, 0, 0] + np.log(whole) - np.sum(np.log(np.diag(L)))
    joint = joints / whole[:, None, None]
    points = joint[middle].sum(axis=1)
    # the most probable of what may have come besides, and the size with it
    of = kind.besides.of
    mine = np.flatnonzero(of == np.argmax(np.bincount(of, points)))
    mine = mine[points[mine] > FAINT * points[mine].max()]
    size, spread, at, slope = _sizes(kind, x[mine], white, log_points[middle, mine])
    came = besides[mine[int(np.argmax(points[mine]))]]
    shift, on_mean = (np.array([np.interp(t, kind.edges, column) for column in chain.T]) for t in (at, size))
    w = points[mine] / points[mine].sum()
    apart = besides[mine] - w @ besides[mine]
    wide = slope(at, chain) * spread
    left = left - shift - came
    mode = slopes.T @ linalg.cho_solve((L, True), left)
    square = linalg.solve_triangular(np.linalg.cholesky(slopes @ slopes.T + scored.noise), left, lower=True)
    return Linear(
        z, y, slopes, log_evidence, size, spread, shift, came, mode, on_mean + w @ besides[mine], noise,
        noise + np.outer(wide, wide) + (w[:, None] * apart).T @ apart, joint, float(square @ square),
    )  # fmt: skip


def _unlisted(scored: Scored, observed: Float, z: Float, y: Float, slopes: Float, kind: Kind) -> Linear:
    """Return the same for what is not listed, which is a further covariance."""
    left = observed - y + slopes @ z
    noise = [scored.noise + each for each in kind.extra]
    factors = [np.asarray(np.linalg.cholesky(slopes @ slopes.T + each)) for each in noise]
    x = [linalg.solve_triangular(L, left, lower=True) for L in factors]
    log_evidence = np.array([-0.5 * each @ each + constant(L) for each, L in zip(x, factors, strict=True)])
    middle = len(SCALES) // 2
    L, square = factors[middle], float(x[middle] @ x[middle])
    mode = slopes.T @ linalg.cho_solve((L, True), left)
    nothing, whole = np.zeros_like(observed), np.ones((len(SCALES), 1, 1))
    return Linear(
        z, y, slopes, log_evidence, 0.0, 0.0, nothing, nothing, mode, nothing, noise[middle], noise[middle], whole,
        square,
    )  # fmt: skip


def constant(L: Float) -> float:
    """Return ln of the normal density at its middle, for the Cholesky factor L of its covariance."""
    return -0.5 * len(L) * math.log(2 * math.pi) - float(np.sum(np.log(np.diag(L))))


def _sizes(
    kind: Kind, x: Float, white: Float, log_points: Float
) -> tuple[float, float, float, Callable[[float, Float], Float]]:
    """Return posterior mean and sd of the size, its most probable value, and the slope of a chain at a size."""
    edges = kind.edges
    width = np.diff(edges)
    s = (np.arange(FINE) + 0.5) / FINE
    along = (white[:-1, None] + s[:, None] * np.diff(white, axis=0)[:, None]).reshape(-1, white.shape[1])
    square = np.sum(x**2, axis=1)[:, None] - 2 * x @ along.T + np.sum(along**2, axis=1)
    log_w = log_points[:, None] - 0.5 * square
    top = log_w.max(axis=0)
    log_w = (top + np.log(np.exp(log_w - top).sum(axis=0))).reshape(len(width), FINE)
    log_w = log_w + kind.log_masses[len(SCALES) // 2][:, None]
    w = np.exp(log_w - log_w.max())
    w /= w.sum()
    t = edges[:-1, None] + s * width[:, None]
    mean = float(np.sum(w * t))
    spread = math.sqrt(max(float(np.sum(w * (t - mean) ** 2)), 0.0))
    with np.errstate(divide="ignore"):
        at = float(t.ravel()[np.argmax(log_w - np.log(width)[:, None])])

    def slope(at: float, chain: Float) -> Float:
        k = min(int(np.searchsorted(edges, at, side="right")) - 1, len(width) - 1)
        return np.asarray((chain[k + 1] - chain[k]) / width[k])

    return mean, spread, at, slope
