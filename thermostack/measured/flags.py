"""What was noticed in a log, as data, and the refusal to call it steady."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..errors import InputError

__all__ = ["Flag", "Kind", "SteadyError", "lasting"]

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


def lasting(seconds: float) -> str:
    """Return a duration as people say it: in s below two minutes, then in min and h."""
    for unit, size in (("h", 3600.0), ("min", 60.0)):
        if seconds >= 2 * size:
            return f"{seconds / size:.3g} {unit}"
    return f"{seconds:.3g} s"


class SteadyError(InputError):
    """A log without a part that may be called steady; `expected` says what is missing, `flags` what was noticed."""

    flags: tuple[Flag, ...] = ()
