"""A stack of the graph-and-arrays contract laid flat: one sample as intervals of x, or of the radius, and heights."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from thermostack.errors import InputError
from thermostack.solvers.graph import ENVIRONMENT, Arrays, Contact, Graph

__all__ = ["Flat", "Interval", "flatten_discs", "flatten_strip", "row"]

Float = NDArray[np.float64]
Interval = tuple[float, float]

_SAME = 1e-9
"""Two lengths are the same if they differ by less than this share of the stack's width."""


@dataclass(frozen=True, eq=False)
class Flat:
    """One sample of a stack as intervals of x (or of the radius, from zero) and heights.

    Attributes
    ----------
    blocks, contacts, sources, probes : tuple of (low, high)
        Intervals. [m]
    planes : tuple of ndarray
        Heights of the slab faces of each block, from below. [m]
    depth : float
        Common depth of a strip, 1 for discs. [m]
    discs : bool
        Whether the intervals are radii.
    """

    blocks: tuple[Interval, ...]
    contacts: tuple[Interval, ...]
    sources: tuple[Interval, ...]
    probes: tuple[Interval, ...]
    planes: tuple[Float, ...]
    depth: float
    discs: bool

    @property
    def tolerance(self) -> float:
        """Lengths that differ by less are the same. [m]"""
        return _SAME * float(np.ptp(self.blocks))

    def same(self, a: float, b: float) -> bool:
        """Return whether two positions are the same."""
        return abs(a - b) <= self.tolerance

    def area(self, interval: Interval) -> float:
        """Area that an interval stands for. [m²]"""
        low, high = interval
        return float(np.pi * (high**2 - low**2)) if self.discs else (high - low) * self.depth

    def height(self, contact: Contact) -> float:
        """Height of a contact. [m]"""
        below = contact.below
        return float(self.planes[contact.above][0] if below == ENVIRONMENT else self.planes[below][-1])


def row(values: Float, sample: int) -> Float:
    """Return a sample's row of an array that may have one row for all."""
    chosen: Float = values[sample if len(values) > 1 else 0]
    return chosen


def _rectangles(arrays: Arrays, sample: int) -> dict[str, Float]:
    """Return all rectangles (x0, y0, x1, y1) of a sample by kind."""
    centre, half = row(arrays.centre, sample), row(arrays.size, sample) / 2.0
    return {
        "block": np.hstack([centre - half, centre + half]),
        "contact": row(arrays.contact_rect, sample).reshape(-1, 4),
        "source": row(arrays.source_rect, sample).reshape(-1, 4),
        "probe": row(arrays.probe_rect, sample).reshape(-1, 4),
    }


def flatten_strip(graph: Graph, arrays: Arrays, sample: int) -> Flat:
    """Return a sample's intervals of x.

    Raises
    ------
    InputError
        If anything but a probe does not span the common depth, or the blocks do not fit together.
    """
    rects = _rectangles(arrays, sample)
    low, high = rects["block"][0, 1], rects["block"][0, 3]
    tolerance = _SAME * np.ptp(rects["block"])
    for kind, rows in rects.items():
        for number, (_, y0, _, y1) in enumerate(rows):
            whole = abs(y0 - low) <= tolerance and abs(y1 - high) <= tolerance
            inside = low - tolerance <= y0 <= y1 <= high + tolerance
            if not (inside if kind == "probe" else whole):
                raise InputError(
                    f"{kind} {number} spans y = {y0:g} .. {y1:g} m and block 0 spans {low:g} .. {high:g} m",
                    where="strip",
                    expected="one depth throughout; for any other stack use the layered solver",
                )
    along = {kind: tuple((float(r[0]), float(r[2])) for r in rows) for kind, rows in rects.items()}
    return _checked(graph, arrays, sample, along, depth=float(high - low), discs=False)


def flatten_discs(graph: Graph, arrays: Arrays, sample: int) -> Flat:
    """Return a sample's radii: every rectangle a × b as a disc of radius √(ab/π).

    Raises
    ------
    InputError
        If the blocks are not one column, or anything is off its axis.
    """
    joined = [(c.below, c.above) for c in graph.contacts if ENVIRONMENT not in (c.below, c.above)]
    blocks = len(graph.slabs_of_block)
    if not len(joined) == len({b for b, _ in joined}) == len({a for _, a in joined}) == blocks - 1:
        raise InputError(
            f"{blocks} blocks with {len(joined)} contacts between them",
            where="axisymmetric",
            expected="a single column of blocks; for several dies or split contacts use the layered solver",
        )
    rects = _rectangles(arrays, sample)
    centre = row(arrays.centre, sample)[0]
    tolerance = _SAME * np.ptp(rects["block"])
    radii: dict[str, tuple[Interval, ...]] = {}
    for kind, rows in rects.items():
        found = []
        for number, (x0, y0, x1, y1) in enumerate(rows):
            if np.max(np.abs(np.array([x0 + x1, y0 + y1]) / 2.0 - centre)) > tolerance:
                raise InputError(
                    f"{kind} {number} lies {x0:g} .. {x1:g} m by {y0:g} .. {y1:g} m, off the axis of the stack",
                    where="axisymmetric",
                    expected="everything centred; for an off-centre stack use the layered solver, or strip",
                )
            if kind == "probe" and (x1 - x0 > tolerance) != (y1 - y0 > tolerance):
                raise InputError(
                    f"probe {number} is a line",
                    where="axisymmetric",
                    expected="a centred rectangle or the centre point; for a line use the layered solver",
                )
            area = max(x1 - x0, 0.0) * max(y1 - y0, 0.0)
            found.append((0.0, float(np.sqrt(area / np.pi))))
        radii[kind] = tuple(found)
    return _checked(graph, arrays, sample, radii, depth=1.0, discs=True)


def _checked(
    graph: Graph, arrays: Arrays, sample: int, along: dict[str, tuple[Interval, ...]], depth: float, discs: bool
) -> Flat:
    """Return the flat stack once everything is found to lie within its blocks and blocks not to overlap."""
    planes = _planes(graph, row(arrays.thickness, sample))
    flat = Flat(along["block"], along["contact"], along["source"], along["probe"], planes, depth, discs)
    hosts = {
        "contact": [[b for b in (c.below, c.above) if b != ENVIRONMENT] for c in graph.contacts],
        "source": [[s.block] for s in graph.sources],
        "probe": [[graph.block_of_slab[p.slab]] for p in graph.probes],
    }
    for kind, all_hosts in hosts.items():
        for number, blocks in enumerate(all_hosts):
            low, high = along[kind][number]
            empty = high - low <= flat.tolerance and kind != "probe"
            for block in blocks:
                first, last = flat.blocks[block]
                if empty or low < first - flat.tolerance or high > last + flat.tolerance:
                    raise InputError(
                        f"{kind} {number} spans {low:g} .. {high:g} m and block {block} {first:g} .. {last:g} m",
                        expected="a rectangle with extent, within its block",
                    )
    for a, b in combinations(range(len(planes)), 2):
        across = min(flat.blocks[a][1], flat.blocks[b][1]) - max(flat.blocks[a][0], flat.blocks[b][0])
        upwards = min(planes[a][-1], planes[b][-1]) - max(planes[a][0], planes[b][0])
        if across > flat.tolerance and upwards > flat.tolerance:
            raise InputError(f"blocks {a} and {b} overlap in the section", expected="blocks that fit side by side")
    return flat


def _planes(graph: Graph, thickness: Float) -> tuple[Float, ...]:
    """Return the heights of the slab faces of each block, hanging the blocks on each other by their contacts."""
    first = graph.first_slab
    own = [np.concatenate([[0.0], np.cumsum(thickness[low:high])]) for low, high in pairwise(first)]
    bottom = {0: 0.0}
    joined = [(c.below, c.above) for c in graph.contacts if ENVIRONMENT not in (c.below, c.above)]
    for _ in own:
        for below, above in joined:
            if below in bottom:
                bottom.setdefault(above, bottom[below] + own[below][-1])
            elif above in bottom:
                bottom[below] = bottom[above] - own[below][-1]
    if len(bottom) < len(own):
        raise InputError(f"only blocks {sorted(bottom)} hang together", expected="contacts that join all blocks")
    for below, above in joined:
        if abs(bottom[below] + own[below][-1] - bottom[above]) > _SAME * np.sum(thickness):
            raise InputError(
                f"the faces of blocks {below} and {above} that touch are not at one height",
                expected="dies and plates whose heights close, as they must in a section",
            )
    lowest = min(bottom.values())
    return tuple(planes + (bottom[b] - lowest) for b, planes in enumerate(own))
