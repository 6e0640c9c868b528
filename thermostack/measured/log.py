"""A log: what was recorded against time, in SI, whatever file it came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from .reading import Reading

__all__ = ["Log", "Role"]

Role = Literal["sensor", "power", "coolant", "ambient", "clock", "limit", "fan", "pump", "other"]
"""What a column of a log is: temperature of a die, region or lid; package power; coolant temperature; room temperature;
clock frequency; a flag that tells of throttling; speed of a fan or pump; anything else."""


@dataclass(frozen=True, eq=False)
class Log:
    """What was recorded against time.

    Attributes
    ----------
    time : ndarray, shape (N,)
        Seconds from the first row, strictly rising.
    values : mapping of str to ndarray, shape (N,)
        By name: temperatures in K, power in W, clock in Hz, flags as 0 or 1; NaN where nothing was recorded.
    roles : mapping of str to Role
        Of each name.
    source : str
        Where it came from, for messages: a file's name.
    start : datetime or None
        Of the first row, where the log tells.
    notes : tuple of str
        What was noticed on reading it, for people.
    """

    time: NDArray[np.float64]
    values: Mapping[str, NDArray[np.float64]]
    roles: Mapping[str, Role]
    source: str = "log"
    start: datetime | None = None
    notes: tuple[str, ...] = field(default=())

    def of_role(self, role: Role) -> tuple[str, ...]:
        """Return the names of a role, in their order."""
        return tuple(name for name, own in self.roles.items() if own == role)

    def steady(self, **choices: Any) -> Reading:
        """Return the steady reading at the highest power; choices and errors are those of `measured.steady.steady`."""
        from .steady import steady

        return steady(self, **choices)

    def levels(self, **choices: Any) -> tuple[Reading, ...]:
        """Return a reading of every power level that is steady; see `measured.steady.steady_levels`."""
        from .steady import steady_levels

        return steady_levels(self, **choices)

    def plot(self, reading: Reading, ax: Axes | None = None) -> Axes:
        """Draw the log over time, with the window of a reading, its means and what was noticed."""
        from ..plots import time_series

        return time_series(self, reading, ax)
