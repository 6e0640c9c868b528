"""What readings have taught about the inputs of a part: their joint posterior, as draws."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..tables import Table
from ..units import Value

if TYPE_CHECKING:
    from .inputs import Input

__all__ = ["Learned"]


@dataclass(frozen=True, eq=False)
class Learned:
    """The joint posterior of inputs, known by their identities. Made by `calibrate`.

    What a mod makes anew, or puts in another's place, has another identity, of which nothing was learned.

    Attributes
    ----------
    identities : tuple of str
        J of them (see `Input.identity`).
    draws : ndarray, shape (N, J)
        Draws from the joint posterior, equally likely. SI.
    values : mapping of identity to Value
        Median and spread of each, for lists and for the centre of predictions.
    states : tuple
        States, with their readings, that it was learned from; no check may use these readings again.
    posterior : object
        How it was found: evidence, convergence, whether readings and description contradict each other.
    table : Table
        A row an input: before, after, how far it moved.
    key : str
        Names the draws: stacks that learned the same share them.
    """

    identities: tuple[str, ...]
    draws: NDArray[np.float64]
    values: Mapping[str, Value]
    states: tuple[Any, ...]
    posterior: Any
    table: Table
    key: str

    @property
    def readings(self) -> tuple[Any, ...]:
        """All readings that it was learned from."""
        return tuple(reading for state in self.states for reading in state.readings)

    @cached_property
    def _described(self) -> dict[str, Value]:
        """What each input was described as when it was calibrated."""
        stacks = [stack for state in self.states for stack, _ in state.mounts()]
        return {entry.identity: entry.value for stack in reversed(stacks) for entry in stack.inputs()}

    def applied(self, entry: Input) -> Input:
        """Return an input with its posterior in place of what was known before.

        One that has been described differently since is as described, and an unknown of its own.
        """
        if entry.identity not in self.values:
            return entry
        if self._described.get(entry.identity, entry.value) != entry.value:
            return replace(entry, identity=f"{entry.identity} (described anew)")
        source = f"calibrated; before {entry.value}: {entry.source}"
        return replace(entry, value=self.values[entry.identity], source=source, assumed=False, bad=None)

    def __str__(self) -> str:
        return str(self.table)

    def _repr_html_(self) -> str:
        return self.table._repr_html_()
