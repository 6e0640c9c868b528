"""One axis of a tensor grid: lines graded towards where the heat flux is singular, and halved on demand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator

from thermostack.errors import InputError

__all__ = ["Axis", "graded", "uniform"]

Float = NDArray[np.float64]

_SAME_LINE = 1e-9
"""Positions nearer than this share of the axis are one line: far below any size that is made, far above rounding."""


@dataclass(frozen=True, eq=False)
class Axis:
    """Grid lines along one axis.

    Parameters
    ----------
    lines : ndarray, shape (cells + 1,)
        Positions of the lines, rising. [m]
    knots : tuple of int
        Indices of lines at which the spacing may change abruptly; between them it varies smoothly, and so it does
        after halving. The first and the last line are always among them.

    Raises
    ------
    InputError
        If there are fewer than two lines or they do not rise.
    """

    lines: Float
    knots: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        lines = np.asarray(self.lines, dtype=np.float64)
        if lines.ndim != 1 or lines.size < 2 or not np.all(np.isfinite(lines)) or not np.all(np.diff(lines) > 0.0):
            raise InputError("grid lines that do not rise", expected="two or more finite, rising positions in m")
        object.__setattr__(self, "lines", lines)
        object.__setattr__(self, "knots", tuple(sorted({0, lines.size - 1, *self.knots})))

    @cached_property
    def widths(self) -> Float:
        """Widths of the cells, shape (cells,). [m]"""
        return np.diff(self.lines)

    @cached_property
    def centres(self) -> Float:
        """Centres of the cells, shape (cells,). [m]"""
        return (self.lines[1:] + self.lines[:-1]) / 2.0

    def near(self, position: float) -> NDArray[np.intp]:
        """Return the indices of the lines at `position`: one or none."""
        return np.flatnonzero(np.abs(self.lines - position) <= _SAME_LINE * (self.lines[-1] - self.lines[0]))

    def index(self, position: float) -> int:
        """Return the index of the line at `position`.

        Raises
        ------
        InputError
            If no grid line lies there.
        """
        found = self.near(position)
        if not found.size:
            nearest = self.lines[np.argmin(np.abs(self.lines - position))]
            raise InputError(
                f"no grid line at {position:g} m (the nearest is at {nearest:g} m)",
                expected="a position that was given to the grid as a line",
            )
        return int(found[0])

    def span(self, over: tuple[float, float]) -> slice:
        """Return the cells between two lines.

        Raises
        ------
        InputError
            If an end is not a grid line or the interval is empty.
        """
        first, last = self.index(over[0]), self.index(over[1])
        if last <= first:
            raise InputError(f"an empty interval {over[0]:g} .. {over[1]:g} m", expected="(low, high) with low < high")
        return slice(first, last)

    def halved(self) -> Axis:
        """Return the axis with each cell cut in two, the old lines kept and the grading kept smooth.

        Cutting at the middle would turn a graded row of cells into pairs of equal ones; the error would then no longer
        fall in the ratio that extrapolation supposes. So each line is put where a smooth map from cell number to
        position has it.
        """
        lines = np.empty(2 * self.lines.size - 1)
        lines[::2] = self.lines
        for first, last in pairwise(self.knots):
            number = np.arange(first, last + 1)
            smooth = PchipInterpolator(number, self.lines[first : last + 1])
            lines[2 * first + 1 : 2 * last : 2] = smooth(number[:-1] + 0.5)
        return Axis(lines, tuple(2 * k for k in self.knots))


def uniform(low: float, high: float, cells: int) -> Axis:
    """Return equal cells between two positions [m]."""
    return Axis(np.linspace(low, high, cells + 1))


def graded(
    lines: Sequence[float] | Float,
    finest: ArrayLike,
    *,
    growth: float = 1.3,
    largest: float = 0.1,
    least: int = 2,
) -> Axis:
    """Return an axis whose cells are fine at given lines and grow away from them.

    The wanted cell size at x is the least of `largest` × (length of the segment) and, for each line,
    `finest` + (`growth` − 1) × (distance from the line).

    Parameters
    ----------
    lines : sequence of float, shape (n,)
        Positions that must be grid lines; sorted here, and those that coincide are merged. [m]
    finest : float or array_like, shape (n,)
        Cell size wanted at each line; infinite for a line that needs no refinement. [m]
    growth : float
        Ratio of neighbouring cells, above 1.
    largest : float
        Largest cell as a share of the segment between two lines.
    least : int
        Least number of cells between two lines.

    Returns
    -------
    Axis
        With the given lines as knots.

    Raises
    ------
    InputError
        If there are fewer than two different lines, or a size or ratio is out of range.
    """
    positions = np.asarray(lines, dtype=np.float64)
    sizes = np.broadcast_to(np.asarray(finest, dtype=np.float64), positions.shape)
    if not (growth > 1.0 and 0.0 < largest <= 1.0 and least >= 1 and np.all(sizes > 0.0)):
        raise InputError(
            f"grading: growth {growth:g}, largest {largest:g}, least {least}, finest {np.min(sizes):g} m",
            expected="growth above 1, largest in (0, 1], one cell or more, sizes above zero",
        )
    order = np.argsort(positions, kind="stable")
    positions, sizes = positions[order], sizes[order]
    new = np.concatenate([[True], np.diff(positions) > _SAME_LINE * (positions[-1] - positions[0])])
    group = np.cumsum(new) - 1
    knots = positions[new]
    size_at_knot = np.full(knots.size, np.inf)
    np.minimum.at(size_at_knot, group, sizes)
    if knots.size < 2:
        raise InputError("fewer than two different grid lines", expected="at least the two ends of the axis")
    pieces = [knots[:1]]
    for low, high in pairwise(knots):
        pieces.append(_segment(low, high, knots, size_at_knot, growth, largest, least)[1:])
    ends = np.cumsum([0, *(len(p) for p in pieces[1:])])
    return Axis(np.concatenate(pieces), tuple(int(e) for e in ends))


def _segment(low: float, high: float, knots: Float, sizes: Float, growth: float, largest: float, least: int) -> Float:
    """Place lines so that each cell is as large as wanted at its place: equal steps of the integral of 1/size."""
    length = high - low
    near = np.concatenate([[0.0], np.geomspace(1e-7, 0.5, 600)])
    x = np.concatenate([low + length * near, (high - length * near)[-2::-1]])
    wanted = np.min(sizes[:, None] + (growth - 1.0) * np.abs(x - knots[:, None]), axis=0)
    density = 1.0 / np.minimum(wanted, largest * length)
    count = np.concatenate([[0.0], np.cumsum(np.diff(x) * (density[1:] + density[:-1]) / 2.0)])
    cells = max(least, int(np.ceil(count[-1])))
    placed: Float = np.interp(np.linspace(0.0, count[-1], cells + 1), count, x)
    placed[0], placed[-1] = low, high
    return placed
