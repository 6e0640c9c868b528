"""The linear system of one symmetry class: flux through contacts and block temperatures, from continuity and balance.

Unknowns are the heat F of every polynomial of every contact [W] and the mean temperature T of every floating block [K]:

    Σ_blocks ± (block rise by sources, contacts and T)  +  (r/A) F = 0        continuity over each contact
    Σ ± F + sources = 0                                                       balance of each floating block

with + where the contact feeds the block's lower face and − where it draws from its upper face. The matrix is symmetric.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from thermostack.solvers.graph import ENVIRONMENT, Arrays, Graph
from thermostack.solvers.layered.faces import BlockModes
from thermostack.solvers.layered.impedance import Slab
from thermostack.solvers.layered.layout import Layout
from thermostack.solvers.layered.modes import Axis
from thermostack.solvers.layered.patches import LOWER, UPPER, Cut, Patch

__all__ = ["Side", "System", "block_modes", "level_of"]

Float = NDArray[np.float64]
Int = NDArray[np.intp]


def block_modes(graph: Graph, arrays: Arrays, layout: Layout, block: int, parity: tuple[int | None, ...]) -> BlockModes:
    """Modes and slabs of one block in one symmetry class."""
    size, centre = arrays.size[:, block], arrays.centre[:, block]
    counts = layout.modes[block]
    limit = np.min(np.array(counts) * np.pi / size, axis=1)
    axes = [Axis(size[:, a], (centre - 0.5 * size)[:, a], limit, counts[a], parity[a]) for a in range(2)]
    slabs = tuple(
        Slab(*(getattr(arrays, f)[:, s, None, None] for f in ("thickness", "k_through", "k_in_plane", "r_above")))
        for s in range(graph.first_slab[block], graph.first_slab[block + 1])
    )
    films: dict[str, Float] = {}
    for i, contact in enumerate(graph.contacts):
        if layout.closed[i] and block in (contact.below, contact.above):
            films[UPPER if contact.below == block else LOWER] = arrays.contact_r[:, i, None, None]
    return BlockModes((axes[0], axes[1]), limit, slabs, films.get(LOWER), films.get(UPPER))


def level_of(graph: Graph, slab: int, side: float) -> str | Cut:
    """Level of a place in a slab, at a share `side` of its thickness from below."""
    block = graph.block_of_slab[slab]
    if side == 0 and slab == graph.first_slab[block]:
        return LOWER
    if side == 1 and slab == graph.first_slab[block + 1] - 1:
        return UPPER
    return Cut(slab - graph.first_slab[block], float(side))


@dataclass(frozen=True)
class Side:
    """One side of an open contact: on which block it lies and whether it heats (+1) or cools (−1) it."""

    contact: int
    block: int
    level: str
    sign: float


@dataclass(frozen=True, eq=False)
class System:
    """Matrix and right-hand sides of one symmetry class of samples that share a layout.

    Parameters
    ----------
    graph, arrays, layout
        As given to the solver; `arrays` holds the samples of this layout alone.
    parity : tuple of (int or None)
        Symmetry on each axis.
    """

    graph: Graph
    arrays: Arrays
    layout: Layout
    parity: tuple[int | None, int | None]

    @cached_property
    def blocks(self) -> tuple[BlockModes, ...]:
        """All blocks."""
        count = len(self.graph.slabs_of_block)
        return tuple(block_modes(self.graph, self.arrays, self.layout, b, self.parity) for b in range(count))

    @cached_property
    def open(self) -> tuple[int, ...]:
        """Contacts that carry polynomials."""
        return tuple(i for i, closed in enumerate(self.layout.closed) if not closed)

    @cached_property
    def sides(self) -> tuple[Side, ...]:
        """Both sides of all open contacts, without those of the environment."""
        found = []
        for i in self.open:
            contact = self.graph.contacts[i]
            if contact.above != ENVIRONMENT:
                found.append(Side(i, contact.above, LOWER, 1.0))
            if contact.below != ENVIRONMENT:
                found.append(Side(i, contact.below, UPPER, -1.0))
        return tuple(found)

    @cached_property
    def kept(self) -> dict[int, tuple[Int, Int]]:
        """Degrees on each axis of each open contact that belong to this class."""
        found = {}
        for i in self.open:
            axes = []
            for count, parity in zip(self.layout.degrees[i], self.parity, strict=True):
                axes.append(np.arange(count) if parity is None else np.arange(parity, count, 2))
            found[i] = axes[0], axes[1]
        return found

    @cached_property
    def orders(self) -> dict[int, Float]:
        """Total degree of all products of polynomials of each open contact, as a share of the highest that is used."""
        found = {}
        for i in self.open:
            (x, y), (px, py) = self.kept[i], self.layout.degrees[i]
            found[i] = ((x / (px - 1.0))[:, None] + (y / (py - 1.0))[None, :]).reshape(-1)
        return found

    @cached_property
    def picked(self) -> dict[int, Int]:
        """Products of polynomials of each open contact that are used, as indices into all products."""
        return {i: np.flatnonzero(order <= 1.0 + 1e-9) for i, order in self.orders.items()}

    def contact_area(self, contact: int) -> Float:
        """Area of a contact, shape (G,). [m²]"""
        rect = self.arrays.contact_rect[:, contact]
        return np.asarray((rect[:, 2] - rect[:, 0]) * (rect[:, 3] - rect[:, 1]))

    def lower_order(self, share: float) -> Int:
        """Unknowns that a system with only this share of the total degree would have; always fewer polynomials."""
        keep = np.ones(self.unknowns, dtype=bool)
        for i in self.open:
            order = self.orders[i][self.picked[i]]
            keep[self.places[i]] = order <= share * order.max(initial=0.0) + 1e-9
        return np.flatnonzero(keep)

    @cached_property
    def places(self) -> dict[int, slice]:
        """Rows of each open contact."""
        found, start = {}, 0
        for i in self.open:
            found[i] = slice(start, start + len(self.picked[i]))
            start += len(self.picked[i])
        return found

    @cached_property
    def temperatures(self) -> dict[int, int]:
        """Row of the temperature of each floating block."""
        start = max((p.stop for p in self.places.values()), default=0)
        floating = [b for b, block in enumerate(self.blocks) if block.floating and block.has_mean]
        return {b: start + i for i, b in enumerate(floating)}

    @cached_property
    def unknowns(self) -> int:
        """Number of unknowns."""
        return max((p.stop for p in self.places.values()), default=0) + len(self.temperatures)

    @cached_property
    def patches(self) -> dict[Side, Patch]:
        """Coefficients of both sides of all open contacts."""
        rect = self.arrays.contact_rect
        return {
            side: self.blocks[side.block].patch(side.level, rect[:, side.contact, None], self.kept[side.contact])
            for side in self.sides
        }

    @cached_property
    def matrix(self) -> Float:
        """Symmetric matrix, shape (S, unknowns, unknowns)."""
        A = np.zeros((self.arrays.samples, self.unknowns, self.unknowns))
        for n, a in enumerate(self.sides):
            for b in self.sides[n:]:
                if a.block != b.block:
                    continue
                rows, columns = self.picked[a.contact], self.picked[b.contact]
                K = self.blocks[a.block].between(self.patches[a], self.patches[b], rows, columns)[:, 0, 0]
                if a.sign != b.sign:
                    K = -K
                A[:, self.places[a.contact], self.places[b.contact]] += K
                if a is not b:
                    A[:, self.places[b.contact], self.places[a.contact]] += K.swapaxes(-1, -2)
            if a.block in self.temperatures and self.blocks[a.block].has_mean:
                row, column = self.temperatures[a.block], self.places[a.contact].start
                A[:, row, column] = A[:, column, row] = a.sign
        for i in self.open:
            index = np.arange(self.places[i].start, self.places[i].stop)
            A[:, index, index] += (self.arrays.contact_r[:, i] / self.contact_area(i))[:, None]
        return A

    def loads(self, patch: Patch, block: int) -> Float:
        """Rise of contacts and balance by a watt in each rectangle of a patch: shape (S, unknowns, n).

        By symmetry it is also how each unknown warms those rectangles.
        """
        out = np.zeros((self.arrays.samples, self.unknowns, patch.coefficients[0].shape[1]))
        for side in self.sides:
            if side.block == block:
                b = self.patches[side]
                K = self.blocks[block].between(patch, b, None, self.picked[side.contact])[:, :, 0, 0]
                out[:, self.places[side.contact]] += side.sign * K.swapaxes(-1, -2)
        if block in self.temperatures:
            out[:, self.temperatures[block]] = 1.0
        return out
