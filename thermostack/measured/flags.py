"""What was noticed in a log, as data, and the refusal to call it steady."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..errors import InputError

__all__ = ["Flag", "Kind", "SteadyError"]

Kind = Literal[
    "gap", "power step", "power drift", "throttling", "stuck", "jump", "outliers", "fan not fixed", "pump not fixed",
    "clock not fixed", "coolant drift", "drift", "wander", "below coolant", "soak", "missing",
]  # fmt: skip


@dataclass(frozen=True)
class Flag:
    """Something noticed in a log.

    Attributes
    ----------
    kind : str
        One of `Kind`.
    text : str
        In words, with numbers.
    start, end : float
        When, in seconds from the first row of the log.
    column : str
        In which column; empty where it concerns all.
    severity : {"note", "warning"}
        A warning may falsify the reading.
    """

    kind: Kind
    text: str
    start: float
    end: float
    column: str = ""
    severity: Literal["note", "warning"] = "warning"

    def __str__(self) -> str:
        return f"{self.severity}, {self.start:.0f} to {self.end:.0f} s: {self.text}"


class SteadyError(InputError):
    """A log without a part that may be called steady; `expected` says what is missing, `flags` what was noticed."""

    flags: tuple[Flag, ...] = ()
