"""A stack with its readings, mount by mount."""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from ..errors import InputError
from ..measured.reading import Reading
from ..stack.parts import Interface
from ..stack.stack import Stack

__all__ = ["State", "mount_of", "with_its_mount"]


@dataclass(frozen=True, init=False)
class State:
    """A stack with its readings.

    Parameters
    ----------
    stack : Stack
    *readings : Reading
        One or more: other power levels (``level``), other mounts (``mount``) of this state. Mounts differ in the joints
        that are made anew when the cold plate comes off; the first label is the mount that the stack describes. Where
        a later state left the cold plate on, a label means the same mount as in the first state.

    Raises
    ------
    InputError
        No reading, or something else than a stack and readings.
    """

    stack: Stack
    readings: tuple[Reading, ...]

    def __init__(self, stack: Stack, *readings: Reading) -> None:
        if not isinstance(stack, Stack):
            raise InputError(f"{stack!r} is no stack", where="State", expected="a Stack, then its readings")
        if not readings:
            raise InputError("no reading", where=f"State of {stack.label}", expected="State(stack, reading, …)")
        for number, reading in enumerate(readings, start=1):
            if not isinstance(reading, Reading):
                raise InputError(
                    f"{type(reading).__name__} is no reading",
                    where=f"State of {stack.label}, reading {number}",
                    expected="what Log.steady() returns, or Reading.of(...)",
                )
        object.__setattr__(self, "stack", stack)
        object.__setattr__(self, "readings", tuple(readings))

    def mounts(self, first: State | None = None) -> Iterator[tuple[Stack, tuple[Reading, ...]]]:
        """Yield each mount's stack with its readings; stacks differ in the tokens of what was made anew.

        Parameters
        ----------
        first : State, optional
            An earlier state in which the joints that a remount makes anew were the same: what its labels name is meant
            here too.
        """
        labels = dict.fromkeys(reading.mount for reading in self.readings)
        described = {self.readings[0].mount}
        if first is not None and mount_of(first.stack) == mount_of(self.stack):
            known = [reading.mount for reading in first.readings]
            described = {known[0]} if "" in known else {known[0], ""}
            if not known[0] and self.readings[0].mount not in known:
                described.add(self.readings[0].mount)  # the one mount before had no label
        for number, label in enumerate(labels):
            stack = self.stack if label in described else _mounted_again(self.stack, label)
            if len(labels) > 1 or stack is not self.stack:
                stack = stack.named(f"{self.stack.label}, mount {label or number + 1}")
            yield stack, tuple(reading for reading in self.readings if reading.mount == label)


def mount_of(stack: Stack) -> dict[str, str]:
    """Return the tokens of the joints that a remount makes anew, by name."""
    again = {part.name: part for part in stack.remounted().parts()}
    return {p.name: p.mount for p in stack.parts() if isinstance(p, Interface) and p != again[p.name]}


def with_its_mount(states: Sequence[State], stack: Stack) -> State | None:
    """Return the first of some states whose cold plate sits on the joints of this stack."""
    own = mount_of(stack)
    return next((state for state in states if mount_of(state.stack) == own), None)


def _mounted_again(stack: Stack, label: str) -> Stack:
    """Return the stack under a mount of another label."""
    before = {part.name: part for part in stack.parts()}
    again = stack.remounted()
    for part in tuple(again.parts()):
        if isinstance(part, Interface) and part != before[part.name]:
            again = again.swap(part.name, [replace(part, mount=f"{zlib.crc32(f'{part.mount} {label}'.encode()):08x}")])
    return again
