"""The readings as a function of scores of all unknowns, with their slopes; and what is wrong with what is added."""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..inference import Latent
from ..states import StatesModel
from .predictive import coolant_rows

__all__ = ["EDGE", "PATTERN", "STEP", "Scored"]

Float = NDArray[np.float64]

STEP, SHORT = 0.25, 0.01
"""Of the differences, in scores; and one-sided."""
EDGE = 4.9
"""Scores beyond are taken for this one: emulators end at 5."""
PATTERN, BETWEEN, LEVELS = 0.03, 0.01, 0.2
"""What a departure does is known to so much of its differences between sensors, and as a whole from one state or power
level to another (measured by `tests/studies/check_study.py`, *neglect*); a step of a fifth in power is another one."""


class Scored:
    """The readings as a function of scores of all unknowns."""

    def __init__(self, model: StatesModel) -> None:
        self.model, self.latent = model, Latent(model.variables)
        self.coolant = coolant_rows(model)
        self.noise: Float = model.covariance + np.diag(model.numerical_error**2 + 1e-6)

    def doubt(self, shift: Float) -> Float:
        """Return the covariance of what is wrong with a departure's shift (D,): of its pattern and between levels. [K²]

        A shift that is larger or smaller as a whole is as good as another size. What is wrong is the same in all
        readings of one state at one power.
        """
        number, sensor, level = self._told
        mean = np.array([shift[number == n].mean() for n in number])
        off = PATTERN * (shift - mean)
        return np.asarray(level * (sensor * np.outer(off, off) + BETWEEN**2 * np.outer(mean, mean)))

    @cached_property
    def _told(self) -> tuple[NDArray[np.intp], NDArray[np.bool_], NDArray[np.bool_]]:
        """Return the reading of each row (D,); which rows are of one sensor, and of one state and level (D, D)."""
        levels: dict[int, int] = {}
        for state in {each.state for each in self.model.measured}:
            mine = [n for n, each in enumerate(self.model.measured) if each.state == state]
            mine.sort(key=lambda n: self.model.measured[n].reading.power)
            steps = np.diff([math.log(self.model.measured[n].reading.power) for n in mine], prepend=-np.inf)
            levels |= dict(zip(mine, np.cumsum(steps > LEVELS).tolist(), strict=True))
        rows = [
            (n, probe, (each.state, levels[n])) for n, each in enumerate(self.model.measured) for probe in each.probes
        ]
        number = np.array([n for n, _, _ in rows], dtype=np.intp)
        sensor, level = (np.array([[a[k] == b[k] for a in rows] for b in rows]) for k in (1, 2))
        return number, sensor, level

    def __call__(self, z: Float) -> Float:
        """Return what all sensors show (N, D) at scores (N, J). [K]"""
        return np.asarray(self.model(self.latent.values(np.clip(z, -EDGE, EDGE))))

    def linearised(self, z: Float) -> tuple[Float, Float]:
        """Return y (P, D) and its slopes (P, D, J) at points (P, J)."""
        P, J = z.shape
        steps = np.concatenate([np.zeros((1, J)), STEP * np.eye(J), -STEP * np.eye(J)])
        y = self((z[:, None, :] + steps).reshape(-1, J)).reshape(P, 2 * J + 1, -1)
        slopes = (y[:, 1 : J + 1] - y[:, J + 1 :]) / (2 * STEP)
        return y[:, 0], np.nan_to_num(np.swapaxes(slopes, 1, 2))

    def sloped(self, z: Float) -> tuple[Float, Float]:
        """Return the same by one-sided differences, only in what each reading depends on: a third of the runs."""
        y = self(z)
        slopes = np.zeros((*y.shape, z.shape[1]))
        for number, rows in enumerate(self.model.rows):
            j = np.flatnonzero(self.moving[rows].any(axis=0))
            moved = (z[:, None, :] + SHORT * np.eye(z.shape[1])[j]).reshape(-1, z.shape[1])
            shown = self.model.shown(self.latent.values(np.clip(moved, -EDGE, EDGE)), number)
            change = (shown.reshape(len(z), len(j), -1) - y[:, None, rows]) / SHORT
            slopes[:, rows, j] = np.swapaxes(change, 1, 2)
        return y, np.nan_to_num(slopes)

    @cached_property
    def moving(self) -> NDArray[np.bool_]:
        """Which scores move which rows (D, J)."""
        _, slopes = self.linearised(np.zeros((1, self.latent.size)))
        return np.asarray(slopes[0] != 0)
