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
from thermostack.solvers.sections.field import Field, Side
from thermostack.solvers.sections.finite_volume import solve_many
from thermostack.solvers.sections.flat import Flat, Interval, flatten_discs, flatten_strip, row
from thermostack.solvers.sections.grid import Axis, graded
from thermostack.solvers.sections.section import Edge, Film, Fixed, Heat, Joint, OnLine, Patch, Section

__all__ = ["CrossSection", "axisymmetric", "cross_section_of_discs", "cross_section_of_strip", "strip"]

Float = NDArray[np.float64]

_GROWTH, _LARGEST, _FINEST, _LEAST, _GRIDS = 1.5, 0.15, 0.005, 3, 3
"""Coarsest grid: ratio of neighbouring cells; largest cell as a share of its segment; cell at a flux singularity as a
share of the shortest segment; least cells in a slab. Found by trial on the published disc cases and on two dies under
a lid: what is left after three grids is then a few parts in 1e6."""


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
    return _respond(graph, arrays, flatten_strip, name="strip section")


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
        Extrapolated from three grids, each halved from the one before; `error` is what the third changed, and says
        nothing about the change of shape.

    Raises
    ------
    InputError
        If the stack is not one column, or anything lies off its axis; the message names a solver that can do it.
    """
    return _respond(graph, arrays, flatten_discs, name="axisymmetric section")


def _respond(graph: Graph, arrays: Arrays, flatten: Callable[[Graph, Arrays, int], Flat], name: str) -> Response:
    """Solve sample by sample on successively halved grids."""
    probes, sources = len(graph.probes), len(graph.sources)
    shape = (arrays.samples, probes + len(graph.contacts), sources)
    value, error = np.empty(shape), np.empty(shape)
    for sample in range(arrays.samples):
        flat = flatten(graph, arrays, sample)
        section = _section(graph, arrays, sample, flat)
        loads = [(_load(graph, flat, source, 1.0),) for source in range(sources)]
        results = []
        for grid in range(_GRIDS):
            section = section.halved() if grid else section
            results.append(np.stack([_observe(graph, flat, f) for f in solve_many(section, loads)], axis=-1))
        outcome = richardson(results)
        value[sample], error[sample] = outcome.value, outcome.error
    return Response(influence=value[:, :probes], flow=value[:, probes:], error=error[:, :probes], solver=name)


# -- from a flat stack to a section ------------------------------------------------------------------------------


def _section(graph: Graph, arrays: Arrays, sample: int, flat: Flat) -> Section:
    """Return the coarsest section of a sample, without its sources; patches are numbered as slabs."""
    k_x, k_z, r_above, contact_r = (
        row(a, sample) for a in (arrays.k_in_plane, arrays.k_through, arrays.r_above, arrays.contact_r)
    )
    patches, joints, edges = [], [], []
    for block, (over, z) in enumerate(zip(flat.blocks, flat.planes, strict=True)):
        for n in range(len(z) - 1):
            slab = graph.first_slab[block] + n
            patches.append(Patch(over, (float(z[n]), float(z[n + 1])), float(k_x[slab]), float(k_z[slab])))
            if n + 2 < len(z):
                joints.append(Joint("z", float(z[n + 1]), over, float(r_above[slab])))
    joints += _insulated(flat)
    for contact, over, r in zip(graph.contacts, flat.contacts, contact_r, strict=True):
        if ENVIRONMENT in (contact.below, contact.above):
            condition = Film(1.0 / float(r), 0.0) if r > 0.0 else Fixed(0.0)
            edges.append(Edge("z", flat.height(contact), over, condition))
        else:
            joints.append(Joint("z", flat.height(contact), over, float(r)))
    x, z_axis = _axes(graph, flat)
    return Section(x, z_axis, tuple(patches), tuple(edges), (), tuple(joints), flat.discs, flat.depth)


def _insulated(flat: Flat) -> list[Joint]:
    """Insulate blocks from each other wherever they meet; contacts are then put on top of that."""
    joints = []
    for pair in combinations(range(len(flat.blocks)), 2):
        spans = [flat.blocks[b] for b in pair]
        heights = [(float(flat.planes[b][0]), float(flat.planes[b][-1])) for b in pair]
        across, upwards = _common(*spans), _common(*heights)
        if across[1] - across[0] > flat.tolerance and flat.same(*upwards):
            joints.append(Joint("z", upwards[0], across, np.inf))
        if upwards[1] - upwards[0] > flat.tolerance and flat.same(*across):
            joints.append(Joint("x", across[0], upwards, np.inf))
    return joints


def _common(a: Interval, b: Interval) -> Interval:
    """Return what two intervals have in common: without extent if they only touch."""
    return max(a[0], b[0]), min(a[1], b[1])


def _axes(graph: Graph, flat: Flat) -> tuple[Axis, Axis]:
    """Grade both axes towards the ends of contacts and sources: there the flux is singular, or its slope is."""
    touched = [(c.below, c.above) for c in graph.contacts] + [(s.block, ENVIRONMENT) for s in graph.sources]
    heights = [flat.height(c) for c in graph.contacts] + [float(flat.planes[s.block][0]) for s in graph.sources]
    sharp_x: list[float] = []
    sharp_z: list[float] = []
    for over, blocks, z in zip((*flat.contacts, *flat.sources), touched, heights, strict=True):
        hosts = [flat.blocks[b] for b in blocks if b != ENVIRONMENT]
        # an end that is also the adiabatic side of all it touches mirrors into an even flux: nothing singular there
        sharp = [x for n, x in enumerate(over) if not all(flat.same(x, host[n]) for host in hosts)]
        sharp_x += sharp
        sharp_z += [z] if sharp else []
    plain_x = [x for group in (flat.blocks, flat.contacts, flat.sources, flat.probes) for over in group for x in over]
    plain_z = [float(z) for planes in flat.planes for z in planes]
    finest = _FINEST * min(_shortest(plain_x, flat.tolerance), _shortest(plain_z, flat.tolerance))
    axes = []
    for plain, sharp, least in ((plain_x, sharp_x, 2), (plain_z, sharp_z, _LEAST)):
        sizes = np.concatenate([np.full(len(plain), np.inf), np.full(len(sharp), finest)])
        axes.append(graded(plain + sharp, sizes, growth=_GROWTH, largest=_LARGEST, least=least))
    return axes[0], axes[1]


def _shortest(lines: list[float], tolerance: float) -> float:
    gaps = np.diff(np.sort(lines))
    return float(np.min(gaps[gaps > tolerance]))


# -- what is asked of a solved section ---------------------------------------------------------------------------


def _load(graph: Graph, flat: Flat, source: int, power: float) -> Heat:
    """Return a power [W] spread evenly over a source's face."""
    over = flat.sources[source]
    return Heat("z", float(flat.planes[graph.sources[source].block][0]), over, power / flat.area(over))


def _observe(graph: Graph, flat: Flat, field: Field) -> Float:
    """Return the rise of every probe, then the flow through every contact."""
    values = []
    for probe, (low, high) in zip(graph.probes, flat.probes, strict=True):
        block = graph.block_of_slab[probe.slab]
        at = float(flat.planes[block][probe.slab - graph.first_slab[block] + probe.side])
        side: Side = "below" if probe.side else "above"
        if flat.same(low, high):
            # at a side wall the point belongs to this block, whatever stands beyond
            first, last = flat.blocks[block]
            wall: tuple[Side, ...] = ("right",) if flat.same(low, first) else ("left",) if flat.same(low, last) else ()
            values.append(field.at(low, at, side, *wall))
        else:
            values.append(field.mean(OnLine("z", at, (low, high)), side))
    return np.array(
        values
        + [field.flow(OnLine("z", flat.height(c), o)) for c, o in zip(graph.contacts, flat.contacts, strict=True)]
    )


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
    return _cross_section(graph, arrays, power, sample, flatten_strip(graph, arrays, sample))


def cross_section_of_discs(graph: Graph, arrays: Arrays, power: Sequence[float], *, sample: int = 0) -> CrossSection:
    """Return the field of a stack of equivalent discs at given source powers [W], to draw; as `axisymmetric`."""
    return _cross_section(graph, arrays, power, sample, flatten_discs(graph, arrays, sample))


def _cross_section(graph: Graph, arrays: Arrays, power: Sequence[float], sample: int, flat: Flat) -> CrossSection:
    if len(power) != len(graph.sources):
        raise InputError(f"{len(power)} powers", expected=f"one for each of {len(graph.sources)} sources")
    section = _section(graph, arrays, sample, flat).halved()
    heats = tuple(_load(graph, flat, source, p) for source, p in enumerate(power))
    (field,) = solve_many(section, [heats])
    return CrossSection(section.x.lines, section.z.lines, field.temperature, section.part, field)
