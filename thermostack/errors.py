"""Errors and warnings: what was wrong, where it stands, and what a right value looks like."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

__all__ = [
    "FileError",
    "InputError",
    "SolveError",
    "ThermostackError",
    "ThermostackWarning",
    "UnitError",
    "UnknownNameError",
    "suggest",
]


class ThermostackError(Exception):
    """Base of every error that this library raises on purpose."""


class InputError(ThermostackError, ValueError):
    """A value that cannot be used.

    Parameters
    ----------
    problem : str
        What is wrong, with the value that was given.
    where : str, optional
        The part and field, as a path such as ``"lid.thickness"``.
    expected : str, optional
        What a right value looks like.
    """

    def __init__(self, problem: str, *, where: str = "", expected: str = "") -> None:
        super().__init__(problem, where, expected)
        self.problem, self.where, self.expected = problem, where, expected

    def __reduce__(self) -> tuple[object, ...]:
        return _rebuild, (type(self), self.problem, self.where, self.expected)

    def __str__(self) -> str:
        text = f"{self.where}: {self.problem}" if self.where else self.problem
        return f"{text}; expected {self.expected}" if self.expected else text

    def at(self, where: str) -> InputError:
        """Return the same error placed at `where` (joined in front of what is already known)."""
        joined = f"{where}.{self.where}" if self.where else where
        return type(self)(self.problem, where=joined, expected=self.expected)


class UnitError(InputError):
    """A value without a unit, or with one of the wrong dimension."""


class UnknownNameError(InputError):
    """A name that is not known; the message suggests the nearest ones."""


class FileError(InputError):
    """A file that cannot be read as what it should be; the message names file and line."""


class SolveError(ThermostackError, RuntimeError):
    """A model without a usable solution: not converged, running away, or too inaccurate."""


class ThermostackWarning(UserWarning):
    """Something was assumed, or used outside the range in which it was shown to hold."""


def _rebuild(cls: type[InputError], problem: str, where: str, expected: str) -> InputError:
    return cls(problem, where=where, expected=expected)


def suggest(name: str, known: Iterable[str]) -> str:
    """Return "did you mean …?" for the nearest known names, else the list of what is known."""
    names = list(known)
    folded = {n.casefold(): n for n in reversed(names)}
    near = difflib.get_close_matches(name.casefold(), list(folded), n=3, cutoff=0.55)
    near += [f for f in folded if name.casefold() and name.casefold() in f and f not in near][:3]
    if near:
        return "did you mean " + " or ".join(repr(folded[n]) for n in near[:4]) + "?"
    shown = ", ".join(repr(n) for n in names[:12]) + (", …" if len(names) > 12 else "")
    return f"known: {shown}" if names else "nothing is known here"
