"""How a sample is laid out for solving: what is closed by a film, what is symmetric, how many modes each block needs.

Samples with the same layout are solved together. A layout depends on the sample alone: its batch does not matter.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermostack.solvers.graph import ENVIRONMENT, Arrays, Graph
from thermostack.solvers.layered.modes import ladder
from thermostack.solvers.layered.settings import LayeredSettings
from thermostack.solvers.layered.validate import TOLERANCE

__all__ = ["Layout", "layouts", "rows"]

Float = NDArray[np.float64]
Int = NDArray[np.intp]

SHADOW_REACH = 4.0
"""The Gaussians that stand for modes outside the box follow a wave to within 3 % up to this many times its edge."""


@dataclass(frozen=True)
class Layout:
    """What samples must share to be solved together.

    Attributes
    ----------
    closed : tuple of bool
        For each contact, whether it is a film over the whole face of a block: it is then part of the block.
    covers : tuple of bool
        For each contact, whether it covers the whole upper face of the block below.
    parities : tuple of two tuples
        On each axis: (None,) for all modes together, (0,) or (0, 1) where even and odd ones never mix.
    modes : tuple of pairs of int
        Modes on each axis for each block.
    shadow_modes : tuple of pairs of int
        How many of them a shadow is made of: those that come through the block.
    degrees : tuple of pairs of int
        Polynomials on each axis for each contact.
    shaded : tuple of bool
        For each block, whether a source heats less than its whole face: contacts then get the source's shadow.
    """

    closed: tuple[bool, ...]
    covers: tuple[bool, ...]
    parities: tuple[tuple[int | None, ...], tuple[int | None, ...]]
    modes: tuple[tuple[int, int], ...]
    shadow_modes: tuple[tuple[int, int], ...]
    degrees: tuple[tuple[int, int], ...]
    shaded: tuple[bool, ...]


def rows(arrays: Arrays, index: slice | Int) -> Arrays:
    """Return some of the samples; what has one row for all keeps it."""
    fields = {name: getattr(arrays, name) for name in arrays.__dataclass_fields__}
    return Arrays(**{name: value if len(value) == 1 else value[index] for name, value in fields.items()})


def layouts(graph: Graph, arrays: Arrays, settings: LayeredSettings, effort: float = 1.0) -> list[tuple[Layout, Int]]:
    """Sort samples by layout.

    Parameters
    ----------
    effort : float
        Multiplies the numbers of polynomials.

    Returns
    -------
    list of (Layout, ndarray of int)
        Each layout with the samples that have it.
    """
    closed = _closed(graph, arrays)
    covers = _covers(graph, arrays)
    symmetric, even = _symmetric(graph, arrays, closed)
    shaded = _shaded(graph, arrays)
    modes = _modes(graph, arrays, closed, shaded, settings)
    shadow_modes = np.minimum(modes, _shadow_modes(graph, arrays, settings))
    degrees = _degrees(graph, arrays, closed, shaded, settings, effort)
    parts: list[NDArray[Any]] = [closed, covers, symmetric, even, shaded]
    parts += [pairs.reshape(len(pairs), -1) for pairs in (modes, shadow_modes, degrees)]
    samples = arrays.samples
    table = np.concatenate([np.broadcast_to(part, (samples, part.shape[1])).astype(np.intp) for part in parts], axis=1)
    unique, which = np.unique(table, axis=0, return_inverse=True)
    stops = np.cumsum([part.shape[1] for part in parts])[:-1]
    found = []
    for i, row in enumerate(unique):
        is_closed, full, mirrored, only_even, shades, counts, shadows, orders = np.split(row, stops)
        parity = tuple(((0,) if only_even[a] else (0, 1)) if mirrored[a] else (None,) for a in range(2))
        layout = Layout(
            closed=tuple(map(bool, is_closed)),
            covers=tuple(map(bool, full)),
            parities=(parity[0], parity[1]),
            modes=_pairs(counts),
            shadow_modes=_pairs(shadows),
            degrees=_pairs(orders),
            shaded=tuple(map(bool, shades)),
        )
        found.append((layout, np.flatnonzero(which.reshape(-1) == i)))
    return found


def _pairs(values: Int) -> tuple[tuple[int, int], ...]:
    return tuple((int(a), int(b)) for a, b in values.reshape(-1, 2))


def _closed(graph: Graph, arrays: Arrays) -> NDArray[np.bool_]:
    """Whether each contact is a film between the environment and a whole face of a block, shape (S or 1, contacts)."""
    samples = max(len(a) for a in (arrays.contact_rect, arrays.contact_r, arrays.size, arrays.centre))
    closed = np.zeros((samples, len(graph.contacts)), dtype=bool)
    for i, contact in enumerate(graph.contacts):
        if ENVIRONMENT not in (contact.below, contact.above):
            continue
        block = contact.below if contact.above == ENVIRONMENT else contact.above
        closed[:, i] = _whole(arrays, arrays.contact_rect[:, i], block)
        if contact.below == ENVIRONMENT:  # a film beside the path: its conductance must be finite
            closed[:, i] &= arrays.contact_r[:, i] > 0.0
    return closed


def _covers(graph: Graph, arrays: Arrays) -> NDArray[np.bool_]:
    """Whether each contact covers the upper face of the block below, shape (S or 1, contacts)."""
    samples = max(len(a) for a in (arrays.contact_rect, arrays.size, arrays.centre))
    covers = np.zeros((samples, len(graph.contacts)), dtype=bool)
    for i, contact in enumerate(graph.contacts):
        if contact.below != ENVIRONMENT:
            covers[:, i] = _whole(arrays, arrays.contact_rect[:, i], contact.below)
    return covers


def _whole(arrays: Arrays, rect: Float, block: int) -> NDArray[np.bool_]:
    """Whether rectangles, shape (S or 1, 4), cover the whole footprint of a block."""
    size, centre = arrays.size[:, block], arrays.centre[:, block]
    slack = TOLERANCE * size
    low, high = np.abs(rect[:, :2] - centre + 0.5 * size), np.abs(rect[:, 2:] - centre - 0.5 * size)
    return np.asarray(((low <= slack) & (high <= slack)).all(axis=1))


def _shaded(graph: Graph, arrays: Arrays) -> NDArray[np.bool_]:
    """Whether a source or a probe covers only part of the lower face of each block, shape (S or 1, blocks)."""
    samples = max(len(a) for a in (arrays.source_rect, arrays.probe_rect, arrays.size, arrays.centre))
    shaded = np.zeros((samples, len(graph.slabs_of_block)), dtype=bool)
    heated = {s.block for s in graph.sources}
    for i, source in enumerate(graph.sources):
        shaded[:, source.block] |= ~_whole(arrays, arrays.source_rect[:, i], source.block)
    for i, probe in enumerate(graph.probes):
        block = graph.block_of_slab[probe.slab]
        if block in heated and probe.side == 0 and probe.slab == graph.first_slab[block]:
            shaded[:, block] |= ~_whole(arrays, arrays.probe_rect[:, i], block)
    return shaded


def _symmetric(graph: Graph, arrays: Arrays, closed: NDArray[np.bool_]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Whether all open contacts lie centred on their blocks, and all sources too; shapes (S or 1, 2)."""
    symmetric = np.ones((1, 2), dtype=bool)
    for i, contact in enumerate(graph.contacts):
        for block in (contact.below, contact.above):
            if block != ENVIRONMENT:
                symmetric = symmetric & (closed[:, i, None] | _centred(arrays, arrays.contact_rect[:, i], block))
    even = np.ones((1, 2), dtype=bool)
    for i, source in enumerate(graph.sources):
        even = even & _centred(arrays, arrays.source_rect[:, i], source.block)
    return symmetric, even & symmetric


def _centred(arrays: Arrays, rect: Float, block: int) -> NDArray[np.bool_]:
    middle = 0.5 * (rect[:, :2] + rect[:, 2:])
    centred: NDArray[np.bool_] = np.abs(middle - arrays.centre[:, block]) <= TOLERANCE * arrays.size[:, block]
    return centred


def _modes(
    graph: Graph, arrays: Arrays, closed: NDArray[np.bool_], shaded: NDArray[np.bool_], settings: LayeredSettings
) -> Int:
    """Modes of each block on each axis, shape (S or 1, blocks, 2)."""
    reach = arrays.thickness * np.sqrt(arrays.k_in_plane / arrays.k_through)
    counts = []
    for block in range(len(graph.slabs_of_block)):
        first, last = graph.first_slab[block], graph.first_slab[block + 1] - 1
        total = reach[:, first : last + 1].sum(axis=1)
        face = np.minimum(reach[:, first], reach[:, last])
        narrow = known = arrays.size[:, block].min(axis=1)
        for i, contact in enumerate(graph.contacts):
            if block in (contact.below, contact.above):
                width = (arrays.contact_rect[:, i, 2:] - arrays.contact_rect[:, i, :2]).min(axis=1)
                narrow = np.where(closed[:, i], narrow, np.minimum(narrow, width))
        for rects, blocks in (
            (arrays.source_rect, [s.block for s in graph.sources]),
            (arrays.probe_rect, [graph.block_of_slab[p.slab] for p in graph.probes]),
        ):
            mine = [i for i, b in enumerate(blocks) if b == block]
            if mine:
                widths = rects[:, mine, 2:] - rects[:, mine, :2]
                widths = np.where(widths > 0.0, widths, np.inf).min(axis=(1, 2))
                known = np.minimum(known, widths)
        # a rectangle that is only heated or averaged needs fewer modes than one whose flux is unknown
        least = 2.0 * settings.least_waves / np.minimum(narrow, 1.6 * known)
        fine = np.minimum(settings.depth / face, 2.0 * settings.waves / np.minimum(narrow, known))
        limit = np.maximum(np.maximum(settings.depth / total, least), fine)
        for contact in graph.contacts:
            if contact.above == block and contact.below != ENVIRONMENT:
                # the shadow of a source has detail down to the thickness it falls through
                a, b = graph.first_slab[contact.below], graph.first_slab[contact.below + 1]
                sharp = settings.depth / (SHADOW_REACH * reach[:, a:b].sum(axis=1))
                limit = np.maximum(limit, np.where(shaded[:, contact.below], sharp, 0.0))
        counts.append(np.minimum(ladder(limit[:, None] * arrays.size[:, block] / np.pi), settings.largest))
    return np.stack(np.broadcast_arrays(*counts), axis=1)


def _shadow_modes(graph: Graph, arrays: Arrays, settings: LayeredSettings) -> Int:
    """Modes of each block on each axis that reach its other face: up to γ t = depth + 1; shape (S or 1, blocks, 2)."""
    reach = arrays.thickness * np.sqrt(arrays.k_in_plane / arrays.k_through)
    total = np.add.reduceat(reach, graph.first_slab[:-1], axis=1)
    return ladder((settings.depth + 1.0) / total[:, :, None] * arrays.size / np.pi)


def _degrees(
    graph: Graph,
    arrays: Arrays,
    closed: NDArray[np.bool_],
    shaded: NDArray[np.bool_],
    settings: LayeredSettings,
    effort: float,
) -> Int:
    """Polynomials of each contact on each axis, shape (S or 1, contacts, 2).

    A contact sees detail of contacts at the other end of a block, blurred by the thickness t between: detail of size t
    in the middle of a width w asks for a degree of about w/2t, at an offset ξ from the middle √(1 − ξ²) times that,
    since polynomials resolve ends better than the middle.
    """
    rect = arrays.contact_rect
    middle, half = 0.5 * (rect[..., :2] + rect[..., 2:]), 0.5 * (rect[..., 2:] - rect[..., :2])
    reach = arrays.thickness * np.sqrt(arrays.k_in_plane / arrays.k_through)
    wanted = []
    for i, c in enumerate(graph.contacts):
        extra = np.zeros((1, 2))
        for j, d in enumerate(graph.contacts):
            block = c.below if c.below == d.above else c.above if c.above == d.below else ENVIRONMENT
            if block == ENVIRONMENT or i == j:
                continue
            t = reach[:, graph.first_slab[block] : graph.first_slab[block + 1]].sum(axis=1)[:, None]
            edges = np.stack([rect[:, j, :2], rect[:, j, 2:]])
            nearest = np.min(np.abs(edges - middle[:, i]), axis=0) / half[:, i]
            blurred = half[:, i] / t * np.sqrt(np.maximum(1.0 - nearest**2, 0.0))
            extra = np.maximum(extra, np.where(closed[:, j, None], 0.0, blurred))
        fine = 3.0 * np.any(shaded, axis=1, keepdims=True)
        wanted.append(settings.polynomials + settings.detail * extra + fine)
    degrees = effort * np.stack(np.broadcast_arrays(*wanted), axis=1)
    # few different sizes: steps of 2 up to 12, of 4 beyond
    rounded = np.where(degrees <= 12.0, 2.0 * np.ceil(0.5 * degrees - 1e-9), 4.0 * np.ceil(0.25 * degrees - 1e-9))
    rounded = np.minimum(rounded.astype(np.intp), settings.most)
    return np.where(closed[:, :, None], 2, rounded)
