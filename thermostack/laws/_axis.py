"""One axis of a double cosine series, condensed to some thirty wave numbers.

A sum Σ_m P_m f(λ_m) with exact coefficients P_m and a function f that is smooth in ln λ is replaced by one over a few
nodes, Σ_j W_j f(λ_j): the coefficients, thousands of them, are summed onto the nodes of polynomials in ln λ. Every
thermal impedance Z(γ) of layers is such a function: as one of γ² it is the driving-point impedance of a chain of
resistances and capacities, whose singularities all lie at γ² <= 0, π/2 away from the real axis of ln γ. What lies
beyond the last coefficient is known, since all P_m sum to the overlap of source and probe.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from thermostack.laws._checks import Float

__all__ = ["TAIL_U", "TAIL_W", "Level", "Rectangle", "condensed_axis"]

TAIL_U, TAIL_W = (np.array([0.1127016653792583, 0.5, 0.8872983346207417]), np.array([5.0, 8.0, 5.0]) / 18)
"""Three-point Gauss rule on (0, 1), for the rest of a series whose weights fall as 1/m²: m = M/u."""
_AT_END = np.array([0.0, 0.0, 1.0])  # what an alternating series leaves belongs to its end


class Level(NamedTuple):
    """How finely an axis is condensed, and the relative error of the total rise that goes with it."""

    rtol: float
    terms: int  # exact coefficients, times channel side over source side
    plain: int  # wave numbers that are kept as they are
    width: float  # greatest width of a panel in ln λ
    nodes: int  # wave numbers in a panel

    def grid(self, octave: int) -> int:
        """Number of wave numbers of an axis whose channel is 2**octave times as wide as its source."""
        return len(_nodes(self, octave).modes)


class Rectangle(NamedTuple):
    """Sides and centres along one axis, (rows, 1) each; a side of zero is a point. [m]"""

    side: Float
    centre: Float


class _Nodes(NamedTuple):
    modes: Float  # mode numbers, most of them not whole
    panels: tuple[tuple[int, int, Float], ...]  # first and last + 1 term, matrix (terms × nodes)
    order: Float  # 0..last
    taper: Float  # ends an alternating series smoothly


def condensed_axis(
    size: Float, source: Rectangle, probe: Rectangle | None, *, even: bool, octave: int, level: Level
) -> tuple[Float, list[Float]]:
    r"""Wave numbers of an axis and the weights that stand for ε_m S_m S'_m / a.

    Parameters
    ----------
    size : ndarray, shape (rows, 1)
        Side of the channel a. [m]
    source : Rectangle
        The source: S_m = cos(λ_m X) sinc(λ_m c/2).
    probe : Rectangle or None
        The probe with its S'_m; None for two of them, the source itself and its centre.
    even : bool
        Whether the source is centred, so that it excites even modes alone.
    octave : int
        log2 of channel side over source side, rounded up.
    level : Level
        How finely to condense.

    Returns
    -------
    tuple of ndarray, shape (rows, nodes), and a list of such
        Wave numbers [1/m], and the weights of each probe. [1/m]
    """
    nodes = _nodes(level, octave)
    order = 2 * nodes.order if even else nodes.order
    cos = np.cos(np.pi / size * source.centre * order)
    own = cos * _sinc(source.side, size, order)
    terms = own / size
    terms[:, 1:] *= 2
    if probe is None:
        whole = 1 / source.side  # the source's density, everywhere within it
        weights = [_onto(nodes, terms * own, whole, np.False_), _onto(nodes, terms * cos, whole, np.True_)]
    else:
        terms *= np.cos(np.pi / size * probe.centre * order) * _sinc(probe.side, size, order)
        weights = [_onto(nodes, terms, _overlap(size, source, probe), probe.side == 0)]
    return (2 if even else 1) * np.pi / size * nodes.modes, weights


def _sinc(side: Float, size: Float, order: Float) -> Float:
    """Mean of cos(λ_m x) over a side about zero."""
    x = np.pi / 2 * (side / size) * order
    x[x == 0] = 1e-20  # sin x / x = 1
    return np.asarray(np.sin(x) / x)


def _onto(nodes: _Nodes, terms: Float, whole: Float, point: NDArray[np.bool_] | np.bool_) -> Float:
    """Sum terms onto the nodes; the last three nodes take what is left of the `whole` sum."""
    if np.any(point):
        terms *= np.where(point, nodes.taper, 1.0)
    left = whole - np.sum(terms, axis=-1, keepdims=True)
    plain = nodes.panels[0][0]
    blocks = [terms[:, start:stop] @ block for start, stop, block in nodes.panels]
    return np.concatenate([terms[:, :plain], *blocks, left * np.where(point, _AT_END, TAIL_W)], axis=-1)


def _overlap(size: Float, source: Rectangle, probe: Rectangle) -> Float:
    """Mean over the probe of the source's density: at a point 1/c within the source and half that on its edge."""
    (c, x_s), (p, x_p) = source, probe
    low, high = np.maximum(x_s - c / 2, x_p - p / 2), np.minimum(x_s + c / 2, x_p + p / 2)
    shared = np.clip(high - low, 0, None) / np.where(p > 0, c * p, 1)
    slack = 1e-9 * size
    off = np.abs(x_p - x_s) - c / 2
    at_wall = (x_p <= slack) | (x_p >= size - slack)  # where the source's mirror image continues it
    inside = np.where((np.abs(off) <= slack) & ~at_wall, 0.5, off <= slack) / c
    return np.asarray(np.where(p > 0, shared, inside))


@lru_cache(maxsize=128)
def _nodes(level: Level, octave: int) -> _Nodes:
    """Modes 0..plain as they are; the others in panels of ln m, each summed onto its Chebyshev nodes.

    Lagrange's polynomials do that exactly for every f that a polynomial of that degree in ln m represents.
    """
    last = level.terms * 2**octave
    low, high = np.log(level.plain + 0.5), np.log(last + 0.5)
    edges = np.linspace(low, high, 1 + int(np.ceil((high - low) / level.width)))
    first = np.floor(np.exp(edges) + 1e-9).astype(int) + 1
    at = np.cos((2 * np.arange(level.nodes) + 1) * np.pi / (2 * level.nodes))
    modes, panels = [np.arange(level.plain + 1.0)], []
    for i in range(len(edges) - 1):
        middle, half = (edges[i] + edges[i + 1]) / 2, (edges[i + 1] - edges[i]) / 2
        start, stop = int(first[i]), int(first[i + 1])
        y = (np.log(np.arange(start, stop)) - middle) / half
        panels.append((start, stop, np.stack([_lagrange(y, at, j) for j in range(level.nodes)], axis=1)))
        modes.append(np.exp(middle + half * at))
    modes.append((last + 0.5) / TAIL_U)
    x = np.clip(2 * np.arange(last + 1) / (last + 1) - 1, 0, 1)
    taper = 1 - x**4 * (35 - 84 * x + 70 * x**2 - 20 * x**3)
    return _Nodes(np.concatenate(modes), tuple(panels), np.arange(last + 1.0), taper)


def _lagrange(y: Float, at: Float, j: int) -> NDArray[np.float64]:
    others = np.delete(at, j)
    return np.asarray(np.prod((y[:, None] - others) / (at[j] - others), axis=1))
