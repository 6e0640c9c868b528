"""The contract between a description and a solver.

A *graph* says which faces touch; the *arrays* say how large, thick and conductive everything is, one sample a row; the
*response* says how hot each probe gets for a watt from each source. Everything here is SI and float64, with the sample
axis first; an array may have one row where all samples share it.

Geometry: x right, y up, z from the board to the coolant. A *block* is a run of *slabs* of one rectangular footprint
with adiabatic sides, numbered from below. A *contact* is a rectangle over which the upper face of one block touches
the lower face of another, or a face touches the environment (coolant above, board below), through a specific
resistance. The environment is at zero: all temperatures are rises above it. Faces are adiabatic where nothing touches.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

__all__ = ["ENVIRONMENT", "Arrays", "Contact", "Graph", "Probe", "Response", "Solver", "Source"]

Float = NDArray[np.float64]

ENVIRONMENT = -1
"""Stands for the coolant as the upper side of a contact, and for the board as its lower side."""


@dataclass(frozen=True)
class Contact:
    """A rectangle where the upper face of block `below` meets the lower face of block `above`."""

    below: int
    above: int


@dataclass(frozen=True)
class Source:
    """A watt spread evenly over a rectangle of the lower (active) face of block `block`."""

    block: int


@dataclass(frozen=True)
class Probe:
    """The mean temperature rise over a rectangle of a slab's lower (side 0) or upper (side 1) face.

    `slab` counts through all blocks. A rectangle without extent is a point (or a line).
    """

    slab: int
    side: int


@dataclass(frozen=True)
class Graph:
    """Which faces touch: hashable, the same for all samples.

    Parameters
    ----------
    slabs_of_block : tuple of int
        Number of slabs in each block.
    contacts, sources, probes : tuple
        See the classes of these names. A contact that is split into rectangles of different resistance stands
        here as several contacts between the same two blocks; their rectangles must not overlap.
    """

    slabs_of_block: tuple[int, ...]
    contacts: tuple[Contact, ...]
    sources: tuple[Source, ...]
    probes: tuple[Probe, ...]

    @cached_property
    def first_slab(self) -> tuple[int, ...]:
        """Index of the lowest slab of each block, and the number of slabs as a last entry."""
        return (0, *(int(n) for n in np.cumsum(self.slabs_of_block)))

    @cached_property
    def block_of_slab(self) -> tuple[int, ...]:
        """Block to which each slab belongs."""
        return tuple(b for b, n in enumerate(self.slabs_of_block) for _ in range(n))


@dataclass(frozen=True, eq=False)
class Arrays:
    """Sizes and properties, one sample a row.

    Attributes
    ----------
    size, centre : ndarray, shape (S, blocks, 2)
        Footprint of each block and where its centre lies. [m]
    thickness, k_through, k_in_plane : ndarray, shape (S, slabs)
        Thickness [m] and conductivities [W/(m K)] of each slab.
    r_above : ndarray, shape (S, slabs)
        Specific resistance between a slab and the next slab of the same block [m² K/W]; zero for perfect contact
        and for the uppermost slab of a block.
    contact_rect : ndarray, shape (S, contacts, 4)
        Rectangle (x0, y0, x1, y1) of each contact. [m]
    contact_r : ndarray, shape (S, contacts)
        Specific resistance of each contact; for a film of conductance h it is 1/h. [m² K/W]
    source_rect : ndarray, shape (S, sources, 4)
        Rectangle that each source heats evenly. [m]
    probe_rect : ndarray, shape (S, probes, 4)
        Rectangle over which each probe takes the mean. [m]
    """

    size: Float
    centre: Float
    thickness: Float
    k_through: Float
    k_in_plane: Float
    r_above: Float
    contact_rect: Float
    contact_r: Float
    source_rect: Float
    probe_rect: Float

    @property
    def samples(self) -> int:
        """Number of samples S."""
        return max(len(getattr(self, name)) for name in self.__dataclass_fields__)


@dataclass(frozen=True, eq=False)
class Response:
    """What a solver returns, at given properties.

    Attributes
    ----------
    influence : ndarray, shape (S, probes, sources)
        Rise of each probe for a watt from each source. [K/W]
    flow : ndarray, shape (S, contacts, sources)
        Heat that crosses each contact upwards, for a watt from each source; a contact with the board has what
        leaves through it as a negative number. [W/W]
    error : ndarray, shape (S, probes, sources)
        The solver's own estimate of the error of `influence`, zero or more. [K/W]
    solver : str
        Name of the method.
    """

    influence: Float
    flow: Float
    error: Float
    solver: str


class Solver(Protocol):
    """Any solver: a function of a graph and its arrays."""

    def __call__(self, graph: Graph, arrays: Arrays) -> Response:
        """Return the response for every sample."""
        ...
