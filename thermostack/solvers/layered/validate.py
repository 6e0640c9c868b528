"""Refuses arrays that no stack can have, naming what is wrong by its index."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from thermostack.errors import InputError
from thermostack.solvers.graph import ENVIRONMENT, Arrays, Graph

__all__ = ["TOLERANCE", "check"]

Float = NDArray[np.float64]

TOLERANCE = 1e-9
"""Share of a footprint by which two edges may differ and still count as the same."""


def check(graph: Graph, arrays: Arrays) -> None:
    """Raise `InputError` unless shapes, signs and rectangles make a stack that can be solved.

    Raises
    ------
    InputError
        With the field and indices in `where`, such as ``"contact_rect[sample 0, contact 2]"``.
    """
    _check_graph(graph)
    _check_shapes(graph, arrays)
    for name in ("size", "thickness", "k_through", "k_in_plane"):
        _require(getattr(arrays, name) > 0.0, name, "must be positive", getattr(arrays, name))
    for name in ("r_above", "contact_r"):
        _require(getattr(arrays, name) >= 0.0, name, "must not be negative", getattr(arrays, name))
    top = arrays.r_above[:, [last - 1 for last in graph.first_slab[1:]]]
    _require(top == 0.0, "r_above", "must be zero above the uppermost slab of a block", top)
    for names, blocks, rect, field in _rectangles(graph, arrays):
        if not len(blocks):
            continue
        extent = rect[..., 2:] - rect[..., :2]
        if names == "probe":
            _require(extent >= 0.0, field, "rectangle has its corners swapped", extent)
        else:
            _require(extent > 0.0, field, "rectangle must have an extent on both axes", extent)
        for block in blocks[0], blocks[1]:
            _inside(arrays, np.asarray(block), rect, field)
    _no_overlap(graph, arrays)


def _check_graph(graph: Graph) -> None:
    blocks, slabs = len(graph.slabs_of_block), sum(graph.slabs_of_block)
    if not blocks or min(graph.slabs_of_block) < 1:
        raise InputError("every block needs a slab", where="slabs_of_block")
    for i, contact in enumerate(graph.contacts):
        sides = (contact.below, contact.above)
        if contact.below == contact.above or not all(ENVIRONMENT <= s < blocks for s in sides):
            raise InputError(f"joins block {contact.below} to block {contact.above}", where=f"contacts[{i}]")
    for i, source in enumerate(graph.sources):
        if not 0 <= source.block < blocks:
            raise InputError(f"block {source.block} does not exist", where=f"sources[{i}]")
    for i, probe in enumerate(graph.probes):
        if not 0 <= probe.slab < slabs or probe.side not in (0, 1):
            raise InputError(f"slab {probe.slab}, side {probe.side} does not exist", where=f"probes[{i}]")
    cooled = {b for c in graph.contacts for b, o in ((c.below, c.above), (c.above, c.below)) if o == ENVIRONMENT}
    while True:
        more = {b for c in graph.contacts if {c.below, c.above} & cooled for b in (c.below, c.above)} - {ENVIRONMENT}
        if more <= cooled:
            break
        cooled |= more
    for block in range(blocks):
        if block not in cooled:
            raise InputError("no contact leads from here to the environment", where=f"block {block}")


def _check_shapes(graph: Graph, arrays: Arrays) -> None:
    blocks, slabs = len(graph.slabs_of_block), sum(graph.slabs_of_block)
    wanted = {
        "size": (blocks, 2),
        "centre": (blocks, 2),
        "thickness": (slabs,),
        "k_through": (slabs,),
        "k_in_plane": (slabs,),
        "r_above": (slabs,),
        "contact_rect": (len(graph.contacts), 4),
        "contact_r": (len(graph.contacts),),
        "source_rect": (len(graph.sources), 4),
        "probe_rect": (len(graph.probes), 4),
    }
    samples = arrays.samples
    for name, shape in wanted.items():
        value = getattr(arrays, name)
        if value.shape[1:] != shape or len(value) not in (1, samples):
            raise InputError(
                f"shape {value.shape}", where=name, expected=f"(1 or {samples}, {', '.join(map(str, shape))})"
            )
        _require(np.isfinite(value), name, "must be finite", value)


def _require(good: NDArray[np.bool_], name: str, problem: str, value: Float) -> None:
    """Raise for the first entry that is not good."""
    if good.all():
        return
    sample, index, *_ = np.argwhere(~good)[0]
    shown = value[tuple(np.argwhere(~good)[0])]
    raise InputError(f"{problem}, not {shown:.6g}", where=f"{name}[sample {sample}, {index}]")


def _rectangles(graph: Graph, arrays: Arrays) -> list[tuple[str, tuple[list[int], list[int]], Float, str]]:
    """All rectangles with the blocks on both their sides."""
    block_of = graph.block_of_slab
    sources, probes = [s.block for s in graph.sources], [block_of[p.slab] for p in graph.probes]
    contacts = ([c.below for c in graph.contacts], [c.above for c in graph.contacts])
    return [
        ("contact", contacts, arrays.contact_rect, "contact_rect"),
        ("source", (sources, sources), arrays.source_rect, "source_rect"),
        ("probe", (probes, probes), arrays.probe_rect, "probe_rect"),
    ]


def _inside(arrays: Arrays, block: NDArray[np.intp], rect: Float, field: str) -> None:
    real = block != ENVIRONMENT
    if not real.any():
        return
    size, centre = arrays.size[:, block[real]], arrays.centre[:, block[real]]
    slack = TOLERANCE * size
    inside = (rect[:, real, :2] >= centre - 0.5 * size - slack) & (rect[:, real, 2:] <= centre + 0.5 * size + slack)
    if not inside.all():
        sample, where, _ = np.argwhere(~inside)[0]
        index = int(np.flatnonzero(real)[where])
        raise InputError(
            f"rectangle {np.array2string(rect[min(sample, len(rect) - 1), index], precision=6)} m reaches beyond the "
            f"footprint of block {block[index]}",
            where=f"{field}[sample {sample}, {index}]",
            expected="a rectangle within the footprint",
        )


def _no_overlap(graph: Graph, arrays: Arrays) -> None:
    """Contacts on one face must not cover one another."""
    for (i, a), (j, b) in combinations(enumerate(graph.contacts), 2):
        same_top = a.below == b.below != ENVIRONMENT
        same_bottom = a.above == b.above != ENVIRONMENT
        if not (same_top or same_bottom):
            continue
        p, q = arrays.contact_rect[:, i], arrays.contact_rect[:, j]
        shared = np.minimum(p[:, 2:], q[:, 2:]) - np.maximum(p[:, :2], q[:, :2])
        slack = TOLERANCE * np.abs(np.concatenate([p, q], axis=1)).max(axis=1) + 1e-15
        bad = (shared > slack[:, None]).all(axis=1)
        if bad.any():
            raise InputError(
                f"overlaps contact {j} on the same face", where=f"contact_rect[sample {np.argmax(bad)}, {i}]"
            )
