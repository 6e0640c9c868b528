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
        return np.asarray(self.model(self._values(z)))

    def linearised(self, z: Float) -> tuple[Float, Float]:
        """Return y (P, D) and its slopes (P, D, J) at points (P, J)."""
        return self._sloped(z, (STEP, -STEP), self.moving)

    def sloped(self, z: Float) -> tuple[Float, Float]:
        """Return the same by one-sided short differences: half of the runs."""
        return self._sloped(z, (SHORT, 0.0), self.moving)

    @cached_property
    def moving(self) -> NDArray[np.bool_]:
        """Which scores move which rows (D, J)."""
        everything = np.ones((len(self.noise), self.latent.size), dtype=bool)
        _, slopes = self._sloped(np.zeros((1, self.latent.size)), (STEP, -STEP), everything)
        return np.asarray(slopes[0] != 0)

    @cached_property
    def _outside(self) -> NDArray[np.bool_]:
        """Which scores are errors of sensors, which leave the stack as it is (J,)."""
        inside = {v.identity for v in self.latent.uncertain if v.path not in self.model.of_sensors}
        return np.array([identity not in inside for identity in self.latent.identities])

    def _sloped(self, z: Float, ends: tuple[float, float], moving: NDArray[np.bool_]) -> tuple[Float, Float]:
        """Return y and its slopes, each score taken to both ends of a step, in the readings that it moves."""
        model, J = self.model, z.shape[1]
        y, slopes = np.empty((len(z), len(self.noise))), np.zeros((len(z), len(self.noise), J))
        here = self._values(z)
        outside = [(j, [self._values(z + end * np.eye(J)[j]) for end in ends]) for j in np.flatnonzero(self._outside)]
        for number, rows in enumerate(model.rows):
            point = model.point(here, number, *model.true(here, number))
            y[:, rows] = model.sensed(here, number, point)
            moves: NDArray[np.bool_] = np.asarray(moving[rows].any(axis=0))
            for j, values in outside:
                if moves[j]:
                    first, last = (model.sensed(each, number, point) for each in values)
                    slopes[:, rows, j] = (first - last) / (ends[0] - ends[1])
            inside = np.flatnonzero(moves & ~self._outside)
            steps = np.concatenate([end * np.eye(J)[inside] for end in ends if end])
            shown = model.shown(self._values((z[:, None] + steps).reshape(-1, J)), number)
            shown = shown.reshape(len(z), -1, len(inside), y[:, rows].shape[1])
            last = shown[:, 1] if ends[1] else y[:, None, rows]
            slopes[:, rows, inside] = np.swapaxes((shown[:, 0] - last) / (ends[0] - ends[1]), 1, 2)
        return y, np.nan_to_num(slopes)

    def _values(self, z: Float) -> dict[str, Float]:
        """Return what the model takes at scores (N, J)."""
        return self.latent.values(np.clip(z, -EDGE, EDGE))
