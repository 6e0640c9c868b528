"""One-dimensional conduction with spreading correction: resistances in series from one die up to the coolant.

Each block adds Σ t/(kA) over its slabs and r/A of what lies between them. Where heat enters a block over less than
its face it spreads, and where it leaves over less than its face it is constricted: both are added as the resistance of
a rectangle on a flux channel, for the spreading with all that lies downstream as an even convective base.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..laws.closed_form import closed_form_spreading
from ..laws.flux_channel import FarFace, rectangle_on_flux_channel
from .graph import ENVIRONMENT, Arrays, Graph, Response

__all__ = ["one_dimensional"]

Float = NDArray[np.float64]
Method = Literal["series", "closed form"]

EVEN_BASE_ERROR = 0.15
"""Share of the spreading resistances that an even base may be wrong by: the largest seen on the reference stacks."""


@dataclass(frozen=True, eq=False)
class _Block:
    """What a block adds, each of shape (S,). [K/W]"""

    through: Float
    """From the lower to the upper face, shape (S, levels): what lies above each face of each slab, in the block."""
    spreading: Float
    spreading_centre: Float
    constriction: Float
    above: Float
    """From the contact on the upper face to the coolant."""

    @property
    def below(self) -> Float:
        """From the contact on the lower face to the coolant."""
        return self.through[:, 0] + self.spreading + self.constriction + self.above


def one_dimensional(graph: Graph, arrays: Arrays, *, spreading: Method = "series") -> Response:
    """Solve a stack with one column of blocks as resistances in series.

    Parameters
    ----------
    graph, arrays : Graph, Arrays
        One block on another, the lowest with all sources.
    spreading : {"series", "closed form"}
        Flux-channel series, or the closed form for a centred disk of equal area (quick, some per cent off).

    Returns
    -------
    Response
        Every source counts as spread evenly over the active face. A probe without extent on that face is taken for
        its centre, every other for the mean of the contact or face that it lies on. `error` is 15 % of the spreading
        resistances, the largest difference to converged three-dimensional solutions on the reference stacks.

    Raises
    ------
    InputError
        Blocks side by side: several dies under one lid need the layered solver.
    """
    chain = _chain(graph)
    shape = arrays.samples
    blocks: dict[int, _Block] = {}
    above = np.zeros(shape)
    for block in reversed(chain):
        above = _contact_resistance(graph, arrays, block) + above
        blocks[block] = _block(graph, arrays, block, above, spreading)
        above = blocks[block].below
    board = _board_resistance(graph, arrays, chain[0])
    up = 1.0 if board is None else board / (board + above)
    up = np.broadcast_to(up, (shape,))
    rise = np.stack([up * _probe(graph, arrays, blocks, p) for p in range(len(graph.probes))], axis=1)
    doubt = EVEN_BASE_ERROR * up * sum(b.spreading_centre + b.constriction for b in blocks.values())
    flow = np.stack(
        [-(1 - up) if c.below == ENVIRONMENT else up * _share(graph, arrays, i) for i, c in enumerate(graph.contacts)],
        axis=1,
    )
    sources = len(graph.sources)
    return Response(
        influence=np.repeat(rise[:, :, None], sources, axis=2),
        flow=np.repeat(flow[:, :, None], sources, axis=2),
        error=np.broadcast_to(doubt[:, None, None], (shape, len(graph.probes), sources)),
        solver="one-dimensional" if spreading == "series" else "one-dimensional, closed form",
    )


def _chain(graph: Graph) -> list[int]:
    """Return the blocks from the die up."""
    heated = {source.block for source in graph.sources}
    chain = [min(heated)] if len(heated) == 1 else []
    while chain and (above := {c.above for c in graph.contacts if c.below == chain[-1]} - {ENVIRONMENT}):
        chain.append(above.pop())
    if len(chain) != len(graph.slabs_of_block) or len(set(chain)) != len(chain):
        raise InputError(
            f"{len(heated)} heated blocks among {len(graph.slabs_of_block)} do not lie one on another",
            where="one-dimensional solver",
            expected="a single die; several dies under one lid need solver='layered'",
        )
    return chain


def _upper(graph: Graph, block: int) -> list[int]:
    return [i for i, c in enumerate(graph.contacts) if c.below == block]


def _lower(graph: Graph, block: int) -> list[int]:
    return [i for i, c in enumerate(graph.contacts) if c.above == block and c.below != ENVIRONMENT]


def _areas(arrays: Arrays, contacts: list[int]) -> Float:
    rect = arrays.contact_rect[:, contacts]
    return np.asarray((rect[..., 2] - rect[..., 0]) * (rect[..., 3] - rect[..., 1]))


def _contact_resistance(graph: Graph, arrays: Arrays, block: int) -> Float:
    """Resistance of what joins a block to what lies above it, its rectangles side by side."""
    contacts = _upper(graph, block)
    r, area = arrays.contact_r[:, contacts], _areas(arrays, contacts)
    perfect = np.any(r == 0, axis=1)
    conductance = np.sum(area / np.where(r == 0, 1.0, r), axis=1)
    return np.where(perfect, 0.0, 1.0 / conductance)


def _share(graph: Graph, arrays: Arrays, contact: int) -> Float:
    """Share of the heat that passes through one rectangle of a split contact."""
    beside = _upper(graph, graph.contacts[contact].below)
    if len(beside) == 1:
        return np.ones(1)
    conductance = _areas(arrays, beside) / np.maximum(arrays.contact_r[:, beside], 1e-12)
    return np.asarray(conductance[:, beside.index(contact)] / conductance.sum(axis=1))


def _board_resistance(graph: Graph, arrays: Arrays, block: int) -> Float | None:
    contacts = [i for i, c in enumerate(graph.contacts) if c.below == ENVIRONMENT and c.above == block]
    if not contacts:
        return None
    return np.asarray(1.0 / np.sum(_areas(arrays, contacts) / arrays.contact_r[:, contacts], axis=1))


def _block(graph: Graph, arrays: Arrays, block: int, above: Float, method: Method) -> _Block:
    slabs = slice(graph.first_slab[block], graph.first_slab[block + 1])
    size = arrays.size[:, block]
    area = size[:, 0] * size[:, 1]
    t, kz, kxy = arrays.thickness[:, slabs], arrays.k_through[:, slabs], arrays.k_in_plane[:, slabs]
    r = arrays.r_above[:, slabs]
    steps = np.stack(np.broadcast_arrays(t / kz, r), axis=2)
    steps = steps.reshape(len(steps), -1) / area[:, None]
    through = np.concatenate([np.cumsum(steps[:, ::-1], axis=1)[:, ::-1], np.zeros((len(steps), 1))], axis=1)
    leaves = _bounds(arrays, _upper(graph, block))
    constriction = np.zeros(1)
    if not _covers(leaves, arrays, block):
        turned = t[:, ::-1], kz[:, ::-1], kxy[:, ::-1], _reversed(r)
        constriction = _spread(leaves, arrays, block, turned, np.ones(1), "uniform flux", method)[0]
    enters = _entry(graph, arrays, block)
    mean = centre = np.zeros(1)
    if not _covers(enters, arrays, block):
        h = 1.0 / ((above + constriction) * area)
        mean, centre = _spread(enters, arrays, block, (t, kz, kxy, r), h, "film", method)
    return _Block(through, mean, centre, constriction, above)


def _reversed(r: Float) -> Float:
    """Resistances above each slab when the slabs are counted from above; nothing lies beyond the last."""
    return np.concatenate([r[:, :-1][:, ::-1], np.zeros((len(r), 1))], axis=1)


def _entry(graph: Graph, arrays: Arrays, block: int) -> Float:
    contacts = _lower(graph, block)
    if contacts:
        return _bounds(arrays, contacts)
    return _whole(arrays, block)


def _bounds(arrays: Arrays, contacts: list[int]) -> Float:
    """Rectangle around contacts, shape (S, 4)."""
    rect = arrays.contact_rect[:, contacts]
    return np.concatenate([rect[..., :2].min(axis=1), rect[..., 2:].max(axis=1)], axis=1)


def _whole(arrays: Arrays, block: int) -> Float:
    centre, half = arrays.centre[:, block], arrays.size[:, block] / 2
    return np.concatenate([centre - half, centre + half], axis=1)


def _covers(rect: Float, arrays: Arrays, block: int) -> bool:
    return bool(np.all(np.abs(rect - _whole(arrays, block)) < 1e-9))


def _spread(
    rect: Float,
    arrays: Arrays,
    block: int,
    layers: tuple[Float, Float, Float, Float],
    h: Float,
    far_face: FarFace,
    method: Method,
) -> tuple[Float, Float]:
    """Spreading resistance of an evenly heated rectangle of a block's face: of its mean and of its centre. [K/W]"""
    t, k_through, k_in_plane, r = layers
    size, corner = arrays.size[:, block], arrays.centre[:, block] - arrays.size[:, block] / 2
    source = rect[:, 2:] - rect[:, :2]
    if method == "closed form":
        whole = t.sum(axis=1)
        if far_face != "film":
            h = whole * 1e-6  # next to adiabatic: the closed form's limit of heat that came in evenly
        radius = np.sqrt(np.stack([source.prod(axis=1), size.prod(axis=1)]) / np.pi)
        found = closed_form_spreading(radius[0], radius[1], whole, whole / (t / k_through).sum(axis=1), h, warn=False)
    else:
        middle = (rect[:, 2:] + rect[:, :2]) / 2 - corner
        found = rectangle_on_flux_channel(
            size, source, middle, t, k_through, h, k_in_plane=k_in_plane, r_above=r, far_face=far_face
        )
    return found.spreading_mean, found.spreading_centre


def _probe(graph: Graph, arrays: Arrays, blocks: dict[int, _Block], index: int) -> Float:
    """Resistance from a probe to the coolant. [K/W]"""
    probe = graph.probes[index]
    number = graph.block_of_slab[probe.slab]
    block, slab = blocks[number], probe.slab - graph.first_slab[number]
    rect = arrays.probe_rect[:, index]
    point = bool(np.all(rect[:, 2:] == rect[:, :2]))
    level = 2 * slab + probe.side
    whole = block.through[:, level] + block.constriction + block.above
    if level == 0:
        lowest = not _lower(graph, number)
        if lowest and point:
            return whole + sum(b.spreading_centre - b.spreading for b in blocks.values()) + block.spreading
        return whole if _covers(rect, arrays, number) and not lowest else whole + block.spreading
    if level == 2 * graph.slabs_of_block[number] - 1 and not point and not _covers(rect, arrays, number):
        return block.above
    return whole
