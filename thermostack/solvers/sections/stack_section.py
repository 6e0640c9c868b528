"""The graph-and-arrays contract solved in two dimensions: strips of one depth, and concentric stacks as discs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from thermostack.errors import InputError
from thermostack.solvers.convergence import richardson
from thermostack.solvers.graph import ENVIRONMENT, Arrays, Graph, Response
from thermostack.solvers.sections.field import Field
from thermostack.solvers.sections.grid import Axis, graded
from thermostack.solvers.sections.section import Edge, Film, Fixed, Heat, Joint, OnLine, Patch, Section
from thermostack.solvers.sections.solve import solve_many

__all__ = ["CrossSection", "axisymmetric", "cross_section_of_discs", "cross_section_of_strip", "strip"]

Float = NDArray[np.float64]
Interval = tuple[float, float]

_SAME = 1e-9
"""Two lengths are the same if they differ by less than this share of the stack's size."""

_GROWTH, _LARGEST, _FINEST, _LEAST = 1.4, 0.12, 0.002, 3
"""Coarsest grid: ratio of neighbouring cells, largest cell and cell at a flux singularity as shares of the shortest
length beside it, cells in a slab. Found by study on the published disc cases; the tests hold them."""


@dataclass(frozen=True, eq=False)
class Flat:
    """One sample of a stack as intervals of x (or of the radius, from zero) and heights.

    Attributes
    ----------
    blocks, contacts, sources, probes : tuple of (low, high)
        Intervals. [m]
    bottoms : tuple of float
        Height of the lower face of each block. [m]
    depth : float
        Common depth of a strip, 1 for discs. [m]
    discs : bool
        Whether the intervals are radii.
    """

    blocks: tuple[Interval, ...]
    contacts: tuple[Interval, ...]
    sources: tuple[Interval, ...]
    probes: tuple[Interval, ...]
    bottoms: tuple[float, ...]
    depth: float
    discs: bool

    def area(self, interval: Interval) -> float:
        """Area that an interval stands for. [m²]"""
        low, high = interval
        return np.pi * (high**2 - low**2) if self.discs else (high - low) * self.depth


def strip(graph: Graph, arrays: Arrays) -> Response:
    """Solve a stack whose footprints all have one depth in y, as an exact two-dimensional x–z section.

    Everything may lie off-centre in x: several dies under one lid, contacts split into rectangles of different
    resistance, regions of power. A probe may have any extent in y, as temperature does not vary there.

    Parameters
    ----------
    graph : Graph
        Which faces touch.
    arrays : Arrays
        Sizes and properties.

    Returns
    -------
    Response
        Extrapolated from three grids, each halved from the one before; `error` is what the third changed.

    Raises
    ------
    InputError
        If anything does not span the whole depth, or blocks do not fit together in the section.
    """
    return _respond(graph, arrays, _flatten_strip, grids=3, name="strip section")


def axisymmetric(graph: Graph, arrays: Arrays) -> Response:
    """Solve a single column of concentric blocks as discs of equal area, in an r–z section.

    Every rectangle a × b (footprint, contact, source, mean of a probe) becomes the disc of radius √(ab/π): areas,
    fluxes and one-dimensional resistances stay, shape does not, so for rectangles the spreading part is an
    approximation. A probe without extent stands for the centre.

    Parameters
    ----------
    graph : Graph
        Which faces touch: each block has at most one block below and one above.
    arrays : Arrays
        Sizes and properties.

    Returns
    -------
    Response
        Extrapolated from two grids; `error` is the whole correction, and says nothing about the change of shape.

    Raises
    ------
    InputError
        If the stack is not one column, or anything lies off its axis; the message names a solver that can do it.
    """
    return _respond(graph, arrays, _flatten_discs, grids=2, name="axisymmetric section")


def _respond(
    graph: Graph, arrays: Arrays, flatten: Callable[[Graph, Arrays, int], Flat], grids: int, name: str
) -> Response:
    """Solve sample by sample on successively halved grids."""
    shape = (arrays.samples, len(graph.probes) + len(graph.contacts), len(graph.sources))
    value, error = np.empty(shape), np.empty(shape)
    for sample in range(arrays.samples):
        flat = flatten(graph, arrays, sample)
        section = _section(graph, arrays, sample, flat)
        results = []
        for grid in range(grids):
            section = section.halved() if grid else section
            fields = solve_many(section, [(_source(graph, flat, s),) for s in range(len(graph.sources))])
            results.append(np.stack([_observe(graph, arrays, sample, flat, f) for f in fields], axis=-1))
        outcome = richardson(results)
        value[sample], error[sample] = outcome.value, outcome.error
    probes = len(graph.probes)
    return Response(influence=value[:, :probes], flow=value[:, probes:], error=error[:, :probes], solver=name)


# -- from rectangles to intervals --------------------------------------------------------------------------------


def _row(values: Float, sample: int) -> Float:
    """Return a sample's row of an array that may have one row for all."""
    row: Float = values[sample if len(values) > 1 else 0]
    return row


def _rectangles(graph: Graph, arrays: Arrays, sample: int) -> dict[str, Float]:
    """Return all rectangles (x0, y0, x1, y1) of a sample by kind."""
    centre, half = _row(arrays.centre, sample), _row(arrays.size, sample) / 2.0
    return {
        "block": np.hstack([centre - half, centre + half]),
        "contact": _row(arrays.contact_rect, sample).reshape(-1, 4),
        "source": _row(arrays.source_rect, sample).reshape(-1, 4),
        "probe": _row(arrays.probe_rect, sample).reshape(-1, 4),
    }


def _flatten_strip(graph: Graph, arrays: Arrays, sample: int) -> Flat:
    rects = _rectangles(graph, arrays, sample)
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


def _flatten_discs(graph: Graph, arrays: Arrays, sample: int) -> Flat:
    joined = [(c.below, c.above) for c in graph.contacts if ENVIRONMENT not in (c.below, c.above)]
    blocks = len(graph.slabs_of_block)
    if len({b for b, _ in joined}) != blocks - 1 or len({a for _, a in joined}) != blocks - 1 or len(joined) != blocks - 1:
        raise InputError(
            f"{blocks} blocks with {len(joined)} contacts between them",
            where="axisymmetric",
            expected="a single column of blocks; for several dies or split contacts use the layered solver",
        )
    rects = _rectangles(graph, arrays, sample)
    centre = _row(arrays.centre, sample)[0]
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
    thickness = _row(arrays.thickness, sample)
    heights = [float(np.sum(thickness[graph.first_slab[b] : graph.first_slab[b + 1]])) for b, _ in enumerate(along["block"])]
    bottoms = _bottoms(graph, heights)
    flat = Flat(along["block"], along["contact"], along["source"], along["probe"], bottoms, depth, discs)
    tolerance = _SAME * float(np.ptp(along["block"]))
    hosts = {
        "contact": [[b for b in (c.below, c.above) if b != ENVIRONMENT] for c in graph.contacts],
        "source": [[s.block] for s in graph.sources],
        "probe": [[graph.block_of_slab[p.slab]] for p in graph.probes],
    }
    for kind, all_hosts in hosts.items():
        for number, blocks in enumerate(all_hosts):
            low, high = along[kind][number]
            empty = high - low <= tolerance and kind != "probe"
            for block in blocks:
                if empty or low < flat.blocks[block][0] - tolerance or high > flat.blocks[block][1] + tolerance:
                    raise InputError(
                        f"{kind} {number} spans {low:g} .. {high:g} m and block {block} {flat.blocks[block]} m",
                        expected="a rectangle with extent within its block",
                    )
    for a, b in combinations(range(len(heights)), 2):
        across = min(flat.blocks[a][1], flat.blocks[b][1]) - max(flat.blocks[a][0], flat.blocks[b][0])
        upwards = min(bottoms[a] + heights[a], bottoms[b] + heights[b]) - max(bottoms[a], bottoms[b])
        if across > tolerance and upwards > tolerance:
            raise InputError(f"blocks {a} and {b} overlap in the section", expected="blocks that fit side by side")
    return flat


def _bottoms(graph: Graph, heights: Sequence[float]) -> tuple[float, ...]:
    """Return the height of each block's lower face, following the contacts from block 0."""
    bottom: dict[int, float] = {0: 0.0}
    joined = [(c.below, c.above) for c in graph.contacts if ENVIRONMENT not in (c.below, c.above)]
    for _ in heights:
        for below, above in joined:
            if below in bottom:
                bottom.setdefault(above, bottom[below] + heights[below])
            elif above in bottom:
                bottom[below] = bottom[above] - heights[below]
    if len(bottom) < len(heights):
        raise InputError(f"only blocks {sorted(bottom)} hang together", expected="contacts that join all blocks")
    for below, above in joined:
        if abs(bottom[below] + heights[below] - bottom[above]) > _SAME * sum(heights):
            raise InputError(
                f"the faces of blocks {below} and {above} that touch are not at one height",
                expected="dies and plates whose heights close, as they must in a section",
            )
    lowest = min(bottom.values())
    return tuple(bottom[b] - lowest for b in range(len(heights)))


# -- from intervals to a section ---------------------------------------------------------------------------------


def _slab_planes(graph: Graph, arrays: Arrays, sample: int, flat: Flat) -> list[Float]:
    """Heights of the slab faces of each block, from below. [m]"""
    thickness = _row(arrays.thickness, sample)
    first = graph.first_slab
    return [
        bottom + np.concatenate([[0.0], np.cumsum(thickness[first[b] : first[b + 1]])])
        for b, bottom in enumerate(flat.bottoms)
    ]


def _section(graph: Graph, arrays: Arrays, sample: int, flat: Flat) -> Section:
    """Return the coarsest section of a sample, without its sources."""
    planes = _slab_planes(graph, arrays, sample, flat)
    k_x, k_z, r_above = (_row(a, sample) for a in (arrays.k_in_plane, arrays.k_through, arrays.r_above))
    contact_r = _row(arrays.contact_r, sample)
    patches, joints, edges = [], [], []
    for b, z in enumerate(planes):
        for n in range(len(z) - 1):
            slab = graph.first_slab[b] + n
            patches.append(Patch(flat.blocks[b], (float(z[n]), float(z[n + 1])), float(k_x[slab]), float(k_z[slab])))
            if n + 2 < len(z) and r_above[slab] > 0.0:
                joints.append(Joint("z", float(z[n + 1]), flat.blocks[b], float(r_above[slab])))
    joints += _insulated(flat, planes)
    for contact, over, r in zip(graph.contacts, flat.contacts, contact_r, strict=True):
        at = float(planes[contact.below][-1] if contact.below != ENVIRONMENT else planes[contact.above][0])
        if ENVIRONMENT in (contact.below, contact.above):
            edges.append(Edge("z", at, over, Film(1.0 / float(r), 0.0) if r > 0.0 else Fixed(0.0)))
        else:
            joints.append(Joint("z", at, over, float(r)))
    x, z_axis = _axes(graph, flat, planes)
    return Section(x, z_axis, tuple(patches), tuple(edges), (), tuple(joints), flat.discs, flat.depth)


def _insulated(flat: Flat, planes: list[Float]) -> list[Joint]:
    """Insulate blocks from each other wherever they meet; contacts are then put on top of that."""
    joints = []
    tolerance = _SAME * float(np.ptp(flat.blocks))
    for a, b in combinations(range(len(flat.blocks)), 2):
        for low, high in ((a, b), (b, a)):
            over = max(flat.blocks[a][0], flat.blocks[b][0]), min(flat.blocks[a][1], flat.blocks[b][1])
            if abs(planes[low][-1] - planes[high][0]) <= tolerance and over[1] - over[0] > tolerance:
                joints.append(Joint("z", float(planes[low][-1]), over, np.inf))
            beside = max(planes[a][0], planes[b][0]), min(planes[a][-1], planes[b][-1])
            if abs(flat.blocks[low][1] - flat.blocks[high][0]) <= tolerance and beside[1] - beside[0] > tolerance:
                joints.append(Joint("x", flat.blocks[low][1], (float(beside[0]), float(beside[1])), np.inf))
    return joints


def _axes(graph: Graph, flat: Flat, planes: list[Float]) -> tuple[Axis, Axis]:
    """Grade both axes towards the ends of contacts and sources: there the flux is singular, or its slope is."""
    hosts = [[b for b in (c.below, c.above) if b != ENVIRONMENT] for c in graph.contacts]
    hosts += [[s.block] for s in graph.sources]
    at = [planes[c.below][-1] if c.below != ENVIRONMENT else planes[c.above][0] for c in graph.contacts]
    at += [planes[s.block][0] for s in graph.sources]
    sharp_x, sharp_z = [], []
    for over, blocks, z in zip((*flat.contacts, *flat.sources), hosts, at, strict=True):
        # an end that is also the adiabatic side of all it touches mirrors into an even flux: nothing singular there
        sharp = [x for n, x in enumerate(over) if not all(_close(x, flat.blocks[b][n], flat) for b in blocks)]
        sharp = [x for x in sharp if not (flat.discs and x == 0.0)]
        sharp_x += sharp
        sharp_z += [float(z)] if sharp else []
    plain_x = [x for group in (flat.blocks, flat.contacts, flat.sources, flat.probes) for over in group for x in over]
    plain_z = [float(z) for block in planes for z in block]
    finest = _FINEST * min(_shortest(plain_x, flat), _shortest(plain_z, flat))
    axes = []
    for plain, sharp, least in ((plain_x, sharp_x, 2), (plain_z, sharp_z, _LEAST)):
        sizes = np.concatenate([np.full(len(plain), np.inf), np.full(len(sharp), finest)])
        axes.append(graded(plain + sharp, sizes, growth=_GROWTH, largest=_LARGEST, least=least))
    return axes[0], axes[1]


def _close(a: float, b: float, flat: Flat) -> bool:
    return abs(a - b) <= _SAME * float(np.ptp(flat.blocks))


def _shortest(lines: list[float], flat: Flat) -> float:
    gaps = np.diff(np.sort(lines))
    return float(np.min(gaps[gaps > _SAME * float(np.ptp(flat.blocks))]))


# -- what is asked of a solved section ---------------------------------------------------------------------------


def _source(graph: Graph, flat: Flat, number: int) -> Heat:
    """Return one watt on a source's face."""
    over = flat.sources[number]
    return Heat("z", flat.bottoms[graph.sources[number].block], over, 1.0 / flat.area(over))


def _observe(graph: Graph, arrays: Arrays, sample: int, flat: Flat, field: Field) -> Float:
    """Return the rise of every probe, then the flow through every contact."""
    planes = _slab_planes(graph, arrays, sample, flat)
    values = []
    for probe, (low, high) in zip(graph.probes, flat.probes, strict=True):
        block = graph.block_of_slab[probe.slab]
        at = float(planes[block][probe.slab - graph.first_slab[block] + probe.side])
        side = "below" if probe.side else "above"
        if _close(low, high, flat):
            wall = "left" if _close(low, flat.blocks[block][1], flat) else "right"
            values.append(field.at(low, at, side, wall) if _at_wall(low, flat.blocks[block], flat) else field.at(low, at, side))
        else:
            values.append(field.mean(OnLine("z", at, (low, high)), side))
    for contact, over in zip(graph.contacts, flat.contacts, strict=True):
        at = planes[contact.below][-1] if contact.below != ENVIRONMENT else planes[contact.above][0]
        values.append(field.flow(OnLine("z", float(at), over)))
    return np.array(values)


def _at_wall(x: float, block: Interval, flat: Flat) -> bool:
    return any(_close(x, end, flat) for end in block)


@dataclass(frozen=True, eq=False)
class CrossSection:
    """A solved section to draw.

    Attributes
    ----------
    x, z : ndarray, shape (x cells + 1,), (z cells + 1,)
        Grid lines; x is the radius in a section of discs. [m]
    temperature : ndarray, shape (x cells, z cells)
        Rise at each cell, not a number where there is no material. [K]
    slab : ndarray of int, shape (x cells, z cells)
        Slab of the graph that each cell belongs to, −1 where there is none.
    field : Field
        The field itself, for values at points.
    """

    x: Float
    z: Float
    temperature: Float
    slab: NDArray[np.intp]
    field: Field


def cross_section_of_strip(graph: Graph, arrays: Arrays, power: Sequence[float], *, sample: int = 0) -> CrossSection:
    """Return the field of a strip at given source powers [W], to draw; conditions as for `strip`."""
    return _cross_section(graph, arrays, power, sample, _flatten_strip(graph, arrays, sample))


def cross_section_of_discs(graph: Graph, arrays: Arrays, power: Sequence[float], *, sample: int = 0) -> CrossSection:
    """Return the field of a stack of equivalent discs at given source powers [W], to draw; as `axisymmetric`."""
    return _cross_section(graph, arrays, power, sample, _flatten_discs(graph, arrays, sample))


def _cross_section(graph: Graph, arrays: Arrays, power: Sequence[float], sample: int, flat: Flat) -> CrossSection:
    if len(power) != len(graph.sources):
        raise InputError(f"{len(power)} powers", expected=f"one for each of {len(graph.sources)} sources")
    section = _section(graph, arrays, sample, flat).halved()
    unit = [_source(graph, flat, s) for s in range(len(graph.sources))]
    heats = tuple(Heat(h.normal, h.at, h.over, h.flux * p) for h, p in zip(unit, power, strict=True))
    (field,) = solve_many(section, [heats])
    return CrossSection(section.x.lines, section.z.lines, field.temperature, section.part, field)
