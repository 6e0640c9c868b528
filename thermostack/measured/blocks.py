"""A stretch of a log in blocks of equal duration: all that slow changes need, however many rows there are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Blocks"]


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
        usual = float(np.median(np.diff(time)))
        number = int(max(1, min(most, round(span / usual) + 1)))
        # the last row stands for as long as the others
        width = (span + usual) / number
        edges = time[0] - usual / 2 + width * np.arange(number)
        first = np.searchsorted(time, edges)
        bounds = np.append(first, len(time))
        full = np.flatnonzero(np.diff(bounds))
        starts = bounds[full]
        count, total, pivot = [], [], []
        for column in columns:
            here = np.isfinite(column)
            if here.all():
                own = float(column[0])
                count.append(np.diff(bounds)[full].astype(np.float64))
                total.append(np.add.reduceat(column - own, starts))
            else:
                own = float(column[here][0]) if here.any() else 0.0
                count.append(np.add.reduceat(here.astype(np.float64), starts))
                total.append(np.add.reduceat(np.where(here, column - own, 0.0), starts))
            pivot.append(own)
        middle = edges[full] + width / 2
        return cls(middle, np.array(count), np.array(total), np.array(pivot), float(edges[0]), width)

    @property
    def mean(self) -> NDArray[np.float64]:
        """Mean of each column over all its values, shape (M,)."""
        n = self.count.sum(axis=1)
        return self.pivot + np.divide(self.total.sum(axis=1), n, out=np.full(len(n), np.nan), where=n > 0)

    @property
    def means(self) -> NDArray[np.float64]:
        """Mean of each column in each block, shape (M, B); NaN where there is none."""
        empty = np.full(self.count.shape, np.nan)
        return self.pivot[:, None] + np.divide(self.total, self.count, out=empty, where=self.count > 0)
