"""Normal densities averaged along straight segments: what a cause of unknown size predicts, in closed form.

What a cause does to the data is a curve in its size, drawn as a chain of straight pieces. Along one piece a normal
density is a normal density of the one distance along it times a constant, so that its mean over the piece is a
difference of two normal probabilities: no grid of sizes has to be finer than the noise of the data.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import special

__all__ = ["log_segment_density"]

Float = NDArray[np.float64]

_POINT = 1e-5
"""A whitened step shorter than this is taken for a point."""
_FAR = -35.0
"""Normal probabilities below that of this are taken by their logarithm; they vanish at −38."""


def log_segment_density(x: Float, start: Float, step: Float) -> Float:
    """Return ln ∫₀¹ N(x; start + s·step, I) ds.

    Parameters
    ----------
    x : ndarray (N, D)
        Whitened data.
    start, step : ndarray (K, D) or (N, K, D)
        Whitened beginning and extent of each segment; a step of zero is a point.

    Returns
    -------
    ndarray (N, K)

    Notes
    -----
    With a = x − start and v = step, s* = a·v/|v|²: exp(−½(|a|² − (a·v)²/|v|²)) √(2π)/|v| [Φ((1 − s*)|v|) − Φ(−s*|v|)].
    """
    D = x.shape[-1]
    if start.ndim == 2:
        aa = np.sum(x**2, axis=1)[:, None] - 2.0 * x @ start.T + np.sum(start**2, axis=1)
        av = x @ step.T - np.sum(start * step, axis=1)
        vv = np.broadcast_to(np.sum(step**2, axis=1), aa.shape)
    else:
        a = x[:, None, :] - start
        aa, av, vv = np.sum(a**2, axis=-1), np.sum(a * step, axis=-1), np.sum(step**2, axis=-1)
    length = np.sqrt(vv)
    point = length < _POINT
    length = np.where(point, 1.0, length)
    along = av / length
    across = np.maximum(aa - along**2, 0.0)
    integral = -0.5 * across + 0.5 * math.log(2 * math.pi) - np.log(length) + _log_between(-along, length - along)
    return np.asarray(np.where(point, -0.5 * (aa - av), integral) - 0.5 * D * math.log(2 * math.pi))


def _log_between(low: Float, high: Float) -> Float:
    """Return ln[Φ(high) − Φ(low)] for high > low, with its digits in both tails."""
    flip = low > 0
    low, high = np.where(flip, -high, low), np.where(flip, -low, high)
    far = high < _FAR
    with np.errstate(divide="ignore"):
        found = np.asarray(np.log(special.ndtr(high) - special.ndtr(low)))
    top = special.log_ndtr(high[far])
    found[far] = top + np.log(-np.expm1(np.minimum(special.log_ndtr(low[far]) - top, -1e-300)))
    return found
