"""A stretch of a log in blocks of equal duration: all that slow changes need, however many rows there are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Blocks", "usual_interval"]


@dataclass(frozen=True, eq=False)
class Blocks:
    """Sums over blocks of equal duration.

    Attributes
    ----------
    time : ndarray, shape (B,)
        Middle of each block, of those that hold a row. [s]
    count : ndarray, shape (M, B)
        Recorded values of each column.
    total : ndarray, shape (M, B)
        Sum of their deviations from `pivot`.
    pivot : ndarray, shape (M,)
        A value near the mean, taken off so that no digits are lost.
    start, width : float
        Of the first block, and duration of each. [s]
    """

    time: NDArray[np.float64]
    count: NDArray[np.float64]
    total: NDArray[np.float64]
    pivot: NDArray[np.float64]
    start: float
    width: float

    @classmethod
    def of(cls, time: NDArray[np.float64], columns: Sequence[NDArray[np.float64]], most: int) -> Blocks:
        """Return columns of N rows in at most `most` blocks; in one block a row where there are fewer rows.

        Parameters
        ----------
        time : ndarray, shape (N,)
            Strictly rising, N at least 2. [s]
        columns : sequence of ndarray, shape (N,)
            NaN where nothing was recorded.
        most : int
        """
        span = float(time[-1] - time[0])
        usual = usual_interval(time)
        number = int(max(1, min(most, round(span / usual) + 1)))
        # the last row stands for as long as the others
        width = (span + usual) / number
        edges = time[0] - usual / 2 + width * np.arange(number)
        bounds = np.append(np.searchsorted(time, edges), len(time))
        full = np.flatnonzero(np.diff(bounds))
        starts = bounds[full]
        count, total, pivot = [], [], []
        rows = np.diff(bounds)[full].astype(np.float64)
        for column in columns:
            sums = np.add.reduceat(column, starts)
            if np.isfinite(sums).all():
                own = float(column[0])
                count.append(rows)
                total.append(sums - own * rows)
            else:
                here = np.isfinite(column)
                own = float(column[here.argmax()]) if here.any() else 0.0
                count.append(np.add.reduceat(here.astype(np.float64), starts))
                total.append(np.add.reduceat(np.where(here, column - own, 0.0), starts))
            pivot.append(own)
        middle = edges[full] + width / 2
        return cls(middle, np.array(count), np.array(total), np.array(pivot), float(edges[0]), width)

    def part(self, start: float, end: float, most: int) -> Blocks:
        """Return the blocks with their middle from `start` to `end`, joined so that at most `most` are left."""
        first, last = np.searchsorted(self.time, [start, end + 1e-9 * self.width])
        # blocks are numbered from the first row of the log; those without a row were left out
        place = np.rint((self.time[first:last] - self.start) / self.width - 0.5).astype(np.intp)
        size = -(-(int(place[-1] - place[0]) + 1) // most)
        group = (place - place[0]) // size
        starts = np.flatnonzero(np.diff(group, prepend=-1))
        count = np.add.reduceat(self.count[:, first:last], starts, axis=1)
        total = np.add.reduceat(self.total[:, first:last], starts, axis=1)
        begin = self.start + float(place[0]) * self.width
        middle = begin + (group[starts] + 0.5) * size * self.width
        return Blocks(middle, count, total, self.pivot, begin, size * self.width)

    @property
    def mean(self) -> NDArray[np.float64]:
        """Mean of each column over all its values, shape (M,)."""
        n = self.count.sum(axis=1)
        mean: NDArray[np.float64] = np.divide(self.total.sum(axis=1), n, out=np.full(len(n), np.nan), where=n > 0)
        return self.pivot + mean

    @property
    def means(self) -> NDArray[np.float64]:
        """Mean of each column in each block, shape (M, B); NaN where there is none."""
        empty = np.full(self.count.shape, np.nan)
        means: NDArray[np.float64] = np.divide(self.total, self.count, out=empty, where=self.count > 0)
        return self.pivot[:, None] + means


def usual_interval(time: NDArray[np.float64]) -> float:
    """Return the median distance of rows; of 20,000 of them where there are more. [s]"""
    rows = np.arange(0, len(time) - 1, max(1, (len(time) - 1) // 20_000))
    return float(np.median(time[rows + 1] - time[rows]))
